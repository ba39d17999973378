"""How far two convex bodies stand apart, never more than they do: the best plane between them that the search meets.

Bodies are corners of a leg, on its two planes, and corners of a piece of material. The search is that of Gilbert, Johnson and
Keerthi (IEEE J. Robotics and Automation 4, 1988), but what comes back is the gap that a plane square to the best direction leaves,
so that no fault of the search can make an answer too large.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.compiling import helper

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_STEPS = 48
CLOSE_MM = 1e-4  # nearer to the true distance nobody asks


@helper
def leg_corner(corners: FloatArray, leg: IntArray, x: float, y: float, z: float) -> int:
    """Index of the corner of a leg (four bounds of two runs of corners) that lies farthest along (x, y, z)."""
    best, at = -np.inf, leg[0]
    for k in range(leg[0], leg[1]):
        far = corners[k, 0] * x + corners[k, 1] * y + corners[k, 2] * z
        if far > best:
            best, at = far, k
    for k in range(leg[2], leg[3]):
        far = corners[k, 0] * x + corners[k, 1] * y + corners[k, 2] * z
        if far > best:
            best, at = far, k
    return at


@helper
def piece_corner(piece: FloatArray, count: int, x: float, y: float, z: float) -> int:
    """Index of the corner of a piece that lies least far along (x, y, z)."""
    best, at = np.inf, 0
    for k in range(count):
        far = piece[k, 0] * x + piece[k, 1] * y + piece[k, 2] * z
        if far < best:
            best, at = far, k
    return at


@helper
def _edge(s: FloatArray, i: int, j: int) -> float:
    """Share of corner j at the point nearest to the origin on the line from i to j."""
    top, below = 0.0, 0.0
    for k in range(3):
        step = s[j, k] - s[i, k]
        top -= s[i, k] * step
        below += step * step
    return top / below if below > 0.0 else -1.0


@helper
def _dot(s: FloatArray, i: int, j: int, o: int) -> float:
    """(s_i - s_o) . (s_j - s_o)."""
    total = 0.0
    for k in range(3):
        total += (s[i, k] - s[o, k]) * (s[j, k] - s[o, k])
    return total


@helper
def _dot_origin(s: FloatArray, i: int, o: int) -> float:
    total = 0.0
    for k in range(3):
        total -= (s[i, k] - s[o, k]) * s[o, k]
    return total


@helper
def _try(s: FloatArray, share: FloatArray, tried: FloatArray, best: float) -> float:
    """Keeps the shares tried where the point that they make lies nearer to the origin than the best."""
    square = 0.0
    for k in range(3):
        at = tried[0] * s[0, k] + tried[1] * s[1, k] + tried[2] * s[2, k] + tried[3] * s[3, k]
        square += at * at
    if square < best:
        share[:] = tried
        return square
    return best


@helper
def _nearest(s: FloatArray, count: int, share: FloatArray, tried: FloatArray) -> float:
    """The square of the simplex's distance from the origin; `share` (4,) gets the corners' shares of its nearest point.

    That point needs the newest corner. Every face with the newest corner is tried as its own plane: eight at most.
    """
    new = count - 1
    tried[:] = 0.0
    tried[new] = 1.0
    best = _try(s, share, tried, np.inf)
    for i in range(new):
        t = _edge(s, new, i)
        if 0.0 < t < 1.0:
            tried[:] = 0.0
            tried[new], tried[i] = 1.0 - t, t
            best = _try(s, share, tried, best)
    for i in range(new):
        for j in range(i + 1, new):
            aa, bb, ab = _dot(s, i, i, new), _dot(s, j, j, new), _dot(s, i, j, new)
            a, b = _dot_origin(s, i, new), _dot_origin(s, j, new)
            size = aa * bb - ab * ab
            if size > 1e-14 * aa * bb:
                u, v = (a * bb - b * ab) / size, (b * aa - a * ab) / size
                if u > 0.0 and v > 0.0 and u + v < 1.0:
                    tried[:] = 0.0
                    tried[new], tried[i], tried[j] = 1.0 - u - v, u, v
                    best = _try(s, share, tried, best)
    if new == 3 and _holds_origin(s, share):
        best = 0.0
    return best


@helper
def _det(s: FloatArray, i: int, j: int, k: int) -> float:
    return (
        s[i, 0] * (s[j, 1] * s[k, 2] - s[j, 2] * s[k, 1])
        - s[i, 1] * (s[j, 0] * s[k, 2] - s[j, 2] * s[k, 0])
        + s[i, 2] * (s[j, 0] * s[k, 1] - s[j, 1] * s[k, 0])
    )


@helper
def _holds_origin(s: FloatArray, share: FloatArray) -> bool:
    """Whether a simplex of four corners holds the origin."""
    a, b, c, d = _det(s, 1, 2, 3), -_det(s, 0, 2, 3), _det(s, 0, 1, 3), -_det(s, 0, 1, 2)
    if (a > 0.0 and b > 0.0 and c > 0.0 and d > 0.0) or (a < 0.0 and b < 0.0 and c < 0.0 and d < 0.0):
        whole = a + b + c + d
        share[0], share[1], share[2], share[3] = a / whole, b / whole, c / whole, d / whole
        return True
    return False


@helper
def _drop_unused(s: FloatArray, share: FloatArray, pair: IntArray, count: int) -> int:
    """Moves the corners with a share to the front; how many these are."""
    kept = 0
    for k in range(count):
        if share[k] > 0.0:
            s[kept] = s[k]
            pair[kept] = pair[k]
            share[kept] = share[k]
            kept += 1
    share[kept:] = 0.0
    return kept


@helper
def apart_mm(
    corners: FloatArray,
    leg: IntArray,
    piece: FloatArray,
    count: int,
    normal: FloatArray,
    enough_mm: float,
    simplex: FloatArray,
    share: FloatArray,
    pair: IntArray,
) -> float:
    """What the best plane found leaves between a leg and a piece [mm]; 0 or less where none does.

    `normal` (3,), from leg to piece, is where to begin; the best one comes back in it. share (4,) and pair (4, 2) come back with
    the corners of leg and piece whose blend is the nearest pair of points. Search ends above `enough_mm`.
    """
    best, tried = -np.inf, np.zeros(4)
    v = normal.copy()
    held, square = 0, np.inf
    for _ in range(MOST_STEPS):
        length = np.sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2])
        if length < 1e-9:
            return min(best, 0.0)
        i = leg_corner(corners, leg, v[0], v[1], v[2])
        j = piece_corner(piece, count, v[0], v[1], v[2])
        gap = 0.0
        for k in range(3):
            simplex[held, k] = piece[j, k] - corners[i, k]
            gap += simplex[held, k] * v[k]
        gap /= length
        if gap > best:
            best = gap
            normal[0], normal[1], normal[2] = v[0] / length, v[1] / length, v[2] / length
        if held and (length - gap < CLOSE_MM or best > enough_mm):
            return best
        pair[held, 0], pair[held, 1] = i, j
        was = square
        square = _nearest(simplex, held + 1, share, tried)
        if square <= 1e-18:
            return min(best, 0.0)
        if held and square >= was * (1.0 - 1e-12):
            return best
        held = _drop_unused(simplex, share, pair, held + 1)
        for k in range(3):
            v[k] = 0.0
            for c in range(held):
                v[k] += share[c] * simplex[c, k]
    return best
