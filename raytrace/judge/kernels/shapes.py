"""Material round openings as convex pieces, for kernels: arcs of the edge, each held by the half-space of its chord."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled

FloatArray = NDArray[np.float64]

# Rotation (9), origin (3), half width, half height, corner radius, outside (0 endless, 1 box, 2 round), its half sizes.
LOOP_FIELDS = 18
ENDLESS_MM = 4000.0  # as far as anything is followed: 86 degrees off axis a quarter metre ahead of the lens
MOST_CORNERS = 12  # of a piece beyond a chord: five to a loop


@compiled
def _chord_mm(walls: FloatArray, s: int, loop: int, cosine: float, sine: float, half_rad: float) -> float:
    """How far out along a direction in the loop's plane material begins beyond the chord of an arc this half wide."""
    r = walls[s, loop, 14]
    return abs(cosine) * (walls[s, loop, 12] - r) + abs(sine) * (walls[s, loop, 13] - r) + r * math.cos(half_rad)


@compiled
def _put(walls: FloatArray, s: int, loop: int, x: float, y: float, piece: FloatArray, at: int) -> int:
    for k in range(3):
        piece[at, k] = walls[s, loop, 9 + k] + walls[s, loop, 3 * k] * x + walls[s, loop, 3 * k + 1] * y
    return at + 1


@compiled
def _beyond(walls: FloatArray, s: int, loop: int, cosine: float, sine: float, level: float, piece: FloatArray, at: int) -> int:
    """Corners of what lies beyond a level along a direction and inside the loop's outside, put into `piece` from `at` on."""
    kind, w = walls[s, loop, 15], walls[s, loop, 16]
    if kind == 1.0:
        return _box_beyond(walls, s, loop, cosine, sine, level, piece, at)
    far, wide = level + ENDLESS_MM, ENDLESS_MM
    if kind == 2.0:
        far, wide = max(w, level), math.sqrt(max(w * w - level * level, 0.0))
    for k in range(4):
        out, across = level if k < 2 else far, wide if k in (0, 3) else -wide
        at = _put(walls, s, loop, cosine * out - sine * across, sine * out + cosine * across, piece, at)
    return at


@compiled
def _box_beyond(walls: FloatArray, s: int, loop: int, cosine: float, sine: float, level: float, piece: FloatArray, at: int) -> int:
    w, h = walls[s, loop, 16], walls[s, loop, 17]
    first = at
    for k in range(4):
        x0, y0 = w if k in (0, 3) else -w, h if k < 2 else -h
        x1, y1 = w if k in (2, 3) else -w, h if k in (0, 3) else -h
        here, there = cosine * x0 + sine * y0 - level, cosine * x1 + sine * y1 - level
        if here >= 0.0:
            at = _put(walls, s, loop, x0, y0, piece, at)
        if (here > 0.0 and there < 0.0) or (here < 0.0 and there > 0.0):
            t = here / (here - there)
            at = _put(walls, s, loop, x0 + t * (x1 - x0), y0 + t * (y1 - y0), piece, at)
    if at == first:  # no material this way: the outermost corner keeps the piece whole
        at = _put(walls, s, loop, w if cosine > 0 else -w, h if sine > 0 else -h, piece, at)
    return at


@compiled
def arc_piece(walls: FloatArray, s: int, low_rad: float, high_rad: float, piece: FloatArray) -> int:
    """Corners of the hull of what lies beyond an arc's chord in both loops of a wall (S, 2, LOOP_FIELDS); how many."""
    middle, half = (low_rad + high_rad) / 2, (high_rad - low_rad) / 2
    cosine, sine, at = math.cos(middle), math.sin(middle), 0
    for loop in range(2):
        at = _beyond(walls, s, loop, cosine, sine, _chord_mm(walls, s, loop, cosine, sine, half), piece, at)
    return at


@compiled
def sagitta_mm(walls: FloatArray, s: int, low_rad: float, high_rad: float) -> float:
    """How far the chord of an arc stands off it at most, in either loop."""
    return max(walls[s, 0, 14], walls[s, 1, 14]) * (1.0 - math.cos((high_rad - low_rad) / 2))


@compiled
def sideways(walls: FloatArray, s: int, angle_rad: float, out: FloatArray) -> None:
    """The way (4,) of an angle in the first loop's plane, see `planes`: across the axis, and how planes along the edge slant."""
    c, d = math.cos(angle_rad), math.sin(angle_rad)
    xx, xy, yx, yy = walls[s, 0, 0], walls[s, 0, 1], walls[s, 0, 3], walls[s, 0, 4]
    x, y = xx * c + xy * d, yx * c + yy * d
    length = math.sqrt(x * x + y * y)
    ex, ey = (x / length, y / length) if length > 1e-6 else (1.0, 0.0)
    along_x, along_y, along_z = xy * c - xx * d, yy * c - yx * d, walls[s, 0, 7] * c - walls[s, 0, 6] * d
    level = ex * along_y - ey * along_x
    out[0], out[1], out[2], out[3] = ex, ey, 0.0, 0.0
    if abs(level) > 0.1:
        out[2], out[3] = -(ex * along_x + ey * along_y) / level, -along_z / level
