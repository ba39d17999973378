"""Words and dimensions on the sheets of a drawing (paper space): a caution for each that speaks against the lines of its model.

None of these refuses the drawing: a sheet's scale is that of its plot, and its words may be those of a title block.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import shapely

from scenes.io.dxf.dimensions import held_places, other_size_on_sheet
from scenes.io.dxf.doubts import LOOSE_MM, Points, quote
from scenes.io.dxf.joined_lines import DRAWN, Line
from scenes.io.dxf.sheet_blocks import MOST_THINGS, SheetLines, on_sheet
from scenes.io.dxf.units import AMOUNT, amount

WRITING = {"TEXT", "MTEXT", "ATTDEF", "ATTRIB", "LEADER", "MULTILEADER", "MLEADER", "TOLERANCE"}  # no metal is cut along these
NO_SHAPES = {"VIEWPORT", "ACAD_TABLE", "IMAGE", "OLE2FRAME", "OLEFRAME", "WIPEOUT", "PDFUNDERLAY"}  # a sheet's own: logos and lists
LINED = {*DRAWN, "INSERT"}  # what draws lines
RATIO = re.compile(rf"({AMOUNT})\s*(?:[:/=-]|to|zu)\s*({AMOUNT})", re.IGNORECASE)
SAME_SCALE = 0.02  # of a window's scale and of that which a title block states
OWN_WINDOW = 1  # DXF reference, VIEWPORT, group code 69: the sheet itself
OVER_EDGE = 1e-6  # of the window, by rounding


@dataclass(frozen=True, slots=True)
class Window:
    """A part of a sheet that shows the model: its edges on the sheet, its scale, and how places on the sheet get into the model.

    to_model: None, and the scale 0, where it does not show the model from above, or says no scale, as in the old form (R12).
    """

    frame: tuple[float, float, float, float]
    scale: float
    to_model: Any

    def holds(self, places: Points) -> bool:
        """Whether all of these places on the sheet are within the window."""
        x0, y0, x1, y1 = self.frame
        slack = OVER_EDGE * max(x1 - x0, y1 - y0)
        return all(x0 - slack <= x <= x1 + slack and y0 - slack <= y <= y1 + slack for x, y in places)

    def in_model(self, places: Points) -> Points:
        """Where places on the sheet are in the model, in its unit."""
        moved = [self.to_model.transform((x, y, 0.0)) for x, y in places]
        return tuple((float(place[0]), float(place[1])) for place in moved)


@dataclass(frozen=True, slots=True)
class Sheet:
    """What stands on a sheet: its windows, words and dimensions, the kinds of other shapes, and its lines, curves and blocks."""

    name: str
    windows: tuple[Window, ...]
    texts: tuple[str, ...]
    dimensions: tuple[Any, ...]
    others: tuple[str, ...]
    lines: tuple[SheetLines, ...]

    def is_plotted_at(self, words: str, unit_mm: float) -> bool:
        """Whether the scale that words state is that of one of its windows: that of the plot."""
        told = [amount(found[1]) / (amount(found[2]) or 1.0) for found in RATIO.finditer(words)]
        shown = [scale for window in self.windows for scale in (window.scale, window.scale / unit_mm)]
        return any(abs(one / scale - 1.0) < SAME_SCALE for one in told for scale in shown if scale)


def words_of(thing: Any) -> Iterator[str]:
    """The words of a text, leader or attribute."""
    if hasattr(thing, "all_columns_plain_text"):
        yield str(thing.all_columns_plain_text())
    elif getattr(thing, "has_embedded_mtext_entity", False):
        yield str(thing.plain_mtext())
    elif hasattr(thing, "plain_text"):
        yield str(thing.plain_text())
    elif hasattr(thing, "get_mtext_content"):
        from ezdxf.tools.text import fast_plain_mtext

        yield str(fast_plain_mtext(str(thing.get_mtext_content())))


def sheets_of(document: Any) -> tuple[Sheet, ...]:
    """The sheets of a drawing on which anything stands."""
    counted = iter(range(MOST_THINGS))
    found = [_sheet(sheet, counted) for sheet in document.layouts if sheet.is_any_paperspace]
    return tuple(sheet for sheet in found if sheet.texts or sheet.dimensions or sheet.others or sheet.lines)


def _sheet(sheet: Any, counted: Iterator[int]) -> Sheet:
    things = [thing for thing in sheet if thing.dxftype() not in LINED]
    kinds = [thing.dxftype() for thing in things]
    drawn = []
    for thing in sheet:
        if thing.dxftype() in LINED:
            lines, others = on_sheet(thing, counted)
            drawn += [lines] if lines else []
            things += others
            kinds += [] if lines and lines.is_border else [other.dxftype() for other in others]  # a title block has its logo
    written = [thing for thing in things if thing.dxftype() in WRITING]
    written += [cell for thing in things if thing.dxftype() == "ACAD_TABLE" for cell in _cells(thing, sheet.doc)]
    return Sheet(
        name=str(sheet.name),
        windows=tuple(_window(thing) for thing in things if thing.dxftype() == "VIEWPORT" and thing.dxf.get("id", 2) != OWN_WINDOW),
        texts=tuple(dict.fromkeys(words for thing in written for words in words_of(thing))),
        dimensions=tuple(thing for thing in things if "DIMENSION" in thing.dxftype()),
        others=tuple(dict.fromkeys(kind for kind in kinds if kind not in WRITING | NO_SHAPES and "DIMENSION" not in kind)),
        lines=tuple(drawn),
    )


def _cells(table: Any, document: Any) -> Iterator[Any]:
    """The texts of a table: DXF reference, ACAD_TABLE, group code 2, the block that shows it."""
    block = document.blocks.get(str(table.dxf.get("geometry", "")))
    yield from (thing for thing in block or () if thing.dxftype() in WRITING)


def _window(viewport: Any) -> Window:
    low, high = viewport.clipping_rect()
    matrix = None
    scale = float(viewport.get_scale()) if viewport.is_top_view and viewport.dxf.hasattr("view_height") else 0.0
    if scale > 0.0:
        matrix = viewport.get_transformation_matrix()
        matrix.inverse()
    return Window(frame=(low[0], low[1], high[0], high[1]), scale=scale, to_model=matrix)


def dimension_doubts(sheet: Sheet, lines: Sequence[Line], unit_mm: float) -> Iterator[str]:
    """The first dimension of a sheet that holds on to nothing that was read, and the first that tells another size."""
    drawn = shapely.STRtree([shapely.LineString(line) for line in lines if len(line) > 1])
    on_sheet = f'a dimension on its sheet "{quote(sheet.name)}"'
    hanging = another = ""
    for dimension in sheet.dimensions:
        places = held_places(dimension)
        windows = [window for window in sheet.windows if window.holds(places)]
        if not places or any(window.to_model is None for window in windows or sheet.windows):
            continue
        if not any(_near(window.in_model(places), drawn, unit_mm) for window in windows):
            hanging = hanging or _hanging(places, windows, unit_mm)
            continue
        told = [other_size_on_sheet(dimension, 1.0 / window.scale, unit_mm) for window in windows]
        another = another or min(told, key=len)
    if hanging:
        yield f"{on_sheet} measures {hanging}; has a line of its cut-out been lost?"
    if another:
        yield f"{on_sheet} {another}; which of the two is it?"


def _hanging(places: Points, windows: Sequence[Window], unit_mm: float) -> str:
    if not windows:
        return "what no window of the sheet shows"
    x, y = windows[0].in_model(places)[0]
    return f"what is not drawn at x {x * unit_mm:.4g}, y {y * unit_mm:.4g} mm"


def _near(places: Points, drawn: Any, unit_mm: float) -> bool:
    at_mm = shapely.points([(x * unit_mm, y * unit_mm) for x, y in places])
    return bool(drawn.query(at_mm, predicate="dwithin", distance=LOOSE_MM).shape[1])


def other_doubts(sheets: Iterable[Sheet]) -> Iterator[str]:
    """The first sheet with shapes that are neither lines, which are refused there, nor words."""
    for sheet in sheets:
        if sheet.others:
            yield (
                f'its sheet "{quote(sheet.name)}" holds a {quote(sheet.others[0])}, and only what is drawn in model space was '
                "read; has the cut-out been left there?"
            )
            return
