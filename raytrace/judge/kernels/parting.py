"""Planes that part a part from a beam: one for each piece, arcs halved and the beam cut until a plane fits between."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.gjk import NORMAL, WAY, apart_mm
from raytrace.judge.kernels.pieces_at import first_arc, lay_out, toward
from raytrace.judge.kernels.planes import gap_along, leaning, leg_corner, length_of, slanted
from raytrace.judge.kernels.shapes import sagitta_mm

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Columns of a plane: body, stand-in, wall (or -1 less the piece), ends of the arc [rad], normal (3), level, the room it leaves.
OF_BODY, STAND_IN, OF_WALL, FIRST, LAST, WAY_OUT, LEVEL, LEAVES, PLANE = 0, 1, 2, 3, 4, 5, 8, 9, 10
TOO_LITTLE_ROOM, NONE = -2, -1
CHORD_MM = 0.005  # chords that stand off their arc by less are not halved any more
MOST_TURN_RAD = math.pi / 3  # chords of wider arcs are too blunt to be worth a search


@compiled
def _cheap_plane(
    corners: FloatArray, runs: IntArray, run: int, pad_mm: float, piece: FloatArray, count: int, bench: FloatArray
) -> float:
    """The room that a plane leaves that leans with a run [mm]; its normal, of length 1, in the bench."""
    way = bench[WAY]
    k = leaning(corners, runs, run, way[0], way[1])
    length = length_of(way, k)
    gap = gap_along(corners, runs, run, piece, count, way, k)
    x, y = slanted(way, k)
    bench[NORMAL, 0], bench[NORMAL, 1], bench[NORMAL, 2] = x / length, y / length, k / length
    return gap / length - pad_mm


@compiled
def _best_plane(
    corners: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    body: int,
    piece: FloatArray,
    count: int,
    enough_mm: float,
    searched: bool,
    bench: FloatArray,
    pair: IntArray,
    plane: FloatArray,
) -> float:
    """The most room that a plane between a body's stand-ins and a piece is found to leave; written into `plane`."""
    best, kinds = -math.inf, pads.shape[1]
    for tried in range(2 * kinds if searched else kinds):
        v = tried % kinds
        run, pad = body * kinds + v, pads[body, v]
        room = _cheap_plane(corners, runs, run, pad, piece, count, bench)
        if tried >= kinds:
            room = apart_mm(corners, runs, run, piece, count, enough_mm + pad, bench, pair) - pad
        if room > best:
            best = room
            x, y, z = bench[NORMAL, 0], bench[NORMAL, 1], bench[NORMAL, 2]
            at = leg_corner(corners, runs, run, x, y, z)
            plane[STAND_IN], plane[WAY_OUT], plane[WAY_OUT + 1], plane[WAY_OUT + 2] = v, x, y, z
            plane[LEVEL] = corners[at, 0] * x + corners[at, 1] * y + corners[at, 2] * z + pad
            plane[LEAVES] = room
        if best >= enough_mm:
            return best
    return best


@compiled
def _arcs(walls: FloatArray, wall: int, waiting: FloatArray) -> int:
    """Arcs that go once round an opening, or one piece, to begin with; how many. A circle has no straight sides."""
    for k in range(3):
        waiting[0, k] = 0.0
    if wall < 0:
        return 1
    is_round, is_bent = True, False
    for loop in range(2):
        is_round &= walls[wall, loop, 12] == walls[wall, loop, 14] and walls[wall, loop, 13] == walls[wall, loop, 14]
        is_bent |= walls[wall, loop, 14] > 0.0
    first, last = 4 if is_round else 0, 8 if is_bent else 4
    for q in range(first, last):
        waiting[q - first, 0], waiting[q - first, 1] = first_arc(q)
        waiting[q - first, 2] = 0.0
    return last - first


@partial(compiled, entry=True)
def part_planes(
    corners: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    walls: FloatArray,
    points: FloatArray,
    pieces: IntArray,
    halves: IntArray,
    enough_mm: float,
    waiting: FloatArray,
    piece: FloatArray,
    bench: FloatArray,
    pair: IntArray,
    planes: FloatArray,
) -> int:
    """How many planes part a part from the beam, written into `planes` (n, PLANE); NONE where some piece touches.

    The first body of the beam's (B, V) holds it all; halves (B, 2) are the two that a body is cut into, -1 for a leg. A plane that
    leaves `enough_mm` is taken as it is; else the body is cut, then the arc is halved, while that could bring its chord nearer.
    TOO_LITTLE_ROOM where planes or `waiting` (m, 3), room for arcs, are too few. piece, bench and pair: scratch, as in `part_room`.
    """
    used, kinds = 0, pads.shape[1]
    for s in range(-len(pieces), len(walls)):
        left = _arcs(walls, s, waiting)
        while left > 0:
            left -= 1
            low, high, body = waiting[left, 0], waiting[left, 1], int(waiting[left, 2])
            count = lay_out(walls, points, pieces, s, low, high, piece, bench)
            if s < 0:
                toward(corners, runs, body * kinds, piece, count, bench)
            if used == len(planes) or left + 2 > len(waiting):
                return TOO_LITTLE_ROOM
            fine = s >= 0 and sagitta_mm(walls, s, low, high) > CHORD_MM
            searched = not fine or high - low < MOST_TURN_RAD
            room = _best_plane(corners, runs, pads, body, piece, count, enough_mm, searched, bench, pair, planes[used])
            if room < enough_mm and searched and halves[body, 0] >= 0:
                for k in range(2):
                    waiting[left + k, 0], waiting[left + k, 1], waiting[left + k, 2] = low, high, halves[body, k]
                left += 2
            elif room < enough_mm and fine:
                middle = low + (high - low) / 2
                waiting[left, 0], waiting[left, 1], waiting[left, 2] = low, middle, body
                waiting[left + 1, 0], waiting[left + 1, 1], waiting[left + 1, 2] = middle, high, body
                left += 2
            elif room > 0.0:
                planes[used, OF_BODY], planes[used, OF_WALL], planes[used, FIRST], planes[used, LAST] = body, s, low, high
                used += 1
            else:
                return NONE
    return used
