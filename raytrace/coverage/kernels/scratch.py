"""Lists that one kernel writes and the next one reads, and their scratch: one set per thread; and the columns of them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.lens_rim import LENS_ROWS
from raytrace.coverage.tables.nodes import Nodes
from raytrace.coverage.tables.tables import HULL, KIND, LOOP, POINTS, POINTS_END, Tables
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

# Columns of an entry: one thing that can stop rays of a block of pixels.
PART, SENSE, MODE, FIRST, LAST, TURN, HULL_MODE, HULL_FIRST, HULL_LAST, HULL_NUMBER = range(10)

# How an entry's shape is told: sides of an ordered convex outline; loose sides whose outermost crossings bound a convex one; web
# edges between layers; or all pixels dark.
PLANES, SPAN, WEBBED, ALL_DARK = 0, 1, 2, 3
NO_MODE = -1

SIDES, EDGES, ENTRIES, BLOCKS, FOUND, FOUND_TURN = range(6)  # columns of Lists.used
END_A, END_B = 16, 17  # of a side, after its two spots: point numbers within its shape
TURN_OF, ORDER_1, ORDER_2 = 32, 33, 34  # of a web edge, after the spots A, B, C1, C2

# Columns of a block: its pixels, ends beyond; its cell; what of the lens cuts the pupils there; where its share of the lists ends.
ROW, ROW_END, COLUMN, COLUMN_END, CELL_ROW, CELL_COLUMN, CUTS, ENTRIES_END, SIDES_END, EDGES_END = range(10)

PIECES = 1024  # open pieces of one chord that are told apart; what breaks into more counts as stopped
LANES = 14  # numbers of a side at a pixel
EACH = 4  # sides, web edges and entries of a block that there is room for; one block alone has all that it may need at most


class Lists(NamedTuple):
    """What can stop rays of the cell at hand, or of all blocks listed so far, one after the other.

    side (E, 18) and web (W, 35) sides and web edges; entry (I, 10), each with where its sides or edges begin and end in the list of
    its cell or block, those of a hull often for several entries; used (6,) how many are in use, and mode and turn of the shape
    last looked at.
    """

    side: FloatArray
    web: FloatArray
    entry: Ints
    used: Ints


class Blocks(NamedTuple):
    """Blocks listed so far.

    rect (B, 10) their pixels, cells and ends of lists; place (B, 5) outer pixel centres as fractions of the cell, x then y, and the
    discs' reach.
    """

    rect: Ints
    place: FloatArray


class Bench(NamedTuple):
    """Scratch for one shape: hand (P,) spots at hand; hull (14, P) numbers of hull points; spot (1, 4) a point as of Tables.

    The last four rows of `hull` hold what is known of each hull, by its number: state, mode, and where its sides begin and end.
    """

    hand: FloatArray
    hull: Ints
    spot: FloatArray


class Listing(NamedTuple):
    """What blocks are listed with; few arrays go further down than they must: each costs time when kernels are compiled.

    cell and found are the lists of the cell at hand and of all blocks; corner (4, C) optics of the cell's corners; here (3,) where
    to go on, cell and block, and what of the lens cuts this cell's pupils.
    """

    cell: Lists
    found: Lists
    blocks: Blocks
    bench: Bench
    corner: FloatArray
    here: Ints


class Block(NamedTuple):
    """What can stop rays of one block: entry (I, 10), side (E, 18) and web (W, 35) of its own."""

    entry: Ints
    side: FloatArray
    web: FloatArray


class Tally(NamedTuple):
    """Scratch for one block.

    at (M, 8) sides at a block's corners, or web edges at a pixel; lane (14 M,) sides at a pixel, a column each; row (10, K) low and
    high ends of chords (0, 1), pieces (2 to 5), events (6, 7), what parts stop first (8), and which chords are set aside (9); hand
    (8,) an edge's spots at a pixel; lens (10, N); outline (K, 2) of the rims; span (4 I, N) where each entry's shape, and the hull
    about it, begin and end on every chord.
    """

    at: FloatArray
    lane: FloatArray
    row: FloatArray
    hand: FloatArray
    lens: FloatArray
    outline: FloatArray
    span: FloatArray


class Room(NamedTuple):
    """Room of one thread, large enough for any cell of a box."""

    listing: Listing
    tally: Tally


def room_for(tables: Tables, nodes: Nodes, parts: int, chords: int, blocks: int) -> Room:
    """Room for the cells of this box, and for so many blocks to be listed before they are covered."""
    counts = tables.shape[:, POINTS_END] - tables.shape[:, POINTS]
    kind = tables.shape[:, KIND]
    sides = 4 * int(counts[kind == LOOP].sum() + counts[kind == HULL].sum()) + 8  # four outlines at most
    webs, entries = len(tables.web) + 8, len(tables.item) + 1
    widest = int(counts[kind != 2].max(initial=8)) + 8
    hull = np.zeros((14, max(widest, len(kind))), dtype=np.int64)
    listing = Listing(
        cell=_lists(sides, webs, entries),
        found=_lists(sides + EACH * blocks, webs + EACH * blocks, entries + EACH * blocks),
        blocks=Blocks(rect=np.zeros((blocks, 10), dtype=np.int64), place=np.zeros((blocks, 5))),
        bench=Bench(hand=np.zeros(8 * widest + 64), hull=hull, spot=np.zeros((1, 4))),
        corner=np.zeros((4, nodes.optics.shape[2])),
        here=np.zeros(3, dtype=np.int64),
    )
    tally = Tally(
        at=np.empty((sides + webs, 8)),
        lane=np.empty(LANES * sides),
        row=np.zeros((10, max(chords, PIECES, webs + 2, parts + 1))),
        hand=np.zeros(8),
        lens=np.zeros((LENS_ROWS, max(chords, 24))),
        outline=np.zeros((nodes.rim.shape[2], 2)),
        span=np.empty((4 * entries, chords)),
    )
    return Room(listing, tally)


def _lists(sides: int, webs: int, entries: int) -> Lists:
    """Lists of nothing; sides and web edges are left as they are, for to clear them takes longer than a pencil's share."""
    return Lists(
        side=np.empty((sides, 18)),
        web=np.empty((webs, 35)),
        entry=np.zeros((entries, 10), dtype=np.int64),
        used=np.zeros(6, dtype=np.int64),
    )


@compiled
def add_side(side: FloatArray, count: Ints, spots: FloatArray, first: int, second: int, a: int, b: int) -> None:
    """Add the edge between the spots at `first` and `second` to a list of sides; a and b are its points' numbers."""
    n = count[SIDES]
    for k in range(8):
        side[n, k], side[n, 8 + k] = spots[first + k], spots[second + k]
    side[n, END_A], side[n, END_B] = a, b
    count[SIDES] = n + 1
