"""The room of each part: arcs and pieces by what a cheap plane leaves, the least first, until nothing can lie nearer than the best.

A state's beam is a list of legs; a leg may have several stand-ins that each hold it (a lens with a front ring), and a plane that
keeps clear of one of them keeps clear of the leg.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.compiling import helper, kernel
from raytrace.judge.gjk import apart_mm
from raytrace.judge.heap import longer, longer_ints, longer_rows, pop, push
from raytrace.judge.planes import gap_along, leaning, least_depth, length_of, run_corner, slanted
from raytrace.judge.shapes import MOST_CORNERS, arc_piece, sagitta_mm, sideways

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CHORD_MM = 0.005  # chords that stand off their arc by less are not halved any more
NEAR_ENOUGH_MM = 2e-4  # what can be nearer by less is not looked at
DEEP_SHARE = 0.01  # nor what may be deeper by less than this of how deep a part is in
FOUND = 9  # room, place (3), picture point (2), leg, 1 where touched, sideways angle


@helper
def _cheap(
    corners: FloatArray,
    legs: IntArray,
    pads: FloatArray,
    piece: FloatArray,
    count: int,
    way: FloatArray,
    normal: FloatArray,
) -> float:
    """At most the room between a piece and the best of a leg's stand-ins [mm], by a plane that leans with it; its normal."""
    best = -np.inf
    for v in range(len(legs)):
        k = leaning(corners, legs[v], way[0], way[1])
        length = length_of(way, k)
        gap = gap_along(corners, legs[v], piece, count, way, k)
        room = gap / length - pads[v]
        if room <= 0.0:
            room = min(gap - pads[v] * length, 0.0)
        if room > best:
            best = room
            normal[0], normal[1] = slanted(way, k)
            normal[2] = k
    return best


@helper
def _place_apart(fields: FloatArray, piece: FloatArray, share: FloatArray, pair: IntArray, found: FloatArray) -> None:
    found[1:6] = 0.0
    for c in range(4):
        if share[c] > 0.0:
            for k in range(3):
                found[1 + k] += share[c] * piece[pair[c, 1], k]
            for k in range(2):
                found[4 + k] += share[c] * fields[pair[c, 0], k]


@helper
def place_inside(
    corners: FloatArray,
    fields: FloatArray,
    leg: IntArray,
    piece: FloatArray,
    count: int,
    ex: float,
    ey: float,
    k: float,
    depth_mm: float,
    found: FloatArray,
) -> None:
    """Where the beam's outermost ray along e passes the part, moved back on to its edge, and the picture point it lights."""
    a, b = run_corner(corners, leg[0], leg[1], ex, ey), run_corner(corners, leg[2], leg[3], ex, ey)
    best, z = np.inf, 0.0
    for j in range(count):
        near = piece[j, 0] * ex + piece[j, 1] * ey + piece[j, 2] * k
        if near < best - 1e-9:
            best, z = near, piece[j, 2]
    ahead = corners[b, 2] - corners[a, 2]
    t = min(max((z - corners[a, 2]) / ahead, 0.0), 1.0) if ahead > 1e-9 else 0.0
    for c in range(3):
        found[1 + c] = corners[a, c] + t * (corners[b, c] - corners[a, c])
    for c in range(2):
        found[4 + c] = fields[a, c] + t * (fields[b, c] - fields[a, c])
    found[1] -= depth_mm * ex
    found[2] -= depth_mm * ey


@helper
def _exact(
    corners: FloatArray,
    fields: FloatArray,
    legs: IntArray,
    pads: FloatArray,
    piece: FloatArray,
    count: int,
    normal: FloatArray,
    way: FloatArray,
    own_way: bool,
    limit: float,
    found: FloatArray,
) -> float:
    """The room between a piece and a leg by the best plane of its best stand-in, 0 or less without one; `found` gets where.

    With `own_way` depth is taken along the sideways direction `way`; else 0 only says that they touch.
    """
    simplex, share, pair = np.zeros((4, 3)), np.zeros(4), np.zeros((4, 2), dtype=np.int64)
    start, best = normal.copy(), -np.inf
    for v in range(len(legs)):
        tried = start.copy()
        apart = apart_mm(corners, legs[v], piece, count, tried, limit + pads[v], simplex, share, pair) - pads[v]
        if apart > best:
            best = apart
            normal[:] = tried
            if apart > 0.0:
                _place_apart(fields, piece, share, pair, found)
    if best > 0.0:
        found[7] = 0.0
        return best
    found[7], best = 1.0, -np.inf
    found[8] = np.arctan2(way[1], way[0])
    for v in range(len(legs)):
        depth, k = least_depth(corners, legs[v], piece, count, way, pads[v])
        if -depth > best:
            best = -depth
            place_inside(corners, fields, legs[v], piece, count, way[0], way[1], k, max(depth, 0.0), found)
    return min(best, 0.0) if own_way else 0.0


@helper
def _toward(corners: FloatArray, leg: IntArray, piece: FloatArray, count: int, out: FloatArray) -> None:
    """Direction across the axis from the middle of a leg to the middle of a piece (4,), see `slanted`."""
    x = y = z = 0.0
    for j in range(count):
        x, y, z = x + piece[j, 0] / count, y + piece[j, 1] / count, z + piece[j, 2] / count
    a = np.zeros(6)
    for end in range(2):
        n = leg[2 * end + 1] - leg[2 * end]
        for k in range(leg[2 * end], leg[2 * end + 1]):
            for c in range(3):
                a[3 * end + c] += corners[k, c] / n
    t = min(max((z - a[2]) / max(a[5] - a[2], 1e-9), 0.0), 1.0)
    x, y = x - a[0] - t * (a[3] - a[0]), y - a[1] - t * (a[4] - a[1])
    length = np.hypot(x, y)
    out[0], out[1] = (x / length, y / length) if length > 1e-9 else (1.0, 0.0)
    out[2] = out[3] = 0.0


@kernel
def part_room(  # noqa: PLR0912, PLR0915 - one loop over arrays that grow
    corners: FloatArray,
    fields: FloatArray,
    legs: IntArray,
    pads: FloatArray,
    walls: FloatArray,
    points: FloatArray,
    pieces: IntArray,
    only_whether: bool,
) -> FloatArray:
    """The room of one part (FOUND,): its least distance to the legs (L, V, 4), and where; 0 or less where it touches one.

    walls (S, 2, LOOP_FIELDS) are its openings, pieces (Q, 2) runs of its corners `points`. With `only_whether` the search ends as
    soon as it is known whether anything touches: room is then 1 or 0.
    """
    best, found, tried = np.inf, np.zeros(FOUND), np.zeros(FOUND)
    found[0] = np.inf
    size = 16 * len(legs) * (len(walls) + 1) + len(legs) * len(pieces) + 64
    keys, ids, heap = np.empty(size), np.empty(size, dtype=np.int64), 0
    nodes, names, used = np.empty((size, 6)), np.empty(2 * size, dtype=np.int64), 0
    piece, e, normal = np.empty((MOST_CORNERS, 3)), np.zeros(4), np.empty(3)
    for leg in range(len(legs)):
        for s in range(len(walls)):
            round_corners = max(walls[s, 0, 14], walls[s, 1, 14]) > 0.0
            for q in range(8 if round_corners else 4):
                low = (q % 4) * np.pi / 2
                high = low + np.pi / 2 if q >= 4 else low
                count = arc_piece(walls[s], low, high, piece)
                sideways(walls[s, 0], (low + high) / 2, e)
                bound = _cheap(corners, legs[leg], pads[leg], piece, count, e, normal)
                if only_whether and bound > 0.0:
                    continue
                nodes[used, 0], nodes[used, 1], nodes[used, 2] = low, high, bound
                nodes[used, 3:6] = normal
                names[2 * used], names[2 * used + 1] = s, leg
                heap = push(keys, ids, heap, bound, used)
                used += 1
        for q in range(len(pieces)):
            body = points[pieces[q, 0] : pieces[q, 1]]
            _toward(corners, legs[leg, 0], body, len(body), e)
            bound = _cheap(corners, legs[leg], pads[leg], body, len(body), e, normal)
            if only_whether and bound > 0.0:
                continue
            nodes[used, 2] = bound
            nodes[used, 3:6] = normal
            names[2 * used], names[2 * used + 1] = -1 - q, leg
            heap = push(keys, ids, heap, min(bound, 1e300), used)
            used += 1
    while heap > 0 and keys[0] < best - _tolerance(best):
        node = ids[0]
        heap = pop(keys, ids, heap)
        s, leg, low, high = names[2 * node], names[2 * node + 1], nodes[node, 0], nodes[node, 1]
        if s >= 0 and sagitta_mm(walls[s], low, high) > max(CHORD_MM, -DEEP_SHARE * nodes[node, 2]):
            if used + 2 > len(nodes):
                keys, ids, names, nodes = longer(keys), longer_ints(ids), longer_ints(names), longer_rows(nodes)
            middle = (low + high) / 2
            for half in range(2):
                a, b = (low, middle) if half == 0 else (middle, high)
                count = arc_piece(walls[s], a, b, piece)
                sideways(walls[s, 0], (a + b) / 2, e)
                bound = max(_cheap(corners, legs[leg], pads[leg], piece, count, e, normal), nodes[node, 2])
                if bound >= best or (only_whether and bound > 0.0):
                    continue
                nodes[used, 0], nodes[used, 1], nodes[used, 2] = a, b, bound
                nodes[used, 3:6] = normal
                names[2 * used], names[2 * used + 1] = s, leg
                heap = push(keys, ids, heap, bound, used)
                used += 1
            continue
        limit = 0.0 if only_whether else max(best, 0.0)
        normal[:] = nodes[node, 3:6]
        if s >= 0:
            count = arc_piece(walls[s], low, high, piece)
            sideways(walls[s, 0], (low + high) / 2, e)
            room = _exact(corners, fields, legs[leg], pads[leg], piece, count, normal, e, True, limit, tried)
        else:
            body = points[pieces[-1 - s, 0] : pieces[-1 - s, 1]]
            room = _exact(corners, fields, legs[leg], pads[leg], body, len(body), normal, e, False, limit, tried)
        if room < best and not (only_whether and room > 0.0):
            best = room
            found[:] = tried
            found[0], found[6] = room, leg
            if s < 0 and room <= 0.0:  # how deep is asked of the part as a whole
                return found
            if only_whether:
                return found
    if only_whether:
        found[0] = 1.0
    elif heap > 0:
        found[0] = min(best, keys[0])  # what was not looked at may be nearer by the tolerance
    return found


@helper
def _tolerance(best: float) -> float:
    return NEAR_ENOUGH_MM if best > 0.0 else NEAR_ENOUGH_MM - DEEP_SHARE * best
