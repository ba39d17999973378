"""What holds for a lens as a whole: its focal length, its widest stop, its measures; and what of its metadata is left out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from scenes.lens_data.fields import MOST_APART, FieldCase, rounded_up
from scenes.lens_data.given import Given, Told
from scenes.lens_data.reading import Reading, refusal
from scenes.lens_data.settings import Setting
from scenes.scene_file.messages import plain, shown

FAR_FOCUS_MM = 20_000.0
LEAST_SURE_M = 20_000.0  # from here on a number is infinity, whatever its unit: 20 m in mm
HELD_SHARE = 0.9  # of the nearest row's focus: from there on its values are held without a measure
IDENTITY = ("make", "model", "serial_number")
OWN_MEASURES = ("front_glass_mm", "front_to_sensor_mm", "close_focus_mm")


def one_value(readings: Sequence[Reading], name: str) -> float | None:
    """The value that all readings agree on; None where none tells it, SceneError where they differ."""
    told = [(value, reading) for reading in readings if (value := getattr(reading, name)) is not None]
    values = [value for value, _ in told]
    if values and max(values) - min(values) > 1e-6 * max(abs(max(values)), 1.0):
        raise refusal(
            told[0][1].source,
            told[0][1].keys.get(name, name),
            f"must be one and the same in all samples, got {plain(min(values))} to {plain(max(values))}; name one lens's files "
            "only",
        )
    return values[0] if values else None


def insist_on_one_lens(readings: Sequence[Reading]) -> None:
    """SceneError where samples name lenses of two makes, models or serial numbers: rows of both would become one lens."""
    for name in IDENTITY:
        first: dict[str, Reading] = {}  # by the key that names it: two standards may write a name differently
        for reading in readings:
            if (told := getattr(reading, name)) is None or not told.strip():
                continue
            stated = getattr(first.setdefault(reading.keys[name], reading), name)
            if _same_name(told) != _same_name(stated):
                raise refusal(
                    reading.source,
                    reading.keys[name],
                    f"must be one and the same in all samples, got those of two lenses, {shown(stated)} and {shown(told)}; "
                    "name one lens's files only",
                )


def _same_name(name: str) -> str:
    return " ".join(name.split()).casefold()


def focal_of_zoom_mm(
    settings: Sequence[Setting], readings: Sequence[Reading], zooms: int, told: Told, given: Given
) -> float | None:
    """The focal length of a zoom position: the larger of the engraved one and of the one measured at the farthest focus.

    Of a zoom, an engraved focal length that is the same at all positions is none: the standard leaves it undefined.
    """
    engraved = {reading.nominal_mm for reading in readings if reading.nominal_mm is not None}
    names = ("effective_mm",) if zooms > 1 and len(engraved) == 1 else ("effective_mm", "nominal_mm")
    stated = [value for setting in settings for name in names for value in setting.values(name)]
    farthest = max(settings, key=lambda setting: setting.focus_mm)
    measured = farthest.values("pinhole_mm")
    if measured and (not stated or farthest.focus_mm >= FAR_FOCUS_MM):
        if stated and "half_field_deg" not in given.confirmed:
            _insist_on_one_focal(farthest, max(stated))
        stated += measured
        if farthest.focus_mm < FAR_FOCUS_MM:
            told.say(
                f"the focal length is that of the pinhole at {plain(farthest.focus_mm)} mm, the farthest focus there is: the "
                "engraved one "
                "may be longer, and the pupil then larger; check focal_mm"
            )
    if stated and not min(stated) > 0.0:
        raise refusal(settings[0].readings[0].source, "", f"must tell a focal length of more than 0 mm, got {plain(min(stated))}")
    return max(stated, default=None)


def _insist_on_one_focal(farthest: Setting, stated_mm: float) -> None:
    """A pinhole's focal length far longer than the engraved one, as where another lens's calibration is loaded, sees too little."""
    for reading in farthest.readings:
        if reading.pinhole_mm is not None and stated_mm > 0.0 and reading.pinhole_mm > (1.0 + MOST_APART) * stated_mm:
            raise refusal(
                reading.source,
                reading.keys["pinhole_mm"],
                f"says a focal length of {plain(reading.pinhole_mm)} mm at the farthest focus, where the lens is one of "
                f"{plain(stated_mm)} mm; one of the two is likely another lens's: if you have checked them, say so with "
                "--confirmed half_field_deg",
            )


def lens_values(
    readings: Sequence[Reading], case: FieldCase, focal: Sequence[float | None]
) -> tuple[dict[str, Any], dict[str, str]]:
    """The lens by the scene's keys, without its rows; and notes of where its values come from."""
    given, source = case.given, readings[0].source
    values: dict[str, Any] = {"name": given.name}
    notes: dict[str, str] = {}
    if len(focal) == 1:
        values["focal_mm"] = rounded_up(_needed_focal_mm(focal[0], source))
        notes["focal_mm"] = "the larger of the engraved one and of the pinhole's at the farthest focus"
    values["f_number"] = _widest_stop(readings, case)
    if given.front_diameter_mm is None:
        raise refusal(
            source, "", "does not hold the outside of the barrel at the front, nor does any standard; give --front-diameter-mm"
        )
    values["front_diameter_mm"] = given.front_diameter_mm
    values.update({key: value for key in OWN_MEASURES if (value := getattr(given, key)) is not None})
    if case.squeeze != 1.0:
        values["squeeze"] = case.squeeze
    if case.terms is not None:
        values["distortion"] = list(case.terms)
        notes["distortion"] = "fitted to the metadata's terms"
    if given.confirmed:
        values["confirmed"] = list(dict.fromkeys(given.confirmed))
    return values, notes


def _needed_focal_mm(focal_mm: float | None, source: str) -> float:
    if focal_mm is None:
        raise refusal(source, "", "does not tell the focal length; give focal_mm in a table")
    return focal_mm


def _widest_stop(readings: Sequence[Reading], case: FieldCase) -> float:
    """The widest f-number as given: samples hold the stop that was set. A T-stop is never below its f-number, so it bounds it."""
    source, given = readings[0].source, case.given.f_number
    stops = [stop for reading in readings for stop in (reading.f_number, reading.t_number) if stop is not None]
    f_stops = [reading.f_number for reading in readings if reading.f_number is not None]
    if given is None:
        least = f"; the widest of the samples is f/{plain(min(f_stops))}, which may be stopped down" if f_stops else ""
        raise refusal(source, "", f"does not say the lens's widest stop{least}; give --f-number")
    if stops and min(stops) < given - 1e-6:
        raise refusal(
            source,
            "",
            f"has a sample at {plain(min(stops))}, wider than the f/{plain(given)} given as the widest; give the wider f-number",
        )
    return given


def say_what_is_left(readings: Sequence[Reading], case: FieldCase, focal_mm: float | None, told: Told) -> None:
    """Cautions about what the metadata leaves open, or has and a scene does not take."""
    if any(math.isfinite(reading.focus_mm or math.inf) for reading in readings):
        told.say("focus distances are taken from the image plane; the standards do not say where they start: check one with a tape")
    taken = [
        raw for reading in readings if math.isinf(reading.focus_mm or 0.0) and math.isfinite(raw := reading.focus_raw_m or math.inf)
    ]
    if taken and min(taken) < LEAST_SURE_M:
        told.say(f"a focus of {plain(min(taken))} m is taken as infinity; if the files have it in mm, say so with --focus-in-mm")
    if max(reading.focus_mm or 0.0 for reading in readings) < FAR_FOCUS_MM:
        told.say("no sample is at infinity: beyond the farthest row, that row's values are used")
    if any(reading.pinhole_mm is not None for reading in readings):
        told.say("the files' lens model is rectilinear: measure the field of a fisheye")
        if case.terms is None:
            told.say("no distortion in the files: you said that the lens has none, so fields are those of a pinhole")
    elif all(reading.half_field_deg is None for reading in readings):
        told.say("no field in the files: at close focus it is a guess from the focal length")
        if case.terms is None and not case.given.no_distortion:
            told.say("no distortion in the files: barrel makes the field wider than the focal length says")
    if case.width_mm is None and any(reading.half_field_deg is not None for reading in readings):
        told.say(
            "half_field_deg is taken as the half field, from the lens axis to the edge of the frame: if it is the full field, "
            "halve it; with --width-mm it is held against the focal length"
        )
    if case.squeeze != 1.0:
        told.say(
            "one pupil depth for an anamorphic lens: the files do not say in which direction; measure both, and give "
            "pupil_behind_front_mm = { horizontal = ..., vertical = ... }"
        )
    _say_of_centre(readings, case, told)
    _say_of_falloff(readings, case, focal_mm, told)


def say_where_rows_end(settings: Sequence[Setting], given: Given, told: Told) -> None:
    """A caution where the rows of a zoom position end before the nearest focus, or go on past it.

    A row lost at the end leaves no other trace, and one that slipped there makes its neighbours look wrong.
    """
    nearest: dict[int, float] = {}
    for setting in settings:
        nearest[setting.zoom] = min(setting.focus_mm, nearest.get(setting.zoom, math.inf))
    last_mm, close_mm = max(nearest.values()), given.close_focus_mm
    first_mm = min(nearest.values())
    if close_mm is not None and first_mm < HELD_SHARE * close_mm:
        told.say(
            f"a row stands at focus {plain(first_mm)} mm, nearer than the {plain(close_mm)} mm that the lens focuses to: is it "
            "another focus, such as metres or a number with a point for thousands? Check it before any other row"
        )
    if close_mm is not None and close_mm < HELD_SHARE * last_mm:
        last = "infinity" if math.isinf(last_mm) else f"{plain(last_mm)} mm"
        told.say(
            f"{'the rows' if len(nearest) == 1 else 'rows of a zoom position'} end at {last}, while the lens focuses to "
            f"{plain(close_mm)} mm: nearer, the last one's pupil and field are used; is a row missing? Measure it there"
        )


def _say_of_centre(readings: Sequence[Reading], case: FieldCase, told: Told) -> None:
    off = max((math.hypot(*reading.distortion_mm) for reading in readings if reading.distortion_mm), default=0.0)
    if case.picture is not None and off > 0.02 * case.picture.half_diagonal_mm:
        told.say(f"the distortion's centre is {off:.2f} mm off the projection's: a scene has one centre for both")


def _say_of_falloff(readings: Sequence[Reading], case: FieldCase, focal_mm: float | None, told: Told) -> None:
    """The samples' own fall-off at the corner, beside the natural one, cos^4 of the field."""
    falloff = next((reading.falloff for reading in readings if reading.falloff is not None), None)
    if falloff is None:
        return
    words = "exposure fall-off is the lens's own and none of the box's: it is left out"
    if case.picture is not None and focal_mm is not None:
        radius = case.picture.half_diagonal_mm
        share = 1.0 - sum(a * radius ** (2 * n) for n, a in enumerate(falloff, 1))
        natural = math.cos(math.atan(radius / focal_mm)) ** 4
        words += f" (corner {share * 100:.0f} % by the samples, {natural * 100:.0f} % by cos^4 of the field)"
    told.say(words)


def camera_values(readings: Sequence[Reading], case: FieldCase, told: Told) -> dict[str, Any]:
    """What the samples say of the camera, by the scene's keys."""
    found: dict[str, Any] = {"width_mm": case.width_mm, "height_mm": case.height_mm}
    found["pixels"] = next((list(reading.pixels) for reading in readings if reading.pixels is not None), None)
    offsets = list(dict.fromkeys(offset for reading in readings if (offset := _offset_mm(reading)) is not None))
    if offsets and any(offsets[0]):
        found["offset_mm"] = list(offsets[0])
    if len(offsets) > 1:
        told.say("the picture's offset changes from sample to sample: the first one is written, fields hold the largest")
    return {key: _rounded(value) for key, value in found.items() if value is not None}


def _rounded(value: Any) -> Any:
    """A length without digits that nobody can measure."""
    return round(value, 4) if isinstance(value, float) else value


def _offset_mm(reading: Reading) -> tuple[float, float] | None:
    """The picture's middle off the lens's axis, (right, up): away from where the projection's centre lies, told right and down."""
    if reading.projection_mm is not None:
        right, down = reading.projection_mm
        return round(-right, 4) + 0.0, round(down, 4) + 0.0
    return None if reading.offset_mm is None else (round(reading.offset_mm[0], 4) + 0.0, round(reading.offset_mm[1], 4) + 0.0)
