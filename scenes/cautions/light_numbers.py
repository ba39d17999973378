"""Numbers of lights that speak against their name, their clock or the sky: such a light is looked for elsewhere, or not at all."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator
from functools import lru_cache

from raytrace.sun import sun_in_sky
from scenes.cautions.named_numbers import plain_name, without_limits
from scenes.rig.lights import light_place, site_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.light import Light, Sun
from scenes.scene_file.tables.scene import Scene

# Legal time is at most three and a half hours off the sun's: western China, western Spain in summer (time zones from memory).
FAR_FROM_ZONE_DEG = 60.0
DEG_PER_HOUR = 15.0
LEAST_LAMP_MM, FAR_LAMP_MM = 5.0, 500.0  # lamps of a set are 10 mm and more; a size of 0 is a point, and meant
SIDE = re.compile(r"\b(left|right)\b", re.IGNORECASE)
LOW = re.compile(r"\b(?:low|dawn|dusk|sunrise|sunset|(?:golden|magic) hour)\b", re.IGNORECASE)
LOW_DEG = 45.0  # what people call a low sun is below it by any reading (common practice)
RISING = re.compile(r"\b(?:morning|dawn|sunrise)\b", re.IGNORECASE)
FALLING = re.compile(r"\b(?:evening|afternoon|dusk|sunset)\b", re.IGNORECASE)
NEAR_NOON = dt.timedelta(hours=1)
NAMED_DEG = re.compile(
    r"(?<![\w.\-+])(\d{1,3}(?:\.\d+)?)\s?(?:degs?\b|degrees?\b|[\u00b0\u00ba])(?!\s?(?:beam|lens|grid|spot|flood|[ck]\b))",
    re.IGNORECASE,
)
NAMED_METRES = re.compile(
    r"(?:\bat|@)\s(\d{1,2}(?:\.\d+)?)\s?m(?!\w)|(?<![\w.])(\d{1,2}(?:\.\d+)?)\s?m\s(?:away|up|high|left|right|ahead|off|out)\b",
    re.IGNORECASE,
)
METRE_MM, SAME_DEG, SAME_PLACE_SHARE = 1000.0, 3.0, 0.15  # lamps are placed by eye, and floors are not lens axes
CAMERA_SIDE_DEG = 5.0  # nearer the axis, or to straight behind, a light stands on neither side


def light_number_words(scene: Scene) -> Iterator[tuple[str, str]]:
    """(light, words) of each light whose numbers are in doubt."""
    for light in scene.light:
        sun_words = [] if light.sun is None else [*_sun_words(light.sun)] or [*_hour_words(light.name, light.sun)]
        of_name = (*_side_words(light), *_angle_words(light), *_distance_words(light), *_height_words(light))
        for text in (*of_name, *_size_words(light), *sun_words):
            yield light.name, text


def _side_words(light: Light) -> Iterator[str]:
    """A light called left that stands right, or the other way round."""
    named = {side.lower() for side in SIDE.findall(plain_name(light.name))}
    right_deg = _right_deg(light)
    if len(named) != 1 or right_deg is None or abs(math.sin(math.radians(right_deg))) < math.sin(math.radians(CAMERA_SIDE_DEG)):
        return
    is_right = math.sin(math.radians(right_deg)) > 0.0
    if is_right != (named == {"right"}):
        stands = "right" if is_right else "left"
        key = (
            f"azimuth_deg = {plain(right_deg)}"
            if light.position_mm is None
            else f"position_mm begins with {plain(light.position_mm[0])}, and"
        )
        yield f"{key} puts it on the operator's {stands}, against its name; positive is right: turn the sign, or name it otherwise"


def _angle_words(light: Light) -> Iterator[str]:
    """A light called by an angle that none of its own is, from ahead, from behind or from the horizon: 'window 50 deg'."""
    azimuth_deg, elevation_deg = light.azimuth_deg, light.elevation_deg
    named = [float(angle) for angle in NAMED_DEG.findall(without_limits(plain_name(light.name)))]
    if not named or azimuth_deg is None or elevation_deg is None:
        return
    aside_deg = abs((azimuth_deg + 180.0) % 360.0 - 180.0)
    own = (aside_deg, 180.0 - aside_deg, azimuth_deg % 360.0, -azimuth_deg % 360.0, abs(elevation_deg), 90.0 - elevation_deg)
    widths = (light.width_deg,) if light.width_deg is not None else ()
    if not any(abs(told - value) <= SAME_DEG for told in named for value in (*own, *widths)):
        angles = f"azimuth_deg = {plain(azimuth_deg)} and elevation_deg = {plain(elevation_deg)} speak against its name"
        yield f"{angles}, {plain(named[0])} deg: put the angle or the name right"


def _distance_words(light: Light) -> Iterator[str]:
    """A lamp called by how far it stands, or how high, which is none of its places: 'lamp at 3 m'."""
    if light.position_mm is None:
        return
    right, up, ahead = light.position_mm
    own = (abs(right), abs(up), abs(ahead), math.hypot(right, up, ahead), math.hypot(right, ahead), math.hypot(up, ahead))
    named = [float(one or other) * METRE_MM for one, other in NAMED_METRES.findall(without_limits(plain_name(light.name)))]
    if named and not any(abs(told - value) <= SAME_PLACE_SHARE * told for told in named for value in own):
        place = ", ".join(plain(value) for value in light.position_mm)
        away = f"{math.hypot(*light.position_mm) / METRE_MM:.1f} m away"
        yield f"position_mm = [{place}], {away}, speaks against its name, {plain(named[0] / METRE_MM)} m: put one of them right"


def _right_deg(light: Light) -> float | None:
    """How far to the operator's right it stands; None of the sun by its time, which nobody places."""
    if light.position_mm is not None:
        return math.degrees(math.atan2(light.position_mm[0], light.position_mm[2]))
    return light.azimuth_deg


def _size_words(light: Light) -> Iterator[str]:
    """A lamp of the set of a mm or so: its size in m."""
    if light.position_mm is None or light.size_mm is None or math.hypot(*light.position_mm) < FAR_LAMP_MM:
        return
    if 0.0 < light.size_mm < LEAST_LAMP_MM:
        away = f"{math.hypot(*light.position_mm) / 1000:.1f} m"
        yield (
            f"size_mm = {plain(light.size_mm)} is tiny for a lamp {away} away; written in m? It would be "
            f"{plain(1000 * light.size_mm)}"
        )


def _sun_words(sun: Sun) -> Iterator[str]:
    """A clock that no place so far east or west keeps, and a sun that has set."""
    zone_deg = DEG_PER_HOUR * (sun.time.utcoffset() or dt.timedelta()).total_seconds() / 3600
    is_up = _is_up(sun.latitude_deg, sun.longitude_deg, sun.time)
    off_deg = abs((zone_deg - sun.longitude_deg + 180.0) % 360.0 - 180.0)
    if zone_deg != 0.0 and off_deg > FAR_FROM_ZONE_DEG:
        yield (
            f"longitude_deg = {plain(sun.longitude_deg)} is {off_deg / DEG_PER_HOUR:.0f} hours off the clock of time = "
            f"{sun.time.isoformat()}; east is positive: is a sign turned, or the offset another place's?"
            f"{'' if is_up else ' By these the sun is below the horizon, so it is not looked at'}"
        )
    elif not is_up:
        place = f"latitude_deg = {plain(sun.latitude_deg)}, longitude_deg = {plain(sun.longitude_deg)}"
        yield (
            f"time = {sun.time.isoformat()} at {place} has the sun below the horizon, so it is not looked at; is the "
            "hour, its offset or a sign wrong?"
        )


def _height_words(light: Light) -> Iterator[str]:
    """A light that its name calls low sun, by its elevation far up."""
    elevation_deg, name = light.elevation_deg, plain_name(light.name)
    if elevation_deg is not None and elevation_deg > LOW_DEG and LOW.search(name) and re.search(r"\bsun", name, re.IGNORECASE):
        yield f"elevation_deg = {plain(elevation_deg)} is high for what its name calls low: put the angle or the name right"


def _hour_words(name: str, sun: Sun) -> Iterator[str]:
    """A low sun that stands high, a morning's that sinks, an evening's that still rises."""
    name = plain_name(name)
    before, now, after = _heights_deg(sun)
    clock = f"time = {sun.time.isoformat()} has the sun {now:.0f} deg up"
    if LOW.search(name) and now > LOW_DEG:
        yield f"{clock}, high for what its name calls low: is the hour or its offset wrong?"
    elif RISING.search(name) and not FALLING.search(name) and before > now > after:
        yield f"{clock} and sinking, against the morning in its name: is the hour or its offset wrong?"
    elif FALLING.search(name) and not RISING.search(name) and before < now < after:
        yield f"{clock} and still rising, against the end of the day in its name: is the hour or its offset wrong?"


def _heights_deg(sun: Sun) -> list[float]:
    """The sun's height an hour before, at its time, and an hour after."""
    moments = [sun.time - NEAR_NOON, sun.time, sun.time + NEAR_NOON]
    return [float(height) for height in sun_in_sky(moments, site_of(sun)).height_deg]


@lru_cache(maxsize=64)
def _is_up(latitude_deg: float, longitude_deg: float, time: dt.datetime) -> bool:
    sun = Sun(latitude_deg=latitude_deg, longitude_deg=longitude_deg, time=time, camera_heading_deg=0.0)
    return light_place(Light(name="sun", sun=sun)).is_up
