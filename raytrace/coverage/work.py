"""Scratch arrays of the kernels, one set per thread, and the columns of their lists."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from raytrace.coverage.compiled import compiled
from raytrace.coverage.lens_rim import LENS_ROWS
from raytrace.coverage.nodes import Nodes
from raytrace.coverage.tables import HULL, HULL_OF, KIND, LOOP, POINTS, POINTS_END, Tables

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Columns of an entry: one thing that can stop rays of a block of pixels.
PART, SENSE, MODE, FIRST, LAST, TURN, HULL_MODE, HULL_FIRST, HULL_LAST = range(9)

# How an entry's shape is told: sides of an ordered convex outline; loose sides whose outermost crossings bound a convex one; web
# edges between layers; or all pixels dark.
PLANES, SPAN, WEBBED, ALL_DARK = 0, 1, 2, 3
NO_MODE = -1

SIDES, EDGES, ENTRIES, FOUND, FOUND_TURN = range(5)  # columns of Work.used
END_A, END_B = 16, 17  # of a side, after its two spots: point numbers within its shape
TURN_OF, ORDER_1, ORDER_2 = 32, 33, 34  # of a web edge, after the spots A, B, C1, C2

PIECES = 1024  # open pieces of one chord that are told apart; what breaks into more counts as stopped


class Work(NamedTuple):
    """Scratch of one thread. Level 0 lists are of a cell, level 1 of a block of its pixels.

    side (2, E, 18) and web (2, W, 35) lists of sides and web edges; entry (2, I, 9); used (2, 5) how many are in use, and mode and
    turn of the shape last looked at; hand (P,) spots at hand; hull (6, P) numbers of hull points; at (M, 8) sides at a pixel; row
    (9, K) low and high ends of chords (0, 1), pieces (2 to 5), events (6, 7) and what parts stop first (8); lens (10, N);
    corner (4, C) optics of a cell's corners; rect (2, 4) and place (5,) of a cell and its block; outline (K, 2) of the rims.
    """

    side: Floats
    web: Floats
    entry: Ints
    used: Ints
    hand: Floats
    hull: Ints
    at: Floats
    row: Floats
    lens: Floats
    corner: Floats
    rect: Ints
    place: Floats
    outline: Floats


def scratch(tables: Tables, nodes: Nodes, parts: int, chords: int) -> Work:
    """Scratch large enough for any cell of this box."""
    counts = tables.shape[:, POINTS_END] - tables.shape[:, POINTS]
    kind = tables.shape[:, KIND]
    asked = tables.item[tables.item[:, HULL_OF] >= 0, HULL_OF]
    sides = int(counts[kind == LOOP].sum() + 4 * counts[kind == HULL].sum() + 4 * counts[asked].sum()) + 8
    webs = len(tables.web) + 8
    widest = int(counts[kind != 2].max(initial=8)) + 8
    return Work(
        side=np.zeros((2, sides, 18)),
        web=np.zeros((2, webs, 35)),
        entry=np.zeros((2, len(tables.item) + 1, 9), dtype=np.int64),
        used=np.zeros((2, 5), dtype=np.int64),
        hand=np.zeros(8 * widest + 64),
        hull=np.zeros((6, widest), dtype=np.int64),
        at=np.zeros((sides + webs, 8)),
        row=np.zeros((9, max(chords, PIECES, webs + 2, parts + 1))),
        lens=np.zeros((LENS_ROWS, max(chords, 24))),
        corner=np.zeros((4, nodes.optics.shape[2])),
        rect=np.zeros((2, 4), dtype=np.int64),
        place=np.zeros(5),
        outline=np.zeros((nodes.rim.shape[2], 2)),
    )


@compiled
def add_side(side: Floats, count: Ints, level: int, spots: Floats, first: int, second: int, a: int, b: int) -> None:
    """Add the edge between the spots at `first` and `second` to a list of sides; a and b are its points' numbers."""
    n = count[level, SIDES]
    for k in range(8):
        side[level, n, k], side[level, n, 8 + k] = spots[first + k], spots[second + k]
    side[level, n, END_A], side[level, n, END_B] = a, b
    count[level, SIDES] = n + 1
