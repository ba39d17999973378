"""Settings -> the table of a lens with its rows, and what has to be asked. Wrong only to the safe side: wider and deeper counts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from scenes.lens_data.cross_checks import say_what_contradicts
from scenes.lens_data.fields import FieldCase, half_field, scene_distortion
from scenes.lens_data.given import Given, Told, insist_on_numbers, insist_on_sense
from scenes.lens_data.lacking import insist_on_all
from scenes.lens_data.lens_values import (
    camera_values,
    focal_of_zoom_mm,
    insist_on_one_lens,
    lens_values,
    one_value,
    say_what_is_left,
    say_where_rows_end,
)
from scenes.lens_data.pupil import depth_bounds_mm, travel_bounds_mm, written_depth
from scenes.lens_data.reading import Picture, Reading, refusal
from scenes.lens_data.settings import Setting, settings_of
from scenes.scene_file.messages import plain, shown

ROW_NAMES = (
    "focus_mm",
    "pupil_from_sensor_mm",
    "pupil_behind_front_mm",
    "front_travel_mm",
    "pinhole_mm",
    "polynomial",
    "projection_mm",
    "half_field_deg",
    "half_field_vertical_deg",
    "pupil_magnification",
)
ZOOM_NAMES = ("zoom", "nominal_mm", "effective_mm")


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


def lens_table(readings: Sequence[Reading], given: Given) -> LensTable:
    """The lens that readings and a person's own measures describe; SceneError with one sentence where they cannot."""
    told = Told()
    insist_on_numbers(given)
    for reading in readings:
        insist_on_sense(reading)
    insist_on_one_lens(readings)
    insist_on_all(readings, given)
    settings = settings_of(readings)
    case = _case(readings, given, told)
    zooms = 1 + max(setting.zoom for setting in settings)
    focal = [focal_of_zoom_mm([s for s in settings if s.zoom == zoom], readings, zooms, told, given) for zoom in range(zooms)]
    rows = tuple(_row(setting, focal[setting.zoom], zooms, case) for setting in settings)
    _insist_on_whole_rows(rows, readings[0].source)
    _insist_on_focus_ahead(rows, readings[0].source, given)
    if any(len(setting.readings) > 1 for setting in settings):
        told.say("samples of the same setting are merged into one row: widest field, range of pupil depths")
    say_what_is_left(readings, case, focal[0], told)
    say_what_contradicts(readings, case, told)
    say_where_rows_end(settings, given, told)
    for line in dict.fromkeys(line for reading in readings for line in reading.remarked):
        told.say(
            f"{shown(line)} is a remark with the values of a row, and left out: has it lost its line end? If it is a row, take "
            "the # and the words away"
        )
    values, notes = lens_values(readings, case, focal)
    camera = camera_values(readings, case, told)
    return LensTable(values=values, notes=notes, rows=_without_idle_travel(rows), camera=camera, cautions=tuple(told.cautions))


def _case(readings: Sequence[Reading], given: Given, told: Told) -> FieldCase:
    width, height = _picture_mm(readings, given, told)
    squeeze = _squeeze(readings, given, told)
    picture = Picture(width_mm=width, height_mm=height) if width is not None and height is not None else None
    bent = scene_distortion(readings, picture, squeeze, told)
    return FieldCase(
        width_mm=width,
        height_mm=height,
        squeeze=squeeze,
        terms=None if bent is None else bent.terms,
        given=given,
        told=told,
    )


def _squeeze(readings: Sequence[Reading], given: Given, told: Told) -> float:
    read = one_value(readings, "squeeze")
    if read is None and given.squeeze is None and any(reading.pinhole_mm is not None for reading in readings):
        told.say(
            "no squeeze in the files, so the lens is treated as spherical; a desqueezed frame does not state one either: for an "
            "anamorphic lens give --squeeze"
        )
    if read is not None and given.squeeze is not None and abs(read / given.squeeze - 1.0) > 0.01:
        raise refusal(
            readings[0].source,
            "squeeze",
            f"must be one, got {plain(read)} in the samples and {plain(given.squeeze)} from --squeeze; leave --squeeze out, or "
            "name the right lens's files",
        )
    return given.squeeze or read or 1.0


def _picture_mm(readings: Sequence[Reading], given: Given, told: Told) -> tuple[float | None, float | None]:
    """Width and height of the recorded picture [mm]: as given, else the active area that the samples name."""
    read = (one_value(readings, "width_mm"), one_value(readings, "height_mm"))
    for side, name in zip(read, ("width", "height"), strict=True):
        if side is not None and not side > 0.0:
            raise refusal(readings[0].source, f"the picture's {name}", f"must be more than 0 mm, got {plain(side)}")
    if given.width_mm is None and read[0] is not None:
        told.say(
            f"picture width taken as {plain(read[0])} mm, the active area in the files; if you record more than that, the fields "
            "are too narrow: give --width-mm and --height-mm"
        )
    return given.width_mm or read[0], given.height_mm or read[1]


def _row(setting: Setting, focal_mm: float | None, zooms: int, case: FieldCase) -> Row:
    values: dict[str, Any] = {}
    if zooms > 1:
        values["focal_mm"] = round(_needed_focal_mm(setting, focal_mm), 3)
    values["focus_mm"] = "infinity" if math.isinf(setting.focus_mm) else round(setting.focus_mm, 1)
    if (depth := depth_bounds_mm(setting, case.given, zooms, case.told)) is not None:
        values["pupil_behind_front_mm"] = written_depth(depth)
    if (travel := travel_bounds_mm(setting, case.given, zooms)) is not None:
        values["front_travel_mm"] = travel[1]  # the farther forward, the nearer the plane in focus: the wider cone
    if (field := half_field(setting, focal_mm, case)) is not None:
        values["half_field_deg"] = field
    if (magnification := one_value(setting.readings, "pupil_magnification")) is not None:
        values["pupil_magnification"] = magnification
    return Row(values=values, note=f"from {_counted(setting)}: {', '.join(_keys(setting, zooms))}")


def _keys(setting: Setting, zooms: int) -> list[str]:
    """The source's keys that a row rests on."""
    names = (*ROW_NAMES, *(ZOOM_NAMES if zooms > 1 else ()))
    return sorted({reading.keys[name] for reading in setting.readings for name in names if name in reading.keys})


def _needed_focal_mm(setting: Setting, focal_mm: float | None) -> float:
    if focal_mm is None:
        raise refusal(
            setting.readings[0].source, "", "does not tell the focal length of each zoom position; give focal_mm in a table"
        )
    return focal_mm


def _counted(setting: Setting) -> str:
    first = setting.readings[0].source
    return first if len(setting.readings) == 1 else f"{first} and {len(setting.readings) - 1} more"


def _insist_on_whole_rows(rows: Sequence[Row], source: str) -> None:
    """What one row gives, every row must give."""
    for key in dict.fromkeys(key for row in rows for key in row.values):
        if lacking := [row for row in rows if key not in row.values]:
            raise refusal(
                source,
                "",
                f"tells {key} at some settings only; at focus {lacking[0].values['focus_mm']} it does not: add it there, or "
                "leave those samples out",
            )
    if len({isinstance(row.values.get("half_field_deg"), dict) for row in rows}) > 1:
        raise refusal(source, "half_field_vertical_deg", "must be told at all settings or at none; add it, or leave the column out")
    if "pupil_behind_front_mm" not in rows[0].values:
        raise refusal(
            source,
            "",
            "does not say where the entrance pupil stands; measure it by parallax and give pupil_behind_front_mm in a table",
        )


def _insist_on_focus_ahead(rows: Sequence[Row], source: str, given: Given) -> None:
    """The plane in focus lies ahead of the front rim."""
    for row in rows:
        focus, length = row.values["focus_mm"], (given.front_to_sensor_mm or 0.0) + row.values.get("front_travel_mm", 0.0)
        if focus != "infinity" and focus <= length:
            raise refusal(
                source,
                "",
                f"has a focus of {plain(focus)} mm, which lies in a lens {plain(length)} mm long; it counts from the image "
                "plane, and files "
                "have it in metres: check where it was measured from",
            )


def _without_idle_travel(rows: tuple[Row, ...]) -> tuple[Row, ...]:
    """The rows as they are, or without the travel of a front that stands still."""
    if any(row.values.get("front_travel_mm") for row in rows):
        return rows
    return tuple(
        Row(values={key: value for key, value in row.values.items() if key != "front_travel_mm"}, note=row.note) for row in rows
    )


def asked_words(table: LensTable) -> Iterator[str]:
    """The cautions as sentences, the first letter large."""
    for caution in table.cautions:
        yield caution[0].upper() + caution[1:] + "."
