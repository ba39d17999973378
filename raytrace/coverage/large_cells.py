"""Large cells first: of a picture that is cut into many small cells, those in large ones that no part comes near are clear.

Near the plane in focus only small cells can be taken as bilinear, for the parts that stand there. Large ones stray farther from
that, each part's share of them by as much as the pencils bend at its depth; by so much wider a disc is asked for.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import Box
from raytrace.coverage.kernels.cells import list_blocks
from raytrace.coverage.kernels.scratch import BLOCKS, CELL_COLUMN, CELL_ROW, Room, room_for
from raytrace.coverage.planning import PencilsAt, Plan, strays_at
from raytrace.coverage.tables.nodes import Cells, Nodes
from raytrace.coverage.tables.tables import POINTS, POINTS_END, SHAPE, Tables
from raytrace.optics.camera import PixelGrid

Ints = NDArray[np.int64]

MANY_CELLS = 4096  # fewer are looked at one by one sooner
SMALL_CELL = 4  # pixels, and no single ones: those are of pencils that no cell is small enough for
TIMES = 4  # as wide as small ones


def near_parts(pencils_at: PencilsAt, grid: PixelGrid, box: Box, planned: Plan, tables: Tables, items: Ints, nodes: Nodes) -> Plan:
    """The plan, whose cells are usable no more where a large cell shows that all light of theirs passes by the items."""
    small = planned.cells
    if small.usable.size < MANY_CELLS or planned.size != SMALL_CELL or not small.usable.all():
        return planned
    rows, columns = (_every(count) for count in planned.shape)
    cells = _three_a_side(len(rows) - 1, len(columns) - 1)
    wide = nodes._replace(optics=np.ascontiguousarray(nodes.optics[np.ix_(rows, columns)]))
    strays = strays_at(pencils_at, grid, box, (small.rows[rows], small.columns[columns]), _depths_mm(tables, items))
    met = _divided(planned, rows, columns)
    room = room_for(tables, nodes, len(box.parts), 1, met.size + 1)
    for item, stray in zip(items, strays, strict=True):
        met |= _met(tables, item, wide, cells, 1.0 + stray, room)
    across, down = (np.arange(count - 1) // TIMES for count in planned.shape[::-1])
    return replace(planned, cells=small._replace(usable=np.ascontiguousarray(met[np.ix_(down, across)])))


def _divided(planned: Plan, rows: Ints, columns: Ints) -> NDArray[np.bool_]:
    """Large cells in which some pencils go through a glass that others pass: those part suddenly, where nobody has looked."""
    affine = planned.known.affine
    through = (affine[:, 1:] != affine[:, :-1]).any(axis=2).reshape(*planned.shape, -1)
    return np.asarray((_anywhere(through, rows, columns) & _anywhere(~through, rows, columns)).any(axis=2))


def _anywhere(true: NDArray[np.bool_], rows: Ints, columns: Ints) -> NDArray[np.bool_]:
    """Whether it is true at some node of each large cell, those at its edges among them."""
    for axis, ticks in enumerate((rows, columns)):
        true = np.logical_or.reduceat(true, ticks[:-1], axis=axis) | np.take(true, ticks[1:], axis=axis)
    return true


def _every(count: int) -> Ints:
    """Numbers of so many nodes that large cells have their corners at."""
    return np.append(np.arange(0, count - 1, TIMES), count - 1)


def _three_a_side(down: int, across: int) -> Cells:
    """So many cells of three pixels a side, of which neighbours share one: what fills them fills little."""
    rows, columns = 2 * np.arange(down + 1), 2 * np.arange(across + 1)
    return Cells(rows, columns, rows[:-1] + 3, columns[:-1] + 3, np.ones((down, across), dtype=np.bool_), 1)


def _depths_mm(tables: Tables, items: Ints) -> FloatArray:
    """Nearest and farthest z (I, 2) of the items' shapes."""
    spans = tables.shape[tables.item[items, SHAPE]][:, [POINTS, POINTS_END]]
    z = [tables.point[first:end, 2] for first, end in spans]
    return np.array([[one.min(), one.max()] for one in z]).reshape(-1, 2)


def _met(tables: Tables, item: np.int64, nodes: Nodes, cells: Cells, reach: float, room: Room) -> NDArray[np.bool_]:
    """The large cells some of whose light an item may stop."""
    w, shape = room.listing, (int(cells.row_end[-1]), int(cells.column_end[-1]))
    clear, by = np.ones(shape, dtype=np.float32), np.empty(shape, dtype=np.int16)
    met, done = np.zeros(cells.usable.shape, dtype=np.bool_), False
    w.here[:] = 0
    while not done:
        done = list_blocks(tables, np.array([item]), nodes, cells, max(shape), reach, 1, w, met.size, clear, by)
        listed = w.blocks.rect[: w.found.used[BLOCKS]]
        met[listed[:, CELL_ROW], listed[:, CELL_COLUMN]] = True
    return met | (clear[np.ix_(cells.rows[:-1], cells.columns[:-1])] < 1.0)
