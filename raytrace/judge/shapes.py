"""Material round openings as convex pieces, for kernels: arcs of the edge, each held by the half-space of its chord."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.compiling import helper

FloatArray = NDArray[np.float64]

# Rotation (9), origin (3), half width, half height, corner radius, outside (0 endless, 1 box, 2 round), its half sizes.
LOOP_FIELDS = 18
ENDLESS_MM = 4000.0  # as far as anything is followed: 86 degrees off axis a quarter metre ahead of the lens
MOST_CORNERS = 12  # of a piece beyond a chord: five to a loop


@helper
def chord_mm(loop: FloatArray, c: float, s: float, half_rad: float) -> float:
    """How far out along (c, s), in the loop's plane, material begins beyond the chord of an arc this half wide."""
    r = loop[14]
    return abs(c) * (loop[12] - r) + abs(s) * (loop[13] - r) + r * np.cos(half_rad)


@helper
def _put(loop: FloatArray, x: float, y: float, piece: FloatArray, at: int) -> int:
    for k in range(3):
        piece[at, k] = loop[9 + k] + loop[3 * k] * x + loop[3 * k + 1] * y
    return at + 1


@helper
def _beyond(loop: FloatArray, c: float, s: float, level: float, piece: FloatArray, at: int) -> int:
    """Corners of what lies beyond a level along (c, s) and inside the loop's outside, put into `piece` from `at` on."""
    kind, w = loop[15], loop[16]
    if kind == 1.0:
        return _box_beyond(loop, c, s, level, piece, at)
    if kind == 2.0:
        far = max(w, level)
        wide = np.sqrt(max(w * w - level * level, 0.0))
    else:
        far, wide = level + ENDLESS_MM, ENDLESS_MM
    at = _put(loop, c * level - s * wide, s * level + c * wide, piece, at)
    at = _put(loop, c * level + s * wide, s * level - c * wide, piece, at)
    at = _put(loop, c * far - s * wide, s * far + c * wide, piece, at)
    return _put(loop, c * far + s * wide, s * far - c * wide, piece, at)


@helper
def _box_beyond(loop: FloatArray, c: float, s: float, level: float, piece: FloatArray, at: int) -> int:
    w, h = loop[16], loop[17]
    first = at
    for k in range(4):
        x0, y0 = w if k in (0, 3) else -w, h if k < 2 else -h
        x1, y1 = w if k in (2, 3) else -w, h if k in (0, 3) else -h
        here, there = c * x0 + s * y0 - level, c * x1 + s * y1 - level
        if here >= 0.0:
            at = _put(loop, x0, y0, piece, at)
        if (here > 0.0 and there < 0.0) or (here < 0.0 and there > 0.0):
            t = here / (here - there)
            at = _put(loop, x0 + t * (x1 - x0), y0 + t * (y1 - y0), piece, at)
    if at == first:  # no material this way: the outermost corner keeps the piece whole
        at = _put(loop, w if c > 0 else -w, h if s > 0 else -h, piece, at)
    return at


@helper
def arc_piece(wall: FloatArray, low_rad: float, high_rad: float, piece: FloatArray) -> int:
    """Corners of the hull of what lies beyond an arc's chord in both loops (2, LOOP_FIELDS) of a wall; how many."""
    middle, half = (low_rad + high_rad) / 2, (high_rad - low_rad) / 2
    c, s = np.cos(middle), np.sin(middle)
    at = _beyond(wall[0], c, s, chord_mm(wall[0], c, s, half), piece, 0)
    return _beyond(wall[1], c, s, chord_mm(wall[1], c, s, half), piece, at)


@helper
def sagitta_mm(wall: FloatArray, low_rad: float, high_rad: float) -> float:
    """How far the chord of an arc stands off it at most, in either loop."""
    return max(wall[0, 14], wall[1, 14]) * (1.0 - np.cos((high_rad - low_rad) / 2))


@helper
def sideways(loop: FloatArray, angle_rad: float, out: FloatArray) -> None:
    """Unit direction across the axis of an angle in a loop's plane, and how planes along the edge slant (4,), see `slanted`."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    x, y = loop[0] * c + loop[1] * s, loop[3] * c + loop[4] * s
    length = np.hypot(x, y)
    out[0], out[1] = (x / length, y / length) if length > 1e-6 else (1.0, 0.0)
    along_x, along_y, along_z = loop[1] * c - loop[0] * s, loop[4] * c - loop[3] * s, loop[7] * c - loop[6] * s
    level = out[0] * along_y - out[1] * along_x
    out[2] = out[3] = 0.0
    if abs(level) > 0.1:
        out[2], out[3] = -(out[0] * along_x + out[1] * along_y) / level, -along_z / level
