"""Lines that meet end to end -> closed rings. An end that meets none, or more than one other, is refused with its place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

JOIN_MM = 0.01  # ends this close are one corner; drawing programs leave gaps of a few micrometres

CURVES = {"ARC", "CIRCLE", "ELLIPSE", "SPLINE"}
DRAWN = {"LINE", "LWPOLYLINE", "POLYLINE", *CURVES}  # kinds that are lines and curves
Line = NDArray[np.float64]  # (N, 2) [mm]


class OpenLineError(ValueError):
    """Lines that do not close; the text says where and what to do."""


def closed_rings(lines: Sequence[Line]) -> list[Line]:
    """The rings that lines close; each line belongs to one. OpenLineError where one does not."""
    long = [line for line in lines if _has_length(line)]
    _nothing_lost([line for line in lines if not _has_length(line)], long)
    rings = [_with_ends(line, line[0], line[0]) for line in long if _apart(line[0], line[-1]) <= JOIN_MM]
    open_lines = [line for line in long if _apart(line[0], line[-1]) > JOIN_MM]
    return rings + (_walked(open_lines) if open_lines else [])


def _has_length(line: Line) -> bool:
    return len(line) > 1 and float(np.ptp(line, axis=0).max()) > JOIN_MM


def _nothing_lost(short: Sequence[Line], long: Sequence[Line]) -> None:
    """Refuse what is drawn and has no length, but at the ends of lines: a cut-out that has shrunk to a point, or of tiny chords."""
    if any(not len(line) for line in short):
        raise OpenLineError("holds a curve without size; delete it, or draw the cut-out anew")
    if not short:
        return
    from scipy.spatial import cKDTree  # here as below, for it takes long to load

    places = np.array([line[0] for line in short])
    ends = np.array([line[k] for line in long for k in (0, -1)]).reshape(-1, 2)
    off_mm = np.asarray(cKDTree(ends).query(places)[0]) if len(ends) else np.full(len(places), np.inf)
    if off_mm.max() > 2.0 * JOIN_MM:
        place = _words(places[int(np.argmax(off_mm))])
        raise OpenLineError(f"holds a line or curve without length at {place}; delete it, or draw what it stands for at full size")


def _apart(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    return float(np.hypot(*(a - b)))


def _walked(lines: Sequence[Line]) -> list[Line]:
    ends = np.array([line[k] for line in lines for k in (0, -1)])
    corner_of_end = _corners(ends)
    ends_at: dict[int, list[int]] = {}
    for end, corner in enumerate(corner_of_end):
        ends_at.setdefault(int(corner), []).append(end)
    _two_at_each(ends, ends_at)
    places = {corner: ends[at].mean(axis=0) for corner, at in ends_at.items()}
    joined = [_with_ends(line, *(places[int(c)] for c in corner_of_end[2 * k : 2 * k + 2])) for k, line in enumerate(lines)]
    left, rings = set(range(len(lines))), []
    while left:
        rings.append(_ring(joined, ends_at, corner_of_end, left))
    return rings


def _with_ends(line: Line, first: NDArray[np.float64], last: NDArray[np.float64]) -> Line:
    """The line with its ends at a corner's one place, so that two that meet do not cross there by a rounding error."""
    return np.concatenate([first[None], line[1:-1], last[None]])


def _corners(ends: NDArray[np.float64]) -> NDArray[np.int64]:
    """Which corner each end belongs to: ends within reach of each other are one."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(ends).query_pairs(JOIN_MM, output_type="ndarray")
    near = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(ends), len(ends)))
    return np.asarray(connected_components(near, directed=False)[1], dtype=np.int64)


def _two_at_each(ends: NDArray[np.float64], ends_at: dict[int, list[int]]) -> None:
    """Refuse corners where one line ends alone, or where more than two meet."""
    alone = [ends[at[0]] for at in ends_at.values() if len(at) == 1]
    if alone:
        first = alone[0]
        second = min(alone[1:], key=lambda place: _apart(first, place), default=first)
        raise OpenLineError(
            f"holds an outline that is open between {_words(first)} and {_words(second)}, a gap of {_apart(first, second):.3g} mm; "
            f"close it: ends more than {JOIN_MM:g} mm apart are not joined"
        )
    for at in ends_at.values():
        if len(at) != 2:
            raise OpenLineError(
                f"has {len(at)} lines meeting at {_words(ends[at[0]])}, so it is not clear which way the outline runs; "
                "delete what is drawn twice and what is no cut-out"
            )


def _words(place: NDArray[np.float64]) -> str:
    return f"x {place[0]:.3f}, y {place[1]:.3f} mm"


def _ring(lines: Sequence[Line], ends_at: dict[int, list[int]], corner_of_end: NDArray[np.int64], left: set[int]) -> Line:
    """One ring, from the first line that is left on until it comes back to it."""
    end, pieces = 2 * min(left), []
    while end // 2 in left:
        left.remove(end // 2)
        line = lines[end // 2]
        pieces.append(line if end % 2 == 0 else line[::-1])
        far = end ^ 1
        here = ends_at[int(corner_of_end[far])]
        end = here[0] if here[1] == far else here[1]
    return np.concatenate(pieces)
