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
    ring = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(points)))[-2::-1]  # it comes clockwise
    if len(ring) < 3:  # a line, or a point
        return np.zeros(0, dtype=np.int64)
    places = _places_of(ring, points)
    away = ring - ring.mean(axis=0)
    first = int((away * away).sum(axis=1).argmax())  # a corner without doubt
    around = np.concatenate([np.arange(first, len(ring)), np.arange(first)])
    return places[around[_bends(ring[around])]]


def _places_of(ring: FloatArray, points: FloatArray) -> NDArray[np.int64]:
    """Where each corner of a ring is among the points; of several alike the last."""
    whole = points[:, 0] + 1j * points[:, 1]
    order = whole.argsort(kind="stable")
    return np.asarray(order[whole[order].searchsorted(ring[:, 0] + 1j * ring[:, 1], side="right") - 1])


def _bends(ring: FloatArray) -> NDArray[np.int64] | slice:
    """At which corners of a ring, counter-clockwise, it bends; it does so at the first."""
    before, after = np.concatenate([ring[-1:], ring[:-1]]), np.concatenate([ring[1:], ring[:1]])
    (u, v), (x, y) = (after - before).T, (ring - before).T
    if ((x * v - y * u) > STRAIGHT_MM * np.hypot(u, v)).all():
        return slice(None)
    return np.array(_walked(*ring.T.tolist()), dtype=np.int64)


def _walked(x: list[float], y: list[float]) -> list[int]:
    """The same, corner by corner, each against the last one kept."""
    kept, count = [0], len(x)
    for k in range(1, count):
        a, c = kept[-1], (k + 1) % count
        u, v = x[c] - x[a], y[c] - y[a]
        if (x[k] - x[a]) * v - (y[k] - y[a]) * u > STRAIGHT_MM * math.hypot(u, v):
            kept.append(k)
    return kept
