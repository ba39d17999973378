"""How much work a map is, told from the pupils of a few of its pixels before it is made."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from geometry.arrays import FloatArray
from raytrace.box import Box
from raytrace.coverage.engine import single_cells
from raytrace.coverage.kept_tables import kept_tables
from raytrace.coverage.kernels.cells import list_blocks
from raytrace.coverage.kernels.scratch import EDGES, ENTRIES, SIDES, room_for
from raytrace.coverage.pencil_map import as_nodes, optics
from raytrace.coverage.picture import map_sagitta_mm
from raytrace.coverage.planning import WORST_STRAY, PencilsAt, least_stray
from raytrace.coverage.tables.clip import box_depths_mm
from raytrace.coverage.tables.tables import PART_OF
from raytrace.optics.camera import PixelGrid

FEW = (8, 6)  # pixels across and down that are asked
SUDDEN = 20.0  # times the stray that cells are made for: of an edge, not of a curve
ENTRY_SIDES = 2  # that a shape costs besides its own, for all chords are held against it


def sides_per_pixel(pencils_at: PencilsAt, grid: PixelGrid, box: Box, apart: Collection[int] = ()) -> float:
    """How many sides of outlines cut a pixel's pupil, in the mean over the picture; none of parts `apart`, by index.

    Each shape that cuts counts as a few sides more.
    """
    known = optics(pencils_at(_spread_out(grid)), box, with_glass=False)
    tables = kept_tables(box, start_z_mm=known.start_z_mm, end_z_mm=known.end_z_mm, sagitta_mm=map_sagitta_mm(known))
    count = len(known.valid)
    items = np.flatnonzero(~np.isin(tables.item[:, PART_OF], list(apart)))
    nodes, cells = as_nodes(known, (count, 1)), single_cells(known.valid)
    w = room_for(tables, nodes, len(box.parts), 1, count).listing
    clear, by = np.ones((count, 1), dtype=np.float32), np.zeros((count, 1), dtype=np.int16)
    w.here[:], sides, done = 0, 0, False
    while not done:
        done = list_blocks(tables, items, nodes, cells, 1, 1.0, 1, w, count, clear, by)
        sides += int(w.found.used[SIDES] + w.found.used[EDGES] + ENTRY_SIDES * w.found.used[ENTRIES])
    return sides / count


def is_divided(pencils_at: PencilsAt, grid: PixelGrid, box: Box) -> bool:
    """Whether pencils part so suddenly in the picture, at the edge of a glass, that no cells are small enough to follow them."""
    return bool(box.glasses) and least_stray(pencils_at, grid, box, box_depths_mm(box)) > SUDDEN * WORST_STRAY


def _spread_out(grid: PixelGrid) -> FloatArray:
    """Centres (N, 2) of a few pixels [mm], each amid its share of the picture, so that edges stand for no more than they are."""
    x, y = (
        at[((np.arange(min(few, len(at))) + 0.5) * len(at) / min(few, len(at))).astype(int)]
        for at, few in zip((grid.x_mm, grid.y_mm), FEW, strict=True)
    )
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
