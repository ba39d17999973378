"""Kernels: of a body of many points, those that bound it where the discs are. A round seal has two thousand, and a disc meets few.

Seen from a point within the body, the apex, all discs lie in a cone. The body's outline there is that of the points in a wider
cone, closed at the apex, if its sides at both edges of the discs' cone are sides of the whole outline: no other point lies beyond.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.outlines import COUNTS, ONE, corners_apart, outline_at, turns
from raytrace.coverage.kernels.project import CLEAR, edge_state
from raytrace.coverage.kernels.scratch import Bench
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

WIDER = 3.0  # times the discs: the cone whose points are kept
LEAST_AWAY = 4.0  # discs' radii that the apex must be away from their middle
ON_A_LINE = 1e-12  # twice an area of three points on one line [pupil radii squared]


@compiled
def near_points(count: int, reach: float, bench: Bench) -> int:
    """Bring the points that bound the body near the discs to the front, the apex last of them; how many those are.

    All points, in another order, where those few cannot be shown to be enough.
    """
    hand = bench.hand
    _set_apex(hand, count)
    for c in range(0, 8, 2):
        if math.hypot(hand[c], hand[c + 1]) < LEAST_AWAY * reach:
            return count
    kept = 0
    for k in range(count):
        if _in_cone(hand, ONE + 8 * k, reach):
            _swap(hand, ONE + 8 * k, ONE + 8 * kept)
            kept += 1
    if kept < 3 or 2 * kept > count:
        return count
    for i in range(8):
        hand[ONE + 8 * count + i], hand[ONE + 8 * kept + i] = hand[ONE + 8 * kept + i], hand[i]
    if _bound_all(kept + 1, count + 1, reach, bench):
        return kept + 1
    for i in range(8):
        hand[ONE + 8 * kept + i] = hand[ONE + 8 * count + i]
    return count


@compiled
def _set_apex(hand: FloatArray, count: int) -> None:
    """Put a spot that lies within the body, wherever it is seen from, into hand[0:8]: the middle of all its points."""
    for i in range(8):
        total = 0.0
        for k in range(count):
            total += hand[ONE + 8 * k + i]
        hand[i] = total / count


@compiled
def _in_cone(hand: FloatArray, at: int, reach: float) -> bool:
    """Whether a spot lies, at any corner, in the cone from the apex about discs so many times as wide."""
    for c in range(0, 8, 2):
        x, y = hand[c], hand[c + 1]
        u, v = hand[at + c] - x, hand[at + c + 1] - y
        along, across = -(u * x + v * y), u * y - v * x
        far = x * x + y * y
        sine = WIDER * reach
        if along > 0.0 and across * across * (far - sine * sine) <= sine * sine * along * along:
            return True
    return False


@compiled
def _swap(hand: FloatArray, a: int, b: int) -> None:
    for i in range(8):
        hand[a + i], hand[b + i] = hand[b + i], hand[a + i]


@compiled
def _bound_all(kept: int, end: int, reach: float, bench: Bench) -> bool:
    """Whether the first `kept` points, the apex last, bound the body near the discs at all corners; the others go up to `end`."""
    hand, hull = bench.hand, bench.hull
    apex = kept - 1
    for c in range(corners_apart(hand, end)):
        at, n = ONE + 2 * c, outline_at(hand, kept, c, hull, c)
        hull[COUNTS, c] = n
        if n < 4:
            return False
        start = 0
        for k in range(n):
            start = k if hull[c, k] == apex else start
        if hull[c, start] != apex:
            return False
        first, last = _before(hand, hull, c, start, n, reach)
        if first < 1 or last > n - 1 or first >= last:
            return False
        a, b = hull[c, (start + first) % n], hull[c, (start + first + 1) % n]
        d, e = hull[c, (start + last - 1) % n], hull[c, (start + last) % n]
        for k in range(kept, end):
            if turns(hand, at, a, b, k) < -ON_A_LINE or turns(hand, at, d, e, k) < -ON_A_LINE:
                return False
        if not _is_clear(hand, apex, hull[c, (start + 1) % n], reach) or not _is_clear(
            hand, hull[c, (start + n - 1) % n], apex, reach
        ):
            return False
    return True


@compiled
def _before(hand: FloatArray, hull: Ints, c: int, start: int, n: int, reach: float) -> tuple[int, int]:
    """Steps from the apex, round the outline of corner c, to the last point before the disc and to the first one after it."""
    x, y = hand[ONE + 8 * hull[c, start] + 2 * c], hand[ONE + 8 * hull[c, start] + 2 * c + 1]
    first, last = 0, n
    for k in range(1, n):
        at = ONE + 8 * hull[c, (start + k) % n] + 2 * c
        u, v = hand[at] - x, hand[at + 1] - y
        inside, far = v * x - u * y, reach * math.sqrt(u * u + v * v)
        if inside >= far and first == k - 1:
            first = k
        if -inside >= far:
            last = min(last, k)
    return first, last


@compiled
def _is_clear(hand: FloatArray, a: int, b: int, reach: float) -> bool:
    """Whether the discs of all pixels lie within the side from a to b."""
    for i in range(8):
        hand[i], hand[8 + i] = hand[ONE + 8 * a + i], hand[ONE + 8 * b + i]
    return edge_state(hand, 1.0, reach) == CLEAR
