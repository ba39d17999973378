"""Kernels: what can stop rays of a block, narrowed down from the list of its cell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.coverage.classify import settle
from raytrace.coverage.compiled import compiled
from raytrace.coverage.hulls import ONE, hull_at_hand
from raytrace.coverage.project import CLEAR, CUT, DARK, edge_state, narrow
from raytrace.coverage.webbed import narrow_web
from raytrace.coverage.work import (
    ALL_DARK,
    BLOCKS,
    COLUMN,
    COLUMN_END,
    CUTS,
    EDGES,
    EDGES_END,
    END_A,
    END_B,
    ENTRIES,
    ENTRIES_END,
    FIRST,
    FOUND,
    HULL_FIRST,
    HULL_LAST,
    HULL_MODE,
    LAST,
    MODE,
    NO_MODE,
    PART,
    PLANES,
    ROW,
    ROW_END,
    SIDES,
    SIDES_END,
    SPAN,
    TURN,
    WEBBED,
    Lists,
    add_side,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ShareMap = NDArray[np.float32]
PartMap = NDArray[np.int16]


@compiled
def list_block(w: Lists, block: Ints, place: Floats, chords: int, clear: ShareMap, by: PartMap) -> None:
    """List what of the cell's list can stop rays of a block; fills the block instead where that settles all its pixels.

    place (5,): fractions of the cell at the block's outer pixel centres, x then y, and the discs' reach.
    """
    sides, edges, first = w.used[1, SIDES], w.used[1, EDGES], w.used[1, ENTRIES]
    _narrow_list(w, place, chords)
    entries = w.used[1, ENTRIES] - first
    if entries == 0:
        fill_block(block[ROW], block[ROW_END], block[COLUMN], block[COLUMN_END], 1.0, -1, clear, by)
    elif entries == 1 and block[CUTS] == 0 and w.entry[1, first, MODE] == ALL_DARK:
        fill_block(block[ROW], block[ROW_END], block[COLUMN], block[COLUMN_END], 0.0, w.entry[1, first, PART], clear, by)
        w.used[1, ENTRIES] = first
    else:
        for k in range(first, first + entries):
            _count_from(w.entry[1, k], sides, edges)
        block[ENTRIES_END], block[SIDES_END], block[EDGES_END] = w.used[1, ENTRIES], w.used[1, SIDES], w.used[1, EDGES]
        w.used[1, BLOCKS] += 1
        return
    w.used[1, SIDES], w.used[1, EDGES] = sides, edges


@compiled
def _count_from(entry: Ints, sides: int, edges: int) -> None:
    """Let the entry's sides and edges count from where those of its block begin; none where it has none."""
    start = edges if entry[MODE] == WEBBED else sides
    entry[FIRST], entry[LAST] = entry[FIRST] - start, entry[LAST] - start
    entry[HULL_FIRST], entry[HULL_LAST] = entry[HULL_FIRST] - sides, entry[HULL_LAST] - sides
    if entry[MODE] == ALL_DARK:
        entry[FIRST] = entry[LAST] = 0
    if entry[HULL_MODE] == NO_MODE:
        entry[HULL_FIRST] = entry[HULL_LAST] = 0


@compiled
def fill_block(row: int, row_end: int, column: int, column_end: int, share: float, part: int, clear: ShareMap, by: PartMap) -> None:
    """Give all pixels of the block one share and one part."""
    value, number = np.float32(share), np.int16(part)
    for r in range(row, row_end):
        for c in range(column, column_end):
            clear[r, c] = value
        for c in range(column, column_end):
            by[r, c] = number


@compiled
def _narrow_list(w: Lists, place: Floats, chords: int) -> None:
    """Add to level 1 of the lists what of the cell's list can stop rays of a block."""
    for k in range(w.used[0, ENTRIES]):
        entry = w.entry[1, w.used[1, ENTRIES]]
        for i in range(len(entry)):
            entry[i] = w.entry[0, k, i]
        if entry[MODE] == ALL_DARK:
            w.used[1, ENTRIES] += 1
            break
        hull_state, sides = CLEAR, w.used[1, SIDES]
        if entry[HULL_MODE] != NO_MODE:
            hull_state = _narrow_shape(w, entry[HULL_MODE], entry[HULL_FIRST], entry[HULL_LAST], 1.0, place, chords)
            if hull_state == DARK:
                continue
            entry[HULL_MODE] = NO_MODE if hull_state == CLEAR else w.used[1, FOUND]
            entry[HULL_FIRST], entry[HULL_LAST] = sides, w.used[1, SIDES]
        kind = EDGES if entry[MODE] == WEBBED else SIDES
        start = w.used[1, kind]
        state = _narrow_shape(w, entry[MODE], entry[FIRST], entry[LAST], float(entry[TURN]), place, chords)
        entry[MODE], entry[FIRST], entry[LAST] = w.used[1, FOUND], start, w.used[1, kind]
        if settle(state, hull_state, entry, w.used, 1):
            break


@compiled
def _narrow_shape(w: Lists, mode: int, first: int, last: int, turn: float, place: Floats, chords: int) -> int:
    if mode == WEBBED:
        return narrow_web(w, first, last, place, chords)
    if mode == SPAN:
        return _narrow_points(w, first, last, place)
    start = w.used[1, SIDES]
    w.used[1, FOUND] = PLANES
    for e in range(first, last):
        narrow(w.side[0, e], 2, place, w.hand)
        state = edge_state(w.hand, turn, place[4])
        if state == DARK:
            w.used[1, SIDES] = start
            return DARK
        if state == CUT:
            add_side(w.side, w.used, 1, w.hand, 0, 8, int(w.side[0, e, END_A]), int(w.side[0, e, END_B]))
    return CUT if w.used[1, SIDES] > start else CLEAR


@compiled
def _narrow_points(w: Lists, first: int, last: int, place: Floats) -> int:
    """State of a block's discs against a convex body of which the cell keeps the points."""
    for e in range(first, last):
        narrow(w.side[0, e], 1, place, w.hand)
        for k in range(8):
            w.hand[ONE + 8 * (e - first) + k] = w.hand[k]
    return hull_at_hand(last - first, 1, place[4], w)
