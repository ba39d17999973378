"""Kernels: what can stop rays of a block, narrowed down from the list of its cell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.classify import note_hull, settle, take_hull
from raytrace.coverage.kernels.hulls import KNOWN, KNOWN_FIRST, KNOWN_LAST, KNOWN_MODE, STOPPED, UNKNOWN, hull_at_hand
from raytrace.coverage.kernels.outlines import ONE
from raytrace.coverage.kernels.project import CLEAR, CUT, DARK, edge_state, narrow
from raytrace.coverage.kernels.scratch import (
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
    HULL_NUMBER,
    LAST,
    MODE,
    NO_MODE,
    PART,
    PLANES,
    ROW,
    ROW_END,
    SENSE,
    SIDES,
    SIDES_END,
    SPAN,
    TURN,
    WEBBED,
    Bench,
    Lists,
    add_side,
)
from raytrace.coverage.kernels.web_kernels import narrow_web
from raytrace.coverage.tables.tables import NO_HULL, STOPS
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]
ShareMap = NDArray[np.float32]
PartMap = NDArray[np.int16]


@compiled
def list_block(
    cell: Lists, found: Lists, bench: Bench, rect: Ints, place: FloatArray, chords: int, clear: ShareMap, by: PartMap
) -> None:
    """List what of the cell's list can stop rays of a block; fills the block instead where that settles all its pixels.

    place (5,): fractions of the cell at the block's outer pixel centres, x then y, and the discs' reach.
    """
    sides, edges, first = found.used[SIDES], found.used[EDGES], found.used[ENTRIES]
    _narrow_list(cell, found, bench, place, chords)
    entries = found.used[ENTRIES] - first
    if entries == 0:
        fill_block(rect[ROW], rect[ROW_END], rect[COLUMN], rect[COLUMN_END], 1.0, -1, clear, by)
    elif entries == 1 and rect[CUTS] == 0 and found.entry[first, MODE] == ALL_DARK:
        fill_block(rect[ROW], rect[ROW_END], rect[COLUMN], rect[COLUMN_END], 0.0, found.entry[first, PART], clear, by)
        found.used[ENTRIES] = first
    else:
        for k in range(first, first + entries):
            _count_from(found.entry[k], sides, edges)
        rect[ENTRIES_END], rect[SIDES_END], rect[EDGES_END] = found.used[ENTRIES], found.used[SIDES], found.used[EDGES]
        found.used[BLOCKS] += 1
        return
    found.used[SIDES], found.used[EDGES] = sides, edges


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
def _narrow_list(cell: Lists, found: Lists, bench: Bench, place: FloatArray, chords: int) -> None:
    """Add to `found` what of the cell's list can stop rays of a block."""
    for k in range(cell.used[ENTRIES]):
        if cell.entry[k, HULL_NUMBER] != NO_HULL:
            bench.hull[KNOWN, cell.entry[k, HULL_NUMBER]] = UNKNOWN
    for k in range(cell.used[ENTRIES]):
        entry = found.entry[found.used[ENTRIES]]
        for i in range(len(entry)):
            entry[i] = cell.entry[k, i]
        if entry[MODE] == ALL_DARK:
            found.used[ENTRIES] += 1
            break
        hull, hull_state, state = entry[HULL_NUMBER], CLEAR, CUT
        of_hull = hull != NO_HULL and entry[SENSE] == STOPS
        if of_hull or entry[HULL_MODE] != NO_MODE:
            _narrow_hull(cell, found, bench, entry, of_hull, place, chords)
            hull_state = bench.hull[KNOWN, hull]
            if hull_state in (DARK, STOPPED):
                continue
        if of_hull:
            state, hull_state = hull_state, CLEAR
            entry[MODE], entry[FIRST], entry[LAST] = (
                bench.hull[KNOWN_MODE, hull],
                bench.hull[KNOWN_FIRST, hull],
                bench.hull[KNOWN_LAST, hull],
            )
        else:
            if entry[HULL_MODE] != NO_MODE:
                take_hull(entry, bench.hull)
            kind = EDGES if entry[MODE] == WEBBED else SIDES
            start = found.used[kind]
            state = _narrow_shape(cell, found, bench, entry[MODE], entry[FIRST], entry[LAST], float(entry[TURN]), place, chords)
            entry[MODE], entry[FIRST], entry[LAST] = found.used[FOUND], start, found.used[kind]
        if settle(state, hull_state, entry, found.used):
            break
        if hull != NO_HULL and entry[SENSE] == STOPS:
            bench.hull[KNOWN, hull] = STOPPED


@compiled
def _narrow_hull(cell: Lists, found: Lists, bench: Bench, entry: Ints, of_hull: bool, place: FloatArray, chords: int) -> None:
    """Note what is known of an entry's hull in the block, unless an entry before has; `of_hull` where the entry is all of it."""
    hull = entry[HULL_NUMBER]
    if bench.hull[KNOWN, hull] != UNKNOWN:
        return
    mode, from_, to = entry[HULL_MODE], entry[HULL_FIRST], entry[HULL_LAST]
    if of_hull:
        mode, from_, to = entry[MODE], entry[FIRST], entry[LAST]
    first = found.used[SIDES]
    state = _narrow_shape(cell, found, bench, mode, from_, to, 1.0, place, chords)
    note_hull(bench.hull, hull, state, found.used, first)


@compiled
def _narrow_shape(
    cell: Lists, found: Lists, bench: Bench, mode: int, first: int, last: int, turn: float, place: FloatArray, chords: int
) -> int:
    if mode == WEBBED:
        return narrow_web(cell, found, bench, first, last, place, chords)
    if mode == SPAN:
        return _narrow_points(cell, found, bench, first, last, place)
    start = found.used[SIDES]
    found.used[FOUND] = PLANES
    for e in range(first, last):
        narrow(cell.side[e], 2, place, bench.hand)
        state = edge_state(bench.hand, turn, place[4])
        if state == DARK:
            found.used[SIDES] = start
            return DARK
        if state == CUT:
            add_side(found.side, found.used, bench.hand, 0, 8, int(cell.side[e, END_A]), int(cell.side[e, END_B]))
    return CUT if found.used[SIDES] > start else CLEAR


@compiled
def _narrow_points(cell: Lists, found: Lists, bench: Bench, first: int, last: int, place: FloatArray) -> int:
    """State of a block's discs against a convex body of which the cell keeps the points."""
    for e in range(first, last):
        narrow(cell.side[e], 1, place, bench.hand)
        for k in range(8):
            bench.hand[ONE + 8 * (e - first) + k] = bench.hand[k]
    return hull_at_hand(last - first, True, place[4], found, bench)
