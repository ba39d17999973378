"""Lines on the sheets of a drawing (paper space): border and title block are passed over, what may be the cut-out is refused.

Only lines in model space are read. A cut-out that was left on a sheet, over a window that shows the plate, lies within what was
read as the opening; a border and a title block lie around or beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import shapely

from scenes.io.dxf.doubts import quote
from scenes.io.dxf.sheet_blocks import Box, SheetLines
from scenes.io.dxf.sheets import Sheet, Window

MOST_LOOKS = 50_000  # which take some seconds
EDGE_SHARE = 1e-3  # of a window: a border that is drawn along its edge lies on it


def stranded(sheets: Iterable[Sheet], *, is_model_empty: bool) -> str:
    """The first line on a sheet that shows nothing of the model, in words that go on after "holds"; empty where there is none."""
    for sheet in sheets:
        for lines in sheet.lines:
            if is_model_empty or not (sheet.windows or lines.is_border):
                return f'{lines.named} on the sheet "{quote(sheet.name)}"'
    return ""


def over_the_opening(sheets: Iterable[Sheet], shape: Any, unit_mm: float) -> str:
    """The first line on a sheet that lies within what was read [mm], as a window shows it; in the same words."""
    for sheet in sheets:
        for lines in sheet.lines:
            if sheet.windows and not lines.is_title and _is_over(lines, sheet.windows, shape, unit_mm):
                return f'{lines.named} on the sheet "{quote(sheet.name)}", over what its window shows of the model'
    return ""


def line_doubts(sheets: Iterable[Sheet], shape: Any, unit_mm: float) -> Iterator[str]:
    """The first line of each sheet that may be its border, or not; nothing of a border or title block around its windows."""
    for sheet in sheets:
        for lines in sheet.lines:
            if lines.is_border and sheet.windows and not _is_over(lines, sheet.windows, shape, unit_mm):
                continue
            yield (
                f'its sheet "{quote(sheet.name)}" holds {lines.named}, and only what is drawn in model space was read; '
                "has the cut-out been left there?"
            )
            break


def _is_over(lines: SheetLines, windows: Sequence[Window], shape: Any, unit_mm: float) -> bool:
    """Whether any of its lines lies where a window shows what was read, or may: an old window does not say what it shows."""
    if lines.boxes is None or len(lines.boxes) * len(windows) > MOST_LOOKS:
        return True
    return any(_box_over(box, window, shape, unit_mm) for box in lines.boxes for window in windows)


def _box_over(box: Box, window: Window, shape: Any, unit_mm: float) -> bool:
    seen = shapely.intersection(_place(box), shapely.box(*window.frame))
    if seen.is_empty:
        return False
    if window.to_model is None:
        inside = shapely.box(*window.frame).buffer(
            -EDGE_SHARE * max(window.frame[2] - window.frame[0], window.frame[3] - window.frame[1])
        )
        return bool(inside.intersects(seen))
    corners = window.in_model(tuple((x, y) for x, y in shapely.get_coordinates(seen)))
    in_model = shapely.MultiPoint([(x * unit_mm, y * unit_mm) for x, y in corners]).convex_hull
    return bool(shape.intersects(in_model))


def _place(box: Box) -> Any:
    return shapely.MultiPoint([(x, y) for x in box[::2] for y in box[1::2]]).convex_hull
