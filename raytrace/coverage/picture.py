"""The coverage engine on a whole picture: cells proven clear or dark are filled, and only the penumbra is worked out."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import NO_PART, Box
from raytrace.coverage.engine import CHORD_ERROR, ENGINE, cover_cells, coverage_shares, glass_bound, share_out
from raytrace.coverage.kept_tables import kept_tables
from raytrace.coverage.kernels.chords import chord_rule
from raytrace.coverage.kernels.interpolate import spread
from raytrace.coverage.kernels.scratch import Room, room_for
from raytrace.coverage.large_cells import near_parts
from raytrace.coverage.pencil_map import Optics, as_nodes
from raytrace.coverage.planning import Layer, PencilsAt, Plan, fine_cells, glass_layer, lens_layer, plan
from raytrace.coverage.spline import on_finer_grid
from raytrace.coverage.tables.clip import box_depths_mm as box_depths_mm  # noqa: PLC0414 - other ways to a map take it from here
from raytrace.coverage.tables.nodes import Nodes
from raytrace.coverage.tables.tables import PART_OF, Tables
from raytrace.optics.camera import PixelGrid
from raytrace.shares import Bound, Made, VignetteMap

Ints = NDArray[np.int64]

MAP_CHORDS = 64  # across the disc where several parts overlap: errors of a share stay near 0.001, at corners near 0.01
FINE = 16  # pixels between nodes of the lens and glass layers
BLOCK = 8  # pixels along the side of a block
SAGITTA_SHARE = 3e-4  # of the pupil's radius that chords of round outlines may stray inside them
SAGITTA_RANGE_MM = (1e-5, 2e-3)
SHARES_OF_WORK = 64  # that a picture's cells are handed out in: so many that no thread waits long for the last one
BLOCKS_AT_ONCE = 512  # that are listed before they are covered: so many that going to and fro costs next to nothing
PIXELS_AT_ONCE = 1 << 16  # of those that are worked out one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """What of a map hangs on lens, grid and glass, and on no other part than how far they reach: cells, bare lens and glass."""

    planned: Plan
    sagitta_mm: float
    lens: NDArray[np.float32]
    glass: NDArray[np.float32]


def coverage_map(
    pencils_at: PencilsAt,
    grid: PixelGrid,
    box: Box,
    *,
    threads: int = 2,
    with_alone: bool = False,
    with_glass: bool = True,
    apart: Collection[int] = (),
) -> VignetteMap:
    """Light of every pixel of a grid by the area that parts leave of its pupil. `pencils_at` answers picture points.

    `apart` names parts, by index, that are known to stand out of all of the grid's light: they are not looked at.
    """
    ready = prepared(pencils_at, grid, box, box_depths_mm(box), threads=threads, with_glass=with_glass)
    return prepared_map(ready, pencils_at, grid, box, threads=threads, with_alone=with_alone, apart=apart)


def prepared(
    pencils_at: PencilsAt, grid: PixelGrid, box: Box, depths_mm: FloatArray, *, threads: int = 2, with_glass: bool = True
) -> Prepared:
    """All of a map but the parts' shadows, for parts between two depths (2,) [mm]."""
    planned, shape = plan(pencils_at, grid, box, depths_mm), (grid.rows, grid.columns)
    glass = _even(1.0, shape)
    if box.glasses and with_glass:
        glass = _spread(glass_layer(pencils_at, grid, box, planned), shape, threads)
    lens = _spread(lens_layer(pencils_at, grid, box, planned), shape, threads)
    return Prepared(planned=planned, sagitta_mm=map_sagitta_mm(planned.known), lens=lens, glass=glass)


def prepared_map(
    ready: Prepared,
    pencils_at: PencilsAt,
    grid: PixelGrid,
    box: Box,
    *,
    threads: int = 2,
    with_alone: bool = False,
    apart: Collection[int] = (),
) -> VignetteMap:
    """The map of a box whose glass and depths are those that `ready` was prepared for. Its layers may be shared with other maps."""
    planned, shape = ready.planned, (grid.rows, grid.columns)
    known = planned.known
    tables = kept_tables(box, start_z_mm=known.start_z_mm, end_z_mm=known.end_z_mm, sagitta_mm=ready.sagitta_mm)
    nodes = as_nodes(known, planned.shape)
    near = np.flatnonzero(~np.isin(tables.item[:, PART_OF], list(apart)))
    clear, by = _covered(tables, near, nodes, near_parts(pencils_at, grid, box, planned, tables, near, nodes), shape, threads)
    alone = [
        _covered(tables, np.flatnonzero(tables.item[:, PART_OF] == part), nodes, planned, shape, threads)[0]
        for part in range(len(box.parts) if with_alone else 0)
    ]
    lens, glass = ready.lens, ready.glass
    if not planned.cells.usable.all():
        lens, glass = lens.copy(), glass.copy() if glass.flags.writeable else glass
    layers = (clear, glass, lens, by, np.stack(alone) if alone else np.zeros((0, *shape), dtype=np.float32))
    _mend(layers, pencils_at, grid, box, planned)
    return VignetteMap(
        x_mm=grid.x_mm,
        y_mm=grid.y_mm,
        clear_share=clear,
        glass=glass,
        lens=lens,
        blocked_by=by,
        stderr=_even(0.0, shape),
        alone=layers[4],
        part_names=box.part_names,
        made=Made(engine=ENGINE, bounds=_bounds(planned, ready.sagitta_mm)),
    )


def map_sagitta_mm(known: Optics) -> float:
    """How far chords of round outlines may stray inside them in a map of these pencils: by the smallest pupil."""
    matrix = known.disc[known.valid][:, 2:].reshape(-1, 2, 2)
    if not len(matrix):
        return SAGITTA_RANGE_MM[1]
    radius_mm = 1.0 / np.linalg.norm(matrix, axis=(1, 2)).max()
    return float(np.clip(SAGITTA_SHARE * radius_mm, *SAGITTA_RANGE_MM))


def _bounds(planned: Plan, sagitta_mm: float) -> tuple[Bound, ...]:
    return (
        Bound(what="pencils between nodes taken as bilinear", size=planned.stray * 2 / np.pi, unit="share"),
        Bound(what="shadows near the plane of focus moved by that", size=planned.shift, unit="pixels"),
        Bound(what="round outlines as inscribed chords", size=sagitta_mm, unit="mm"),
        Bound(what="chord rule where parts overlap", size=CHORD_ERROR / MAP_CHORDS**1.5, unit="share"),
        glass_bound(planned.known),
    )


def _even(value: float, shape: tuple[int, int]) -> NDArray[np.float32]:
    """A layer of one value that takes no room; read-only."""
    return np.broadcast_to(np.float32(value), shape)


def _covered(
    tables: Tables, items: Ints, nodes: Nodes, planned: Plan, shape: tuple[int, int], threads: int
) -> tuple[NDArray[np.float32], NDArray[np.int16]]:
    clear, by = np.empty(shape, dtype=np.float32), np.empty(shape, dtype=np.int16)
    if not len(items):
        clear[:], by[:] = 1.0, NO_PART
        return clear, by
    cells, rule, reach = planned.cells, chord_rule(MAP_CHORDS), 1.0 + planned.stray
    count = len(cells.row_end) * len(cells.column_end)
    some = max(count // (SHARES_OF_WORK if threads > 1 else 1), 1)
    step, parts = min(BLOCK, planned.size), int(tables.item[:, PART_OF].max(initial=0)) + 1
    if not cells.usable.all():
        clear[:], by[:] = 1.0, NO_PART

    def work(room: Room, first: int) -> None:
        cover_cells(tables, items, nodes, cells, step, reach, rule, room, first, min(first + some, count), clear, by)

    share_out(work, range(0, count, some), lambda: room_for(tables, nodes, parts, MAP_CHORDS, BLOCKS_AT_ONCE), threads)
    return clear, by


def _spread(layer: Layer, shape: tuple[int, int], threads: int) -> NDArray[np.float32]:
    """A smooth layer over all pixels: a cubic spline from the nodes of the cells to finer nodes, bilinear between those."""
    out, cells, values = np.empty(shape, dtype=np.float32), layer.cells, layer.values
    if layer.size > FINE and min(shape) > 1:
        fine, known = fine_cells(shape, FINE), values.reshape(len(cells.rows), -1)
        values, cells = on_finer_grid(cells.rows, cells.columns, known, fine.rows, fine.columns), fine
    values = np.ascontiguousarray(values.reshape(len(cells.rows), len(cells.columns)))  # what kernels are compiled for
    share_out(lambda _, row: spread(values, cells, row, row + 1, out), range(len(cells.row_end)), int, threads)
    return out


def _mend(
    layers: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32], NDArray[np.int16], NDArray[np.float32]],
    pencils_at: PencilsAt,
    grid: PixelGrid,
    box: Box,
    planned: Plan,
) -> None:
    """Work out pixel by pixel the cells that have a node without a ray."""
    broken = ~planned.cells.usable
    if not broken.any():
        return
    rows, columns = planned.cells.row_end - planned.cells.rows[:-1], planned.cells.column_end - planned.cells.columns[:-1]
    r, c = np.nonzero(np.repeat(np.repeat(broken, rows, axis=0), columns, axis=1))
    clear, glass, lens, by, alone = layers
    for k in range(0, len(r), PIXELS_AT_ONCE):
        i, j = r[k : k + PIXELS_AT_ONCE], c[k : k + PIXELS_AT_ONCE]
        shares = coverage_shares(pencils_at(np.column_stack([grid.x_mm[j], grid.y_mm[i]])), box, with_alone=len(alone) > 0)
        clear[i, j], lens[i, j], by[i, j] = shares.clear_share, shares.lens, shares.blocked_by
        if glass.flags.writeable:
            glass[i, j] = shares.glass
        if len(alone):
            alone[:, i, j] = shares.alone.T
