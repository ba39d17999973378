"""The coverage engine: shares of a list of pencils, and maps of a whole picture, by area and without noise."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection, Iterable
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from functools import partial
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import NO_PART, Box
from raytrace.coverage.kept_tables import kept_tables
from raytrace.coverage.kernels.cells import list_blocks
from raytrace.coverage.kernels.chords import chord_rule
from raytrace.coverage.kernels.cover_kernels import cover_blocks
from raytrace.coverage.kernels.scratch import Room, room_for
from raytrace.coverage.pencil_map import Optics, as_nodes, optics
from raytrace.coverage.tables.clip import box_depths_mm
from raytrace.coverage.tables.nodes import Cells, Nodes
from raytrace.coverage.tables.tables import PART_OF, Tables
from raytrace.optics.pencil import Pencils
from raytrace.shares import Bound, Made, Shares

Kept = TypeVar("Kept")

ENGINE = "coverage"
CHORD_ERROR = 12.0  # over N**1.5: above every error seen on random boxes, 0.0104 at 64 chords and, glass aside, 0.0022 at 256
POINT_CHORDS = 256  # across the disc of a single pencil where no closed form fits
POINT_SAGITTA_MM = 2e-5  # round outlines of single pencils, per mm of the pupil's radius: areas good to 1e-5 of the pupil
SAGITTA_STEP = 4.0  # it grows in such steps, so that tables of outlines made for one pencil are those of others
FEW_POINTS = 256  # are done before a second thread has started
POINTS_AT_ONCE = 64  # pencils a thread takes at a time: a few milliseconds of work, so that a short list keeps both cores busy


def coverage_shares(
    pencils: Pencils,
    box: Box,
    *,
    with_alone: bool = True,
    with_glass: bool = True,
    apart: Collection[int] = (),
    threads: int = 2,
) -> Shares:
    """Light of N pencils by the area that parts leave of each pupil; what the glass takes is nan where it is not asked for.

    Parts `apart` (by index) are known to stand out of all of this light, so that alone they take none.
    """
    known = optics(pencils, box, with_glass=with_glass)
    tables = kept_tables(box, start_z_mm=known.start_z_mm, end_z_mm=known.end_z_mm, sagitta_mm=_sagitta_mm(known, box))
    share, by = _points(tables, np.arange(len(tables.item)), known, len(box.parts), threads)
    away = range(len(box.parts)) if (share == 1.0).all() else apart
    alone = [
        np.ones(len(pencils))
        if part in away
        else _points(tables, np.flatnonzero(tables.item[:, PART_OF] == part), known, len(box.parts), threads)[0]
        for part in range(len(box.parts) if with_alone else 0)
    ]
    return Shares(
        clear_share=share,
        glass=known.glass if with_glass else np.full(len(pencils), np.nan),
        lens=known.lens,
        blocked_by=by,
        alone=np.stack(alone, axis=1) if alone else np.ones((len(pencils), 0)),
        stderr=np.zeros(len(pencils)),
        part_names=box.part_names,
        made=Made(engine=ENGINE, bounds=_point_bounds(known)),
    )


def _sagitta_mm(known: Optics, box: Box) -> float:
    """How far chords of round outlines may stray inside them: by the least section of any pencil among the parts."""
    if not known.valid.any():
        return POINT_SAGITTA_MM
    ends_mm = np.clip(box_depths_mm(box), known.start_z_mm, known.end_z_mm)
    last = known.affine[known.valid, -1][:, :, None]
    scale = np.minimum(last[:, 0] + last[:, 1] * ends_mm, last[:, 4] + last[:, 5] * ends_mm).min(axis=1)
    radius_mm = float((scale / np.linalg.norm(known.disc[known.valid, 2:], axis=1)).min())
    return POINT_SAGITTA_MM * SAGITTA_STEP ** int(np.log(max(radius_mm, 1.0)) / np.log(SAGITTA_STEP))


def _point_bounds(known: Optics) -> tuple[Bound, ...]:
    chords = Bound(what="chord rule where parts overlap", size=CHORD_ERROR / POINT_CHORDS**1.5, unit="share")
    return (chords, glass_bound(known))


def glass_bound(known: Optics) -> Bound:
    """What shares may be off by because glass shifts the rays of one pencil unlike: 2 / pi of how far they stray, all at most."""
    stray = float(known.glass_stray.max(initial=0.0))
    return Bound(what="rays shifted evenly by glass, save near the plane of focus", size=min(stray * 2 / np.pi, 1.0), unit="share")


def _points(
    tables: Tables, items: NDArray[np.int64], known: Optics, parts: int, threads: int
) -> tuple[FloatArray, NDArray[np.int16]]:
    """Clear share (N,) and first stopper (N,) by the given items alone."""
    count = len(known.valid)
    clear, by = np.ones((count, 1), dtype=np.float32), np.full((count, 1), NO_PART, dtype=np.int16)
    nodes = as_nodes(known, (count, 1))
    cells, rule = single_cells(known.valid), chord_rule(POINT_CHORDS)

    def work(room: Room, first: int) -> None:
        last = min(first + POINTS_AT_ONCE, count)
        cover_cells(tables, items, nodes, cells, 1, 1.0, rule, room, first, last, clear, by)

    if len(items):
        room = partial(room_for, tables, nodes, parts, POINT_CHORDS, POINTS_AT_ONCE)
        share_out(work, range(0, count, POINTS_AT_ONCE), room, threads if count > FEW_POINTS else 1)
    clear[~known.valid], by[~known.valid] = 1.0, NO_PART
    return clear[:, 0].astype(np.float64), by[:, 0]


def cover_cells(
    tables: Tables,
    items: NDArray[np.int64],
    nodes: Nodes,
    cells: Cells,
    step: int,
    reach: float,
    rule: FloatArray,
    room: Room,
    first: int,
    last: int,
    clear: NDArray[np.float32],
    by: NDArray[np.int16],
) -> None:
    """Fill the pixels of cells first..last - 1, row by row; `step` is the size of blocks, `reach` the discs' radius for proofs."""
    w, chords, done = room.listing, rule.shape[1], False
    w.here[:] = first, 0, 0
    while not done:
        done = list_blocks(tables, items, nodes, cells, step, reach, chords, w, last, clear, by)
        cover_blocks(w.found, w.blocks, nodes, cells.stride, rule, room.tally, clear, by)


def single_cells(valid: NDArray[np.bool_]) -> Cells:
    """Each pencil a cell and a pixel of its own."""
    at = np.arange(len(valid) + 1)
    return Cells(at, np.array([0, 1]), at[1:].copy(), np.array([1]), valid[:, None].copy(), 0)


def share_out(work: Callable[[Kept, int], None], jobs: Iterable[int], room: Callable[[], Kept], threads: int) -> None:
    """Do the jobs, which write to places of their own, on so many threads, each with scratch of its own."""
    listed = list(jobs)
    threads = min(threads, len(listed))  # a second thread costs more than a single job takes
    if threads <= 1:
        mine = room()
        for job in listed:
            work(mine, job)
        return
    waiting = deque(listed)

    def worker() -> None:
        mine = room()
        while True:
            try:
                job = waiting.popleft()
            except IndexError:
                return
            work(mine, job)

    with ThreadPoolExecutor(threads) as pool:
        workers = [pool.submit(worker) for _ in range(threads)]
        try:
            wait(workers, return_when=FIRST_EXCEPTION)
        finally:
            waiting.clear()  # whoever is told to stop waits for the jobs in hand alone
        for done in workers:
            done.result()
