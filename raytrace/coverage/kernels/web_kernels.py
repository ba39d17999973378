"""Kernels: webs over a cell or block of pixels, for meshes, outlines that are not convex, and outlines seen edge-on.

A web is looked at along chords of constant v. Layers are counted from outside, along +u, so every edge in the strip -1 <= v <= 1
that begins left of the disc's right end is kept, but for edges between two faces that lie on opposite sides of them for all pixels.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.project import (
    CLEAR,
    CUT,
    DARK,
    DISC_COLUMNS,
    LEAST_SCALE,
    edge_state,
    narrow,
    outside_square,
    project,
)
from raytrace.coverage.kernels.scratch import EDGES, FOUND, FOUND_TURN, ORDER_1, ORDER_2, TURN_OF, WEBBED, Bench, Lists
from raytrace.coverage.tables.branches import AXIS, LEG, SINE
from raytrace.coverage.tables.edge_webs import NO_FACE
from raytrace.coverage.tables.tables import BRANCHES, BRANCHES_END, Tables
from raytrace.coverage.tables.tables import EDGES as EDGES_OF
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

ALMOST = 1e-6  # [rad] faces nearer to edge-on than this are looked at one by one
FLAT = 1e-13  # a face with less area in the disc's units is seen edge-on and hides nothing
SURE = 1e-12  # of how far corners lie out in u times in v: far above what an area is off by where it is summed in another order
MIDDLE = 40  # where in the scratch the spots in the middle of a block are put


@compiled
def classify_web(t: Tables, shape: int, corner: FloatArray, reach: float, cell: Lists, bench: Bench) -> int:
    """State of discs against a web; the edges that count are added to the list."""
    start, touched = cell.used[EDGES], False
    branch, edges = t.shape[shape, BRANCHES], t.shape[shape, EDGES_OF]
    at, end = branch, t.shape[shape, BRANCHES_END]
    while at < end:
        if _passed_over(t.branch[at], corner, reach, bench.spot, bench.hand):
            at = branch + t.branch_span[at, 2]
            continue
        if t.branch_span[at, 2] == at - branch + 1:
            for e in range(edges + t.branch_span[at, 0], edges + t.branch_span[at, 1]):
                touched |= _look_at(t, e, corner, reach, cell, bench)
        at += 1
    return _state(cell, bench.hand, start, touched)


@compiled
def _look_at(t: Tables, e: int, corner: FloatArray, reach: float, cell: Lists, bench: Bench) -> bool:
    """Add an edge to the cell's list where it can count; whether it may touch the discs."""
    for k in range(4):
        if t.web[e, k] != NO_FACE:
            project(corner, t.point, t.web[e, k], bench.hand, 8 * k)
    bench.hand[TURN_OF] = t.web[e, 4]
    bench.hand[ORDER_1], bench.hand[ORDER_2] = _order(t.web, e, 2), _order(t.web, e, 3)
    return _keep(cell.web, cell.used, bench.hand, reach, 0)


@compiled
def _passed_over(box: FloatArray, corner: FloatArray, reach: float, spot: FloatArray, hand: FloatArray) -> bool:
    """Whether no edge of a branch can count: its box lies beyond the strip of chords, or all its folds are hidden."""
    leg = int(box[LEG])
    if leg < 0:
        return False
    low_v, high_v, low_u = np.inf, -np.inf, np.inf
    spot[0, 3] = leg
    for k in range(8):
        spot[0, 0], spot[0, 1], spot[0, 2] = box[3 * (k & 1)], box[1 + 3 * ((k >> 1) & 1)], box[2 + 3 * (k >> 2)]
        project(corner, spot, 0, hand, 0)
        for c in range(4):
            low_v, high_v, low_u = min(low_v, hand[2 * c + 1]), max(high_v, hand[2 * c + 1]), min(low_u, hand[2 * c])
    if low_v > reach or high_v < -reach or low_u > reach:
        return True
    return box[SINE] < 1.0 and _all_hidden(box, leg, corner)


@compiled
def _all_hidden(box: FloatArray, leg: int, corner: FloatArray) -> bool:
    """Whether all rays of the cell meet all faces of the branch from one side, as its cone of normals tells.

    Rays that come to a point have their directions spread over the box: by its half diagonal over the distance to that point.
    """
    first = DISC_COLUMNS + 8 * leg
    x, y, z = 0.5 * (box[0] + box[3]), 0.5 * (box[1] + box[4]), 0.5 * (box[2] + box[5])
    wide, tall, deep = box[3] - box[0], box[4] - box[1], box[5] - box[2]
    half = 0.5 * math.sqrt(wide * wide + tall * tall + deep * deep)
    seen = 0.0
    for c in range(4):
        ax = max(corner[c, first] + corner[c, first + 1] * z, LEAST_SCALE)
        ay = max(corner[c, first + 4] + corner[c, first + 5] * z, LEAST_SCALE)
        px, py = (
            (x - corner[c, first + 2] - corner[c, first + 3] * z) / ax,
            (y - corner[c, first + 6] - corner[c, first + 7] * z) / ay,
        )
        dx, dy = corner[c, first + 1] * px + corner[c, first + 3], corner[c, first + 5] * py + corner[c, first + 7]
        spread = half * max(abs(corner[c, first + 1]) / ax, abs(corner[c, first + 5]) / ay)
        along = dx * box[AXIS] + dy * box[AXIS + 1] + box[AXIS + 2]
        margin = (box[SINE] + 2.0 * spread + ALMOST) * math.sqrt(dx * dx + dy * dy + 1.0)
        if abs(along) <= margin or along * seen < 0.0:
            return False
        seen = along
    return True


@compiled
def narrow_web(cell: Lists, found: Lists, bench: Bench, first: int, last: int, place: FloatArray, chords: int) -> int:
    """State of a block's discs against a cell's web; the edges that count are added to `found`."""
    start, touched = found.used[EDGES], False
    for e in range(first, last):
        narrow(cell.web[e], 4, place, bench.hand)
        for k in range(TURN_OF, ORDER_2 + 1):
            bench.hand[k] = cell.web[e, k]
        touched |= _keep(found.web, found.used, bench.hand, place[4], chords)
    return _state(found, bench.hand, start, touched)


@compiled
def _order(web: Ints, e: int, third: int) -> int:
    """How to take A, B, C by rising point number, so that all three edges of a face judge its turn by the very same sum.

    Bits 0-1, 2-3, 4-5: which of the edge's spots comes first, second, third; bit 6 set where that turns the face over.
    """
    a, b, c = web[e, 0], web[e, 1], web[e, third]
    if c == NO_FACE:
        return NO_FACE
    i, j, k, over = 0, 1, third, 0
    if a > b:
        i, j, a, b, over = j, i, b, a, over ^ 1
    if b > c:
        j, k, b, c, over = k, j, c, b, over ^ 1
    if a > b:
        i, j, over = j, i, over ^ 1
    return i | (j << 2) | (k << 4) | (over << 6)


@compiled
def face_turn(spots: FloatArray, at: int, mark: float) -> int:
    """1 where the face turns left, -1 where right, 0 where it is edge-on or missing; spots (u, v) of A, B, C1, C2 from `at` on."""
    order = int(mark)
    if order == NO_FACE:
        return 0
    i, j, k = at + 2 * (order & 3), at + 2 * ((order >> 2) & 3), at + 2 * ((order >> 4) & 3)
    area = (spots[j] - spots[i]) * (spots[k + 1] - spots[i + 1]) - (spots[j + 1] - spots[i + 1]) * (spots[k] - spots[i])
    if abs(area) <= FLAT:
        return 0
    turn = 1 if area > 0.0 else -1
    return -turn if order >> 6 else turn


@compiled
def _keep(web: FloatArray, count: Ints, hand: FloatArray, reach: float, chords: int) -> bool:
    """Add the web edge at hand to the list where it can count; whether it may touch the discs.

    Where the number of chords is known (a block's list), edges that no chord meets are left out too, touching or not.
    """
    low_v, high_v, low_u = hand[1], hand[1], hand[0]
    for k in range(8):
        low_v, high_v, low_u = min(low_v, hand[2 * k + 1]), max(high_v, hand[2 * k + 1]), min(low_u, hand[2 * k])
    if low_v > reach or high_v < -reach or low_u > reach or _settle_step(hand):
        return False
    touches = not outside_square(hand, 0, 2, reach) and edge_state(hand, 1.0, reach) == CUT
    if chords == 0 or _meets_chord(low_v, high_v, chords):
        n = count[EDGES]
        for k in range(ORDER_2 + 1):
            web[n, k] = hand[k]
        count[EDGES] = n + 1
    return touches


@compiled
def _settle_step(hand: FloatArray) -> bool:
    """Whether layers never change at the edge at hand; where its faces keep their sides for all pixels the change is noted."""
    if hand[ORDER_1] == NO_FACE:
        return False
    step = _side(hand, 16)
    if step == 0:
        return False
    if hand[ORDER_2] != NO_FACE:
        other = _side(hand, 24)
        if other == 0:
            return False
        step += other
    hand[TURN_OF], hand[ORDER_1], hand[ORDER_2] = step, NO_FACE, NO_FACE
    return step == 0


@compiled
def _meets_chord(low_v: float, high_v: float, chords: int) -> bool:
    """Whether a chord v = cos(k pi / (chords + 1)), or the disc's middle, lies between the two."""
    if low_v <= 0.0 <= high_v:
        return True
    step = math.pi / (chords + 1)
    first, last = math.acos(min(high_v, 1.0)) / step, math.acos(max(low_v, -1.0)) / step
    return math.floor(last + ALMOST) >= math.ceil(first - ALMOST)


@compiled
def _side(s: FloatArray, c: int) -> int:
    """1 where the third corner at s[c:] lies left of A -> B for all pixels, -1 where right, 0 where unproven.

    Proven for one edge of a face it is for all: a face that is seen edge-on must not hide light beside one of its edges alone.
    The nine Bernstein coefficients of (B - A) x (C - A), as in `edge_state`.
    """
    low, high = np.inf, -np.inf
    for i in range(4):
        for j in range(i, 4):
            if i == 1 and j == 2:
                continue
            value = 0.5 * (_swept(s, c, i, j) + _swept(s, c, j, i))
            if i + j == 3:
                value = 0.5 * value + 0.25 * (_swept(s, c, 1, 2) + _swept(s, c, 2, 1))
            low, high = min(low, value), max(high, value)
    sure = FLAT + SURE * _farthest(s, c, 0) * _farthest(s, c, 1)
    return 1 if low > sure else (-1 if high < -sure else 0)


@compiled
def _farthest(s: FloatArray, c: int, axis: int) -> float:
    """How far out A, B and the corner at s[c:] lie in u (0) or v (1), in any pixel."""
    far = 0.0
    for k in range(4):
        i = 2 * k + axis
        far = max(far, abs(s[i]), abs(s[8 + i]), abs(s[c + i]))
    return far


@compiled
def _swept(s: FloatArray, c: int, i: int, j: int) -> float:
    i, j = 2 * i, 2 * j
    return (s[8 + i] - s[i]) * (s[c + j + 1] - s[j + 1]) - (s[9 + i] - s[i + 1]) * (s[c + j] - s[j])


@compiled
def _state(found: Lists, hand: FloatArray, start: int, touched: bool) -> int:
    """CUT where an edge may touch the discs; else all pixels have the layers of the middle one's centre."""
    found.used[FOUND], found.used[FOUND_TURN] = WEBBED, 1
    if touched:
        return CUT
    layers = 0
    for e in range(start, found.used[EDGES]):
        layers += _layers_left(found.web[e], hand)
    found.used[EDGES] = start
    return CLEAR if layers != 0 else DARK


@compiled
def _layers_left(edge: FloatArray, hand: FloatArray) -> int:
    """What the edge adds to the layers over the disc's centre in the middle of the block."""
    for k in range(4):
        for axis in range(2):
            i = 8 * k + axis
            hand[MIDDLE + 2 * k + axis] = 0.25 * (edge[i] + edge[i + 2] + edge[i + 4] + edge[i + 6])
    au, av, bu, bv = hand[MIDDLE], hand[MIDDLE + 1], hand[MIDDLE + 2], hand[MIDDLE + 3]
    if (av <= 0.0) == (bv <= 0.0) or au - av * (bu - au) / (bv - av) > 0.0:
        return 0
    return step_of(hand, MIDDLE, edge)


@compiled
def step_of(spots: FloatArray, at: int, edge: FloatArray) -> int:
    """Change of layers along +u across the edge: each face that turns left has its inside to the left of A -> B."""
    turn = int(edge[TURN_OF]) + face_turn(spots, at, edge[ORDER_1]) + face_turn(spots, at, edge[ORDER_2])
    return -turn if spots[at + 3] > spots[at + 1] else turn
