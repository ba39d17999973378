"""Kernel: the blocks that a list holds, each by the plainest exact rule that fits. And what the bare lens lets through."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.chords import cover_by_chords
from raytrace.coverage.kernels.lens_rim import bare_share, lens_cuts, load_lens, load_next_lens
from raytrace.coverage.kernels.outline_area import cover_outline
from raytrace.coverage.kernels.scratch import (
    BLOCKS,
    CELL_COLUMN,
    CELL_ROW,
    CUTS,
    EDGES_END,
    ENTRIES_END,
    HULL_MODE,
    MODE,
    NO_MODE,
    PART,
    PLANES,
    SIDES_END,
    Block,
    Blocks,
    Lists,
    Tally,
)
from raytrace.coverage.kernels.straight_sides import CROSSED, PARALLEL, SINGLE, course_of, cover_nearest, cover_parallel
from raytrace.coverage.tables.nodes import Nodes
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]
Shares = NDArray[np.float32]
Parts = NDArray[np.int16]


@partial(compiled, entry=True)
def cover_blocks(
    found: Lists, blocks: Blocks, nodes: Nodes, stride: int, rule: FloatArray, w: Tally, clear: Shares, by: Parts
) -> None:
    """Fill the pixels of all listed blocks; `stride` as of the cells, `rule` the chords."""
    entries, sides, edges = 0, 0, 0
    for n in range(found.used[BLOCKS]):
        rect = blocks.rect[n]
        last, last_side, last_edge = rect[ENTRIES_END], rect[SIDES_END], rect[EDGES_END]
        block = Block(found.entry[entries:last], found.side[sides:last_side], found.web[edges:last_edge])
        if rect[CUTS] != 0 and (n == 0 or not _same_cell(rect, blocks.rect[n - 1])):
            if n > 0 and _is_next(rect, blocks.rect[n - 1]):
                load_next_lens(nodes, rect[CELL_ROW], rect[CELL_COLUMN], stride, rect[CUTS], rule, w.lens, w.outline)
            else:
                load_lens(nodes, rect[CELL_ROW], rect[CELL_COLUMN], stride, rect[CUTS], rule, w.lens, w.outline)
        _cover_block(block, w, rule, blocks.place[n], rect, clear, by)
        entries, sides, edges = last, last_side, last_edge


@compiled
def _same_cell(block: Ints, other: Ints) -> bool:
    return bool(block[CELL_ROW] == other[CELL_ROW] and block[CELL_COLUMN] == other[CELL_COLUMN])


@compiled
def _is_next(block: Ints, other: Ints) -> bool:
    """Whether a block's cell lies to the right of the other's, the lens cutting the pupils of both alike."""
    beside = block[CELL_ROW] == other[CELL_ROW] and block[CELL_COLUMN] == other[CELL_COLUMN] + 1
    return bool(beside and block[CUTS] == other[CUTS])


@compiled
def _cover_block(b: Block, w: Tally, rule: FloatArray, place: FloatArray, rect: Ints, clear: Shares, by: Parts) -> None:
    course = course_of(b.entry, b.side, w.at) if rect[CUTS] == 0 else CROSSED
    first = b.entry[0]
    if course == SINGLE:
        cover_nearest(w.at, first[PART], w.row, rect, clear, by)
    elif course == PARALLEL:
        cover_parallel(b, w, rect, clear, by)
    elif rect[CUTS] == 0 and len(b.entry) == 1 and first[MODE] == PLANES and first[HULL_MODE] == NO_MODE:
        cover_outline(b.side, first, rect, clear, by)
    else:
        cover_by_chords(b, w, rect[CUTS], rule, place, rect, clear, by)


@partial(compiled, entry=True)
def bare_shares(nodes: Nodes, rule: FloatArray, lens: FloatArray, outline: FloatArray, out: FloatArray) -> None:
    """Fill out (H, W) with the share of the disc that the lens's own rims and ring let through."""
    for i in range(len(out)):
        for j in range(len(out[i])):
            cuts = lens_cuts(nodes, i, j, 0)
            load_lens(nodes, i, j, 0, cuts, rule, lens, outline)
            out[i, j] = bare_share(lens, cuts, rule) if cuts != 0 else 1.0
