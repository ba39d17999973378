"""Kernels: convex outlines of the spots at hand, at one corner of a cell or block."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

ONE = 16  # where in Lists.hand the spots of a whole shape begin; before them lies the edge being looked at
ORDER, COUNTS, NEXT = 4, 5, 6  # rows of Bench.hull: points in order; points of each corner's outline; who comes next in it


@compiled
def corners_apart(hand: FloatArray, count: int) -> int:
    """1 where all points at hand lie alike at all four corners, so that one tells all, else 4."""
    for k in range(count):
        for i in range(ONE + 8 * k, ONE + 8 * k + 6):
            if hand[i] != hand[i + 2]:
                return 4
    return 1


@compiled
def outline_at(hand: FloatArray, count: int, corner: int, hull: Ints, to: int) -> int:
    """Number of points of the convex outline at one corner, put into hull[to] turning left from the lowest-numbered one.

    Source: monotone chain, Andrew, Information Processing Letters 9, 216 (1979) (from memory).
    """
    at = ONE + 2 * corner
    if corner == 0:
        for k in range(count):
            hull[ORDER, k] = k
    _sort_points(hand, count, at, hull)
    n, base = 0, 1
    for step in range(2 * count - 1):
        point = hull[ORDER, step if step < count else 2 * count - 2 - step]
        base = n if step == count else base
        while n > base and turns(hand, at, hull[to, n - 2], hull[to, n - 1], point) <= 0.0:
            n -= 1
        hull[to, n] = point
        n += 1
    n = max(n - 1, 1)
    lowest = 0
    for k in range(n):
        lowest = k if hull[to, k] < hull[to, lowest] else lowest
    for k in range(n):
        hull[NEXT + to, k] = hull[to, (lowest + k) % n]
    for k in range(n):
        hull[to, k] = hull[NEXT + to, k]
    return n


@compiled
def turns(hand: FloatArray, at: int, a: int, b: int, c: int) -> float:
    """Twice the area of three points at hand: above 0 where c lies left of a -> b; `at` picks the corner."""
    u, v = hand[8 * a + at], hand[8 * a + at + 1]
    return (hand[8 * b + at] - u) * (hand[8 * c + at + 1] - v) - (hand[8 * b + at + 1] - v) * (hand[8 * c + at] - u)


@compiled
def _sort_points(hand: FloatArray, count: int, at: int, hull: Ints) -> None:
    """Put hull[ORDER] by u, then v, then number; from corner to corner the order hardly changes.

    Source: Shell, Communications of the ACM 2(7), 30 (1959), with gaps that shrink by 2.25 (from memory).
    """
    gap = count
    while gap > 1:
        gap = max(1, int(gap / 2.25))
        for k in range(gap, count):
            number = hull[ORDER, k]
            u, v = hand[8 * number + at], hand[8 * number + at + 1]
            j = k
            while j >= gap:
                before = 8 * hull[ORDER, j - gap] + at
                if u > hand[before] or (u == hand[before] and v > hand[before + 1]):
                    break
                if u == hand[before] and v == hand[before + 1] and number > hull[ORDER, j - gap]:
                    break
                hull[ORDER, j] = hull[ORDER, j - gap]
                j -= gap
            hull[ORDER, j] = number
