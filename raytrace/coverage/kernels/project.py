"""Kernels: frame points into the pupil's unit disc, edges across a block of pixels, and proofs about them.

In the disc a pencil's rays through a frame point cross at one spot. Over a cell of pixels that spot is taken as bilinear between
the cell's four corners (0 top left, 1 top right, 2 bottom left, 3 bottom right), eight numbers u0 v0 u1 v1 u2 v2 u3 v3. An edge is
two spots, sixteen numbers. All proofs hold for every pixel between the corners.
"""

from __future__ import annotations

import math

from geometry.arrays import FloatArray
from raytrace.jit.compiled import compiled

LEAST_SCALE = 1e-9  # a beam never narrows below this share of its pupil: points at the object plane stay finite
DISC_COLUMNS = 6  # of a corner's optics, before its legs of eight

POINT = 1e-9  # length of an edge, per distance squared [pupil radii], below which rounding may turn it any way
CLEAR, CUT, DARK = 1, 0, -1  # where a block's discs lie against an edge or a shape: all inside, unproven, all outside


@compiled
def project(corner: FloatArray, point: FloatArray, number: int, out: FloatArray, at: int) -> None:
    """Put the spot of frame point `number` of `point` (V, 4) into out[at : at + 8].

    corner (4, 6 + 8 legs) as `raytrace.coverage.pencil_map` lays it out: the ray is a X + b with a and b straight in z, and the
    disc point is the matrix times (X - centre). It has one row only where that is all four corners.
    """
    z = point[number, 2]
    leg = DISC_COLUMNS + 8 * int(point[number, 3])
    for c in range(len(corner)):
        ax = max(corner[c, leg] + corner[c, leg + 1] * z, LEAST_SCALE)
        ay = max(corner[c, leg + 4] + corner[c, leg + 5] * z, LEAST_SCALE)
        x = (point[number, 0] - corner[c, leg + 2] - corner[c, leg + 3] * z) / ax - corner[c, 0]
        y = (point[number, 1] - corner[c, leg + 6] - corner[c, leg + 7] * z) / ay - corner[c, 1]
        out[at + 2 * c] = corner[c, 2] * x + corner[c, 3] * y
        out[at + 2 * c + 1] = corner[c, 4] * x + corner[c, 5] * y
    for i in range(2 * len(corner), 8):
        out[at + i] = out[at + i - 2]


@compiled
def cross_of(edge: FloatArray, i: int, j: int) -> float:
    """Cross product of the edge's first end at corner i with its second end at corner j."""
    return edge[2 * i] * edge[9 + 2 * j] - edge[2 * i + 1] * edge[8 + 2 * j]


@compiled
def length_of(edge: FloatArray, i: int) -> float:
    """Length of the edge at corner i."""
    u, v = edge[8 + 2 * i] - edge[2 * i], edge[9 + 2 * i] - edge[2 * i + 1]
    return math.sqrt(u * u + v * v)


@compiled
def _is_point(edge: FloatArray, a: float, b: float, c: float, d: float) -> bool:
    """Whether the edge is too short to have a direction: its neighbours, which meet there, tell all there is to tell.

    a, b, c, d: its lengths at the corners.
    """
    return _is_short(edge, 0, a) and _is_short(edge, 1, b) and _is_short(edge, 2, c) and _is_short(edge, 3, d)


@compiled
def _is_short(edge: FloatArray, i: int, length: float) -> bool:
    return length <= POINT * (1.0 + edge[2 * i] * edge[2 * i] + edge[2 * i + 1] * edge[2 * i + 1])


@compiled
def _is_even(edge: FloatArray) -> bool:
    """Whether the edge lies alike at all corners."""
    for k in range(0, 16, 8):
        for i in range(k, k + 6):
            if edge[i] != edge[i + 2]:
                return False
    return True


@compiled
def edge_state(edge: FloatArray, turn: float, reach: float) -> int:
    """CLEAR where discs of radius `reach` lie on the inner side of the edge's line for all pixels, DARK on the outer, else CUT.

    turn is 1 where the inside is to the left of the edge, -1 where to the right. With A and B the ends, the centre's distance
    inside the line is A x B / |B - A|. Both A x B and a bound of |B - A| are biquadratic between the corners, so their nine
    Bernstein coefficients bound them; |B - A| is convex in B - A, so the mean of the corners' lengths is never below it.

    Source: convex hull property of Bernstein polynomials, Farin, Curves and Surfaces for CAGD (from memory).
    """
    if _is_even(edge):
        length, own = length_of(edge, 0), turn * cross_of(edge, 0, 0)
        if _is_short(edge, 0, length) or own >= reach * length:
            return CLEAR
        return DARK if own <= -reach * length else CUT
    low, high = math.inf, -math.inf
    a, b, c, d = length_of(edge, 0), length_of(edge, 1), length_of(edge, 2), length_of(edge, 3)
    if _is_point(edge, a, b, c, d):
        return CLEAR
    for i in range(4):
        own = turn * cross_of(edge, i, i)
        far = reach * (a if i == 0 else b if i == 1 else c if i == 2 else d)
        low, high = min(low, own - far), max(high, own + far)
    if low < 0.0 < high:
        return CUT
    for i, j, both in ((0, 1, a + b), (0, 2, a + c), (1, 3, b + d), (2, 3, c + d)):
        n, far = 0.5 * turn * (cross_of(edge, i, j) + cross_of(edge, j, i)), 0.5 * reach * both
        low, high = min(low, n - far), max(high, n + far)
    n = cross_of(edge, 0, 3) + cross_of(edge, 3, 0) + cross_of(edge, 1, 2) + cross_of(edge, 2, 1)
    n, far = 0.25 * turn * n, 0.25 * reach * (a + b + c + d)
    low, high = min(low, n - far), max(high, n + far)
    return CLEAR if low >= 0.0 else (DARK if high <= 0.0 else CUT)


@compiled
def outside_square(hand: FloatArray, at: int, spots: int, reach: float) -> bool:
    """Whether so many spots stay beyond one side of the square about the disc: what they span cannot touch it."""
    for axis in range(2):
        low, high = hand[at + axis], hand[at + axis]
        for k in range(at + axis, at + 8 * spots, 2):
            low, high = min(low, hand[k]), max(high, hand[k])
        if low > reach or high < -reach:
            return True
    return False


@compiled
def narrow(spots: FloatArray, count: int, place: FloatArray, out: FloatArray) -> None:
    """Put the first `count` spots, seen over a part of their cell, into out; place: fractions of the cell x0, x1, y0, y1."""
    fx0, fx1, fy0, fy1 = place[0], place[1], place[2], place[3]
    for k in range(count):
        for i in range(8 * k, 8 * k + 2):
            s0, s1, s2, s3 = spots[i], spots[i + 2], spots[i + 4], spots[i + 6]
            if s0 == s1 and s0 == s2 and s0 == s3:
                out[i] = out[i + 2] = out[i + 4] = out[i + 6] = s0
                continue
            top, bottom = s0 + (s1 - s0) * fx0, s2 + (s3 - s2) * fx0
            top1, bottom1 = s0 + (s1 - s0) * fx1, s2 + (s3 - s2) * fx1
            out[i], out[i + 2] = top + (bottom - top) * fy0, top1 + (bottom1 - top1) * fy0
            out[i + 4], out[i + 6] = top + (bottom - top) * fy1, top1 + (bottom1 - top1) * fy1


@compiled
def between(spots: FloatArray, at: int, fx: float, fy: float) -> float:
    """One coordinate of a spot at fractions (fx, fy) of its block; `at` picks the spot and 0 or 1 for u or v."""
    top = spots[at] + (spots[at + 2] - spots[at]) * fx
    bottom = spots[at + 4] + (spots[at + 6] - spots[at + 4]) * fx
    return top + (bottom - top) * fy
