"""The corners of flat point clouds: of the thousands of points where rays cross a plane only some hundred matter."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.heap import pop, push

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DIRECTIONS = 24  # whose farthest points make a first polygon: what lies inside it is no corner
SAMPLE = 400  # of about so many points
TURN_RAD = 0.7312  # columns of a field share an x: points are sorted along a direction that none of them shares
TURN_X, TURN_Y = math.cos(TURN_RAD), math.sin(TURN_RAD)
KEPT, HEAP, ORDER, CHAIN = 0, 1, 2, 3  # rows of numbers, each with room for twice as many as there are points, and 2 more


@compiled
def flat_hull(points: FloatArray, plane: int, keys: FloatArray, poly: FloatArray, numbers: IntArray) -> int:
    """How many corners points (P, N, 3) of one plane across the axis have, seen along it; their indices, once round, are in CHAIN.

    keys (N,), poly (DIRECTIONS + 1, 2) and numbers (4, 2 N + 2) are scratch.
    """
    kept = _outside_first_polygon(points, plane, poly, numbers)
    heap, ids = 0, numbers[HEAP]
    for m in range(kept):
        k = numbers[KEPT, m]
        heap = push(keys, ids, heap, TURN_X * points[plane, k, 0] + TURN_Y * points[plane, k, 1], k)
    for m in range(kept):
        numbers[ORDER, m] = ids[0]
        heap = pop(keys, ids, heap)
    count = _half(points, plane, numbers, kept, 0, 1, 0)
    count = _half(points, plane, numbers, kept, kept - 1, -1, max(count - 1, 0))
    return min(max(count - 1, 1), kept)


@compiled
def _half(points: FloatArray, plane: int, numbers: IntArray, count: int, start: int, step: int, base: int) -> int:
    """One side of the hull, from one end to the other, put into CHAIN from `base` on; where it ends."""
    top = base
    for m in range(count):
        k = numbers[ORDER, start + m * step]
        x, y = points[plane, k, 0], points[plane, k, 1]
        while top >= base + 2:
            a, b = numbers[CHAIN, top - 2], numbers[CHAIN, top - 1]
            ax, ay = points[plane, a, 0], points[plane, a, 1]
            if (points[plane, b, 0] - ax) * (y - ay) - (points[plane, b, 1] - ay) * (x - ax) > 0.0:
                break
            top -= 1
        numbers[CHAIN, top] = k
        top += 1
    return top


@compiled
def _outside_first_polygon(points: FloatArray, plane: int, poly: FloatArray, numbers: IntArray) -> int:
    """How many points are not strictly inside the polygon of those farthest in a few directions; they are put into KEPT."""
    count = points.shape[1]
    if count < 4 * DIRECTIONS:
        for k in range(count):
            numbers[KEPT, k] = k
        return count
    _first_polygon(points, plane, poly)
    x, y, a, b, square = _ellipse_inside(poly)
    n = 0
    for k in range(count):
        px, py = points[plane, k, 0], points[plane, k, 1]
        u, v = (px - x) / a, (py - y) / b
        if u * u + v * v >= square and not _inside(poly, px, py):
            numbers[KEPT, n] = k
            n += 1
    return n


@compiled
def _first_polygon(points: FloatArray, plane: int, poly: FloatArray) -> None:
    count = points.shape[1]
    step = max(count // SAMPLE, 1) | 1  # odd: the sides of a pupil mostly come in even numbers
    for d in range(DIRECTIONS):
        turn = 2 * math.pi * (d + 0.3) / DIRECTIONS
        c, s = math.cos(turn), math.sin(turn)
        best, at = -math.inf, 0
        for k in range(0, count, step):
            far = c * points[plane, k, 0] + s * points[plane, k, 1]
            if far > best:
                best, at = far, k
        poly[d, 0], poly[d, 1] = points[plane, at, 0], points[plane, at, 1]
    poly[DIRECTIONS, 0], poly[DIRECTIONS, 1] = poly[0, 0], poly[0, 1]


@compiled
def _inside(poly: FloatArray, x: float, y: float) -> bool:
    """Whether a point lies strictly inside a convex polygon given once round."""
    for d in range(DIRECTIONS):
        ax, ay = poly[d, 0], poly[d, 1]
        bx, by = poly[d + 1, 0] - ax, poly[d + 1, 1] - ay
        if (bx != 0.0 or by != 0.0) and bx * (y - ay) - by * (x - ax) <= 1e-9:
            return False
    return True


@compiled
def _ellipse_inside(poly: FloatArray) -> tuple[float, float, float, float, float]:
    """Centre, half axes and squared share of them of an ellipse inside a convex polygon given once round: most points lie in it."""
    x = y = 0.0
    for d in range(DIRECTIONS):
        x, y = x + poly[d, 0] / DIRECTIONS, y + poly[d, 1] / DIRECTIONS
    a = b = 1e-9
    for d in range(DIRECTIONS):
        a, b = max(a, abs(poly[d, 0] - x)), max(b, abs(poly[d, 1] - y))
    least = math.inf
    for d in range(DIRECTIONS):
        px, py = (poly[d, 0] - x) / a, (poly[d, 1] - y) / b
        wx, wy = (poly[d + 1, 0] - x) / a - px, (poly[d + 1, 1] - y) / b - py
        length = math.sqrt(wx * wx + wy * wy)
        if length > 1e-12:
            least = min(least, (px * wy - py * wx) / length)
    least = max(least - 1e-9, 0.0) if least < math.inf else 0.0
    return x, y, a, b, least * least
