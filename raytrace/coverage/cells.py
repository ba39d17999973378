"""Kernels: a frame cell by cell, block by block; and a list of single pencils by the same rules."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.coverage.blocks import cover_block, fill_block
from raytrace.coverage.classify import list_cell
from raytrace.coverage.compiled import compiled, kernel
from raytrace.coverage.lens_rim import RADIUS_ROW, RIMS, RING, RING_ROW, bare_share, set_rims
from raytrace.coverage.nodes import Cells, Nodes
from raytrace.coverage.tables import Tables
from raytrace.coverage.work import ALL_DARK, ENTRIES, MODE, PART, Work

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Shares = NDArray[np.float32]
Parts = NDArray[np.int16]


@kernel
def cover_cells(
    t: Tables,
    items: Ints,
    nodes: Nodes,
    cells: Cells,
    step: int,
    reach: float,
    rule: Floats,
    w: Work,
    first: int,
    last: int,
    clear: Shares,
    by: Parts,
) -> None:
    """Fill the pixels of cell rows first..last - 1; `step` is the size of blocks, `reach` the discs' radius for proofs."""
    corner, rect = w.corner, w.rect[0]
    for i in range(first, last):
        for j in range(len(cells.column_end)):
            if not cells.usable[i, j]:
                continue
            for c in range(4):
                for k in range(corner.shape[1]):
                    corner[c, k] = nodes.optics[i + cells.stride * (c // 2), j + cells.stride * (c % 2), k]
            list_cell(t, items, corner, reach, w)
            rect[0], rect[1], rect[2], rect[3] = cells.rows[i], cells.row_end[i], cells.columns[j], cells.column_end[j]
            tall, wide = cells.rows[i + 1] - cells.rows[i], cells.columns[j + 1] - cells.columns[j]
            if w.used[0, ENTRIES] == 0:
                fill_block(rect, 1.0, -1, clear, by)
            else:
                cut_by_lens = load_lens(nodes, i, j, cells.stride, rule, w.lens, w.outline)
                _cover_blocks(w, cut_by_lens, rule, rect, 1.0 / max(tall, 1), 1.0 / max(wide, 1), step, reach, clear, by)


@compiled
def _cover_blocks(
    w: Work, cut_by_lens: int, rule: Floats, cell: Ints, tall: float, wide: float, step: int, reach: float,
    clear: Shares, by: Parts,
) -> None:  # fmt: skip
    rect, place = w.rect[1], w.place
    place[4] = reach
    if cut_by_lens == 0 and w.entry[0, 0, MODE] == ALL_DARK:
        fill_block(cell, 0.0, w.entry[0, 0, PART], clear, by)
        return
    for r in range(cell[0], cell[1], step):
        for c in range(cell[2], cell[3], step):
            rect[0], rect[1], rect[2], rect[3] = r, min(r + step, cell[1]), c, min(c + step, cell[3])
            place[0], place[1] = (c - cell[2]) * wide, (rect[3] - 1 - cell[2]) * wide
            place[2], place[3] = (r - cell[0]) * tall, (rect[1] - 1 - cell[0]) * tall
            cover_block(w, cut_by_lens, rule, place, rect, clear, by)


@kernel
def bare_shares(nodes: Nodes, rule: Floats, lens: Floats, outline: Floats, out: Floats) -> None:
    """Fill out (H, W) with the share of the disc that the lens's own rims and ring let through."""
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            cut_by_lens = load_lens(nodes, i, j, 0, rule, lens, outline)
            out[i, j] = bare_share(lens, cut_by_lens, rule) if cut_by_lens != 0 else 1.0


@compiled
def load_lens(nodes: Nodes, i: int, j: int, stride: int, rule: Floats, lens: Floats, outline: Floats) -> int:
    """Put rims and ring at the four corners of a cell into the lens scratch; which of them cut its pupils, as bits."""
    cuts = 0
    for c in range(4):
        row, column = i + stride * (c // 2), j + stride * (c % 2)
        for k in range(nodes.rim.shape[2]):
            if nodes.rim[row, column, k] < 1.0 - 1e-9:
                cuts |= RIMS
                break
        ring = nodes.ring[row, column]
        for k in range(6):
            lens[RING_ROW, 6 * c + k] = ring[k]
        lens[RADIUS_ROW, 0] = nodes.ring_square
        far = np.sqrt(ring[0] ** 2 + ring[1] ** 2) + np.sqrt(ring[2] ** 2 + ring[3] ** 2 + ring[4] ** 2 + ring[5] ** 2)
        if far * far > nodes.ring_square:
            cuts |= RING
    if cuts & RIMS:
        for c in range(4):
            row, column = i + stride * (c // 2), j + stride * (c % 2)
            for k in range(len(outline)):
                outline[k, 0] = nodes.rim[row, column, k] * nodes.rim_turn[0, k]
                outline[k, 1] = nodes.rim[row, column, k] * nodes.rim_turn[1, k]
            set_rims(outline, c, rule, lens)
    return cuts


@kernel
def spread(values: Floats, cells: Cells, first: int, last: int, out: Shares) -> None:
    """Fill the pixel rows of cell rows first..last - 1 with node values (H, W), bilinear in between."""
    for i in range(first, last):
        tall = 1.0 / max(cells.rows[i + 1] - cells.rows[i], 1)
        for r in range(cells.rows[i], cells.row_end[i]):
            fy = (r - cells.rows[i]) * tall
            for j in range(len(cells.column_end)):
                begin, wide = cells.columns[j], cells.column_end[j] - cells.columns[j]
                left = values[i, j] + (values[i + 1, j] - values[i, j]) * fy
                right = values[i, j + 1] + (values[i + 1, j + 1] - values[i, j + 1]) * fy
                start = np.float32(left)
                slope = np.float32((right - left) / max(cells.columns[j + 1] - begin, 1))
                _ramp(out, r, begin, wide, start, slope)


@compiled
def _ramp(out: Shares, r: int, begin: int, wide: int, start: np.float32, slope: np.float32) -> None:
    for k in range(wide):
        out[r, begin + k] = start + slope * np.float32(np.int32(k))
