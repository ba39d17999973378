"""How the time of a map grows with pixels, parts, triangles, chords and states: measured lines, their slopes, one picture."""

from __future__ import annotations

from dataclasses import dataclass
from time import perf_counter

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import NullFormatter

from benchmarks.reference_scene import FULL, PREVIEW, box, box_of, box_with_ball, pencils_at
from raytrace.coverage import picture
from raytrace.coverage.picture import coverage_map

LONG_S = 1.0


@dataclass(frozen=True, slots=True)
class Line:
    """Seconds (N,) over some quantity (N,), and the slope of the upper half of the line on doubly logarithmic paper."""

    quantity: str
    amounts: tuple[float, ...]
    seconds: tuple[float, ...]

    @property
    def slope(self) -> float:
        half = len(self.amounts) // 2
        return float(np.polyfit(np.log(self.amounts[half:]), np.log(self.seconds[half:]), 1)[0])


def seconds(work, repeats=3):
    """The best of some runs after a first one; of what takes seconds the first is good enough."""
    start = perf_counter()
    work()
    first = perf_counter() - start
    if first > LONG_S:
        return first
    times = []
    for _ in range(repeats):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times)


def by_pixels():
    columns = (480, 1024, 2048, 4096, 8192, 15096)
    grids = [FULL.resized(c) for c in columns]
    return Line("pixels", tuple(g.columns * g.rows for g in grids), tuple(seconds(lambda g=g: _map(g, box())) for g in grids))


def by_parts():
    amounts = (5, 10, 20, 50, 100, 200)
    boxes = [box_of(n) for n in amounts]
    return Line("parts", amounts, tuple(seconds(lambda b=b: _map(PREVIEW, b, 18.0)) for b in boxes))


def by_triangles():
    pairs = [box_with_ball(n) for n in (100, 1000, 10_000, 100_000, 1_000_000)]
    times = tuple(seconds(lambda b=b: _map(PREVIEW, b), repeats=1) for b, _ in pairs)
    return Line("triangles", tuple(n for _, n in pairs), times)


def by_chords():
    amounts = (16, 32, 64, 128, 256)
    kept = picture.MAP_CHORDS
    times = []
    for chords in amounts:
        picture.MAP_CHORDS = chords
        times.append(seconds(lambda: _map(PREVIEW, box_of(3), 18.0)))
    picture.MAP_CHORDS = kept
    return Line("chords across a pupil", amounts, tuple(times))


def by_states():
    amounts = (1, 4, 10, 40)

    def states(count):
        for k in range(count):
            _map(PREVIEW, box(40.0 + k / 5), 22.0 + k / 10)

    return Line("states", amounts, tuple(seconds(lambda n=n: states(n)) for n in amounts))


def _map(grid, parts, focal_mm=24.0):
    return coverage_map(pencils_at(focal_mm), grid, parts)


def all_lines():
    _map(PREVIEW, box_of(5), 18.0)  # so that no line waits for the compiler
    _map(PREVIEW, box_with_ball(100)[0])
    return [by_pixels(), by_parts(), by_triangles(), by_chords(), by_states()]


def growth_figure(lines) -> Figure:
    figure = Figure(figsize=(13, 3.2), layout="constrained")
    for axes, line in zip(figure.subplots(1, len(lines)), lines, strict=True):
        axes.loglog(line.amounts, line.seconds, "o-", color="#205080")
        linear = np.array(line.amounts) / line.amounts[-1] * line.seconds[-1]
        axes.loglog(line.amounts, linear, "--", color="#999999", linewidth=1)
        axes.set(xlabel=line.quantity, ylabel="seconds", title=f"slope {line.slope:.2f} (dashed: 1)")
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_minor_formatter(NullFormatter())
        axes.grid(alpha=0.3)
    return figure
