"""Kernels: a block of a cell's pixels. Its list is narrowed down from the cell's, and the plainest exact rule that fits is used."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.coverage.chords import cover_by_chords
from raytrace.coverage.classify import settle
from raytrace.coverage.compiled import compiled
from raytrace.coverage.hulls import ONE, hull_at_hand
from raytrace.coverage.outline_area import cover_outline
from raytrace.coverage.project import CLEAR, CUT, DARK, edge_state, narrow
from raytrace.coverage.stack import CROSSED, PARALLEL, SINGLE, course_of, cover_nearest, cover_parallel
from raytrace.coverage.webbed import narrow_web
from raytrace.coverage.work import (
    ALL_DARK,
    EDGES,
    END_A,
    END_B,
    ENTRIES,
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
    SIDES,
    SPAN,
    TURN,
    WEBBED,
    Work,
    add_side,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
ShareMap = NDArray[np.float32]
PartMap = NDArray[np.int16]


@compiled
def cover_block(w: Work, cut_by_lens: int, rule: Floats, place: Floats, rect: Ints, clear: ShareMap, by: PartMap) -> None:
    """Fill the pixels rect (row0, row1, column0, column1; ends beyond) from the cell's list.

    place (5,): fractions of the cell at the block's outer pixel centres, x then y, and the discs' reach.
    """
    narrow_list(w, place, rule.shape[1])
    entries = w.used[1, ENTRIES]
    last = w.entry[1, max(entries - 1, 0)]
    if entries == 0:
        fill_block(rect, 1.0, -1, clear, by)
    elif cut_by_lens == 0 and entries == 1 and last[MODE] == ALL_DARK:
        fill_block(rect, 0.0, last[PART], clear, by)
    else:
        course = course_of(w.entry, entries, w.used[1, SIDES], w.side, w.at) if cut_by_lens == 0 else CROSSED
        if course == SINGLE:
            cover_nearest(w.at, last[PART], w.row, rect, clear, by)
        elif course == PARALLEL:
            cover_parallel(w, rect, clear, by)
        elif cut_by_lens == 0 and entries == 1 and last[MODE] == PLANES and last[HULL_MODE] == NO_MODE:
            cover_outline(w.side, last, rect, clear, by)
        else:
            cover_by_chords(w, cut_by_lens, rule, place, rect, clear, by)


@compiled
def fill_block(rect: Ints, share: float, part: int, clear: ShareMap, by: PartMap) -> None:
    """Give all pixels of the block one share and one part."""
    for r in range(rect[0], rect[1]):
        for c in range(rect[2], rect[3]):
            clear[r, c] = share
            by[r, c] = part


@compiled
def narrow_list(w: Work, place: Floats, chords: int) -> None:
    """Fill level 1 of the lists: what of the cell's list can stop rays of a block."""
    w.used[1, SIDES] = w.used[1, EDGES] = w.used[1, ENTRIES] = 0
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
def _narrow_shape(w: Work, mode: int, first: int, last: int, turn: float, place: Floats, chords: int) -> int:
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
def _narrow_points(w: Work, first: int, last: int, place: Floats) -> int:
    """State of a block's discs against a convex body of which the cell keeps the points."""
    for e in range(first, last):
        narrow(w.side[0, e], 1, place, w.hand)
        for k in range(8):
            w.hand[ONE + 8 * (e - first) + k] = w.hand[k]
    return hull_at_hand(last - first, 1, place[4], w)
