"""Kernels: one open piece on each chord of a pupil, cut on all chords side by side, as columns without branches.

A chord whose piece would fall in two is set aside as it is, for others to go on with it alone: `apart` holds 0, or 1 more than the
number of the entry that it is to go on from.
"""

from __future__ import annotations

import math

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.lens_rim import RADIUS_ROW, RIMS, RING, RING_ROW, mix, ring_at
from raytrace.jit.compiled import compiled


@compiled
def open_bare(
    lens: FloatArray, cut_by_lens: int, x: float, y: float, rule: FloatArray, low: FloatArray, high: FloatArray, apart: FloatArray
) -> None:
    """Let all chords be open where the bare pupil is, at fractions (x, y) of the cell: as `rim_at` has it for one of them."""
    n = len(rule[0])
    for j in range(n):
        low[j], high[j], apart[j] = -rule[2, j], rule[2, j], 0.0
    if cut_by_lens & RIMS:
        for j in range(n):
            low[j] = max(low[j], mix(lens[0, j], lens[2, j], lens[4, j], lens[6, j], x, y))
            high[j] = min(high[j], mix(lens[1, j], lens[3, j], lens[5, j], lens[7, j], x, y))
    if cut_by_lens & RING:
        ring = lens[RING_ROW]
        cx, cy, dx, dy = ring_at(ring, 0, x, y), ring_at(ring, 1, x, y), ring_at(ring, 4, x, y), ring_at(ring, 5, x, y)
        qx, qy = ring_at(ring, 2, x, y), ring_at(ring, 3, x, y)
        square, radius = qx * qx + qy * qy, lens[RADIUS_ROW, 0]
        for j in range(n):
            px, py = cx + dx * rule[0, j], cy + dy * rule[0, j]
            middle = -(px * qx + py * qy) / square
            gap = (radius - (px * px + py * py)) / square + middle * middle
            half = math.sqrt(max(gap, 0.0))
            low[j], high[j] = max(low[j], middle - half), min(high[j], middle + half)
    for j in range(n):
        high[j] = max(high[j], low[j])


@compiled
def weighed(low: FloatArray, high: FloatArray, weight: FloatArray) -> float:
    """The weighed length of what is open."""
    total = 0.0
    for j in range(len(weight)):
        total += (high[j] - low[j]) * weight[j]
    return total


@compiled
def stop_all(low: FloatArray, high: FloatArray, apart: FloatArray, n: int) -> None:
    """Leave nothing open, save where a chord is set aside."""
    for j in range(n):
        high[j] = high[j] if apart[j] != 0.0 else low[j]


@compiled
def set_all_apart(low: FloatArray, high: FloatArray, apart: FloatArray, n: int, mark: float) -> None:
    """Set all chords aside that anything of is open."""
    for j in range(n):
        apart[j] = mark if (apart[j] == 0.0) & (high[j] > low[j]) else apart[j]


@compiled
def cut_from_all(
    low: FloatArray, high: FloatArray, apart: FloatArray, start: FloatArray, end: FloatArray, n: int, mark: float
) -> None:
    """Take start..end out of each chord."""
    for j in range(n):
        a, b, s, e = low[j], high[j], start[j], end[j]
        met = (s < e) & (e > a) & (s < b) & (apart[j] == 0.0)
        at_low, at_high = met & (s <= a), met & (s > a)
        low[j] = min(e, b) if at_low else a
        high[j] = s if at_high & (e >= b) else b
        apart[j] = mark if at_high & (e < b) else apart[j]


@compiled
def keep_of_all(low: FloatArray, high: FloatArray, apart: FloatArray, start: FloatArray, end: FloatArray, n: int) -> None:
    """Leave of each chord what lies in start..end."""
    for j in range(n):
        a, b = low[j], high[j]
        s = min(max(a, start[j]), b)
        e = max(min(b, end[j]), s)
        low[j] = a if apart[j] != 0.0 else s
        high[j] = b if apart[j] != 0.0 else e


@compiled
def cut_round_way(
    low: FloatArray,
    high: FloatArray,
    apart: FloatArray,
    start: FloatArray,
    end: FloatArray,
    hull_start: FloatArray,
    hull_end: FloatArray,
    n: int,
    mark: float,
) -> None:
    """Take the hull about a way through out of each chord, save start..end: what of it lies before that, then what lies behind."""
    for j in range(n):
        none = start[j] >= end[j]
        first, last = hull_start[j], hull_end[j]
        a, b, whole = low[j], high[j], apart[j] == 0.0
        s, e = first, last if none else min(start[j], last)
        met = whole & (s < e) & (e > a) & (s < b)
        splits = met & (s > a) & (e < b)
        a, b = min(e, b) if met & (s <= a) else a, s if met & (s > a) & (e >= b) else b
        s, e = last if none else max(end[j], first), last
        met = whole & (s < e) & (e > a) & (s < b) & ~splits
        splits |= met & (s > a) & (e < b)
        a, b = min(e, b) if met & (s <= a) else a, s if met & (s > a) & (e >= b) else b
        low[j], high[j], apart[j] = a, b, mark if splits else apart[j]
