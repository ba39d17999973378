"""Planes that lean with the beam: what they leave between a leg and a piece, and how deep a piece is in, sideways.

A leg's stand-in is given by the row of `runs` (R, 4): bounds of two runs of corners (n, 3), each once round a flat convex shape;
with a fifth column corners stand in any order. A way (4,) is a unit direction e across the axis, then p and q, see `slanted`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEEPEST = 40.0  # lean of a plane against the axis: rays 88.5 degrees off it
GOLDEN = 0.6180339887498949
GOLDEN_STEPS = 30  # leaves a millionth of the lean looked at
ENDS = 4  # columns of a row of runs whose corners go round
FEW_CORNERS, STRIDE = 24, 8  # of a ring: all are looked at; else every eighth first


@compiled
def run_corner(corners: FloatArray, low: int, high: int, x: float, y: float, z: float) -> int:
    """Index of the corner of a run that lies farthest along (x, y, z)."""
    best, at = -math.inf, low
    for k in range(low, high):
        far = corners[k, 0] * x + corners[k, 1] * y + corners[k, 2] * z
        if far > best:
            best, at = far, k
    return at


@compiled
def ring_corner(corners: FloatArray, low: int, high: int, x: float, y: float, z: float) -> int:
    """The same for a run that goes once round a flat convex shape, where values rise to the one farthest and fall again.

    Some corners are looked at first, then those between the best of these and its neighbours.
    """
    if high - low <= FEW_CORNERS:
        return run_corner(corners, low, high, x, y, z)
    best, middle = -math.inf, low
    for k in range(low, high, STRIDE):
        far = corners[k, 0] * x + corners[k, 1] * y + corners[k, 2] * z
        if far > best:
            best, middle = far, k
    at = middle
    for j in range(middle - STRIDE + 1, middle + STRIDE):
        k = j + high - low if j < low else j - high + low if j >= high else j
        far = corners[k, 0] * x + corners[k, 1] * y + corners[k, 2] * z
        if far > best:
            best, at = far, k
    return at


@compiled
def end_corner(corners: FloatArray, runs: IntArray, leg: int, end: int, x: float, y: float, z: float) -> int:
    """Index of the corner of one end of a leg (0 or 1) that lies farthest along (x, y, z)."""
    low, high = runs[leg, 2 * end], runs[leg, 2 * end + 1]
    if runs.shape[1] > ENDS:
        return run_corner(corners, low, high, x, y, z)
    return ring_corner(corners, low, high, x, y, z)


@compiled
def leg_corner(corners: FloatArray, runs: IntArray, leg: int, x: float, y: float, z: float) -> int:
    """Index of the corner of a leg that lies farthest along (x, y, z)."""
    a = end_corner(corners, runs, leg, 0, x, y, z)
    b = end_corner(corners, runs, leg, 1, x, y, z)
    ahead = (corners[b, 0] - corners[a, 0]) * x + (corners[b, 1] - corners[a, 1]) * y + (corners[b, 2] - corners[a, 2]) * z
    return b if ahead > 0.0 else a


@compiled
def piece_corner(piece: FloatArray, count: int, x: float, y: float, z: float) -> int:
    """Index of the corner of a piece that lies least far along (x, y, z)."""
    return run_corner(piece, 0, count, -x, -y, -z)


@compiled
def leaning(corners: FloatArray, runs: IntArray, leg: int, ex: float, ey: float) -> float:
    """Lean k of the plane (e, k) that touches both ends of a leg."""
    a = end_corner(corners, runs, leg, 0, ex, ey, 0.0)
    b = end_corner(corners, runs, leg, 1, ex, ey, 0.0)
    ahead = corners[b, 2] - corners[a, 2]
    if ahead < 1e-9:
        return 0.0
    return -((corners[b, 0] - corners[a, 0]) * ex + (corners[b, 1] - corners[a, 1]) * ey) / ahead


@compiled
def slanted(way: FloatArray, k: float) -> tuple[float, float]:
    """The part across the axis of a plane's normal that leans by k, so that the plane runs along the edge of a leaning opening.

    The normal is e + (p + q k) e', e' square to e, so that a move by 1 along e is a move by 1 for the plane as well. p and q are 0
    for bodies without an endless edge.
    """
    across = way[2] + way[3] * k
    return way[0] - across * way[1], way[1] + across * way[0]


@compiled
def length_of(way: FloatArray, k: float) -> float:
    """Length of that normal."""
    across = way[2] + way[3] * k
    return math.sqrt(1.0 + across * across + k * k)


@compiled
def gap_along(corners: FloatArray, runs: IntArray, leg: int, piece: FloatArray, count: int, way: FloatArray, k: float) -> float:
    """What lies between leg and piece along a leaning plane's normal, not divided by its length: minus the sideways move."""
    nx, ny = slanted(way, k)
    i, j = leg_corner(corners, runs, leg, nx, ny, k), piece_corner(piece, count, nx, ny, k)
    return (piece[j, 0] - corners[i, 0]) * nx + (piece[j, 1] - corners[i, 1]) * ny + (piece[j, 2] - corners[i, 2]) * k


@compiled
def depth_at(
    corners: FloatArray, runs: IntArray, leg: int, piece: FloatArray, count: int, way: FloatArray, pad_mm: float, k: float
) -> float:
    """How far a piece must move along e to part from a leg by a plane of this lean [mm]: more than need be."""
    return pad_mm * length_of(way, k) - gap_along(corners, runs, leg, piece, count, way, k)


@compiled
def least_depth(
    corners: FloatArray, runs: IntArray, leg: int, piece: FloatArray, count: int, way: FloatArray, pad_mm: float
) -> tuple[float, float]:
    """How far a piece must move along e to part from a leg at every depth [mm], and the lean of the plane that then parts them.

    The supports of leg and piece along the normal add up to a convex function of its lean k; every k is on the safe side.
    """
    low, high = -STEEPEST, STEEPEST
    start = leaning(corners, runs, leg, way[0], way[1])
    if abs(start) < 3.0:  # mostly it leans as the beam does
        low, high = start - 4.0, start + 4.0
    a, at_a = low, math.inf
    b, at_b = high, math.inf
    for step in range(GOLDEN_STEPS + 2):  # the first two only fill both places
        left = step == 0 or (step > 1 and at_a < at_b)
        if step > 1 and left:
            high, b, at_b = b, a, at_a
        elif step > 1:
            low, a, at_a = a, b, at_b
        k = high - GOLDEN * (high - low) if left else low + GOLDEN * (high - low)
        depth = depth_at(corners, runs, leg, piece, count, way, pad_mm, k)
        if left:
            a, at_a = k, depth
        else:
            b, at_b = k, depth
    return (at_a, a) if at_a < at_b else (at_b, b)
