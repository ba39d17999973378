"""How deep a board or a mesh stands in the beam: the least move across the axis that takes it out of every leg at once."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.planes import depth_at, end_corner, leaning, least_depth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WAYS = 24  # directions tried at first
FINER = 12  # steps of closing in on the best
# Columns of what is found: room, place (3), picture point (2), leg, 1 where touched, the way sideways as an angle.
ROOM, PLACE, PICTURE, LEG, TOUCHED, ANGLE, FOUND = 0, 1, 4, 6, 7, 8, 9


@compiled
def place_inside(
    corners: FloatArray,
    fields: FloatArray,
    runs: IntArray,
    leg: int,
    piece: FloatArray,
    count: int,
    ex: float,
    ey: float,
    k: float,
    depth_mm: float,
    found: FloatArray,
    row: int,
) -> None:
    """Where the beam's outermost ray along e passes the part, moved back on to its edge, and the picture point it lights."""
    a = end_corner(corners, runs, leg, 0, ex, ey, 0.0)
    b = end_corner(corners, runs, leg, 1, ex, ey, 0.0)
    best, z = math.inf, 0.0
    for j in range(count):
        near = piece[j, 0] * ex + piece[j, 1] * ey + piece[j, 2] * k
        if near < best - 1e-9:
            best, z = near, piece[j, 2]
    ahead = corners[b, 2] - corners[a, 2]
    t = min(max((z - corners[a, 2]) / ahead, 0.0), 1.0) if ahead > 1e-9 else 0.0
    for c in range(3):
        found[row, PLACE + c] = corners[a, c] + t * (corners[b, c] - corners[a, c])
    t = 1.0 if math.isnan(fields[a, 0]) else 0.0 if math.isnan(fields[b, 0]) else t
    for c in range(2):
        found[row, PICTURE + c] = (fields[a, c] if t < 1.0 else 0.0) * (1.0 - t) + (fields[b, c] if t > 0.0 else 0.0) * t
    found[row, PLACE] -= depth_mm * ex
    found[row, PLACE + 1] -= depth_mm * ey


@compiled
def _at_most(
    corners: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    leg: int,
    body: FloatArray,
    way: FloatArray,
    known_mm: float,
) -> bool:
    """Whether a plane that leans with the beam shows already that a leg asks for no longer a move than another does."""
    kinds = pads.shape[1]
    for v in range(kinds):
        lean = leaning(corners, runs, leg * kinds + v, way[0], way[1])
        if depth_at(corners, runs, leg * kinds + v, body, len(body), way, pads[leg, v], lean) <= known_mm:
            return True
    return False


@compiled
def _depth_along(
    corners: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    body: FloatArray,
    angle_rad: float,
    enough_mm: float,
    way: FloatArray,
    worst: FloatArray,
) -> float:
    """The move along one direction that parts a body from all legs [mm]; in `worst` which run asks for it, and the plane's lean.

    The leg that asked for most the last time comes first.
    """
    way[0], way[1], way[2], way[3] = math.cos(angle_rad), math.sin(angle_rad), 0.0, 0.0
    legs, kinds = pads.shape
    deepest, first = -math.inf, int(worst[0]) // kinds
    for turn in range(legs):
        leg = (first + turn) % legs
        if turn > 0 and _at_most(corners, runs, pads, leg, body, way, deepest):
            continue
        least, at, lean = math.inf, 0, 0.0
        for v in range(kinds):
            depth, k = least_depth(corners, runs, leg * kinds + v, body, len(body), way, pads[leg, v])
            if depth < least:
                least, at, lean = depth, v, k
        if least > deepest:
            deepest = least
            worst[0], worst[1] = leg * kinds + at, lean
            if deepest > enough_mm:
                break
    return deepest


@compiled
def least_move(
    corners: FloatArray,
    fields: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    body: FloatArray,
    way: FloatArray,
    worst: FloatArray,
    held: FloatArray,
    found: FloatArray,
) -> None:
    """Minus the least sideways move of a convex body (n, 3) out of the legs, and where, into the first row of `found`."""
    best, at, step = math.inf, 0.0, math.pi / WAYS
    worst[0] = 0.0
    for tried in range(WAYS + 2 * FINER):
        angle = 2 * math.pi * tried / WAYS
        if tried >= WAYS:
            angle = at + (step if tried % 2 else -step)
        depth = _depth_along(corners, runs, pads, body, angle, best, way, worst)
        better = depth < best
        if better:
            best, at = depth, angle
            held[0], held[1] = worst[0], worst[1]
        if tried >= WAYS and (better or tried % 2):
            step /= 2
    leg = int(held[0])
    place_inside(corners, fields, runs, leg, body, len(body), math.cos(at), math.sin(at), held[1], max(best, 0.0), found, 0)
    found[0, ROOM], found[0, LEG], found[0, TOUCHED], found[0, ANGLE] = min(-best, 0.0), leg // pads.shape[1], 1.0, at
