"""Kernel: a frame cell by cell, block by block. What is proven clear or dark is filled; of all else is listed what cuts it."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.blocks import fill_block, list_block
from raytrace.coverage.kernels.classify import list_cell
from raytrace.coverage.kernels.lens_rim import lens_cuts
from raytrace.coverage.kernels.scratch import (
    ALL_DARK,
    BLOCKS,
    CELL_COLUMN,
    CELL_ROW,
    COLUMN,
    COLUMN_END,
    CUTS,
    EDGES,
    ENTRIES,
    MODE,
    PART,
    ROW,
    ROW_END,
    SIDES,
    Bench,
    Blocks,
    Listing,
    Lists,
)
from raytrace.coverage.tables.nodes import Cells, Nodes
from raytrace.coverage.tables.tables import Tables
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]
Shares = NDArray[np.float32]
Parts = NDArray[np.int16]

CELL_AT, BLOCK_AT, CELL_CUTS = range(3)  # columns of Listing.here


@partial(compiled, entry=True)
def list_blocks(
    t: Tables,
    items: Ints,
    nodes: Nodes,
    cells: Cells,
    step: int,
    reach: float,
    chords: int,
    w: Listing,
    last: int,
    clear: Shares,
    by: Parts,
) -> bool:
    """List blocks of the cells from w.here on, up to number `last` row by row, until the room is used up; whether all are done.

    `step` is the size of blocks, `reach` the discs' radius for proofs, `chords` how many chords the blocks are covered by.
    """
    found, here = w.found, w.here
    corner = w.corner[:1] if cells.stride == 0 else w.corner  # a single pencil is all four corners of its cell
    found.used[BLOCKS] = found.used[SIDES] = found.used[EDGES] = found.used[ENTRIES] = 0
    while here[CELL_AT] < last:
        i, j = here[CELL_AT] // len(cells.column_end), here[CELL_AT] % len(cells.column_end)
        if cells.usable[i, j]:
            if here[BLOCK_AT] == 0:
                _load_corner(nodes.optics, i, j, cells.stride, corner)
                list_cell(t, items, corner, reach, w.cell, w.bench)
                here[CELL_CUTS] = lens_cuts(nodes, i, j, cells.stride) if w.cell.used[ENTRIES] > 0 else 0
            if not _settles(w.cell, here[CELL_CUTS], cells, i, j, clear, by) and not _list_cell_blocks(
                w.cell, found, w.blocks, w.bench, here, cells, i, j, step, reach, chords, clear, by
            ):
                return False
        here[CELL_AT] += 1
        here[BLOCK_AT] = 0
    return True


@compiled
def _load_corner(optics: FloatArray, i: int, j: int, stride: int, corner: FloatArray) -> None:
    for c in range(len(corner)):
        at = optics[i + stride * (c // 2), j + stride * (c % 2)]
        for k in range(len(at)):
            corner[c, k] = at[k]


@compiled
def _settles(cell: Lists, cuts: int, cells: Cells, i: int, j: int, clear: Shares, by: Parts) -> bool:
    """Whether a cell's list leaves nothing to be looked at block by block; fills the cell if so."""
    r, row_end, c, column_end = cells.rows[i], cells.row_end[i], cells.columns[j], cells.column_end[j]
    if cell.used[ENTRIES] == 0:
        fill_block(r, row_end, c, column_end, 1.0, -1, clear, by)
        return True
    if cuts == 0 and cell.entry[0, MODE] == ALL_DARK:
        fill_block(r, row_end, c, column_end, 0.0, cell.entry[0, PART], clear, by)
        return True
    return False


@compiled
def _list_cell_blocks(
    cell: Lists,
    found: Lists,
    blocks: Blocks,
    bench: Bench,
    here: Ints,
    cells: Cells,
    i: int,
    j: int,
    step: int,
    reach: float,
    chords: int,
    clear: Shares,
    by: Parts,
) -> bool:
    """List the cell's blocks from `here` on; False where the room is used up before all are."""
    top, left = cells.rows[i], cells.columns[j]
    tall, wide = 1.0 / max(cells.rows[i + 1] - top, 1), 1.0 / max(cells.columns[j + 1] - left, 1)
    down, across = (cells.row_end[i] - top + step - 1) // step, (cells.column_end[j] - left + step - 1) // step
    while here[BLOCK_AT] < down * across:
        n = found.used[BLOCKS]
        if n == len(blocks.rect) or not _has_room(cell, found):
            return False
        rect, place = blocks.rect[n], blocks.place[n]
        r, c = step * (here[BLOCK_AT] // across), step * (here[BLOCK_AT] % across)
        row_end, column_end = min(top + r + step, cells.row_end[i]), min(left + c + step, cells.column_end[j])
        rect[ROW], rect[ROW_END], rect[COLUMN], rect[COLUMN_END] = top + r, row_end, left + c, column_end
        rect[CELL_ROW], rect[CELL_COLUMN], rect[CUTS] = i, j, here[CELL_CUTS]
        place[0], place[1], place[2], place[3] = c * wide, (column_end - 1 - left) * wide, r * tall, (row_end - 1 - top) * tall
        place[4] = reach
        list_block(cell, found, bench, rect, place, chords, clear, by)
        here[BLOCK_AT] += 1
    return True


@compiled
def _has_room(cell: Lists, found: Lists) -> bool:
    """Whether one more block of this cell fits, whatever its lists: a cell's loose points turn into four outlines at most."""
    return (
        found.used[SIDES] + 4 * cell.used[SIDES] <= len(found.side)
        and found.used[EDGES] + cell.used[EDGES] <= len(found.web)
        and found.used[ENTRIES] + cell.used[ENTRIES] <= len(found.entry)
    )
