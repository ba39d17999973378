"""The room of each part: arcs and pieces by what a cheap plane leaves, the least first, until nothing can lie nearer than the best.

A state's beam is a list of legs; a leg may have several stand-ins that each hold it (a lens with a front ring), and a plane that
keeps clear of one of them keeps clear of the leg. Stand-in v of leg l is row l V + v of `runs`.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.depth import ANGLE, FOUND, LEG, PICTURE, PLACE, ROOM, TOUCHED, least_move, place_inside
from raytrace.judge.kernels.gjk import NORMAL, SHARE, START, WAY, apart_mm
from raytrace.judge.kernels.heap import pop, push
from raytrace.judge.kernels.pieces_at import first_arc, lay_out, toward
from raytrace.judge.kernels.planes import gap_along, leaning, least_depth, length_of, slanted
from raytrace.judge.kernels.shapes import sagitta_mm

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CHORD_MM = 0.005  # chords that stand off their arc by less are not halved any more
NEAR_ENOUGH_MM = 2e-4  # what can be nearer by less is not looked at
DEEP_SHARE = 0.01  # nor what may be deeper by less than this of how deep a part is in
LOW, HIGH, BOUND, PLANE, NODE = 0, 1, 2, 3, 6  # columns of a node: ends of its arc, what its plane leaves, that plane's normal (3)
WALL, OF_LEG, STAND_IN, NAMES = 0, 1, 2, 3  # columns of its numbers: the wall, or -1 less the piece; the leg; its best stand-in


@compiled
def _cheap(
    corners: FloatArray, runs: IntArray, pads: FloatArray, leg: int, piece: FloatArray, count: int, bench: FloatArray
) -> tuple[float, int]:
    """At most the room between a piece and the best of a leg's stand-ins [mm], by a plane that leans with it; which is best.

    The plane's normal is left in the bench.
    """
    best, way, at = -math.inf, bench[WAY], 0
    for v in range(pads.shape[1]):
        run = leg * pads.shape[1] + v
        k = leaning(corners, runs, run, way[0], way[1])
        length = length_of(way, k)
        gap = gap_along(corners, runs, run, piece, count, way, k)
        room = gap / length - pads[leg, v]
        if room <= 0.0:
            room = min(gap - pads[leg, v] * length, 0.0)
        if room > best:
            best, at = room, v
            bench[NORMAL, 0], bench[NORMAL, 1] = slanted(way, k)
            bench[NORMAL, 2] = k
    return best, at


@compiled
def _place_apart(fields: FloatArray, piece: FloatArray, bench: FloatArray, pair: IntArray, found: FloatArray) -> None:
    """The nearest place of a piece that stands apart, the picture point whose light passes there, and which way the plane faces."""
    told = 0.0
    found[1, ANGLE] = math.atan2(bench[NORMAL, 1], bench[NORMAL, 0])
    for k in range(5):
        found[1, PLACE + k] = 0.0
    for c in range(4):
        share = bench[SHARE, c]
        if share > 0.0:
            for k in range(3):
                found[1, PLACE + k] += share * piece[pair[c, 1], k]
            if not math.isnan(fields[pair[c, 0], 0]):
                told += share
                for k in range(2):
                    found[1, PICTURE + k] += share * fields[pair[c, 0], k]
    if told > 0.0:
        for k in range(2):
            found[1, PICTURE + k] /= told


@compiled
def _exact(
    corners: FloatArray,
    fields: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    leg: int,
    first: int,
    piece: FloatArray,
    count: int,
    own_way: bool,
    limit: float,
    bench: FloatArray,
    pair: IntArray,
    found: FloatArray,
) -> float:
    """The room between a piece and a leg by the best plane of its best stand-in, 0 or less without one; where, in `found`.

    The stand-ins are tried from the first one given on, until one leaves more than the limit. With `own_way` depth is taken along
    the way sideways of the bench; else 0 only says that they touch.
    """
    best, kinds = -math.inf, pads.shape[1]
    for k in range(3):
        bench[START, k] = bench[NORMAL, k]
    for turn in range(kinds):
        v = (first + turn) % kinds
        for k in range(3):
            bench[NORMAL, k] = bench[START, k]
        pad = pads[leg, v]
        apart = apart_mm(corners, runs, leg * kinds + v, piece, count, limit + pad, bench, pair) - pad
        if apart > best:
            best = apart
            if apart > 0.0:
                _place_apart(fields, piece, bench, pair, found)
        if best > limit:
            break
    if best > 0.0:
        found[1, TOUCHED] = 0.0
        return best
    return _depth(corners, fields, runs, pads, leg, piece, count, own_way, bench, found)


@compiled
def _depth(
    corners: FloatArray,
    fields: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    leg: int,
    piece: FloatArray,
    count: int,
    own_way: bool,
    bench: FloatArray,
    found: FloatArray,
) -> float:
    """Minus how deep a piece that touches is in along the way of the bench; where, in `found`. 0 where it has no way of its own."""
    best, way = -math.inf, bench[WAY]
    found[1, TOUCHED], found[1, ANGLE] = 1.0, math.atan2(way[1], way[0])
    for v in range(pads.shape[1]):
        run = leg * pads.shape[1] + v
        depth, lean = least_depth(corners, runs, run, piece, count, way, pads[leg, v])
        if -depth > best:
            best = -depth
            place_inside(corners, fields, runs, run, piece, count, way[0], way[1], lean, max(depth, 0.0), found, 1)
    return min(best, 0.0) if own_way else 0.0


@compiled
def _keep(
    nodes: FloatArray,
    names: IntArray,
    used: int,
    wall: int,
    leg: int,
    stand_in: int,
    low: float,
    high: float,
    bound: float,
    bench: FloatArray,
) -> None:
    nodes[used, LOW], nodes[used, HIGH], nodes[used, BOUND] = low, high, bound
    for k in range(3):
        nodes[used, PLANE + k] = bench[NORMAL, k]
    names[used, WALL], names[used, OF_LEG], names[used, STAND_IN] = wall, leg, stand_in


@compiled
def _tolerance(best: float) -> float:
    return NEAR_ENOUGH_MM if best > 0.0 else NEAR_ENOUGH_MM - DEEP_SHARE * best


@compiled
def _lay_out_first(
    corners: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    walls: FloatArray,
    points: FloatArray,
    pieces: IntArray,
    enough_mm: float,
    nodes: FloatArray,
    names: IntArray,
    keys: FloatArray,
    ids: IntArray,
    piece: FloatArray,
    bench: FloatArray,
) -> int:
    """Puts pieces, and the arcs that walls begin with, on the heap beside every leg; how many, -1 where the room is too little."""
    used = 0
    for leg in range(len(pads)):
        for s in range(-len(pieces), len(walls)):
            arcs = 1 if s < 0 else 8 if max(walls[s, 0, 14], walls[s, 1, 14]) > 0.0 else 4
            for q in range(arcs):
                low, high = first_arc(q)
                count = lay_out(walls, points, pieces, s, low, high, piece, bench)
                if s < 0:
                    toward(corners, runs, leg * pads.shape[1], piece, count, bench)
                bound, stand_in = _cheap(corners, runs, pads, leg, piece, count, bench)
                if bound >= enough_mm:
                    continue
                if used == len(nodes):
                    return -1
                _keep(nodes, names, used, s, leg, stand_in, low, high, bound, bench)
                used = push(keys, ids, used, bound, used)
    return used


@compiled
def _halve(
    corners: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    walls: FloatArray,
    points: FloatArray,
    pieces: IntArray,
    node: int,
    best: float,
    nodes: FloatArray,
    names: IntArray,
    used: int,
    piece: FloatArray,
    bench: FloatArray,
) -> int:
    """Keeps those halves of an arc that may come nearer than the best, after the nodes used so far; how many are used then."""
    wall, leg, low, high = names[node, WALL], names[node, OF_LEG], nodes[node, LOW], nodes[node, HIGH]
    middle = low + (high - low) / 2
    for half in range(2):
        a, b = (low, middle) if half == 0 else (middle, high)
        count = lay_out(walls, points, pieces, wall, a, b, piece, bench)
        bound, stand_in = _cheap(corners, runs, pads, leg, piece, count, bench)
        bound = max(bound, nodes[node, BOUND])
        if bound < best:
            _keep(nodes, names, used, wall, leg, stand_in, a, b, bound, bench)
            used += 1
    return used


@compiled
def _measure(
    corners: FloatArray,
    fields: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    walls: FloatArray,
    points: FloatArray,
    pieces: IntArray,
    node: int,
    best: float,
    nodes: FloatArray,
    names: IntArray,
    piece: FloatArray,
    bench: FloatArray,
    pair: IntArray,
    found: FloatArray,
) -> float:
    """The exact room of one piece or short arc beside one leg; where it is nearer than the best it is written down."""
    wall, leg = names[node, WALL], names[node, OF_LEG]
    count = lay_out(walls, points, pieces, wall, nodes[node, LOW], nodes[node, HIGH], piece, bench)
    if wall < 0:
        toward(corners, runs, leg * pads.shape[1], piece, count, bench)
    for k in range(3):
        bench[NORMAL, k] = nodes[node, PLANE + k]
    limit, first = max(best, 0.0), names[node, STAND_IN]
    room = _exact(corners, fields, runs, pads, leg, first, piece, count, wall >= 0, limit, bench, pair, found)
    if room < best:
        for k in range(1, FOUND):
            found[0, k] = found[1, k]
        found[0, LEG] = leg
    return room


@partial(compiled, entry=True)
def part_room(
    corners: FloatArray,
    fields: FloatArray,
    runs: IntArray,
    pads: FloatArray,
    walls: FloatArray,
    points: FloatArray,
    pieces: IntArray,
    as_whole: bool,
    enough_mm: float,
    nodes: FloatArray,
    names: IntArray,
    keys: FloatArray,
    ids: IntArray,
    piece: FloatArray,
    bench: FloatArray,
    pair: IntArray,
    found: FloatArray,
) -> bool:
    """The room of one part, its least distance to the legs (L, V), and where, in the first row of `found` (2, FOUND).

    0 or less where it touches one. walls (S, 2, LOOP_FIELDS) are its openings, pieces (Q, 2) runs of its corners `points`; with
    `as_whole` the points are one body, and its least move is found. What leaves `enough_mm` is not looked at closer.
    nodes (n, NODE), names (n, NAMES), keys (n,) and ids (n,) are room for the search; False where there was too little.
    piece (m, 3), bench (BENCH, 4) and pair (4, 2) are scratch.
    """
    if as_whole:
        least_move(corners, fields, runs, pads, points, bench[WAY], bench[0], bench[1], found)
        return True
    for k in range(FOUND):
        found[0, k] = found[1, k] = 0.0
    used = _lay_out_first(corners, runs, pads, walls, points, pieces, enough_mm, nodes, names, keys, ids, piece, bench)
    if used < 0:
        return False
    best, heap = enough_mm, used
    while heap > 0 and keys[0] < best - _tolerance(best):
        node = ids[0]
        heap = pop(keys, ids, heap)
        wall, low, high = names[node, WALL], nodes[node, LOW], nodes[node, HIGH]
        if wall >= 0 and sagitta_mm(walls, wall, low, high) > max(CHORD_MM, -DEEP_SHARE * nodes[node, BOUND]):
            if used + 2 > len(nodes):
                return False
            after = _halve(corners, runs, pads, walls, points, pieces, node, best, nodes, names, used, piece, bench)
            for k in range(used, after):
                heap = push(keys, ids, heap, nodes[k, BOUND], k)
            used = after
            continue
        room = _measure(
            corners, fields, runs, pads, walls, points, pieces, node, best, nodes, names, piece, bench, pair, found
        )  # fmt: skip
        best = min(best, room)
        if wall < 0 and best <= 0.0:  # how deep is asked of the part as a whole
            heap = 0
    found[0, ROOM] = min(best, keys[0]) if heap > 0 else best  # what was not looked at may be nearer by the tolerance
    return True
