"""Cut-outs from drawing files (DXF): bytes -> outline in mm. Opens nothing.

What cannot be read for certain is refused: an outline that is left out could leave the plate's own edge as the opening.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import shapely
from shapely.ops import unary_union

from geometry.checks import LOPSIDED_MM
from geometry.frame import right_up_to_frame
from geometry.outline import apart_mm
from scenes.io.dxf.doubts import extent_doubts, hanging_doubts, layer_doubts, opened_doubts, scaled_doubts, size_doubts
from scenes.io.dxf.joined_lines import OpenLineError, closed_rings
from scenes.io.dxf.leftovers import leftover_doubts
from scenes.io.dxf.lines import Drawn, read_document, read_drawn
from scenes.io.dxf.lost_corners import mirror_doubts, numbering_doubts
from scenes.io.dxf.lost_things import Found, handle_doubts, layer_table_doubts, lost_member, row_doubts, things_of
from scenes.io.dxf.plain_text import plain_text
from scenes.io.dxf.remarks import unseen_words
from scenes.io.dxf.sheet_lines import line_doubts, over_the_opening, stranded
from scenes.io.dxf.sheets import LINED, Sheet, dimension_doubts, other_doubts, sheets_of
from scenes.io.dxf.units import INCH_MM, UNIT_MM
from scenes.io.dxf.words import (
    MOST_LETTERS,
    SAID_UNSEEN,
    readable,
    sheet_words_in_doubt,
    side_against,
    words_against,
    words_in_doubt,
)
from scenes.io.library_remarks import printable
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.resources import DrawnOutline

UNITLESS = 0  # of the same variable
LARGEST_COARSE_MM = 300.0  # in a coarse unit: one this large, whose numbers make a cut-out in a finer one, is in that
FINER_MM = (1.0, INCH_MM)  # of the units that masks are drawn in
PLAUSIBLE_MM = (15.0, 1000.0)  # a cut-out for any lens on any box is larger and smaller than this
CM_STEP, INCH_STEP = 0.1, 1 / 16  # of numbers in cm, and in inches: whole mm, and parts of an inch (common practice)
LARGE_INCHES_MM = 200.0  # wider than the cut-out of most boxes
SAME_NUMBER = 1e-4
MOST_ON_SHEETS = 6  # cautions


def read_outline(data: bytes, source: str) -> DrawnOutline:
    """The closed outlines of a DXF drawing as one shape in mm, x to the operator's left.

    The drawing is of the mask as the operator sees it from behind the camera; its origin is the mask's centre.
    SceneError with one sentence where the drawing cannot be read whole, or is not of closed outlines alone.
    """
    try:
        return _outline(plain_text(data), source)
    except (SceneError, MemoryError):
        raise
    except OpenLineError as error:
        raise _refusal(source, str(error)) from None
    except Exception:  # noqa: BLE001 - the reader and the shapes fail in ways and words of their own; to the user it is one fault
        raise _refusal(source, "is damaged: a line or curve of it cannot be read; export it as DXF again") from None


def _outline(data: bytes, source: str) -> DrawnOutline:
    document = read_document(data, source)
    stated = document.header.get("$INSUNITS", UNITLESS)
    unit_mm = _unit_mm(stated, source)
    sheets = sheets_of(document)
    _nothing_stranded(stranded(sheets, is_model_empty=not any(thing.dxftype() in LINED for thing in document.modelspace())), source)
    drawn = read_drawn(document, unit_mm, source)
    shown, unseen = readable(drawn.texts), readable(unseen_words(document, data))
    on_sheets = readable(text for sheet in sheets for text in sheet.texts)
    if shown is None or unseen is None or on_sheets is None:
        raise _refusal(source, f"holds texts of more than {MOST_LETTERS} letters; save the cut-out alone")
    if problem := words_against(shown, unit_mm) or words_against(unseen, unit_mm, SAID_UNSEEN):
        raise _refusal(source, problem)
    closed = closed_rings(drawn.lines)
    found = things_of(data)
    _no_member_lost(found, len(closed), source)
    rings = [shapely.Polygon(ring) for ring in closed]
    if not rings:
        raise _refusal(source, "holds no closed outline; join its lines and arcs end to end")
    for ring in rings:
        _simple(ring, source)
    _apart(rings, source)
    shape = unary_union(rings)
    _plausible(shape, unit_mm, source)
    _nothing_stranded(over_the_opening(sheets, shape, unit_mm), source)
    mirrored = shapely.transform(shape, right_up_to_frame)
    if not isinstance(mirrored, shapely.Polygon | shapely.MultiPolygon):
        raise _refusal(source, "holds no closed outline")
    lopsided = apart_mm(shape, mirrored) > LOPSIDED_MM
    if lopsided and (problem := side_against(shown) or side_against(unseen, SAID_UNSEEN)):
        raise _refusal(source, problem)
    texts = (*shown, *unseen)
    sizes_mm = [_size_mm(ring) for ring in (shape, *rings)]
    doubts = (*words_in_doubt(texts, unit_mm, lopsided=lopsided), *_cm_doubt(shape, unit_mm))
    doubts += (*layer_doubts(drawn.layers), *hanging_doubts(drawn.measured, drawn.lines))
    doubts += tuple(opened_doubts(drawn.measured, drawn.lines, shape))
    doubts += tuple(size_doubts((*texts, *on_sheets), sizes_mm, unit_mm))
    doubts += tuple(extent_doubts(document.header, shape.bounds, unit_mm))
    doubts += (*scaled_doubts(drawn.scaled), *leftover_doubts(document, data, (*drawn.layers, *drawn.blocks)))
    doubts += (*mirror_doubts(closed, drawn.lines), *numbering_doubts(data))
    doubts += (*handle_doubts(found), *row_doubts(found), *layer_table_doubts(document, found, drawn.layers))
    doubts += _sheet_doubts(sheets, drawn, shape, unit_mm, lopsided=lopsided)
    return DrawnOutline(shapely.normalize(mirrored), states_unit=stated != UNITLESS, doubts=doubts)


def _sheet_doubts(sheets: Sequence[Sheet], drawn: Drawn, shape: Any, unit_mm: float, *, lopsided: bool) -> tuple[str, ...]:
    """What the drawing's sheets say against what was read of its model."""
    doubts = [*line_doubts(sheets, shape, unit_mm), *other_doubts(sheets)]
    for sheet in sheets:

        def is_of_plot(words: str, sheet: Sheet = sheet) -> bool:
            return sheet.is_plotted_at(words, unit_mm)

        texts = readable(sheet.texts) or ()
        doubts += sheet_words_in_doubt(sheet.name, texts, unit_mm, lopsided=lopsided, is_of_plot=is_of_plot)
        doubts += dimension_doubts(sheet, drawn.lines, unit_mm)
    return tuple(doubts[:MOST_ON_SHEETS])


def _nothing_stranded(found: str, source: str) -> None:
    """Refuse lines in paper space: the cut-out may be among them, and what is left in model space only the plate's edge."""
    if found:
        raise _refusal(
            source,
            f"holds {found}, and only what is drawn in model space is read; move the cut-out there and delete the sheet's lines, "
            "or save the cut-out alone",
        )


def _no_member_lost(found: Found, outlines: int, source: str) -> None:
    """Refuse a group that is not whole where one outline is left: it may be the plate's edge, and the cut-out what is lost."""
    lost = lost_member(found)
    if lost and outlines == 1:
        raise _refusal(
            source,
            f"is damaged: a group of it names a thing by the number {lost}, which nothing in it has, and one outline is left; "
            "export it again",
        )


def _refusal(source: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=source)])


def _size_mm(ring: Any) -> tuple[float, float]:
    x0, y0, x1, y1 = ring.bounds
    return float(x1 - x0), float(y1 - y0)


def _simple(ring: shapely.Polygon, source: str) -> None:
    if not ring.is_valid:
        x, y = (float(part) for part in shapely.is_valid_reason(ring).partition("[")[2].rstrip("]").split())
        raise _refusal(
            source, f"holds an outline that crosses or touches itself at x {x:.4g}, y {y:.4g} mm; draw it as one plain loop"
        )


def _apart(rings: list[shapely.Polygon], source: str) -> None:
    """Refuse outlines that have to do with each other: which of them is the opening cannot be told."""
    tree = shapely.STRtree(rings)
    met = [(rings[a], rings[b]) for a, b in tree.query(rings, predicate="intersects").T if a < b]
    if any(a.contains(b) or b.contains(a) for a, b in met):
        raise _refusal(
            source,
            "holds outlines inside each other; keep only the cut-out, without the plate's edge, screw holes and a sheet's frame",
        )
    if met:
        place = shapely.intersection(*met[0]).representative_point()
        raise _refusal(
            source, f"holds outlines that cross or touch at x {place.x:.4g}, y {place.y:.4g} mm; keep one loop for each cut-out"
        )


def _unit_mm(stated: Any, source: str) -> float:
    if stated == UNITLESS:
        return 1.0  # unitless: taken as mm, and held against plausible sizes below
    if stated not in UNIT_MM:
        found = printable(str(stated))[:20]
        raise _refusal(source, f"is drawn in a unit of no use for metal work ($INSUNITS = {found}); save it in mm")
    return UNIT_MM[stated]


def _cm_doubt(shape: Any, unit_mm: float) -> tuple[str, ...]:
    """That a cut-out in inches has the numbers of one in cm: read in inches it is 2.54 times as large."""
    if unit_mm != INCH_MM:
        return ()
    x0, y0, x1, y1 = (float(bound) / unit_mm for bound in shape.bounds)
    sizes = (x1 - x0, y1 - y0)
    whole_mm, of_inches = (all(_is_multiple(size, step) for size in sizes) for step in (CM_STEP, INCH_STEP))
    if not whole_mm or (of_inches and max(sizes) * unit_mm <= LARGE_INCHES_MM):
        return ()
    found = f"its drawing states inches, and its cut-out of {sizes[0]:.4g} x {sizes[1]:.4g} would be of whole mm in cm"
    return (f"{found}: {10 * sizes[0]:.4g} x {10 * sizes[1]:.4g} mm in place of {25.4 * sizes[0]:.4g} x {25.4 * sizes[1]:.4g} mm",)


def _is_multiple(number: float, step: float) -> bool:
    return abs(number / step - round(number / step)) < SAME_NUMBER / step


def _unit_guess(size_mm: float, unit_mm: float) -> str:
    """Which unit the drawing was probably made in, where its own makes no sense."""
    low, high = PLAUSIBLE_MM
    if unit_mm != 1.0 and low <= size_mm / unit_mm <= high:
        return "; its numbers look like mm, but the drawing states another unit: set its unit to mm ($INSUNITS = 4)"
    inches = size_mm / unit_mm * UNIT_MM[1]
    if low <= inches <= high:
        return f"; it looks drawn in inches ({inches:.0f} mm), save it in mm"
    return "; draw it at full size in mm"


def _plausible(shape: Any, unit_mm: float, source: str) -> None:
    x0, y0, x1, y1 = shape.bounds
    size = max(x1 - x0, y1 - y0)
    doubted = size > LARGEST_COARSE_MM and any(one < unit_mm and size / unit_mm * one >= PLAUSIBLE_MM[0] for one in FINER_MM)
    if doubted or not PLAUSIBLE_MM[0] <= size <= PLAUSIBLE_MM[1]:
        limits = f"{PLAUSIBLE_MM[0]:g} to {PLAUSIBLE_MM[1]:g} mm"
        raise _refusal(source, f"must be a cut-out of {limits}, found {size:.0f} mm{_unit_guess(size, unit_mm)}")
    if not shape.contains(shapely.Point(0, 0)):
        found = f"found x {x0:.4g} to {x1:.4g}, y {y0:.4g} to {y1:.4g} mm"
        raise _refusal(source, f"must be drawn about its origin, the mask's centre; {found}, move it there")
