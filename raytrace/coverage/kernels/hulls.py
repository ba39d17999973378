"""Kernels: the outline that a convex body shows to a pencil, over a cell of pixels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.project import CLEAR, CUT, DARK, edge_state, outside_square, project
from raytrace.coverage.kernels.scratch import FOUND, FOUND_TURN, PLANES, SIDES, SPAN, Bench, Lists, add_side
from raytrace.coverage.tables.tables import POINTS, POINTS_END, TRIAL, TRIAL_END, Tables
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

ONE = 16  # where in Lists.hand the spots of a whole shape begin; before them lies the edge being looked at


@compiled
def classify_hull(t: Tables, shape: int, corner: FloatArray, reach: float, found: Lists, bench: Bench) -> int:
    """State of a cell's discs against a convex body; what of it cuts them is added to the list."""
    first, trial = t.shape[shape, POINTS], t.shape[shape, TRIAL]
    count, tried = t.shape[shape, POINTS_END] - first, t.shape[shape, TRIAL_END] - trial
    start = found.used[SIDES]
    if tried < count:
        for k in range(tried):
            project(corner, t.point, t.trial[trial + k], bench.hand, ONE + 8 * k)
        if _sides(tried, reach, found, bench) == CLEAR:
            return CLEAR
        found.used[SIDES] = start
    for k in range(count):
        project(corner, t.point, first + k, bench.hand, ONE + 8 * k)
    return hull_at_hand(count, False, reach, found, bench)


@compiled
def hull_at_hand(count: int, for_block: bool, reach: float, found: Lists, bench: Bench) -> int:
    """State of discs against the hull of the points at hand; what cuts them is added to the list.

    Sides that all four corners see are ordered ones, turning left. Where one that not all see comes near the discs, a cell keeps
    the points, for its blocks to look again; a block keeps the sides of all corners' outlines: the outermost bound the body.
    """
    if outside_square(bench.hand, ONE, count, reach):
        return DARK
    start = found.used[SIDES]
    state = _sides(count, reach, found, bench)
    if found.used[FOUND] == PLANES:
        return state
    found.used[SIDES] = start
    for c in range(4 if for_block else 1):
        n = bench.hull[5, c] if for_block else count
        for k in range(n):
            a, b = (bench.hull[c, k], bench.hull[c, (k + 1) % n]) if for_block else (k, k)
            add_side(found.side, found.used, bench.hand, ONE + 8 * a, ONE + 8 * b, a, b)
    return CUT


@compiled
def _sides(count: int, reach: float, found: Lists, bench: Bench) -> int:
    """State against the outline of the points at hand, its cutting sides in the list; found is SPAN where the corners disagree."""
    start = found.used[SIDES]
    found.used[FOUND], found.used[FOUND_TURN] = PLANES, 1
    for c in range(4):
        bench.hull[5, c] = _outline_at(bench.hand, count, c, bench.hull, c)
    for c in range(4):
        n = bench.hull[5, c]
        for k in range(n):
            a, b = bench.hull[c, k], bench.hull[c, (k + 1) % n]
            common = _seen_by_all(bench.hull, c, k, a, b)
            if c > 0 and common:
                continue
            for i in range(8):
                bench.hand[i], bench.hand[8 + i] = bench.hand[ONE + 8 * a + i], bench.hand[ONE + 8 * b + i]
            state = edge_state(bench.hand, 1.0, reach)
            if state == DARK and common:
                found.used[SIDES] = start
                return DARK
            if state != CLEAR and not common:
                found.used[FOUND] = SPAN
            elif state == CUT:
                add_side(found.side, found.used, bench.hand, 0, 8, a, b)
    return CUT if found.used[SIDES] > start or found.used[FOUND] == SPAN else CLEAR


@compiled
def _seen_by_all(hull: Ints, c: int, k: int, a: int, b: int) -> bool:
    """Whether the side from a to b, the k-th of corner c, is in the outlines of all four corners."""
    for other in range(4):
        n = hull[5, other]
        found = other == c or (k < n and hull[other, k] == a and hull[other, (k + 1) % n] == b)
        for i in range(0 if found else n):
            found |= hull[other, i] == a and hull[other, (i + 1) % n] == b
        if not found:
            return False
    return True


@compiled
def _outline_at(hand: FloatArray, count: int, corner: int, hull: Ints, to: int) -> int:
    """Number of points of the convex outline at one corner, put into hull[to] turning left from the lowest-numbered one.

    Source: monotone chain, Andrew, Information Processing Letters 9, 216 (1979) (from memory).
    """
    at = ONE + 2 * corner
    _sort_points(hand, count, at, hull)
    n, base = 0, 1
    for step in range(2 * count - 1):
        point = hull[4, step if step < count else 2 * count - 2 - step]
        base = n if step == count else base
        while n > base and _turns(hand, at, hull[to, n - 2], hull[to, n - 1], point) <= 0.0:
            n -= 1
        hull[to, n] = point
        n += 1
    n = max(n - 1, 1)
    lowest = 0
    for k in range(n):
        lowest = k if hull[to, k] < hull[to, lowest] else lowest
    for k in range(n):
        hull[4, k] = hull[to, (lowest + k) % n]
    for k in range(n):
        hull[to, k] = hull[4, k]
    return n


@compiled
def _turns(hand: FloatArray, at: int, a: int, b: int, c: int) -> float:
    u, v = hand[8 * a + at], hand[8 * a + at + 1]
    return (hand[8 * b + at] - u) * (hand[8 * c + at + 1] - v) - (hand[8 * b + at + 1] - v) * (hand[8 * c + at] - u)


@compiled
def _sort_points(hand: FloatArray, count: int, at: int, hull: Ints) -> None:
    """Numbers of the points by u, then v, into hull[4].

    Source: Shell, Communications of the ACM 2(7), 30 (1959), with gaps that shrink by 2.25 (from memory).
    """
    for k in range(count):
        hull[4, k] = k
    gap = count
    while gap > 1:
        gap = max(1, int(gap / 2.25))
        for k in range(gap, count):
            number = hull[4, k]
            u, v = hand[8 * number + at], hand[8 * number + at + 1]
            j = k
            while j >= gap:
                before = 8 * hull[4, j - gap] + at
                if u > hand[before] or (u == hand[before] and v >= hand[before + 1]):
                    break
                hull[4, j] = hull[4, j - gap]
                j -= gap
            hull[4, j] = number
