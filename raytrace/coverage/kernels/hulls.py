"""Kernels: the outline that a convex body shows to a pencil, over a cell of pixels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.near_points import near_points
from raytrace.coverage.kernels.outlines import COUNTS, NEXT, ONE, corners_apart, outline_at
from raytrace.coverage.kernels.project import CLEAR, CUT, DARK, edge_state, outside_square, project
from raytrace.coverage.kernels.scratch import FOUND, FOUND_TURN, PLANES, SIDES, SPAN, Bench, Lists, add_side
from raytrace.coverage.tables.tables import POINTS, POINTS_END, TRIAL, TRIAL_END, Tables
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

NOBODY = -1  # comes next after a point within an outline
KNOWN, KNOWN_MODE, KNOWN_FIRST, KNOWN_LAST = range(10, 14)  # rows of what is known of hulls, by their number
MANY_POINTS = 48  # of a body, from which on only those near the discs are put in order
UNKNOWN, STOPPED = 2, 3  # in place of a state: not looked at yet; an entry before stops all within it


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
    if count > MANY_POINTS and not outside_square(bench.hand, ONE, count, reach):
        count = near_points(count, reach, bench)
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
        n = bench.hull[COUNTS, c] if for_block else count
        for k in range(n):
            a, b = (bench.hull[c, k], bench.hull[c, (k + 1) % n]) if for_block else (k, k)
            if not for_block or _meets_strip(bench.hand, ONE + 8 * a, ONE + 8 * b, reach):
                add_side(found.side, found.used, bench.hand, ONE + 8 * a, ONE + 8 * b, a, b)
    return CUT


@compiled
def _meets_strip(hand: FloatArray, a: int, b: int, reach: float) -> bool:
    """Whether the side between two spots comes into the strip of the chords, -reach <= v <= reach: others bound no chord."""
    low, high = np.inf, -np.inf
    for k in range(1, 8, 2):
        low, high = min(low, hand[a + k], hand[b + k]), max(high, hand[a + k], hand[b + k])
    return bool(low <= reach and high >= -reach)


@compiled
def _sides(count: int, reach: float, found: Lists, bench: Bench) -> int:
    """State against the outline of the points at hand, its cutting sides in the list; found is SPAN where the corners disagree."""
    start = found.used[SIDES]
    found.used[FOUND], found.used[FOUND_TURN] = PLANES, 1
    corners = corners_apart(bench.hand, count)
    for c in range(corners):
        bench.hull[COUNTS, c] = outline_at(bench.hand, count, c, bench.hull, c)
        _link(bench.hull, c, count)
    for c in range(corners):
        n = bench.hull[COUNTS, c]
        for k in range(n):
            a = bench.hull[c, k]
            b = bench.hull[NEXT + c, a]
            common = corners == 1 or _seen_by_all(bench.hull, a, b)
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
def _link(hull: Ints, c: int, count: int) -> None:
    """Note of each of the points at hand who comes next in the outline of corner c."""
    for k in range(count):
        hull[NEXT + c, k] = NOBODY
    n = hull[COUNTS, c]
    for k in range(n):
        hull[NEXT + c, hull[c, k]] = hull[c, (k + 1) % n]


@compiled
def _seen_by_all(hull: Ints, a: int, b: int) -> bool:
    """Whether the side from a to b is in the outlines of all four corners."""
    return bool(hull[NEXT, a] == b and hull[NEXT + 1, a] == b and hull[NEXT + 2, a] == b and hull[NEXT + 3, a] == b)
