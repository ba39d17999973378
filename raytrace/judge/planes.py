"""Planes that lean with the beam: what they leave between a leg and a piece, and how deep a piece is in, sideways."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.compiling import helper
from raytrace.judge.gjk import leg_corner, piece_corner

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEEPEST = 40.0  # lean of a plane against the axis: rays 88.5 degrees off it
GOLDEN = 0.6180339887498949
GOLDEN_STEPS = 30  # leaves a millionth of the lean looked at


@helper
def run_corner(corners: FloatArray, low: int, high: int, ex: float, ey: float) -> int:
    """Index of the corner of a run that lies farthest along a sideways direction."""
    best, at = -np.inf, low
    for k in range(low, high):
        far = corners[k, 0] * ex + corners[k, 1] * ey
        if far > best:
            best, at = far, k
    return at


@helper
def leaning(corners: FloatArray, leg: IntArray, ex: float, ey: float) -> float:
    """Lean k of the plane (e, k) that touches both ends of a leg."""
    a, b = run_corner(corners, leg[0], leg[1], ex, ey), run_corner(corners, leg[2], leg[3], ex, ey)
    ahead = corners[b, 2] - corners[a, 2]
    if ahead < 1e-9:
        return 0.0
    return -((corners[b, 0] - corners[a, 0]) * ex + (corners[b, 1] - corners[a, 1]) * ey) / ahead


@helper
def slanted(way: FloatArray, k: float) -> tuple[float, float]:
    """The part across the axis of a plane's normal that leans by k, so that the plane runs along the edge of a leaning opening.

    way (4,): unit direction e, then p and q: the normal is e + (p + q k) e', e' square to e, so that a move by 1 along e is a move
    by 1 for the plane as well. p and q are 0 for bodies without an endless edge.
    """
    across = way[2] + way[3] * k
    return way[0] - across * way[1], way[1] + across * way[0]


@helper
def length_of(way: FloatArray, k: float) -> float:
    """Length of that normal."""
    across = way[2] + way[3] * k
    return np.sqrt(1.0 + across * across + k * k)


@helper
def gap_along(corners: FloatArray, leg: IntArray, piece: FloatArray, count: int, way: FloatArray, k: float) -> float:
    """What lies between leg and piece along a leaning plane's normal, not divided by its length: minus the sideways move."""
    nx, ny = slanted(way, k)
    i, j = leg_corner(corners, leg, nx, ny, k), piece_corner(piece, count, nx, ny, k)
    return (piece[j, 0] - corners[i, 0]) * nx + (piece[j, 1] - corners[i, 1]) * ny + (piece[j, 2] - corners[i, 2]) * k


@helper
def _depth(corners: FloatArray, leg: IntArray, piece: FloatArray, count: int, way: FloatArray, pad_mm: float, k: float) -> float:
    return pad_mm * length_of(way, k) - gap_along(corners, leg, piece, count, way, k)


@helper
def least_depth(
    corners: FloatArray, leg: IntArray, piece: FloatArray, count: int, way: FloatArray, pad_mm: float
) -> tuple[float, float]:
    """How far a piece must move along e to part from a leg at every depth [mm], and the lean of the plane that then parts them.

    The supports of leg and piece along the normal add up to a convex function of its lean k; every k is on the safe side.
    """
    low, high = -STEEPEST, STEEPEST
    start = leaning(corners, leg, way[0], way[1])
    if abs(start) < 3.0:  # mostly it leans as the beam does
        low, high = start - 4.0, start + 4.0
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_a, at_b = _depth(corners, leg, piece, count, way, pad_mm, a), _depth(corners, leg, piece, count, way, pad_mm, b)
    for _ in range(GOLDEN_STEPS):
        if at_a < at_b:
            high, b, at_b = b, a, at_a
            a = high - GOLDEN * (high - low)
            at_a = _depth(corners, leg, piece, count, way, pad_mm, a)
        else:
            low, a, at_a = a, b, at_b
            b = low + GOLDEN * (high - low)
            at_b = _depth(corners, leg, piece, count, way, pad_mm, b)
    return (at_a, a) if at_a < at_b else (at_b, b)
