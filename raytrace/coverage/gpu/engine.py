"""The coverage engine's pictures on a graphics processor, by CuPy (optional): the same nodes, proofs and areas as on the processor.

Worked out there is what tubes with convex outlines and convex blocks do to whole pupils. Cells in which the lens's own rims or
front ring cut the pupil, or in which meshes or too many sides come near it, are the processor's, with a sentence that says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raytrace.box import NO_PART, Box
from raytrace.coverage.engine import CHORD_ERROR, ENGINE
from raytrace.coverage.gpu.source import CHORDS, LEFT_PIXELS, SIDE_FLOATS, SOURCE, USED_COLUMNS
from raytrace.coverage.kernels.chords import chord_rule
from raytrace.coverage.pencil_map import as_nodes
from raytrace.coverage.picture import _covered, _even, _mend, _spread, box_depths_mm, coverage_map, map_sagitta_mm
from raytrace.coverage.planning import PencilsAt, Plan, glass_layer, lens_layer, plan
from raytrace.coverage.tables.nodes import Nodes
from raytrace.coverage.tables.tables import (
    HULL_OF,
    KIND,
    PART_OF,
    POINTS,
    POINTS_END,
    SENSE_OF,
    SHAPE,
    TRIAL,
    TRIAL_END,
    WEB,
    Tables,
    box_tables,
)
from raytrace.optics.camera import PixelGrid
from raytrace.shares import Bound, Made, VignetteMap

TILE = 16  # pixels along the side of a tile, or the cells' size where that is less
SMALL_TILE, FEW_COLUMNS = 4, 512  # tiles of narrower pictures: large ones would take in too many sides of a round opening
THREADS = 256  # of a block
LISTING_THREADS = 32  # of a block that lists tiles: a thread per tile, heavy in registers
SIDES_PER_TILE, ENTRIES_PER_TILE = 12, 6  # room kept, on average; a picture that needs more goes to the processor
LEAST_SIDES, LEAST_ENTRIES = 1 << 18, 1 << 16  # room kept besides: 18 MB
MOST_POINTS = 4096  # of one mesh: each tile near it looks at them all
LEAST_PIXELS = 1 << 12  # of a picture worth sending over
WHOLE_RIM = 1e-9  # of a pupil radius: rims cut in less than this cut nothing
LEFT_SHARES = ((0.01, "up to 1 %"), (0.1, "up to 10 %"), (0.5, "up to half"), (1.0, "most"))

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
    """The map of `coverage_map` without the parts alone, made on the graphics processor; `say` hears what of it was not and why."""
    planned = plan(pencils_at, grid, box, box_depths_mm(box))
    sagitta_mm = map_sagitta_mm(planned.known)
    known = planned.known
    tables = box_tables(box, start_z_mm=known.start_z_mm, end_z_mm=known.end_z_mm, sagitta_mm=sagitta_mm)
    nodes = as_nodes(known, planned.shape)
    ours = planned.cells.usable & ~_cut_by_lens(nodes)
    reason = why_not(tables, planned, ours)
    if reason is not None:
        say(f"worked out on the processor, because {reason}")
        return coverage_map(pencils_at, grid, box, threads=threads, with_glass=with_glass)
    prepared = prepare(tables, nodes, planned, ours, (grid.rows, grid.columns))
    prepared.run()
    left = int(prepared.used.get()[LEFT_PIXELS])
    clear, by = prepared.clear.get(), prepared.by.get()
    if left or not np.array_equal(ours, planned.cells.usable):
        _work_out_left(clear, by, ours, tables, nodes, planned, threads, say)
    return _finished((clear, by), pencils_at, grid, box, planned, sagitta_mm, threads, with_glass)


def _cut_by_lens(nodes: Nodes) -> NDArray[np.bool_]:
    """Cells in which the lens's own rims or front ring cut a corner's pupil: the kernels know whole discs only."""
    far = np.hypot(nodes.ring[..., 0], nodes.ring[..., 1]) + np.sqrt((nodes.ring[..., 2:] ** 2).sum(axis=-1))
    cut = (far**2 > nodes.ring_square) | np.any(nodes.rim < 1.0 - WHOLE_RIM, axis=-1)
    return np.asarray(cut[:-1, :-1] | cut[1:, :-1] | cut[:-1, 1:] | cut[1:, 1:])


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
        made=Made(engine=ENGINE, bounds=_bounds(planned, sagitta_mm), device="gpu"),
    )


def _bounds(planned: Plan, sagitta_mm: float) -> tuple[Bound, ...]:
    return (
        Bound(what="pencils between nodes taken as bilinear", size=planned.stray * 2 / np.pi, unit="share"),
        Bound(what="shadows near the plane of focus moved by that", size=planned.shift, unit="pixels"),
        Bound(what="round outlines as inscribed chords", size=sagitta_mm, unit="mm"),
        Bound(what="chord rule where parts overlap, single precision", size=CHORD_ERROR / CHORDS**1.5, unit="share"),
    )


def why_not(tables: Tables, planned: Plan, ours: NDArray[np.bool_]) -> str | None:
    """Why the device would do nothing of the picture, or nothing fast, as the end of a sentence; None where it is of use."""
    cells = planned.cells
    points = (tables.shape[:, POINTS_END] - tables.shape[:, POINTS])[tables.shape[:, KIND] == WEB]
    if points.max(initial=0) > MOST_POINTS:
        return f"a mesh has more than {MOST_POINTS} points"
    if not ours.any():
        return "the lens itself cuts its pupil all over the picture"
    if not len(tables.item):
        return "nothing stands in the light's way"
    return "the picture is small" if cells.row_end[-1] * cells.column_end[-1] < LEAST_PIXELS else None


def _work_out_left(
    clear: NDArray[np.float32],
    by: NDArray[np.int16],
    ours: NDArray[np.bool_],
    tables: Tables,
    nodes: Nodes,
    planned: Plan,
    threads: int,
    say: Callable[[str], None],
) -> None:
    """Have the processor cover every cell of which the kernels left something."""
    cells = planned.cells
    rows, columns = np.nonzero(clear < 0.0)
    theirs = cells.usable & ~ours
    theirs[np.searchsorted(cells.row_end, rows, side="right"), np.searchsorted(cells.column_end, columns, side="right")] = True
    shape = (int(cells.row_end[-1]), int(cells.column_end[-1]))
    rest = replace(planned, cells=cells._replace(usable=theirs))
    other_clear, other_by = _covered(tables, np.arange(len(tables.item)), nodes, rest, shape, threads)
    down, across = (np.diff(ends, prepend=0) for ends in (cells.row_end, cells.column_end))
    where = np.repeat(np.repeat(theirs, down, axis=0), across, axis=1)
    clear[where], by[where] = other_clear[where], other_by[where]
    how_much = next(words for share, words in LEFT_SHARES if where.mean() <= share)
    say(f"left {how_much} of the picture to the processor, where the lens cuts its own pupil or outlines are too many or too fine")


def prepare(tables: Tables, nodes: Nodes, planned: Plan, ours: NDArray[np.bool_], shape: tuple[int, int]) -> Prepared:
    """Send what the kernels read, and make room for what they write; they work on `ours` of the cells."""
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
    sides, entries = cupy.empty((side_room, SIDE_FLOATS), dtype=np.float32), cupy.empty((entry_room, 8), dtype=np.int32)
    clear, by = cupy.ones(shape, dtype=np.float32), cupy.full(shape, NO_PART, dtype=np.int16)
    shapes = tables.shape[:, [KIND, POINTS, POINTS_END, TRIAL, TRIAL_END]]
    items = tables.item[:, [SHAPE, SENSE_OF, HULL_OF, PART_OF]]
    numbers = (tables.trial, shapes, items, cells.rows, cells.columns)
    whole = [cupy.asarray(np.ascontiguousarray(a, dtype=np.int32)) for a in numbers]
    point, optics = cupy.asarray(np.ascontiguousarray(tables.point)), cupy.asarray(np.ascontiguousarray(nodes.optics))
    usable, rule = cupy.asarray(ours.astype(np.uint8)), cupy.asarray(chord_rule(CHORDS).astype(np.float32))
    words = len(tables.item) // 32 + 1
    wanted = cupy.zeros((down * across, words), dtype=np.uint32)
    box = (point, *whole[:3], optics)
    room = (head, sides, entries, np.int32(side_room), np.int32(entry_room), used)
    return Prepared(
        sorting=(there, *box, wanted, np.int32(words)),
        listing=(there, np.int32(tiles), *box, whole[3], whole[4], usable, wanted, np.int32(words), *room),
        covering=(there, head, sides, entries, rule, clear, by, used),
        pairs=down * across * len(tables.item),
        tiles=tiles,
        wanted=wanted,
        used=used,
        clear=clear,
        by=by,
    )
