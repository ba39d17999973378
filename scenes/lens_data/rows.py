"""Settings -> the table of a lens with its rows, and what has to be asked. Wrong only to the safe side: wider and deeper counts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from scenes.lens_data.distortion import SMALL_SHARE, FittedDistortion, fitted, undistorted_mm
from scenes.lens_data.reading import Reading, refusal
from scenes.lens_data.settings import Setting, settings_of
from scenes.scene_file.messages import plain

MOST_APART = 0.15  # of a half field's tangent against the one that the focal length gives
SPREAD_MM = 0.1  # depths of one setting that differ by less are one
FAR_FOCUS_MM = 20_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What no standard holds, from the person who has the lens in hand. `confirmed`: keys that were checked although numbers disagree."""

    name: str
    f_number: float | None = None
    front_diameter_mm: float | None = None
    front_to_sensor_mm: float | None = None
    front_travel_mm: float | None = None
    front_glass_mm: float | None = None
    close_focus_mm: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    confirmed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A row of the lens, by the scene's keys, and where each value comes from."""

    values: dict[str, Any]
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LensTable:
    """A lens by the scene's keys, its rows, where its values come from; cautions and what the camera of the samples was."""

    values: dict[str, Any]
    notes: dict[str, str]
    rows: tuple[Row, ...]
    camera: dict[str, Any]
    cautions: tuple[str, ...]


@dataclass(slots=True)
class _Told:
    cautions: list[str] = field(default_factory=list)

    def say(self, sentence: str) -> None:
        if sentence not in self.cautions:
            self.cautions.append(sentence)


def lens_table(readings: Sequence[Reading], given: Given) -> LensTable:
    """The lens that readings and a person's own measures describe; SceneError with one sentence where they cannot."""
    first, told = readings[0], _Told()
    for reading in readings:
        _insist_on_sense(reading)
    settings = settings_of(readings)
    zooms = 1 + max(setting.zoom for setting in settings)
    squeeze = _one(readings, "squeeze") or 1.0
    width, height = _picture_mm(readings, given, told)
    bent = _distortion(readings, width, height, squeeze, told)
    focal = [_focal_mm([s for s in settings if s.zoom == zoom], told) for zoom in range(zooms)]
    rows = tuple(
        _row(
            setting,
            given,
            focal[setting.zoom],
            zooms,
            _field(setting, given, width, squeeze, bent, focal[setting.zoom], told),
            told,
        )
        for setting in settings
    )
    _insist_on_whole_rows(rows, first.source)
    _say_what_is_left(readings, width, height, told)
    values, notes = _lens(readings, given, focal, squeeze, bent, told)
    return LensTable(values=values, notes=notes, rows=rows, camera=_camera(readings, width, height), cautions=tuple(told.cautions))


def _insist_on_sense(reading: Reading) -> None:
    if reading.squeeze is not None and reading.squeeze < 1.0:
        raise refusal(
            reading.source,
            reading.keys["squeeze"],
            f"must be 1 or more, the height over the width of a square's picture, got {plain(reading.squeeze)}; "
            f"its writer may have turned it over: {plain(1 / reading.squeeze)}",
        )
    if reading.t_number is not None and reading.f_number is not None and reading.t_number < reading.f_number - 1e-6:
        raise refusal(
            reading.source,
            reading.keys["t_number"],
            f"must not be below the f-number {plain(reading.f_number)}, since no lens lets more through than falls on it, got "
            f"{plain(reading.t_number)}; the two may be swapped",
        )


def _one(readings: Sequence[Reading], name: str) -> float | None:
    values = [value for reading in readings if (value := getattr(reading, name)) is not None]
    if values and max(values) - min(values) > 1e-6 * max(abs(max(values)), 1.0):
        raise refusal(
            readings[0].source,
            readings[0].keys.get(name, name),
            f"must be one and the same in all samples, got {plain(min(values))} to {plain(max(values))}; name one lens's files only",
        )
    return values[0] if values else None


def _picture_mm(readings: Sequence[Reading], given: Given, told: _Told) -> tuple[float | None, float | None]:
    """Width and height of the recorded picture [mm]: as given, else the active area that the samples name."""
    read = (_one(readings, "width_mm"), _one(readings, "height_mm"))
    if given.width_mm is None and read[0] is not None:
        told.say(
            f"the picture is taken as {plain(read[0])} mm wide, the samples' active area: where you record less of it, fields come out "
            "too wide, the safe side; where you record more, too narrow: give --width-mm and --height-mm"
        )
    return given.width_mm or read[0], given.height_mm or read[1]


def _distortion(
    readings: Sequence[Reading], width: float | None, height: float | None, squeeze: float, told: _Told
) -> FittedDistortion | None:
    """The samples' distortion as a scene has it: that which puts the corner farthest out, where they differ."""
    polynomials = list(dict.fromkeys(reading.polynomial for reading in readings if reading.polynomial is not None))
    if not polynomials:
        return None
    source = readings[0].source
    if width is None or height is None:
        raise refusal(source, "lens.distortion", "needs the picture's size; give --width-mm and --height-mm")
    half = math.hypot(width, height) / 2
    found = [(one, fitted(one, half)) for one in polynomials]
    for polynomial, fit in found:
        if fit is None:
            raise refusal(
                source,
                "lens.distortion",
                f"must turn every point of a picture of {plain(2 * half)} mm across corners into another, but its terms fold the picture "
                "over; radii are in mm: check the terms' units",
            )
        if polynomial.shift_mm(half) > SMALL_SHARE * half:
            told.say(
                f"the distortion's tangential terms move the corner by up to {polynomial.shift_mm(half):.2f} mm and are left out: keep "
                "that much more room on every side"
            )
    polynomial, fit = max(found, key=lambda one: undistorted_mm(one[0], half) / undistorted_mm(one[0], width / 2))
    assert fit is not None
    if fit.widened > 1.0 + SMALL_SHARE or fit.residual_share > SMALL_SHARE:
        told.say(
            f"two terms follow the distortion to {fit.residual_share * half:.2f} mm in the picture; fields are widened by "
            f"{(fit.widened - 1) * 100:.1f} % for it"
        )
    if len(polynomials) > 1:
        told.say("distortion changes from sample to sample: the one that puts the corner farthest out is used for all")
    if squeeze != 1.0:
        told.say("no standard says yet how squeeze and distortion go together: the wider field is used; measure it to be sure")
    return fit


def _focal_mm(settings: Sequence[Setting], told: _Told) -> float | None:
    """The focal length of a zoom position: the larger of the engraved one and of the one measured at the farthest focus."""
    farthest = max(settings, key=lambda setting: setting.focus_mm)
    stated = [value for s in settings for name in ("effective_mm", "nominal_mm") for value in s.values(name)]
    measured = farthest.values("pinhole_mm") if farthest.focus_mm >= FAR_FOCUS_MM else []
    if not stated and not measured and (near := farthest.values("pinhole_mm")):
        told.say(
            f"the focal length is that of the pinhole at {plain(farthest.focus_mm)} mm, the farthest focus there is: the engraved one may "
            "be longer, and the pupil then larger; check focal_mm"
        )
        return max(near)
    return max([*stated, *measured], default=None)


def _field(
    setting: Setting,
    given: Given,
    width: float | None,
    squeeze: float,
    bent: FittedDistortion | None,
    focal: float | None,
    told: _Told,
) -> Any:
    """Half field at the edge of the picture's width [deg], the widest of a setting; None where nothing tells it."""
    upright = setting.values("half_field_vertical_deg")
    if across := setting.values("half_field_deg"):
        return {"horizontal": max(across), "vertical": max(upright)} if upright else max(across)
    fields = [
        _pinhole_field(reading, width, squeeze, bent, given, focal)
        for reading in setting.readings
        if reading.pinhole_mm is not None
    ]
    return math.ceil(max(fields) * 1000.0) / 1000.0 if fields else None


def _pinhole_field(
    reading: Reading, width: float | None, squeeze: float, bent: FittedDistortion | None, given: Given, focal: float | None
) -> float:
    """Atan of the edge without distortion over the pinhole's focal length. Source: OpenLensIO 1.0.0, 1.1 and equations 2 to 5."""
    assert reading.pinhole_mm is not None
    key = reading.keys["pinhole_mm"]
    if width is None:
        raise refusal(reading.source, key, "says the field only with the picture's width; give --width-mm")
    if not reading.pinhole_mm > 0.0:
        raise refusal(reading.source, key, f"must be more than 0, got {plain(reading.pinhole_mm)}")
    edge = undistorted_mm(reading.polynomial, width / 2)
    if squeeze != 1.0:
        edge = max(edge, width / 2)
    off_mm = abs(reading.projection_mm[0]) if reading.projection_mm else 0.0
    tangent = squeeze * (edge + (off_mm if off_mm > SMALL_SHARE * width / 2 else 0.0)) * (bent.widened if bent else 1.0)
    tangent /= reading.pinhole_mm
    _insist_on_likely_field(reading, tangent, width, squeeze, focal, given)
    return math.degrees(math.atan(tangent))


def _insist_on_likely_field(
    reading: Reading, tangent: float, width: float, squeeze: float, focal: float | None, given: Given
) -> None:
    if focal is None or "half_field_deg" in given.confirmed:
        return
    plain_tangent = squeeze * width / 2 / focal
    if abs(tangent / plain_tangent - 1.0) > MOST_APART:
        raise refusal(
            reading.source,
            reading.keys["pinhole_mm"],
            f"gives a half field of {math.degrees(math.atan(tangent)):.1f} deg, where {plain(focal)} mm and a picture {plain(width)} mm "
            f"wide give {math.degrees(math.atan(plain_tangent)):.1f}; one of the three is likely wrong: if you have checked them, say "
            "so with --confirmed half_field_deg",
        )


def _row(setting: Setting, given: Given, focal: float | None, zooms: int, half_field: Any, told: _Told) -> Row:
    values: dict[str, Any] = {}
    if zooms > 1:
        if focal is None:
            raise refusal(
                setting.readings[0].source, "", "does not tell the focal length of each zoom position; give focal_mm in a table"
            )
        values["focal_mm"] = round(focal, 3)
    values["focus_mm"] = "infinity" if math.isinf(setting.focus_mm) else round(setting.focus_mm, 1)
    travel = _travel_mm(setting, given)
    depths = [_depth_mm(reading, given, travel or 0.0, told) for reading in setting.readings]
    known = [depth for depth in depths if depth is not None]
    if known:
        least, most = math.floor(min(known) * 100) / 100, math.ceil(max(known) * 100) / 100
        values["pupil_behind_front_mm"] = round(float(np.mean(known)), 2) if most - least <= SPREAD_MM else [least, most]
    if travel is not None:
        values["front_travel_mm"] = travel
    if half_field is not None:
        values["half_field_deg"] = half_field
    if magnification := setting.values("pupil_magnification"):
        values["pupil_magnification"] = magnification[0]
    keys = {key for reading in setting.readings for key in reading.keys.values()}
    return Row(values=values, note=f"from {_counted(setting)}: {', '.join(sorted(keys))}")


def _counted(setting: Setting) -> str:
    first = setting.readings[0].source
    return first if len(setting.readings) == 1 else f"{first} and {len(setting.readings) - 1} more"


def _travel_mm(setting: Setting, given: Given) -> float | None:
    if travel := setting.values("front_travel_mm"):
        return travel[0]
    return given.front_travel_mm if setting.focus_mm < math.inf and given.front_travel_mm is not None else None


def _depth_mm(reading: Reading, given: Given, travel: float, told: _Told) -> float | None:
    """How far the entrance pupil lies behind the front rim [mm]: front to sensor and travel less its way from the sensor."""
    if reading.pupil_behind_front_mm is not None:
        return reading.pupil_behind_front_mm
    if reading.pupil_from_sensor_mm is None:
        return None
    key = reading.keys["pupil_from_sensor_mm"]
    if given.front_to_sensor_mm is None:
        raise refusal(
            reading.source,
            key,
            "says where the entrance pupil stands from the sensor, and no standard holds the front rim; measure from front rim to image "
            "plane at infinity and give --front-to-sensor-mm",
        )
    length = given.front_to_sensor_mm + travel
    depth = length - reading.pupil_from_sensor_mm
    if not 0.0 <= depth <= length and "pupil_behind_front_mm" not in given.confirmed:
        raise refusal(
            reading.source,
            key,
            f"puts the entrance pupil {plain(round(abs(depth), 2))} mm {'ahead of the front rim' if depth < 0 else 'behind the front'}, "
            f"outside of a lens {plain(length)} mm long; its unit or sign may be wrong, or front_to_sensor_mm: if you have checked them, "
            "say so with --confirmed pupil_behind_front_mm",
        )
    told.say(
        "the pupil is that on the axis: no standard says how it walks with field, so keep the room that a fixed pupil asks for"
    )
    return depth


def _insist_on_whole_rows(rows: Sequence[Row], source: str) -> None:
    """What one row gives, every row must give."""
    for key in dict.fromkeys(key for row in rows for key in row.values):
        lacking = [row for row in rows if key not in row.values]
        if key == "front_travel_mm":
            for row in lacking:
                row.values[key] = 0.0
        elif lacking:
            raise refusal(
                source,
                "",
                f"tells {key} at some settings only; at focus {lacking[0].values['focus_mm']} it does not: add it there, or leave those "
                "samples out",
            )
    if not any("pupil_behind_front_mm" in row.values for row in rows):
        raise refusal(
            source,
            "",
            "does not say where the entrance pupil stands; measure it by parallax and give pupil_behind_front_mm in a table",
        )


def _lens(
    readings: Sequence[Reading],
    given: Given,
    focal: Sequence[float | None],
    squeeze: float,
    bent: FittedDistortion | None,
    told: _Told,
) -> tuple[dict[str, Any], dict[str, str]]:
    source = readings[0].source
    widest = [reading.f_number for reading in readings if reading.f_number is not None]
    if given.f_number is None:
        least = f"; the widest of the samples is f/{plain(min(widest))}, which may be stopped down" if widest else ""
        raise refusal(source, "", f"does not say the lens's widest stop{least}; give --f-number")
    if widest and min(widest) < given.f_number - 1e-6:
        raise refusal(
            source,
            "",
            f"has a sample at f/{plain(min(widest))}, wider than the f/{plain(given.f_number)} given as the widest; give the wider",
        )
    if given.front_diameter_mm is None:
        raise refusal(
            source, "", "does not hold the outside of the barrel at the front, nor does any standard; give --front-diameter-mm"
        )
    if focal[0] is None:
        raise refusal(source, "", "does not tell the focal length; give focal_mm in a table")
    values: dict[str, Any] = {"name": given.name}
    notes: dict[str, str] = {}
    if len(focal) == 1:
        values["focal_mm"] = round(focal[0], 3)
        notes["focal_mm"] = "the larger of the engraved one and of the pinhole's at the farthest focus"
    values["f_number"] = given.f_number
    values["front_diameter_mm"] = given.front_diameter_mm
    for key in ("front_glass_mm", "front_to_sensor_mm", "close_focus_mm"):
        if (value := getattr(given, key)) is not None:
            values[key] = value
    if squeeze != 1.0:
        values["squeeze"] = squeeze
        told.say(
            "one pupil depth is given for a lens that squeezes: metadata does not say of which direction; measure both, and give "
            "pupil_behind_front_mm = { horizontal = ..., vertical = ... }"
        )
    if bent is not None:
        values["distortion"] = list(bent.terms)
        notes["distortion"] = "fitted to the metadata's terms"
    if given.confirmed:
        values["confirmed"] = list(given.confirmed)
    return values, notes


def _say_what_is_left(readings: Sequence[Reading], width: float | None, height: float | None, told: _Told) -> None:
    half = math.hypot(width or 0.0, height or 0.0) / 2
    for reading in readings:
        if reading.focus_mm is not None and math.isfinite(reading.focus_mm) and "focus_mm" in reading.keys:
            told.say(
                "focus is taken as measured from the image plane; the standards do not say from where: check one distance with a tape"
            )
        if reading.distortion_mm and half and math.hypot(*reading.distortion_mm) > 0.02 * half:
            told.say(
                f"the distortion's centre is {math.hypot(*reading.distortion_mm):.2f} mm off the projection's: a scene has one centre for "
                "both"
            )
        if reading.falloff:
            told.say("exposure fall-off is the lens's own and none of the box's: it is left out")
    if max(reading.focus_mm or 0.0 for reading in readings) < FAR_FOCUS_MM:
        told.say("no sample is at infinity: what lies farther than the farthest row is taken as that row has it")


def _camera(readings: Sequence[Reading], width: float | None, height: float | None) -> dict[str, Any]:
    """What the samples say of the camera, by the scene's keys."""
    found: dict[str, Any] = {"width_mm": width, "height_mm": height}
    first = readings[0]
    if first.pixels:
        found["pixels"] = list(first.pixels)
    if first.projection_mm and any(first.projection_mm):
        found["offset_mm"] = [round(-first.projection_mm[0], 4), round(first.projection_mm[1], 4)]
    elif first.offset_mm and any(first.offset_mm):
        found["offset_mm"] = [round(value, 4) for value in first.offset_mm]
    return {key: value for key, value in found.items() if value is not None}


def asked_words(table: LensTable) -> Iterator[str]:
    """The cautions as sentences, the first letter large."""
    for caution in table.cautions:
        yield caution[0].upper() + caution[1:] + "."
