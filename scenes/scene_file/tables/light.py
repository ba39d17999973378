"""Lights of a scene file: a direction, a place in the set, or the sun by place and time."""

import datetime as dt
from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import BeforeValidator, WithJsonSchema

from scenes.scene_file.messages import shown
from scenes.scene_file.tables.fields import Fault, Table, deg, fault, mm, part, text

SUN_WIDTH_DEG = 0.533  # two times 959.63 arc seconds, the sun's half width at its mean distance


def read_moment(value: Any) -> dt.datetime:
    """A moment with its offset from UTC, from a TOML date-time or the same in quotes."""
    moment = value
    if isinstance(value, str):
        try:
            moment = dt.datetime.fromisoformat(value)
        except ValueError:
            moment = value
    if not isinstance(moment, dt.datetime):
        raise fault(f"must be a date and time such as 2026-06-21T17:30:00Z, got {shown(value)}")
    if moment.utcoffset() is None:
        raise fault(f"must say its offset from UTC, got {shown(value)}; add Z, or the local offset such as -07:00")
    return moment


Moment = Annotated[dt.datetime, BeforeValidator(read_moment), WithJsonSchema({"type": "string", "format": "date-time"})]


class Sun(Table):
    """Where and when the camera stands, and where it looks: the sun's direction follows."""

    latitude_deg: float = deg("Latitude of the place, north positive.", -90.0, 90.0)
    longitude_deg: float = deg("Longitude of the place, east positive.", -180.0, 180.0)
    time: Moment = part("Date and time with its offset from UTC, such as 2026-06-21T17:30:00-07:00.")
    camera_heading_deg: float = deg("Where the camera looks: clockwise from true north.", -360.0, 360.0)
    camera_tilt_deg: float = deg("How far the camera looks up, negative for down.", -90.0, 90.0, 0.0)


class Light(Table):
    """A light that may reach the glass: give azimuth and elevation, or position_mm, or sun."""

    name: str = text("What the crew calls this light.", "light")
    azimuth_deg: float | None = deg(
        "Direction seen from the camera: 0 straight ahead, positive to the operator's right, 180 behind.",
        -360.0,
        360.0,
        None,
    )
    elevation_deg: float | None = deg("Direction seen from the camera: positive above the lens axis.", -90.0, 90.0, None)
    width_deg: float = deg("How wide the light looks from the camera.", 0.0, 120.0, SUN_WIDTH_DEG)
    position_mm: tuple[float, float, float] | None = mm(
        "Place in the set: right, up and ahead of the centre of the lens front, as the operator sees it.", -1e6, 1e6, None
    )
    size_mm: float | None = mm("Width of the light at that place.", 0.0, 1e5, None)
    sun: Sun | None = part("The sun, by place, date and time, and the camera's heading.", None)

    def faults(self) -> Iterator[Fault]:
        """One way of saying where the light is, completely."""
        given = [key for key in ("azimuth_deg", "position_mm", "sun") if getattr(self, key) is not None]
        if self.elevation_deg is not None and "azimuth_deg" not in given:
            yield ("azimuth_deg",), "is missing; elevation_deg is of no use without it"
        elif self.azimuth_deg is not None and self.elevation_deg is None:
            yield ("elevation_deg",), "is missing; azimuth_deg is of no use without it"
        elif len(given) != 1:
            found = " and ".join(given) or "none of them"
            yield (), f"must give one of: azimuth_deg with elevation_deg, position_mm with size_mm, sun; got {found}"
        elif (self.position_mm is None) != (self.size_mm is None):
            missing = "size_mm" if self.size_mm is None else "position_mm"
            yield (missing,), "is missing; a light at a place in the set needs both position_mm and size_mm"
        elif "width_deg" in self.model_fields_set and self.position_mm is not None:
            yield ("width_deg",), "must be left out where position_mm is given; size_mm says how wide the light is"
