"""Kernel: a frame cell by cell, block by block. What is proven clear or dark is filled; of all else is listed what cuts it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.coverage.blocks import fill_block, list_block
from raytrace.coverage.classify import list_cell
from raytrace.coverage.compiled import compiled, kernel
from raytrace.coverage.lens_rim import lens_cuts
from raytrace.coverage.nodes import Cells, Nodes
from raytrace.coverage.tables import Tables
from raytrace.coverage.work import (
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
    Lists,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Shares = NDArray[np.float32]
Parts = NDArray[np.int16]

CELL_AT, BLOCK_AT, CELL_CUTS = range(3)  # columns of Lists.here


@kernel
def list_blocks(
    t: Tables,
    items: Ints,
    nodes: Nodes,
    cells: Cells,
    step: int,
    reach: float,
    chords: int,
    w: Lists,
    last: int,
    clear: Shares,
    by: Parts,
) -> bool:
    """List blocks of the cells from w.here on, up to number `last` row by row, until the room is used up; whether all are done.

    `step` is the size of blocks, `reach` the discs' radius for proofs, `chords` how many chords the blocks are covered by.
    """
    w.used[1, BLOCKS] = w.used[1, SIDES] = w.used[1, EDGES] = w.used[1, ENTRIES] = 0
    while w.here[CELL_AT] < last:
        i, j = w.here[CELL_AT] // len(cells.column_end), w.here[CELL_AT] % len(cells.column_end)
        if cells.usable[i, j]:
            begun = w.here[BLOCK_AT] > 0
            if (begun or _cell_is_cut(t, items, nodes, cells, i, j, reach, w, clear, by)) and not _list_cell_blocks(
                cells, i, j, step, reach, chords, w, clear, by
            ):
                return False
        w.here[CELL_AT] += 1
        w.here[BLOCK_AT] = 0
    return True


@compiled
def _cell_is_cut(
    t: Tables, items: Ints, nodes: Nodes, cells: Cells, i: int, j: int, reach: float, w: Lists, clear: Shares, by: Parts
) -> bool:
    """List what can stop rays of a cell; fills the cell and answers False where that settles all its pixels."""
    for c in range(4):
        corner, optics = w.corner[c], nodes.optics[i + cells.stride * (c // 2), j + cells.stride * (c % 2)]
        for k in range(len(corner)):
            corner[k] = optics[k]
    list_cell(t, items, w.corner, reach, w)
    r, row_end, c, column_end = cells.rows[i], cells.row_end[i], cells.columns[j], cells.column_end[j]
    if w.used[0, ENTRIES] == 0:
        fill_block(r, row_end, c, column_end, 1.0, -1, clear, by)
        return False
    w.here[CELL_CUTS] = lens_cuts(nodes, i, j, cells.stride)
    if w.here[CELL_CUTS] == 0 and w.entry[0, 0, MODE] == ALL_DARK:
        fill_block(r, row_end, c, column_end, 0.0, w.entry[0, 0, PART], clear, by)
        return False
    return True


@compiled
def _list_cell_blocks(
    cells: Cells, i: int, j: int, step: int, reach: float, chords: int, w: Lists, clear: Shares, by: Parts
) -> bool:
    """List the cell's blocks from w.here on; False where the room is used up before all are."""
    top, left = cells.rows[i], cells.columns[j]
    tall, wide = 1.0 / max(cells.rows[i + 1] - top, 1), 1.0 / max(cells.columns[j + 1] - left, 1)
    down, across = (cells.row_end[i] - top + step - 1) // step, (cells.column_end[j] - left + step - 1) // step
    while w.here[BLOCK_AT] < down * across:
        n = w.used[1, BLOCKS]
        if not _has_room(w):
            return False
        block, place = w.block[n], w.place[n]
        r, c = step * (w.here[BLOCK_AT] // across), step * (w.here[BLOCK_AT] % across)
        row_end, column_end = min(top + r + step, cells.row_end[i]), min(left + c + step, cells.column_end[j])
        block[ROW], block[ROW_END], block[COLUMN], block[COLUMN_END] = top + r, row_end, left + c, column_end
        block[CELL_ROW], block[CELL_COLUMN], block[CUTS] = i, j, w.here[CELL_CUTS]
        place[0], place[1], place[2], place[3] = c * wide, (column_end - 1 - left) * wide, r * tall, (row_end - 1 - top) * tall
        place[4] = reach
        list_block(w, block, place, chords, clear, by)
        w.here[BLOCK_AT] += 1
    return True


@compiled
def _has_room(w: Lists) -> bool:
    """Whether one more block of this cell fits, whatever its lists: a cell's loose points turn into four outlines at most."""
    return (
        w.used[1, BLOCKS] < len(w.block)
        and w.used[1, SIDES] + 4 * w.used[0, SIDES] <= len(w.side[1])
        and w.used[1, EDGES] + w.used[0, EDGES] <= len(w.web[1])
        and w.used[1, ENTRIES] + w.used[0, ENTRIES] <= len(w.entry[1])
    )
