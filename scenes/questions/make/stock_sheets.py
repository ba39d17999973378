"""Cutting plans: a sheet of stock with the flats where they are cut, and its cut list."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely

from geometry.arrays import FloatArray
from geometry.rings import chords
from scenes.questions.make.part_sheets import TIER_MM, dimension, draw_table
from scenes.questions.make.pen import CHAIN, NARROW, SMALL, TEXT, WIDE, Pen
from scenes.questions.make.report import OnSheet, Sheet
from scenes.questions.make.views import best_scale, centred
from scenes.runtime.page import counted
from scenes.scene_file.messages import plain
from scenes.sheets.page import Box

WIDTHS = (12.0, 52.0, 17.0, 17.0, 12.0)  # of the cut list's columns
BESIDE_MM = 300.0  # a space wider than this has the cut list beside the sheet, else above it
MOST_ROWS = 30
NUMBER_REACH = 1.4  # from the middle of a part's number to its corner, by its height
TURNED = "Drawn turned by a quarter: the sheet's left edge is on top."
GRAIN = "Parts may lie turned by a quarter: mind the grain and the film side where your material has one."

OnPage = Callable[[FloatArray], list[tuple[float, float]]]


def draw_stock(pen: Pen, space: Box, sheet: Sheet) -> str:
    """A sheet of stock with its flats, and its cut list; the scale comes back."""
    top = pen.notes((space.left, space.top - 1.0), _about(sheet), space.width) - 2.0
    beside = space.width > BESIDE_MM
    end = draw_table(pen, (space.right - sum(WIDTHS) if beside else space.left, top), _rows(sheet), WIDTHS)
    right = space.right - (sum(WIDTHS) + 8.0 if beside else 6.0)
    free = Box(space.left + TIER_MM + 6, space.bottom + TIER_MM + 6, right, (top if beside else end) - 4.0)
    wide, high = sheet.size_mm
    turned = (high > wide) == (free.width > free.height)
    box = Box(0.0, 0.0, high, wide) if turned else Box(0.0, 0.0, wide, high)
    scale, said = best_scale(lambda s: s * box.width <= free.width and s * box.height <= free.height)
    placed = centred(box, free, scale)

    def on_page(points: FloatArray) -> list[tuple[float, float]]:
        flat = np.column_stack([points[:, 1], wide - points[:, 0]]) if turned else points
        return [placed.point(point) for point in flat.tolist()]

    if turned:
        pen.text((placed.left, placed.top + 1.0), TURNED, SMALL)
    _draw_edges(pen, sheet, on_page)
    for one in sheet.placed:
        _draw_flat(pen, one, on_page, scale)
    pen.across(placed.left, placed.right, (placed.bottom, placed.bottom), placed.bottom - TIER_MM, dimension(box.width))
    pen.upright(placed.bottom, placed.top, (placed.left, placed.left), placed.left - TIER_MM, dimension(box.height))
    return said


def _about(sheet: Sheet) -> tuple[str, str, str]:
    title = f"{plain(round(sheet.thickness_mm, 3))} mm {sheet.material.title}, {counted(len(sheet.placed), 'flat')}"
    wide, high = sheet.offcut_mm
    enough = f"Dash-dotted: an offcut of {wide:.0f} x {high:.0f} mm is enough. Cut from sheets/sheet-{sheet.number}.dxf."
    return f"{title}: {100 * sheet.used_share:.1f} % of the sheet becomes parts.", enough, GRAIN


def _rows(sheet: Sheet) -> list[Sequence[str]]:
    rows: list[Sequence[str]] = [("part", "flat", "width", "height", "bends")]
    rows += [
        (one.made.number, one.cut.name, *(f"{side:.1f}" for side in one.cut.flat.size_mm), str(len(one.cut.flat.bends) or "-"))
        for one in sheet.placed[:MOST_ROWS]
    ]
    rest = len(sheet.placed) - MOST_ROWS
    return [*rows, ("", f"{rest} more: see cut-list.csv", "", "", "")] if rest > 0 else rows


def _draw_edges(pen: Pen, sheet: Sheet, on_page: OnPage) -> None:
    (wide, high), (used_wide, used_high) = sheet.size_mm, sheet.offcut_mm
    pen.line(on_page(np.array([[0, 0], [wide, 0], [wide, high], [0, high]], dtype=np.float64)), WIDE, closed=True)
    pen.line(on_page(np.array([[used_wide, 0], [used_wide, used_high], [0, used_high]], dtype=np.float64)), NARROW, CHAIN)


def _draw_flat(pen: Pen, one: OnSheet, on_page: OnPage, scale: float) -> None:
    """A flat's lines, and its part's number in it; of a narrow frame in its opening."""
    flat = one.flat
    for ring in flat.rings:
        pen.line(on_page(chords(ring, 0.2)), 0.35, closed=True)
    for bend in flat.bends:
        pen.line(on_page(bend.line_mm), NARROW * 0.6)
    material = shapely.Polygon(chords(flat.outer, 0.5), [chords(hole, 0.5) for hole in flat.holes])
    inside = shapely.maximum_inscribed_circle(material, tolerance=2.0)
    fits = scale * float(inside.length) / NUMBER_REACH
    roomy = fits > SMALL
    middle = inside if roomy else shapely.box(*material.bounds).centroid
    (x, y), *_ = on_page(shapely.get_coordinates(middle)[:1])
    size = min(TEXT, fits) if roomy else SMALL
    pen.text((x, y - size / 2), one.made.number, size, anchor="middle")
