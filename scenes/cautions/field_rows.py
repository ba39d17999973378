"""Half fields of state rows that look like slips: narrower than the focal length has them, or out of line with the other rows.

A narrower field is the dangerous one: what it leaves out is not looked at. Faults, from a tenth on: scenes/rig/stated_field.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from raytrace.optics.camera import PixelGrid
from raytrace.optics.projection import distort_radius
from raytrace.optics.zoom import StateRow
from scenes.cautions.contradictions import PINCUSHION_SHARE as FAULT_SHARE
from scenes.cautions.lens_limits import narrower_words
from scenes.cautions.runs import LEAST_ROWS, Run
from scenes.rig.stated_field import HONEST_SHARE, edges_mm, rows_of
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.camera import Camera
from scenes.scene_file.tables.lens import Lens, focal_lengths

# Design focal lengths of nine patents are at most 1.032 times what is engraved (US 2019/0265441: 51.1 for 50; US 7,359,125: 14.4
# for 14); pincushion takes another 3 % of the tangent at most where no distortion is given (common practice).
NARROW_SHARE = 1.07
OFF_SHARE = 0.04  # of the tangent: half fields are measured to a hundredth or two
SQUEEZED_SHARE = 1.08  # the same where a lens squeezes: real squeezes differ a little from the marked ones too (common practice)
WAYS_SHARE = 1.06  # barrel distortion takes 3 % more at the sides than at top and bottom (common practice)
WIDE_SHARE, PINCUSHION_SHARE = 0.7, 0.025  # of the picture's diagonal; lenses so wide have less pincushion (common practice)
ACROSS, UPRIGHT, BOTH = "horizontal", "vertical", "horizontal against vertical"


def field_row_words(lens: Lens, camera: Camera) -> Iterator[str]:
    """One caution for half fields that focal length and format, or the picture's shape, speak against."""
    rows = _rows(lens)
    if not [*narrower_words(lens), *field_run_words(lens)]:
        yield from ([*_narrow_words(lens, camera, rows)] or [*_ways_words(lens, camera, rows)])[:1]


def field_run_words(lens: Lens) -> Iterator[str]:
    """One caution for a half field, or the ratio of the two, that is out of line with those at other focus distances."""
    if not any(narrower_words(lens)):
        yield from [*_run_words(_rows(lens))][:1]


def pincushion_words(lens: Lens, camera: Camera) -> Iterator[str]:
    """Pincushion of a wide lens, which narrows its field: wide lenses have barrel, or next to none."""
    diagonal_mm = math.hypot(camera.width_mm, camera.height_mm)
    is_wide = focal_lengths(lens)[-1] <= WIDE_SHARE * diagonal_mm and lens.projection == "rectilinear"
    if "distortion" in lens.confirmed or lens.prescription is not None or not is_wide:
        return
    radii = np.linspace(0.1, 1.0, 10)
    most = float(np.max(distort_radius(radii, lens.distortion) / radii)) - 1.0
    if PINCUSHION_SHARE < most <= FAULT_SHARE:
        values = ", ".join(plain(value) for value in lens.distortion)
        yield (
            f"distortion = [{values}] is pincushion of {100 * most:.1f} %, which makes the field narrower, of focal_mm = "
            f"{plain(focal_lengths(lens)[-1])}: lenses so wide have barrel, which is negative, or next to none; is a sign turned?"
        )


def _rows(lens: Lens) -> list[StateRow]:
    if "half_field_deg" in lens.confirmed or lens.prescription is not None:
        return []
    return [row for row in rows_of(lens) if row.half_field_deg is not None]


def _narrow_words(lens: Lens, camera: Camera, rows: Sequence[StateRow]) -> Iterator[str]:
    """A field at infinity that is narrower than focal length and format have it, by more than lenses differ from their marks."""
    across_mm, upright_mm = _edges_mm(lens, camera)
    across_mm *= lens.squeeze
    for row in rows if lens.projection == "rectilinear" else ():
        stated = ((row.half_field_deg, across_mm, "width"), (row.half_field_up_deg, upright_mm, "height"))
        for deg, edge_mm, side in stated:
            if deg is None or not math.isinf(row.focus_mm):
                continue
            share = edge_mm / row.focal_mm / _tan(deg)
            most = SQUEEZED_SHARE if side == "width" and lens.squeeze > 1.0 else NARROW_SHARE
            if most < share <= HONEST_SHARE:
                says = f"focal_mm = {plain(row.focal_mm)} and the picture's {side} say {_deg(edge_mm / row.focal_mm):.1f} deg"
                yield (
                    f"half_field_deg = {plain(deg)} at infinity is narrower than focal length and picture have it: {says}, and "
                    "real lenses differ less from their marks; measure it again"
                )


def _run_words(rows: Sequence[StateRow]) -> Iterator[str]:
    for focal_mm in dict.fromkeys(row.focal_mm for row in rows):
        some = tuple(sorted((row for row in rows if row.focal_mm == focal_mm), key=lambda row: -row.focus_mm))
        for way in (ACROSS, UPRIGHT, BOTH) if len(some) >= LEAST_ROWS else ():
            tangents = tuple(_value(row, way) for row in some)
            if None not in tangents:
                values = tuple(tangent or 0.0 for tangent in tangents)
                places = tuple(1.0 / row.focus_mm for row in some)
                yield from _out_of_line_words(Run(rows=some, places=places, values=values, way=way))


def _out_of_line_words(run: Run) -> Iterator[str]:
    off = [run.off(place) / run.without(place).mean for place in range(len(run.rows))]
    place = max(range(len(off)), key=lambda number: off[number])
    if off[place] > OFF_SHARE:
        row = run.rows[place]
        at = "infinity" if math.isinf(row.focus_mm) else f"focus {plain(row.focus_mm)} mm"
        others = ", ".join(_stated(other, run.way) for other in run.without(place).rows)
        yield (
            f"half_field_deg = {_stated(row, run.way)} at {at} is out of line with the rows beside it, {others}: fields run "
            "smoothly with focus, one way or the other; is a digit wrong? Measure them again"
        )


def _ways_words(lens: Lens, camera: Camera, rows: Sequence[StateRow]) -> Iterator[str]:
    """Half fields across and upright of a spherical lens that no picture of this shape has."""
    across_mm, upright_mm = _edges_mm(lens, camera)
    for row in rows if lens.squeeze == 1.0 and lens.projection == "rectilinear" else ():
        ratio = _value(row, BOTH)
        if ratio is None or 1 / WAYS_SHARE <= ratio * upright_mm / across_mm <= WAYS_SHARE:
            continue
        at = "infinity" if math.isinf(row.focus_mm) else f"focus {plain(row.focus_mm)} mm"
        yield (
            f"half_field_deg = {_stated(row, BOTH)} at {at} speaks against the picture, {plain(camera.width_mm)} x "
            f"{plain(camera.height_mm)} mm: with the one across the upright one would be "
            f"{_deg(_tan(row.half_field_deg or 0.0) * upright_mm / across_mm):.1f}; measure both again"
        )


def _edges_mm(lens: Lens, camera: Camera) -> tuple[float, float]:
    columns, lines = camera.pixels
    return edges_mm(lens, PixelGrid(width_mm=camera.width_mm, height_mm=camera.height_mm, columns=columns, rows=lines))


def _value(row: StateRow, way: str) -> float | None:
    """What runs smoothly: the tangent of a half field, or the ratio of both."""
    across, upright = row.half_field_deg, row.half_field_up_deg
    if way == BOTH:
        return None if across is None or upright is None else _tan(across) / _tan(upright)
    deg = across if way == ACROSS else upright
    return None if deg is None else _tan(deg)


def _stated(row: StateRow, way: str) -> str:
    across, upright = plain(row.half_field_deg or 0.0), plain(row.half_field_up_deg or 0.0)
    if way == BOTH:
        return f"{across} horizontal, {upright} vertical"
    two = row.half_field_up_deg is not None
    return f"{across if way == ACROSS else upright}{f' {way}' if two else ''}"


def _tan(angle_deg: float) -> float:
    return math.tan(math.radians(angle_deg))


def _deg(tangent: float) -> float:
    return math.degrees(math.atan(tangent))
