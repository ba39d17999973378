"""The coverage engine's pictures on a graphics processor, by CuPy (optional): the same nodes, proofs and areas as on the processor.

Pictures of boxes that hold only tubes with convex outlines and convex blocks, in front of lenses whose own rims and front ring cut
nothing, are worked out there. Anything else is left to the processor, with a sentence that says why.

No command offers it: on 5 of 39 random boxes it is wrong in places, up to calling a dark pixel clear (docs/performance-gpu.md).
Until that is found, nothing that people act on may come from here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raytrace.box import NO_PART, Box
from raytrace.camera import PixelGrid
from raytrace.coverage.chords import chord_rule
from raytrace.coverage.engine import CHORD_ERROR, ENGINE
from raytrace.coverage.field import as_nodes
from raytrace.coverage.gpu_source import CHORDS, EDGE_ON, MOST_CORNERS, SOURCE, TOO_MANY, USED_COLUMNS
from raytrace.coverage.nodes import Nodes
from raytrace.coverage.picture import _even, _mend, _sagitta_mm, _spread, box_depths_mm, coverage_map
from raytrace.coverage.planning import PencilsAt, Plan, glass_layer, lens_layer, plan
from raytrace.coverage.tables import HULL, HULL_OF, KIND, PART_OF, POINTS, POINTS_END, SENSE_OF, SHAPE, WEB, Tables, box_tables
from raytrace.shares import Bound, Made, VignetteMap

TILE = 16  # pixels along the side of a tile, or the cells' size where that is less
SMALL_TILE, FEW_COLUMNS = 4, 512  # tiles of narrower pictures: large ones would take in too many sides of a round opening
THREADS = 256  # of a block
LISTING_THREADS = 64  # of a block that lists tiles: a thread per tile, heavy in registers
SIDES_PER_TILE, ENTRIES_PER_TILE = 12, 6  # room kept, on average; a picture that needs more goes to the processor
LEAST_SIDES, LEAST_ENTRIES = 1 << 18, 1 << 16  # room kept besides: 18 MB
LEAST_PIXELS = 1 << 12  # of a picture worth sending over

FRAME = np.dtype({
    "names": ["rows", "columns", "down", "across", "size", "tile", "tiles_across", "items", "optics_columns", "reach"],
    "formats": ["i4"] * 9 + ["f8"],
    "offsets": [*range(0, 36, 4), 40],
    "itemsize": 48,
})  # fmt: skip


def gpu_trouble() -> str | None:
    """Why nothing can be worked out on a graphics processor here, as a sentence; None where it can."""
    try:
        import cupy
    except ImportError:
        return 'a graphics processor needs the package CuPy, which is not installed: install brimline with its extra "gpu"'
    try:
        count = int(cupy.cuda.runtime.getDeviceCount())
    except cupy.cuda.runtime.CUDARuntimeError:
        count = 0
    return None if count else "there is no graphics processor that CUDA can use here: compute on the processor instead"


@dataclass(frozen=True, slots=True)
class Prepared:
    """A picture's data on the device; `run` fills clear (H, W) float32 and by (H, W) int16 there."""

    sorting: tuple[Any, ...]
    listing: tuple[Any, ...]
    covering: tuple[Any, ...]
    pairs: int
    tiles: int
    wanted: Any
    used: Any
    clear: Any
    by: Any

    def run(self) -> None:
        """Launch the kernels; comes back before they end."""
        list_cells, list_tiles, cover_tiles = _kernels()
        self.used.fill(0)
        self.wanted.fill(0)
        list_cells((-(-self.pairs // LISTING_THREADS),), (LISTING_THREADS,), self.sorting)
        list_tiles((-(-self.tiles // LISTING_THREADS),), (LISTING_THREADS,), self.listing)
        cover_tiles((self.tiles,), (THREADS,), self.covering)


@cache
def _kernels() -> tuple[Any, ...]:
    import cupy

    module = cupy.RawModule(code=SOURCE, options=("-std=c++14",))
    return tuple(module.get_function(name) for name in ("list_cells", "list_tiles", "cover_tiles"))


def gpu_map(
    pencils_at: PencilsAt, grid: PixelGrid, box: Box, *, threads: int = 2, with_glass: bool = True, say: Callable[[str], None]
) -> VignetteMap:
    """The map of `coverage_map` without the parts alone, worked out on the graphics processor; `say` hears why it was not."""
    planned = plan(pencils_at, grid, box, box_depths_mm(box))
    sagitta_mm = _sagitta_mm(planned)
    known = planned.known
    tables = box_tables(box, start_z_mm=known.start_z_mm, end_z_mm=known.end_z_mm, sagitta_mm=sagitta_mm)
    nodes = as_nodes(known, planned.shape)
    reason = why_not(tables, nodes, planned)
    layers = None
    if reason is None:
        prepared = prepare(tables, nodes, planned, (grid.rows, grid.columns))
        prepared.run()
        reason = _overflow(prepared.used.get())
        layers = (prepared.clear.get(), prepared.by.get())
    if reason is not None or layers is None:
        say(f"worked out on the processor, because {reason}")
        return coverage_map(pencils_at, grid, box, threads=threads, with_glass=with_glass)
    return _finished(layers, pencils_at, grid, box, planned, sagitta_mm, threads, with_glass)


def _finished(
    layers: tuple[NDArray[np.float32], NDArray[np.int16]],
    pencils_at: PencilsAt,
    grid: PixelGrid,
    box: Box,
    planned: Plan,
    sagitta_mm: float,
    threads: int,
    with_glass: bool,
) -> VignetteMap:
    (clear, by), shape = layers, (grid.rows, grid.columns)
    lens = _spread(lens_layer(pencils_at, grid, box, planned), shape, threads)
    glass = _even(1.0, shape)
    if box.glasses and with_glass:
        glass = _spread(glass_layer(pencils_at, grid, box, planned), shape, threads)
    alone = np.zeros((0, *shape), dtype=np.float32)
    _mend((clear, glass, lens, by, alone), pencils_at, grid, box, planned)
    return VignetteMap(
        x_mm=grid.x_mm,
        y_mm=grid.y_mm,
        clear_share=clear,
        glass=glass,
        lens=lens,
        blocked_by=by,
        stderr=_even(0.0, shape),
        alone=alone,
        part_names=box.part_names,
        made=Made(engine=ENGINE, bounds=_bounds(planned, sagitta_mm)),
    )


def _bounds(planned: Plan, sagitta_mm: float) -> tuple[Bound, ...]:
    return (
        Bound(what="pencils between nodes taken as bilinear", size=planned.stray * 2 / np.pi, unit="share"),
        Bound(what="shadows near the plane of focus moved by that", size=planned.shift, unit="pixels"),
        Bound(what="round outlines as inscribed chords", size=sagitta_mm, unit="mm"),
        Bound(what="chord rule where parts overlap, single precision", size=CHORD_ERROR / CHORDS**1.5, unit="share"),
    )


def why_not(tables: Tables, nodes: Nodes, planned: Plan) -> str | None:
    """What of the picture the device's kernels do not know, as the end of a sentence; None where they know all."""
    shape = planned.cells
    if np.any(tables.shape[:, KIND] == WEB):
        return "a part is a mesh or has an outline that is not convex"
    corners = (tables.shape[:, POINTS_END] - tables.shape[:, POINTS])[tables.shape[:, KIND] == HULL]
    if corners.max(initial=0) > MOST_CORNERS:
        return f"a part has more than {MOST_CORNERS} corners"
    if nodes.rim.shape[2] and nodes.rim.min() < 1.0 - 1e-9:
        return "the lens's own rims cut its pupil"
    far = np.hypot(nodes.ring[..., 0], nodes.ring[..., 1]) + np.sqrt((nodes.ring[..., 2:] ** 2).sum(axis=-1))
    if np.any(far**2 > nodes.ring_square):
        return "the lens's front ring cuts its pupil"
    if not len(tables.item):
        return "nothing stands in the light's way"
    return "the picture is small" if shape.row_end[-1] * shape.column_end[-1] < LEAST_PIXELS else None


def _overflow(used: NDArray[np.int32]) -> str | None:
    if used[EDGE_ON]:
        return "an outline is seen edge-on"
    return "too many edges cut one part of the picture" if used[TOO_MANY] else None


def prepare(tables: Tables, nodes: Nodes, planned: Plan, shape: tuple[int, int]) -> Prepared:
    """Send what the kernels read, and make room for what they write."""
    import cupy

    cells = planned.cells
    tile = min(TILE if shape[1] >= FEW_COLUMNS else SMALL_TILE, planned.size)
    tiles_down, tiles_across = -(-shape[0] // tile), -(-shape[1] // tile)
    tiles = tiles_down * tiles_across
    frame = np.zeros(1, dtype=FRAME)
    down, across = len(cells.row_end), len(cells.column_end)
    reach = 1.0 + planned.stray
    frame[0] = (*shape, down, across, planned.size, tile, tiles_across, len(tables.item), nodes.optics.shape[2], reach)
    there = cupy.asarray(frame.view(np.uint8))
    used = cupy.zeros(USED_COLUMNS, dtype=np.int32)
    side_room, entry_room = SIDES_PER_TILE * tiles + LEAST_SIDES, ENTRIES_PER_TILE * tiles + LEAST_ENTRIES
    head = cupy.zeros((tiles, 4), dtype=np.int32)
    sides, entries = cupy.empty((side_room, 16), dtype=np.float32), cupy.empty((entry_room, 8), dtype=np.int32)
    clear, by = cupy.ones(shape, dtype=np.float32), cupy.full(shape, NO_PART, dtype=np.int16)
    shapes, items = tables.shape[:, [KIND, POINTS, POINTS_END]], tables.item[:, [SHAPE, SENSE_OF, HULL_OF, PART_OF]]
    whole = [cupy.asarray(np.ascontiguousarray(a, dtype=np.int32)) for a in (shapes, items, cells.rows, cells.columns)]
    point, optics = cupy.asarray(np.ascontiguousarray(tables.point)), cupy.asarray(np.ascontiguousarray(nodes.optics))
    usable, rule = cupy.asarray(cells.usable.astype(np.uint8)), cupy.asarray(chord_rule(CHORDS).astype(np.float32))
    words = len(tables.item) // 32 + 1
    wanted = cupy.zeros((down * across, words), dtype=np.uint32)
    box = (point, whole[0], whole[1], optics)
    room = (head, sides, entries, np.int32(side_room), np.int32(entry_room), used)
    return Prepared(
        sorting=(there, *box, wanted, np.int32(words), used),
        listing=(there, np.int32(tiles), *box, whole[2], whole[3], usable, wanted, np.int32(words), *room),
        covering=(there, head, sides, entries, rule, clear, by),
        pairs=down * across * len(tables.item),
        tiles=tiles,
        wanted=wanted,
        used=used,
        clear=clear,
        by=by,
    )
