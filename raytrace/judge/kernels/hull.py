"""The corners of flat point clouds: of the thousands of points where rays cross a plane only some hundred matter."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.pupil_sides import CORNER_X, CORNER_Y, COSINE, SINE, SUPPORT

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DIRECTIONS = 24  # whose farthest points make a first polygon: what lies inside it is no corner
FEW = 400  # fewer points need no such look
SAMPLE = 64  # of about so many pencils
TURN_RAD = 0.7312  # columns of a field share an x: points are sorted along a direction that none of them shares
TURN_X, TURN_Y = math.cos(TURN_RAD), math.sin(TURN_RAD)
ALIKE_MM = 2e-7  # corners nearer than this are one: a fifth of what beams are widened by for rounding
SURELY_MM2 = 1e-9  # what lies less inside counts as a corner
KEPT, DRAWER, ORDER, CHAIN = 0, 1, 2, 3  # rows of numbers, each with room for twice as many as there are points, and 2 more


@compiled
def flat_hull(points: FloatArray, plane: int, turns: FloatArray, keys: FloatArray, poly: FloatArray, numbers: IntArray) -> int:
    """How many corners points (P, 3, N) of one plane across the axis have, seen along it; their indices, once round, are in CHAIN.

    The points come in convex polygons, one point for each side of `turns` (SIDE_ROWS, K + 1), which mostly faces as that does; its
    rows behind the directions are scratch, and so are keys (N,), poly (DIRECTIONS + 1, 2) and numbers (4, 2 N + 2).
    """
    kept = _not_behind(points, plane, turns, keys, numbers)
    if kept > FEW:
        _first_polygon(points, plane, turns.shape[1] - 1, poly)
        kept = _outside_polygon(points, plane, kept, poly, numbers)
    return once_round(points, plane, kept, keys, numbers)


@compiled
def once_round(points: FloatArray, plane: int, kept: int, keys: FloatArray, numbers: IntArray) -> int:
    """How many corners the points in KEPT have; once round, counter-clockwise, they are in CHAIN."""
    _sort(points, plane, kept, keys, numbers)
    count = _half(points, plane, numbers, kept, 0, 1, 0)
    count = _half(points, plane, numbers, kept, kept - 1, -1, max(count - 1, 0))
    return min(max(count - 1, 1), kept)


@compiled
def _sort(points: FloatArray, plane: int, count: int, keys: FloatArray, numbers: IntArray) -> None:
    """Puts the points in KEPT into ORDER, along a direction: by drawers, as many as there are points, then each into its place."""
    kept, drawer, order = numbers[KEPT], numbers[DRAWER], numbers[ORDER]
    low, high = math.inf, -math.inf
    for m in range(count):
        k = kept[m]
        keys[m] = TURN_X * points[plane, 0, k] + TURN_Y * points[plane, 1, k]
        low, high = min(low, keys[m]), max(high, keys[m])
        drawer[m] = 0
    drawer[count] = 0
    per_mm = (count - 1) / (high - low) if high > low else 0.0
    for m in range(count):
        drawer[int((keys[m] - low) * per_mm) + 1] += 1
    for m in range(count):
        drawer[m + 1] += drawer[m]
    for m in range(count):
        at = int((keys[m] - low) * per_mm)
        order[drawer[at]] = m
        drawer[at] += 1
    for m in range(1, count):
        at, k = m, order[m]
        while at > 0 and keys[order[at - 1]] > keys[k]:
            order[at] = order[at - 1]
            at -= 1
        order[at] = k
    for m in range(count):
        order[m] = kept[order[m]]


@compiled
def _not_behind(points: FloatArray, plane: int, turns: FloatArray, marks: FloatArray, numbers: IntArray) -> int:
    """How many points may be corners; they are put into KEPT.

    Left out is what repeats the polygon before, and what lies inside a triangle of its two neighbours in its own polygon and that
    corner of the same number which lies farthest the way it faces.
    """
    kept, sides, found = 0, turns.shape[1] - 1, numbers[KEPT]
    _outmost(points, plane, turns, marks)
    for first in range(0, points.shape[2], sides):
        x, y = points[plane, 0, first : first + sides], points[plane, 1, first : first + sides]
        _mark_inside(x, y, turns[CORNER_X], turns[CORNER_Y], marks)
        if first > 0:
            before = first - sides
            _mark_repeated(x, y, points[plane, 0, before:first], points[plane, 1, before:first], marks)
        for k in range(sides):
            found[kept] = first + k
            kept += 1 if marks[k] == 0.0 else 0
    return kept


@compiled
def _outmost(points: FloatArray, plane: int, turns: FloatArray, far: FloatArray) -> None:
    """Of the corners with each number the one farthest the way it faces, into CORNER_X and CORNER_Y."""
    sides = turns.shape[1] - 1
    best, at = turns[SUPPORT], turns[CORNER_X]
    for k in range(sides):
        best[k], at[k] = -math.inf, 0.0
    for first in range(0, points.shape[2], sides):
        x, y = points[plane, 0, first : first + sides], points[plane, 1, first : first + sides]
        _how_far(x, y, turns[COSINE], turns[SINE], far)
        _keep_farther(far, best, at, float(first), sides)
    for k in range(sides):
        n = int(at[k]) + k
        turns[CORNER_X, k], turns[CORNER_Y, k] = points[plane, 0, n], points[plane, 1, n]


@compiled
def _how_far(x: FloatArray, y: FloatArray, cosine: FloatArray, sine: FloatArray, far: FloatArray) -> None:
    for k in range(len(x)):
        far[k] = cosine[k] * x[k] + sine[k] * y[k]


@compiled
def _keep_farther(far: FloatArray, best: FloatArray, at: FloatArray, name: float, count: int) -> None:
    for k in range(count):
        farther = far[k] > best[k]
        at[k] = name if farther else at[k]
        best[k] = far[k] if farther else best[k]


@compiled
def _mark_repeated(x: FloatArray, y: FloatArray, u: FloatArray, v: FloatArray, marks: FloatArray) -> None:
    for k in range(len(x)):
        marks[k] = 1.0 if (u[k] == x[k]) & (v[k] == y[k]) else marks[k]


@compiled
def _mark_inside(x: FloatArray, y: FloatArray, u: FloatArray, v: FloatArray, marks: FloatArray) -> None:
    """Marks corners of a polygon, which runs counter-clockwise, in the triangle of their neighbours and the corner given for each.

    Seen from that corner: p = share a + share b, both shares above 0 and together below 1.
    """
    last = len(x) - 1
    for k in range(1, last):
        ax, ay, bx, by = x[k - 1] - u[k], y[k - 1] - v[k], x[k + 1] - u[k], y[k + 1] - v[k]
        px, py = x[k] - u[k], y[k] - v[k]
        of_a, of_b, whole = bx * py - by * px, px * ay - py * ax, bx * ay - by * ax
        marks[k] = 1.0 if (of_a > SURELY_MM2) & (of_b > SURELY_MM2) & (of_a + of_b < whole) else 0.0
    for k in (0, last):
        a, b = k - 1 if k > 0 else last, k + 1 if k < last else 0
        ax, ay, bx, by = x[a] - u[k], y[a] - v[k], x[b] - u[k], y[b] - v[k]
        px, py = x[k] - u[k], y[k] - v[k]
        of_a, of_b, whole = bx * py - by * px, px * ay - py * ax, bx * ay - by * ax
        marks[k] = 1.0 if (of_a > SURELY_MM2) & (of_b > SURELY_MM2) & (of_a + of_b < whole) else 0.0


@compiled
def _is_alike(points: FloatArray, plane: int, j: int, k: int) -> bool:
    return max(abs(points[plane, 0, j] - points[plane, 0, k]), abs(points[plane, 1, j] - points[plane, 1, k])) < ALIKE_MM


@compiled
def _half(points: FloatArray, plane: int, numbers: IntArray, count: int, start: int, step: int, base: int) -> int:
    """One side of the hull, from one end to the other, put into CHAIN from `base` on; where it ends.

    Between points that differ by rounding alone a chain would turn any way, and keep what lies inside.
    """
    top = base
    for m in range(count):
        k = numbers[ORDER, start + m * step]
        x, y = points[plane, 0, k], points[plane, 1, k]
        if top > base and _is_alike(points, plane, numbers[CHAIN, top - 1], k):
            continue
        while top >= base + 2:
            a, b = numbers[CHAIN, top - 2], numbers[CHAIN, top - 1]
            ax, ay = points[plane, 0, a], points[plane, 1, a]
            if (points[plane, 0, b] - ax) * (y - ay) - (points[plane, 1, b] - ay) * (x - ax) > 0.0:
                break
            top -= 1
        numbers[CHAIN, top] = k
        top += 1
    return top


@compiled
def _outside_polygon(points: FloatArray, plane: int, count: int, poly: FloatArray, numbers: IntArray) -> int:
    """How many of the points in KEPT are not strictly inside a convex polygon given once round; they stay there."""
    n, edge = 0, 0
    for m in range(count):
        k = numbers[KEPT, m]
        found = _edge_before(poly, points[plane, 0, k], points[plane, 1, k], edge)
        if found >= 0:
            numbers[KEPT, n] = k
            n, edge = n + 1, found
    return n


@compiled
def _first_polygon(points: FloatArray, plane: int, sides: int, poly: FloatArray) -> None:
    """The polygon of the points farthest in a few directions, among corners that mostly face there, of some of the pencils."""
    pencils = points.shape[2] // sides
    step = max(pencils // SAMPLE, 1)
    for d in range(DIRECTIONS):
        turn = 2 * math.pi * (d + 0.3) / DIRECTIONS
        c, s, facing = math.cos(turn), math.sin(turn), int(sides * (d + 0.3) / DIRECTIONS)
        best, at = -math.inf, facing
        for n in range(0, pencils, step):
            k = n * sides + facing
            far = c * points[plane, 0, k] + s * points[plane, 1, k]
            if far > best:
                best, at = far, k
        poly[d, 0], poly[d, 1] = points[plane, 0, at], points[plane, 1, at]
    poly[DIRECTIONS, 0], poly[DIRECTIONS, 1] = poly[0, 0], poly[0, 1]


@compiled
def _edge_before(poly: FloatArray, x: float, y: float, first: int) -> int:
    """An edge of a convex polygon given once round that a point does not lie strictly inside of, looked for from one on; or -1."""
    for turn in range(DIRECTIONS):
        d = first + turn if first + turn < DIRECTIONS else first + turn - DIRECTIONS
        ax, ay = poly[d, 0], poly[d, 1]
        bx, by = poly[d + 1, 0] - ax, poly[d + 1, 1] - ay
        if (bx != 0.0 or by != 0.0) and bx * (y - ay) - by * (x - ax) <= 1e-9:
            return d
    return -1
