"""Kernels: blocks cut by several sides of one convex outline: the exact area of disc and polygon, by Green's theorem."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.project import between
from raytrace.coverage.kernels.scratch import END_A, END_B, FIRST, LAST, PART, SENSE, TURN
from raytrace.coverage.tables.tables import PASSES
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

CLOSED = 1e-9  # a share of loss below this is none: rounding of sums of angles


@compiled
def cover_outline(sides: FloatArray, entry: Ints, rect: Ints, clear: NDArray[np.float32], by: NDArray[np.int16]) -> None:
    """Fill the block where its only entry is an ordered convex outline."""
    across, down = 1.0 / max(rect[3] - rect[2] - 1, 1), 1.0 / max(rect[1] - rect[0] - 1, 1)
    for r in range(rect[0], rect[1]):
        for c in range(rect[2], rect[3]):
            inside = _share_inside(sides, entry, (c - rect[2]) * across, (r - rect[0]) * down)
            share = inside if entry[SENSE] == PASSES else 1.0 - inside
            share = min(max(share, 0.0), 1.0)
            clear[r, c] = share
            by[r, c] = entry[PART] if share < 1.0 - CLOSED else -1


@compiled
def _share_inside(sides: FloatArray, entry: Ints, fx: float, fy: float) -> float:
    """Share of the disc inside the outline: its sides' triangles and sectors about the centre, left-out runs of sides as sectors.

    Sides that were left out have the disc wholly inside their lines, so a run of them is one sector from its first to its last end.
    """
    mirror, first, last = float(entry[TURN]), entry[FIRST], entry[LAST]
    area = 0.0
    for e in range(first, last):
        side = sides[e]
        au, av = mirror * between(side, 0, fx, fy), between(side, 1, fx, fy)
        bu, bv = mirror * between(side, 8, fx, fy), between(side, 9, fx, fy)
        area += _triangle(au, av, bu, bv)
        after = e + 1 if e + 1 < last else first
        if sides[e, END_B] != sides[after, END_A]:
            nu, nv = mirror * between(sides[after], 0, fx, fy), between(sides[after], 1, fx, fy)
            run = math.atan2(bu * nv - bv * nu, bu * nu + bv * nv)
            area += 0.5 * (run if run >= 0.0 else run + 2.0 * math.pi)
    return area / math.pi


@compiled
def _sector(au: float, av: float, bu: float, bv: float) -> float:
    return 0.5 * math.atan2(au * bv - av * bu, au * bu + av * bv)


@compiled
def _triangle(au: float, av: float, bu: float, bv: float) -> float:
    """Signed area of the unit disc within the triangle of its centre, A and B; positive where A, B turn left."""
    du, dv = bu - au, bv - av
    square = du * du + dv * dv
    if square == 0.0:
        return 0.0
    middle = -(au * du + av * dv) / square
    cross = au * bv - av * bu
    gap = 1.0 - cross * cross / square
    if gap <= 0.0:
        return _sector(au, av, bu, bv)
    half = math.sqrt(gap / square)
    t0, t1 = max(middle - half, 0.0), min(middle + half, 1.0)
    if t0 >= t1:
        return _sector(au, av, bu, bv)
    pu, pv, qu, qv = au + t0 * du, av + t0 * dv, au + t1 * du, av + t1 * dv
    area = 0.5 * (pu * qv - pv * qu)
    if t0 > 0.0:
        area += _sector(au, av, pu, pv)
    if t1 < 1.0:
        area += _sector(qu, qv, bu, bv)
    return area
