"""Corners of the convex hull of flat points, as places among these."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray

STRAIGHT_MM = 1e-11  # a corner that stands no farther off the line of its neighbours than this is rounding


def hull_corners(points: FloatArray) -> NDArray[np.int64]:
    """Which of points (N, 2) [mm] are corners of their hull, counter-clockwise; fewer than three where all lie in one line."""
    ring = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(points)))[:-1]
    if len(ring) < 3:  # a line, or a point
        return np.zeros(0, dtype=np.int64)
    first = int(((ring - ring.mean(axis=0)) ** 2).sum(axis=1).argmax())  # a corner without doubt
    x, y = np.roll(ring, -first, axis=0).T.tolist()
    turn = math.copysign(1.0, sum(x[k - 1] * y[k] - x[k] * y[k - 1] for k in range(len(x))))
    place_of = {place: k for k, place in enumerate(map(tuple, points.tolist()))}
    kept = [place_of[x[k], y[k]] for k in _bends(x, y, turn)]
    return np.array(kept if turn > 0.0 else kept[:1] + kept[:0:-1], dtype=np.int64)


def _bends(x: list[float], y: list[float], turn: float) -> list[int]:
    """Places of a ring's corners at which it bends, the first of which does, by its way round (+1 or -1)."""
    kept, count = [0], len(x)
    for k in range(1, count):
        a, c = kept[-1], (k + 1) % count
        u, v = x[c] - x[a], y[c] - y[a]
        if turn * ((x[k] - x[a]) * v - (y[k] - y[a]) * u) > STRAIGHT_MM * math.hypot(u, v):
            kept.append(k)
    return kept
