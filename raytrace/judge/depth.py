"""How deep a board or a mesh stands in the beam: the least move across the axis that takes it out of every leg at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.compiling import helper, kernel
from raytrace.judge.planes import least_depth
from raytrace.judge.separate import FOUND, place_inside

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WAYS = 24  # directions tried at first
FINER = 12  # steps of closing in on the best


@helper
def _depth_along(
    corners: FloatArray, legs: IntArray, pads: FloatArray, body: FloatArray, angle_rad: float, enough_mm: float, worst: FloatArray
) -> float:
    """The move along one direction that parts a body from all legs [mm]; in `worst` which leg asks for it, and the plane's lean."""
    way, deepest = np.zeros(4), -np.inf
    way[0], way[1] = np.cos(angle_rad), np.sin(angle_rad)
    for leg in range(len(legs)):
        least, at, lean = np.inf, 0, 0.0
        for v in range(legs.shape[1]):
            depth, k = least_depth(corners, legs[leg, v], body, len(body), way, pads[leg, v])
            if depth < least:
                least, at, lean = depth, v, k
        if least > deepest:
            deepest = least
            worst[0], worst[1], worst[2] = leg, at, lean
            if deepest > enough_mm:
                break
    return deepest


@kernel
def least_move(corners: FloatArray, fields: FloatArray, legs: IntArray, pads: FloatArray, body: FloatArray) -> FloatArray:
    """Minus the least sideways move of a convex body (n, 3) out of the legs, and where (FOUND,), as `part_room` gives it."""
    worst, held = np.zeros(3), np.zeros(3)
    best, at = np.inf, 0.0
    for way in range(WAYS):
        angle = 2 * np.pi * way / WAYS
        depth = _depth_along(corners, legs, pads, body, angle, best, worst)
        if depth < best:
            best, at = depth, angle
            held[:] = worst
    step = np.pi / WAYS
    for _ in range(FINER):
        for side in (-1.0, 1.0):
            depth = _depth_along(corners, legs, pads, body, at + side * step, best, worst)
            if depth < best:
                best, at = depth, at + side * step
                held[:] = worst
                break
        step /= 2
    found = np.zeros(FOUND)
    leg, v = int(held[0]), int(held[1])
    ex, ey = np.cos(at), np.sin(at)
    place_inside(corners, fields, legs[leg, v], body, len(body), ex, ey, held[2], max(best, 0.0), found)
    found[0], found[6], found[7], found[8] = min(-best, 0.0), leg, 1.0, at
    return found
