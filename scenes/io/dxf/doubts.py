"""What in a drawing makes its cut-out look like something else: names of layers, dimensions in the air, sizes in words.

Each is a caution that quotes what was found: a line that is lost in an export leaves the plate's edge as the opening.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from scenes.io.dxf.elsewhere import ELSEWHERE
from scenes.io.dxf.joined_lines import Line
from scenes.io.dxf.told_sizes import another_size, size_in_two_texts
from scenes.io.library_remarks import printable

Points = tuple[tuple[float, float], ...]  # [mm]

NO_CUT_OUT = re.compile(
    r"edge|plate|outer|outside|construct|engrav|etch|bend|fold|stock|sheet|border|refer|do.?not|no.?cut|uncut|sketch|helper|guide"
    r"|rand|kante|platte|hilfs|konstrukt|gravur|biege|rahmen|contorno|ext[ée]ri|bord|pliage",
    re.IGNORECASE,
)
CUT_OUT = re.compile(
    r"(?<!no.)(?<!not.)cut|opening|aperture|hole|window|mask|ausschnitt|[öo]ffnung|d[ée]coupe|taglio|corte", re.IGNORECASE
)
LOOSE_MM = 0.5  # off every line: a dimension holds on to what it measures
MOST_MEASURED = 100  # dimensions that are looked at one by one
LONGEST_QUOTE = 60
BEYOND_MM = 0.1  # past what the file states: more than any program rounds
LARGEST_EXTENT_MM = 1e6  # none drawn yet: programs state 1e20


def layer_doubts(layers: Iterable[str]) -> Iterator[str]:
    """Layers whose names say that what lies on them is no cut-out."""
    for name in layers:
        if NO_CUT_OUT.search(name) and not CUT_OUT.search(name):
            yield f'it is drawn on the layer "{quote(name)}", and was read as the cut-out; has that been left out?'


def hanging_doubts(measured: Sequence[Points], lines: Sequence[Line]) -> Iterator[str]:
    """Dimensions that hold on to nothing that was read."""
    drawn = shapely.STRtree([shapely.LineString(line) for line in lines if len(line) > 1])
    for points in filter(len, measured):  # an angle or arc holds no places
        near = drawn.query(shapely.points(points), predicate="dwithin", distance=LOOSE_MM)
        if near.shape[1] == 0:
            x, y = points[0]
            yield f"a dimension at x {x:.4g}, y {y:.4g} mm measures what is not drawn there; has a line of its cut-out been lost?"
            return


def opened_doubts(measured: Sequence[Points], lines: Sequence[Line], shape: Any) -> Iterator[str]:
    """The first dimension with one end on a line and the other in the opening [mm], where nothing is: an edge there has moved out.

    Ends on an axis of the drawing, in the middle of an arc or where two straight lines would meet are meant so.
    """
    long = [line for line in lines if len(line) > 1]
    drawn, inside = shapely.STRtree([shapely.LineString(line) for line in long]), shape.buffer(-LOOSE_MM)
    for points in measured[:MOST_MEASURED]:
        near = (
            {int(at) for at in drawn.query(shapely.points(points), predicate="dwithin", distance=LOOSE_MM)[0]} if points else set()
        )
        loose = [points[at] for at in range(len(points)) if at not in near]
        if near and loose and inside.contains(shapely.Point(loose[0])) and not _is_meant(loose[0], points, long):
            x, y = loose[0]
            yield (
                f"a dimension ends at x {x:.4g}, y {y:.4g} mm, within the cut-out as it was read and on no line of it; has a "
                "number in it been changed?"
            )
            return


def _is_meant(place: tuple[float, float], ends: Points, lines: Sequence[Line]) -> bool:
    """Whether a place is on an axis, in the middle of a curve or opposite on its circle, or on two lines made longer."""
    if min(abs(place[0]), abs(place[1])) < LOOSE_MM:
        return True
    between = np.mean(ends, axis=0)  # of a diameter the middle
    curves = [line for line in lines if len(line) > 2]
    if any(float(np.ptp(np.hypot(*(line - middle).T))) < LOOSE_MM for line in curves for middle in (place, between)):
        return True
    straight = np.array([[line[0], line[-1]] for line in lines if len(line) == 2]).reshape(-1, 2, 2)
    along = straight[:, 1] - straight[:, 0]
    off = along[:, 0] * (place[1] - straight[:, 0, 1]) - along[:, 1] * (place[0] - straight[:, 0, 0])
    return int(np.count_nonzero(np.abs(off) < LOOSE_MM * np.hypot(*along.T))) > 1


def size_doubts(texts: Iterable[str], sizes_mm: Sequence[tuple[float, float]], unit_mm: float) -> Iterator[str]:
    """Texts that give the cut-out a size that no outline has, or say that it is elsewhere, or gone, or this the plate's edge."""
    texts, told = list(texts), 0
    read = " and ".join(f"{width:.4g} x {height:.4g} mm" for width, height in dict.fromkeys(sizes_mm[:2]))
    for text in texts:
        if ELSEWHERE.search(text):
            yield f'its drawing says "{quote(text)}", and what it holds was read as the cut-out; is that the right file?'
        elif another_size(text, sizes_mm, unit_mm):
            told += 1
            yield f'its drawing says "{quote(text)}", and its cut-out was read as {read}; which of the two is it?'
    if not told and (apart := size_in_two_texts(texts, sizes_mm, unit_mm)):
        one, other = map(quote, apart)
        yield f'its drawing says "{one}" and "{other}", and its cut-out was read as {read}; which of the two is it?'


def scaled_doubts(scaled: Iterable[tuple[str, float]]) -> Iterator[str]:
    """The first block that is shown larger or smaller than it is drawn, as no change of unit asks for."""
    for name, times in scaled:
        yield f'its block "{quote(name)}" is inserted at {times:g} times its size, and was read so; is it drawn to another scale?'
        return


def extent_doubts(header: Mapping[str, Any], bounds_mm: Sequence[float], unit_mm: float) -> Iterator[str]:
    """That the cut-out reaches beyond what its file states of the whole drawing (DXF reference, HEADER), as programs do.

    Programs that leave it to others state nothing there, the limits of the sheet, or what a cut-out about its origin cannot have.
    """
    low, high = (tuple(header.get(key, ()))[:2] for key in ("$EXTMIN", "$EXTMAX"))
    if (low, high) == tuple(tuple(header.get(key, ()))[:2] for key in ("$LIMMIN", "$LIMMAX")) or len(low) != 2 or len(high) != 2:
        return
    x0, y0, x1, y1 = stated = tuple(unit_mm * end for end in (*low, *high))
    if not (max(x0, y0) < 0.0 < min(x1, y1)) or max(map(abs, stated)) > LARGEST_EXTENT_MM:
        return
    beyond = max(x0 - bounds_mm[0], y0 - bounds_mm[1], bounds_mm[2] - x1, bounds_mm[3] - y1)
    if beyond > BEYOND_MM:
        yield (
            f"its file states that the drawing spans {_span(stated)} ($EXTMIN, $EXTMAX), and its cut-out was read as "
            f"{_span(bounds_mm)}; has a number in it been changed?"
        )


def _span(bounds_mm: Sequence[float]) -> str:
    x0, y0, x1, y1 = bounds_mm
    return f"x {x0:.4g} to {x1:.4g}, y {y0:.4g} to {y1:.4g} mm"


def quote(words: str) -> str:
    """Words of a drawing as they are shown: in one line, and not too many."""
    short = printable(" ".join(words.split()))
    return short if len(short) <= LONGEST_QUOTE else f"{short[:LONGEST_QUOTE]}..."
