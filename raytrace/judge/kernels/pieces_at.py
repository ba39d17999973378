"""Pieces of a part as kernels go through them: the arcs that a wall begins with, a piece's corners, and the way sideways to it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.gjk import SHARE, TRIED, WAY
from raytrace.judge.kernels.shapes import arc_piece, sideways

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@compiled
def first_arc(number: int) -> tuple[float, float]:
    """Ends of one of the arcs that a wall begins with: its four sides, then its four corners."""
    low = (number % 4) * math.pi / 2
    return low, low + math.pi / 2 if number >= 4 else low


@compiled
def toward(corners: FloatArray, runs: IntArray, run: int, piece: FloatArray, count: int, bench: FloatArray) -> None:
    """Sets the way sideways from the middle of a leg to the middle of a piece."""
    x = y = z = 0.0
    for j in range(count):
        x, y, z = x + piece[j, 0] / count, y + piece[j, 1] / count, z + piece[j, 2] / count
    for end in range(2):
        n = runs[run, 2 * end + 1] - runs[run, 2 * end]
        for c in range(3):
            bench[SHARE + end, c] = 0.0
            for k in range(runs[run, 2 * end], runs[run, 2 * end + 1]):
                bench[SHARE + end, c] += corners[k, c] / n
    before = bench[SHARE, 2]
    t = min(max((z - before) / max(bench[TRIED, 2] - before, 1e-9), 0.0), 1.0)
    x -= bench[SHARE, 0] + t * (bench[TRIED, 0] - bench[SHARE, 0])
    y -= bench[SHARE, 1] + t * (bench[TRIED, 1] - bench[SHARE, 1])
    length = math.sqrt(x * x + y * y)
    bench[WAY, 0], bench[WAY, 1] = (x / length, y / length) if length > 1e-9 else (1.0, 0.0)
    bench[WAY, 2] = bench[WAY, 3] = 0.0


@compiled
def lay_out(
    walls: FloatArray,
    points: FloatArray,
    pieces: IntArray,
    wall: int,
    low: float,
    high: float,
    piece: FloatArray,
    bench: FloatArray,
) -> int:
    """Corners of an arc of a wall, whose way sideways is set too, or of a piece, into `piece`; how many."""
    if wall >= 0:
        sideways(walls, wall, (low + high) / 2, bench[WAY])
        return arc_piece(walls, wall, low, high, piece)
    first = pieces[-1 - wall, 0]
    count = pieces[-1 - wall, 1] - first
    for j in range(count):
        for c in range(3):
            piece[j, c] = points[first + j, c]
    return count
