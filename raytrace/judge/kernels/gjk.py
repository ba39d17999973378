"""How far two convex bodies stand apart, never more than they do: the best plane between them that the search meets.

Bodies are corners of a leg, on its two planes, and corners of a piece of material. The search is that of Gilbert, Johnson and
Keerthi (IEEE J. Robotics and Automation 4, 1988), but what comes back is the gap that a plane square to the best direction leaves,
so that no fault of the search can make an answer too large.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.planes import leg_corner, piece_corner

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_STEPS = 48
# Rows of the scratch: the simplex's corners in the first four, their shares, shares that are tried, the normal, where it began,
# the way sideways.
SHARE, TRIED, NORMAL, START, WAY, BENCH = 4, 5, 6, 7, 8, 9
CLOSE_MM = 1e-4  # nearer to the true distance nobody asks


@compiled
def _edge(bench: FloatArray, i: int, j: int) -> float:
    """Share of corner j at the point nearest to the origin on the line from i to j."""
    top, below = 0.0, 0.0
    for k in range(3):
        step = bench[j, k] - bench[i, k]
        top -= bench[i, k] * step
        below += step * step
    return top / below if below > 0.0 else -1.0


@compiled
def _try(bench: FloatArray, best: float) -> float:
    """Keeps the shares tried where the point that they make lies nearer to the origin than the best."""
    square = 0.0
    for k in range(3):
        at = 0.0
        for c in range(4):
            at += bench[TRIED, c] * bench[c, k]
        square += at * at
    if square < best:
        for c in range(4):
            bench[SHARE, c] = bench[TRIED, c]
        return square
    return best


@compiled
def _clear(bench: FloatArray, row: int) -> None:
    for c in range(4):
        bench[row, c] = 0.0


@compiled
def _nearest(bench: FloatArray, count: int) -> float:
    """The square of the simplex's distance from the origin; SHARE gets the corners' shares of its nearest point.

    That point needs the newest corner. Every face with the newest corner is tried as its own plane: eight at most.
    """
    new = count - 1
    _clear(bench, TRIED)
    bench[TRIED, new] = 1.0
    best = _try(bench, math.inf)
    for i in range(new):
        t = _edge(bench, new, i)
        if 0.0 < t < 1.0:
            _clear(bench, TRIED)
            bench[TRIED, new], bench[TRIED, i] = 1.0 - t, t
            best = _try(bench, best)
    for i in range(new):
        for j in range(i + 1, new):
            best = _try_face(bench, new, i, j, best)
    if new == 3 and _holds_origin(bench):
        best = 0.0
    return best


@compiled
def _try_face(bench: FloatArray, o: int, i: int, j: int, best: float) -> float:
    """Tries the point of the triangle of three corners that is nearest to the origin, if it lies inside."""
    aa = bb = ab = a = b = 0.0
    for k in range(3):
        x, y = bench[i, k] - bench[o, k], bench[j, k] - bench[o, k]
        aa, bb, ab = aa + x * x, bb + y * y, ab + x * y
        a, b = a - x * bench[o, k], b - y * bench[o, k]
    size = aa * bb - ab * ab
    if size <= 1e-14 * aa * bb:
        return best
    u, v = (a * bb - b * ab) / size, (b * aa - a * ab) / size
    if u <= 0.0 or v <= 0.0 or u + v >= 1.0:
        return best
    _clear(bench, TRIED)
    bench[TRIED, o], bench[TRIED, i], bench[TRIED, j] = 1.0 - u - v, u, v
    return _try(bench, best)


@compiled
def _det(s: FloatArray, i: int, j: int, k: int) -> float:
    return (
        s[i, 0] * (s[j, 1] * s[k, 2] - s[j, 2] * s[k, 1])
        - s[i, 1] * (s[j, 0] * s[k, 2] - s[j, 2] * s[k, 0])
        + s[i, 2] * (s[j, 0] * s[k, 1] - s[j, 1] * s[k, 0])
    )


@compiled
def _holds_origin(bench: FloatArray) -> bool:
    """Whether a simplex of four corners holds the origin."""
    a, b, c, d = _det(bench, 1, 2, 3), -_det(bench, 0, 2, 3), _det(bench, 0, 1, 3), -_det(bench, 0, 1, 2)
    if (a > 0.0 and b > 0.0 and c > 0.0 and d > 0.0) or (a < 0.0 and b < 0.0 and c < 0.0 and d < 0.0):
        whole = a + b + c + d
        bench[SHARE, 0], bench[SHARE, 1], bench[SHARE, 2], bench[SHARE, 3] = a / whole, b / whole, c / whole, d / whole
        return True
    return False


@compiled
def _drop_unused(bench: FloatArray, pair: IntArray, count: int) -> int:
    """Moves the corners with a share to the front; how many these are."""
    kept = 0
    for k in range(count):
        share = bench[SHARE, k]
        if share > 0.0:
            for c in range(3):
                bench[kept, c] = bench[k, c]
            pair[kept, 0], pair[kept, 1] = pair[k, 0], pair[k, 1]
            bench[SHARE, kept] = share
            kept += 1
    for k in range(kept, 4):
        bench[SHARE, k] = 0.0
    return kept


@compiled
def apart_mm(
    corners: FloatArray,
    runs: IntArray,
    leg: int,
    piece: FloatArray,
    count: int,
    enough_mm: float,
    bench: FloatArray,
    pair: IntArray,
) -> float:
    """What the best plane found leaves between a leg and a piece [mm]; 0 or less where none does.

    The row NORMAL of `bench` (BENCH, 4), from leg to piece, is where to begin; the best one comes back in it. SHARE and pair (4, 2)
    come back with the corners of leg and piece whose blend is the nearest pair of points. Search ends above `enough_mm`.
    """
    best = -math.inf
    x, y, z = bench[NORMAL, 0], bench[NORMAL, 1], bench[NORMAL, 2]
    held, square = 0, math.inf
    for _ in range(MOST_STEPS):
        length = math.sqrt(x * x + y * y + z * z)
        if length < 1e-9:
            return min(best, 0.0)
        i = leg_corner(corners, runs, leg, x, y, z)
        j = piece_corner(piece, count, x, y, z)
        for k in range(3):
            bench[held, k] = piece[j, k] - corners[i, k]
        gap = (bench[held, 0] * x + bench[held, 1] * y + bench[held, 2] * z) / length
        if gap > best:
            best = gap
            bench[NORMAL, 0], bench[NORMAL, 1], bench[NORMAL, 2] = x / length, y / length, z / length
        if held and (length - gap < CLOSE_MM or best > enough_mm):
            return best
        pair[held, 0], pair[held, 1] = i, j
        was = square
        square = _nearest(bench, held + 1)
        if square <= 1e-18:
            return min(best, 0.0)
        if held and square >= was * (1.0 - 1e-12):
            return best
        held = _drop_unused(bench, pair, held + 1)
        x = y = z = 0.0
        for c in range(held):
            x, y, z = x + bench[SHARE, c] * bench[c, 0], y + bench[SHARE, c] * bench[c, 1], z + bench[SHARE, c] * bench[c, 2]
    return best
