"""`python -m benchmarks.bench_coverage`: the coverage engine against general ray engines, in one run, into docs/performance.md.

Options: --quick leaves out whole runs and growth, --no-write prints only.
"""

from __future__ import annotations

import json
import subprocess
import sys
from importlib.metadata import version
from itertools import cycle
from pathlib import Path
from time import perf_counter

import numpy as np

from benchmarks.growth import all_lines, growth_figure
from benchmarks.peers import RAYS_PER_PIXEL, all_rates
from benchmarks.reference_scene import FULL, PREVIEW, box, pencils_at
from benchmarks.whole_run import run_table, run_times
from raytrace.coverage.picture import coverage_map
from raytrace.coverage.preview import Preview
from raytrace.reference import reference_shares

PAGE = Path(__file__).parents[1] / "docs" / "performance.md"
PICTURE = PAGE.parent / "pictures" / "coverage-growth.png"
BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"
TRUTH_PIXELS = 2000
LOG2_TRUTH_RAYS = 14  # 16,384 pupil points
NEAR_PIXELS = 3  # clear pixels this near to the penumbra are the ones a wrong proof would call clear


def best_of(work, repeats):
    times = []
    for _ in range(repeats):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times), float(np.median(times))


def map_times():
    coverage_map(pencils_at(), PREVIEW, box())
    moving, angles_deg = Preview(pencils_at(), PREVIEW), cycle(np.linspace(40.0, 56.0, 17))
    for _ in range(17):
        moving.frame(box(next(angles_deg)))
    full, _ = best_of(lambda: coverage_map(pencils_at(), FULL, box()), 7)
    single, _ = best_of(lambda: coverage_map(pencils_at(), FULL, box(), threads=1), 3)
    preview, typical = best_of(lambda: moving.frame(box(next(angles_deg))), 68)
    return {"full_s": full, "full_one_thread_s": single, "preview_s": preview, "preview_typical_s": typical}


def truth_errors(rng):
    """Errors against converged sampling in the penumbra, and how many clear pixels next to it are not clear."""
    picture = coverage_map(pencils_at(), FULL, box())
    share = picture.clear_share
    r, c = np.nonzero((share > 0) & (share < 1))
    pick = rng.choice(len(r), TRUTH_PIXELS, replace=False)
    error = share[r[pick], c[pick]] - _truth(r[pick], c[pick], rng)
    near_r, near_c = _beside_penumbra(share, rng)
    truth = _truth(near_r, near_c, rng)
    return {
        "penumbra_share": float(len(r) / share.size),
        "rms": float(np.sqrt(np.mean(error**2))),
        "max": float(np.abs(error).max()),
        "false_clear": int((truth < 1 - 0.002).sum()),
        "clear_checked": len(near_r),
    }


def _beside_penumbra(share, rng):
    """Clear pixels a few columns inside the penumbra's edge on both sides of the picture."""
    clear = share == 1.0
    near = clear & ~(np.roll(clear, NEAR_PIXELS, axis=1) & np.roll(clear, -NEAR_PIXELS, axis=1))
    r, c = np.nonzero(near)
    pick = rng.choice(len(r), min(TRUTH_PIXELS, len(r)), replace=False)
    return r[pick], c[pick]


def _truth(r, c, rng):
    points = np.column_stack([FULL.x_mm[c], FULL.y_mm[r]])
    return reference_shares(pencils_at()(points), box(), log2_rays=LOG2_TRUTH_RAYS, rng=rng).clear_share


def peak_memory_mb():
    """Peak memory of the full map over an interpreter with everything imported and a small map made, in a process of its own."""
    out = subprocess.run(
        [sys.executable, "-m", "benchmarks.bench_coverage", "--memory"], capture_output=True, text=True, check=True
    ).stdout
    return float(out.split()[-1])


def _print_memory():
    coverage_map(pencils_at(), FULL.resized(64), box())
    before = _peak_mb()
    coverage_map(pencils_at(), FULL, box())
    print(_peak_mb() - before)


def _peak_mb():
    """Highest resident memory of this process so far [MB]; Linux alone tells it apart from that of the process that started it."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return float(next(line for line in lines if line.startswith("VmHWM")).split()[1]) / 1024


def table(rates, times, errors, memory_mb):
    rays = FULL.columns * FULL.rows * RAYS_PER_PIXEL
    fastest = max(rate for _, rate in rates)
    rows = ["| way | million rays/s | 8192 x 3592 map at 256 rays | against the fastest peer |", "|---|---|---|---|"]
    for name, rate in rates:
        rows.append(f"| {name} | {rate:.3g} | {rays / rate / 1e6:,.0f} s | {rate / fastest:.3g} x |")
    peer_s = rays / fastest / 1e6
    rows.append(f"| **coverage, two threads** | areas | **{times['full_s']:.3f} s** | **{peer_s / times['full_s']:,.0f} x** |")
    rows.append(
        f"| coverage, one thread | areas | {times['full_one_thread_s']:.3f} s | {peer_s / times['full_one_thread_s']:,.0f} x |"
    )
    rows += ["", "| figure | measured | asked | aim |", "|---|---|---|---|"]
    rows.append(f"| full map, two threads | {times['full_s']:.3f} s | {peer_s / 300:.2f} s | {peer_s / 1000:.2f} s |")
    best, usual = times["preview_s"] * 1e3, times["preview_typical_s"] * 1e3
    rows.append(f"| preview 1024 x 449, best and usual | {best:.1f} and {usual:.1f} ms | 20 ms | 8 ms |")
    rows.append(f"| rms error in the penumbra, {TRUTH_PIXELS} pixels | {errors['rms']:.5f} | 0.003 | |")
    rows.append(f"| largest error there | {errors['max']:.4f} | 0.02 | |")
    rows.append(
        f"| pixels called clear that are not, of {errors['clear_checked']} beside the penumbra | {errors['false_clear']} | 0 | |"
    )
    rows.append(f"| peak memory of the full map | {memory_mb:.0f} MB | 600 MB | |")
    return rows


def growth_table(lines):
    rows = ["", "| time grows with | from | to | slope of the upper half |", "|---|---|---|---|"]
    for line in lines:
        ends = [f"{line.amounts[k]:,.0f}: {line.seconds[k] * 1e3:,.1f} ms" for k in (0, -1)]
        rows.append(f"| {line.quantity} | {ends[0]} | {ends[1]} | {line.slope:.2f} |")
    return [*rows, "", f"![Growth of the map's time](pictures/{PICTURE.name})"]


def machine():
    names = ("numpy", "numba", "embreex", "trimesh", "mitsuba", "open3d-cpu")
    return [
        "Measured on two cores of a shared x86-64 cloud machine with AVX2. " + ", ".join(f"{n} {_version(n)}" for n in names) + "."
    ]


def _version(name):
    try:
        return version(name)
    except ImportError:
        return "missing"


def write_page(rows):
    text = PAGE.read_text()
    if BEGIN not in text:
        text = text.rstrip() + f"\n\n## Measured\n\n{BEGIN}\n{END}\n"
    head, _, rest = text.partition(BEGIN)
    PAGE.write_text(head + BEGIN + "\n" + "\n".join(rows) + "\n" + END + rest.partition(END)[2])


def main(argv):
    if "--memory" in argv:
        _print_memory()
        return
    times, errors, memory_mb = map_times(), truth_errors(np.random.default_rng(11)), peak_memory_mb()
    rows = [*machine(), "", *table(all_rates(), times, errors, memory_mb)]
    print("\n".join(rows))
    print(json.dumps({**times, **errors, "memory_mb": memory_mb}))
    if "--quick" not in argv:
        runs = run_table(run_times())
        rows += runs
        print("\n".join(runs))
        lines = all_lines()
        rows += growth_table(lines)
        print("\n".join(growth_table(lines)))
    if "--no-write" not in argv:
        if "--quick" not in argv:
            growth_figure(lines).savefig(PICTURE, dpi=110)
        write_page(rows)


if __name__ == "__main__":
    main(sys.argv[1:])
