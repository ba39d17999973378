"""The corners of flat point clouds: of the thousands of points where rays cross a plane only some hundred matter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.compiling import helper

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DIRECTIONS = 24  # whose farthest points make a first polygon: what lies inside it is no corner
SAMPLE = 1009  # about as many points make that first polygon; a prime, so that no column is left out
TURN_RAD = 0.7312  # columns of a field share an x: points are sorted along a direction that none of them shares


@helper
def flat_hull(points: FloatArray) -> IntArray:
    """Indices of the corners of points (N, 3) that lie in one plane across the axis, seen along it, once round."""
    kept = _outside_first_polygon(points)
    c, s = np.cos(TURN_RAD), np.sin(TURN_RAD)
    u, v = np.empty(len(kept)), np.empty(len(kept))
    for m in range(len(kept)):
        x, y = points[kept[m], 0], points[kept[m], 1]
        u[m], v[m] = c * x + s * y, c * y - s * x
    order = np.argsort(u)
    chain = np.empty(2 * len(kept) + 2, dtype=np.int64)
    count = _half(order, u, v, chain, 0)
    count = _half(order[::-1], u, v, chain, count - 1)
    return kept[chain[: max(count - 1, 1)]]


@helper
def _half(order: IntArray, u: FloatArray, v: FloatArray, chain: IntArray, base: int) -> int:
    """One side of the hull, from one end to the other, put into `chain` from `base` on; where it ends."""
    base = max(base, 0)
    top = base
    for k in order:
        while top >= base + 2:
            a, b = chain[top - 2], chain[top - 1]
            if (u[b] - u[a]) * (v[k] - v[a]) - (v[b] - v[a]) * (u[k] - u[a]) > 0.0:
                break
            top -= 1
        chain[top] = k
        top += 1
    return top


@helper
def _outside_first_polygon(points: FloatArray) -> IntArray:
    """Indices of the points that are not strictly inside the polygon of those farthest in a few directions."""
    count = len(points)
    if count < 4 * DIRECTIONS:
        return np.arange(count)
    poly = np.empty((DIRECTIONS + 1, 2))
    step = count // SAMPLE if count > 4 * SAMPLE else 1
    for d in range(DIRECTIONS):
        c, s = np.cos(2 * np.pi * (d + 0.3) / DIRECTIONS), np.sin(2 * np.pi * (d + 0.3) / DIRECTIONS)
        best, at = -np.inf, 0
        for k in range(0, count, step):
            far = c * points[k, 0] + s * points[k, 1]
            if far > best:
                best, at = far, k
        poly[d, 0], poly[d, 1] = points[at, 0], points[at, 1]
    poly[DIRECTIONS] = poly[0]
    x, y, a, b, square = _ellipse_inside(poly)
    kept = np.empty(count, dtype=np.int64)
    n = 0
    for k in range(count):
        if ((points[k, 0] - x) / a) ** 2 + ((points[k, 1] - y) / b) ** 2 < square:
            continue
        inside = True
        for d in range(DIRECTIONS):
            ax, ay = poly[d, 0], poly[d, 1]
            bx, by = poly[d + 1, 0] - ax, poly[d + 1, 1] - ay
            if bx == 0.0 and by == 0.0:
                continue
            if bx * (points[k, 1] - ay) - by * (points[k, 0] - ax) <= 1e-9:
                inside = False
                break
        if not inside:
            kept[n] = k
            n += 1
    return kept[:n].copy()


@helper
def _ellipse_inside(poly: FloatArray) -> tuple[float, float, float, float, float]:
    """Centre, half axes and squared share of them of an ellipse inside a convex polygon given once round: most points lie in it."""
    x, y = poly[:-1, 0].mean(), poly[:-1, 1].mean()
    a, b = max(np.abs(poly[:, 0] - x).max(), 1e-9), max(np.abs(poly[:, 1] - y).max(), 1e-9)
    least = np.inf
    for d in range(len(poly) - 1):
        px, py = (poly[d, 0] - x) / a, (poly[d, 1] - y) / b
        wx, wy = (poly[d + 1, 0] - x) / a - px, (poly[d + 1, 1] - y) / b - py
        length = np.hypot(wx, wy)
        if length > 1e-12:
            least = min(least, (px * wy - py * wx) / length)
    least = max(least - 1e-9, 0.0) if least < np.inf else 0.0
    return x, y, a, b, least * least
