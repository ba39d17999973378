"""Device time of the coverage map on a graphics processor, and how it agrees with the processor's map."""

import sys
from functools import partial
from time import perf_counter

import numpy as np

from geometry import flags
from geometry import parts as make
from raytrace.box import Box
from raytrace.coverage.gpu import engine as gpu
from raytrace.coverage.pencil_map import as_nodes
from raytrace.coverage.picture import _sagitta_mm, box_depths_mm, coverage_map
from raytrace.coverage.planning import plan
from raytrace.coverage.tables.tables import box_tables
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, pencils_for

LAUNCHES = 50
KINDS = ("clear", "one way", "mixed", "dark", "left", "convex", "parallel")


def scene():
    """65 mm 5-perf, 24 mm f/2, two trays, a mask, a hood and a top flag."""
    place = make.box_pose()
    square, wide = make.opening(size_mm=(160, 160)), make.opening(size_mm=(190, 120))
    box = Box(
        parts=(
            make.tray(place, at_mm=20, depth_mm=6, opening=square, outer_mm=(220, 200), name="tray 1"),
            make.tray(place, at_mm=30, depth_mm=6, opening=square, outer_mm=(220, 200), name="tray 2"),
            make.mask(place, at_mm=50, thickness_mm=2, opening=wide, outer_mm=(220, 180)),
            make.hood(place, at_mm=52, depth_mm=58, rear_mm=(200, 140), front_mm=(300, 180)),
            flags.flag(place, side="top", angle_deg=48, hinge_mm=90, at_mm=110, length_mm=120, width_mm=300),
        )
    )
    lens = LensState(
        name="24", focal_mm=24.0, f_number=2.0, focus_mm=np.inf, field_focal_mm=24.0, object_z_mm=np.inf,
        pupil=FixedPupil(behind_front_mm=(45.0, 45.0), half_size_mm=(6.0, 6.0)),
    )  # fmt: skip
    return box, partial(pencils_for, lens)


def timed(work, launches=LAUNCHES):
    """Device milliseconds of each launch."""
    import cupy

    took = []
    for _ in range(launches):
        start, end = cupy.cuda.Event(), cupy.cuda.Event()
        start.record()
        work()
        end.record()
        end.synchronize()
        took.append(cupy.cuda.get_elapsed_time(start, end))
    return np.array(took)


def measure(columns, rows):
    """Print a picture's times and its agreement with the processor's."""
    import cupy

    box, pencils_at = scene()
    grid = PixelGrid(width_mm=52.48, height_mm=23.01, columns=columns, rows=rows)
    begin = perf_counter()
    planned = plan(pencils_at, grid, box, box_depths_mm(box))
    known = planned.known
    tables = box_tables(box, start_z_mm=known.start_z_mm, end_z_mm=known.end_z_mm, sagitta_mm=_sagitta_mm(planned))
    nodes = as_nodes(known, planned.shape)
    print(f"{columns} x {rows}: cells of {planned.size}, prepared in {1e3 * (perf_counter() - begin):.0f} ms,", end=" ")
    assert gpu.why_not(tables, planned, planned.cells.usable) is None
    ready = gpu.prepare(tables, nodes, planned, planned.cells.usable, (rows, columns))
    ready.run()
    cupy.cuda.Device().synchronize()
    tiles = np.bincount(ready.covering[1].get()[:, 0], minlength=7)
    print("used", ready.used.get(), dict(zip(KINDS, tiles.tolist(), strict=True)))
    list_cells, list_tiles, cover_tiles = gpu._kernels()
    for kernel in (list_cells, list_tiles, cover_tiles):
        print(f"  {kernel.num_regs} registers, {kernel.local_size_bytes} local bytes a thread")
    timed(ready.run, 500)  # until the clocks are up
    whole = timed(ready.run)
    sorting = timed(lambda: list_cells((-(-ready.pairs // gpu.LISTING_THREADS),), (gpu.LISTING_THREADS,), ready.sorting))
    blocks = -(-ready.tiles // gpu.LISTING_THREADS)
    listing = timed(lambda: list_tiles((blocks,), (gpu.LISTING_THREADS,), ready.listing) if not ready.used.fill(0) else None)
    covering = timed(lambda: cover_tiles((ready.tiles,), (gpu.THREADS,), ready.covering))
    copying = timed(lambda: (ready.clear.data.memset_async(0, ready.clear.nbytes), ready.by.data.memset_async(0, ready.by.nbytes)))
    steps = (("whole", whole), ("cells", sorting), ("listing", listing), ("covering", covering), ("plain filling", copying))
    for name, took in steps:
        print(f"  {name}: median {np.median(took):.3f} ms, least {took.min():.3f}, worst {took.max():.3f}")
    rate = 6e-6 * columns * rows / np.median(whole)
    print(f"  writes {rate:.0f} GB/s over the whole, {6e-6 * columns * rows / np.median(covering):.0f} while covering")
    ready.run()
    compare(ready.clear.get(), ready.by.get(), pencils_at, grid, box)


def compare(clear, by, pencils_at, grid, box):
    """Print how shares and first stoppers differ from the processor's map."""
    coverage_map(pencils_at, PixelGrid(width_mm=52.48, height_mm=23.01, columns=256, rows=112), box)
    begin = perf_counter()
    other = coverage_map(pencils_at, grid, box)
    took = perf_counter() - begin
    gap = np.abs(clear - other.clear_share)
    cut = (other.clear_share < 1) & (other.clear_share > 0)
    worst = np.unravel_index(np.argmax(gap), gap.shape)
    print(f"  processor {took:.2f} s; penumbra {100 * cut.mean():.2f} %")
    print(f"  rms there {np.sqrt((gap[cut] ** 2).mean()):.2e}, max {gap.max():.2e}")
    print(f"  at {worst}: {clear[worst]} against {other.clear_share[worst]}")
    print(f"  stopper differs at {100 * (by != other.blocked_by).mean():.3f} %")


if __name__ == "__main__":
    if trouble := gpu.gpu_trouble():
        sys.exit(trouble)
    measure(1024, 449)
    measure(8192, 3592)
