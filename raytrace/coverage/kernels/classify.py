"""Kernels: what of a box can stop rays of a cell of pixels. Whatever is proven clear or dark there is left out of the lists."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.hulls import KNOWN, KNOWN_FIRST, KNOWN_LAST, KNOWN_MODE, STOPPED, UNKNOWN, classify_hull
from raytrace.coverage.kernels.outlines import ONE
from raytrace.coverage.kernels.project import CLEAR, CUT, DARK, edge_state, project
from raytrace.coverage.kernels.scratch import (
    ALL_DARK,
    EDGES,
    ENTRIES,
    FIRST,
    FOUND,
    FOUND_TURN,
    HULL_FIRST,
    HULL_LAST,
    HULL_MODE,
    HULL_NUMBER,
    LAST,
    MODE,
    NO_MODE,
    PART,
    PLANES,
    SENSE,
    SIDES,
    TURN,
    WEBBED,
    Bench,
    Lists,
    add_side,
)
from raytrace.coverage.kernels.web_kernels import classify_web
from raytrace.coverage.tables.tables import (
    HULL,
    HULL_OF,
    KIND,
    LOOP,
    NO_HULL,
    PART_OF,
    PASSES,
    POINTS,
    POINTS_END,
    SENSE_OF,
    SHAPE,
    STOPS,
    TRIAL,
    TRIAL_END,
    Tables,
)
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

THIN = 1e-9  # outlines with less area in the disc's units, or of changing turn, are edge-on: told by layers instead of sides


@compiled
def list_cell(t: Tables, items: Ints, corner: FloatArray, reach: float, cell: Lists, bench: Bench) -> None:
    """Fill the lists with what can stop rays of a cell, in the order rays meet it, up to the first that stops all.

    The hull about a part is looked at once for all ways through it; what lies in one that stops all is told by that.
    """
    cell.used[SIDES] = cell.used[EDGES] = cell.used[ENTRIES] = 0
    for k in range(len(t.shape)):
        bench.hull[KNOWN, k] = UNKNOWN
    for k in range(len(items)):
        i = items[k]
        hull = t.item[i, HULL_OF]
        if hull != NO_HULL and (bench.hull[KNOWN, hull] == DARK or bench.hull[KNOWN, hull] == STOPPED):
            continue
        entry = cell.entry[cell.used[ENTRIES]]
        entry[PART], entry[SENSE], entry[HULL_MODE], entry[HULL_NUMBER] = t.item[i, PART_OF], t.item[i, SENSE_OF], NO_MODE, hull
        sides, edges = cell.used[SIDES], cell.used[EDGES]
        state = _classify(t, t.item[i, SHAPE], corner, reach, cell, bench)
        if state == (CLEAR if entry[SENSE] == PASSES else DARK):
            continue
        kind = EDGES if cell.used[FOUND] == WEBBED else SIDES
        entry[MODE], entry[TURN] = cell.used[FOUND], cell.used[FOUND_TURN]
        entry[FIRST], entry[LAST] = edges if kind == EDGES else sides, cell.used[kind]
        hull_state = CLEAR
        if hull != NO_HULL:
            if bench.hull[KNOWN, hull] == UNKNOWN:
                first = cell.used[SIDES]
                note_hull(bench.hull, hull, classify_hull(t, hull, corner, reach, cell, bench), cell.used, first)
            hull_state = bench.hull[KNOWN, hull]
            take_hull(entry, bench.hull)
        if hull_state == DARK:
            cell.used[SIDES], cell.used[EDGES] = sides, edges
            continue
        if settle(state, hull_state, entry, cell.used):
            break
        if hull != NO_HULL and entry[SENSE] == STOPS:
            bench.hull[KNOWN, hull] = STOPPED


@compiled
def note_hull(known: Ints, hull: int, state: int, used: Ints, first: int) -> None:
    """Note the state of a hull, whose sides were listed from `first` on."""
    known[KNOWN, hull], known[KNOWN_MODE, hull] = state, used[FOUND]
    known[KNOWN_FIRST, hull], known[KNOWN_LAST, hull] = first, used[SIDES]


@compiled
def take_hull(entry: Ints, known: Ints) -> None:
    """Give the entry the sides of its hull, which others may share; none where the hull cuts nothing."""
    hull = entry[HULL_NUMBER]
    entry[HULL_MODE] = known[KNOWN_MODE, hull] if known[KNOWN, hull] == CUT else NO_MODE
    entry[HULL_FIRST], entry[HULL_LAST] = known[KNOWN_FIRST, hull], known[KNOWN_LAST, hull]


@compiled
def _classify(t: Tables, shape: int, corner: FloatArray, reach: float, cell: Lists, bench: Bench) -> int:
    if t.shape[shape, KIND] == HULL:
        return classify_hull(t, shape, corner, reach, cell, bench)
    if t.shape[shape, KIND] == LOOP:
        turn = _turn_of_loop(t, shape, corner, bench.hand)
        if turn != 0.0:
            return _classify_loop(t, shape, turn, corner, reach, cell, bench)
    return classify_web(t, shape, corner, reach, cell, bench)


@compiled
def settle(state: int, hull_state: int, entry: Ints, count: Ints) -> bool:
    """Keep, complete or drop the entry at the end of the list; True if it stops all rays, so that nothing behind it matters."""
    if state == (CLEAR if entry[SENSE] == PASSES else DARK):
        return False
    count[ENTRIES] += 1
    if state == CUT:
        return False
    if hull_state == CLEAR:
        entry[MODE] = ALL_DARK
        return True
    entry[SENSE], entry[MODE], entry[TURN] = STOPS, entry[HULL_MODE], 1
    entry[FIRST], entry[LAST], entry[HULL_MODE] = entry[HULL_FIRST], entry[HULL_LAST], NO_MODE
    return False


@compiled
def _classify_loop(t: Tables, shape: int, turn: float, corner: FloatArray, reach: float, cell: Lists, bench: Bench) -> int:
    """State of discs against a convex outline; its sides that cut them are added to the list.

    The trial points are in hand. A disc within the line between two of them is within the sides of the chain that they cut off.
    """
    first, start = t.shape[shape, POINTS], cell.used[SIDES]
    count = t.shape[shape, POINTS_END] - first
    trial, tried = t.shape[shape, TRIAL], t.shape[shape, TRIAL_END] - t.shape[shape, TRIAL]
    cell.used[FOUND], cell.used[FOUND_TURN] = PLANES, int(turn)
    for k in range(tried):
        after = (k + 1) % tried
        a, b = t.trial[trial + k] - first, t.trial[trial + after] - first
        for i in range(8):
            bench.hand[i], bench.hand[8 + i] = bench.hand[ONE + 8 * k + i], bench.hand[ONE + 8 * after + i]
        state, steps = edge_state(bench.hand, turn, reach), (b - a) % count
        if state != CLEAR and steps != 1:
            state = _walk_chain(t.point, first, count, a, steps, turn, corner, reach, cell, bench)
        elif state == CUT:
            add_side(cell.side, cell.used, bench.hand, 0, 8, a, b)
        if state == DARK:
            cell.used[SIDES] = start
            break
    return DARK if state == DARK else (CUT if cell.used[SIDES] > start else CLEAR)


@compiled
def _walk_chain(
    point: FloatArray,
    first: int,
    count: int,
    a: int,
    steps: int,
    turn: float,
    corner: FloatArray,
    reach: float,
    cell: Lists,
    bench: Bench,
) -> int:
    """Add the sides that cut among `steps` sides from point a on; DARK if one of them has all discs outside."""
    project(corner, point, first + a, bench.hand, 8)
    for k in range(steps):
        v = (a + k + 1) % count
        for i in range(8):
            bench.hand[i] = bench.hand[8 + i]
        project(corner, point, first + v, bench.hand, 8)
        state = edge_state(bench.hand, turn, reach)
        if state == DARK:
            return DARK
        if state == CUT:
            add_side(cell.side, cell.used, bench.hand, 0, 8, (a + k) % count, v)
    return CUT


@compiled
def _turn_of_loop(t: Tables, shape: int, corner: FloatArray, hand: FloatArray) -> float:
    """1 or -1 as the outline turns left or right at all four corners, 0 where it is edge-on or changes its turn.

    Leaves the spots of its trial points in hand.
    """
    trial, count = t.shape[shape, TRIAL], t.shape[shape, TRIAL_END] - t.shape[shape, TRIAL]
    for k in range(count):
        project(corner, t.point, t.trial[trial + k], hand, ONE + 8 * k)
    least, most = np.inf, -np.inf
    for c in range(ONE, ONE + 2 * len(corner), 2):
        area = 0.0
        for k in range(1, count - 1):
            i, j = 8 * k + c, 8 * k + 8 + c
            area += (hand[i] - hand[c]) * (hand[j + 1] - hand[c + 1]) - (hand[i + 1] - hand[c + 1]) * (hand[j] - hand[c])
        least, most = min(least, area), max(most, area)
    return 1.0 if least > THIN else (-1.0 if most < -THIN else 0.0)
