"""Kernels: what the lens's own rims and front ring leave of a chord of the pupil."""

from __future__ import annotations

import math

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.chord_steps import chords_end, first_chord
from raytrace.coverage.tables.nodes import Nodes
from raytrace.jit.compiled import compiled

WHOLE = 1e-9  # a rim within this of the whole pupil cuts nothing
RIMS, RING = 1, 2  # bits: what of the lens cuts the pupils of a cell

# Rows of the lens scratch: 0 to 7 low and high ends of chords within the rims at the four corners; 8 the front ring at the four
# corners, its place over the disc, six numbers each; 9 the ring's radius squared.
RING_ROW, RADIUS_ROW, LENS_ROWS = 8, 9, 10


@compiled
def rim_at(
    lens: FloatArray, cut_by_lens: int, x: float, y: float, chord: int, v: float, low: float, high: float
) -> tuple[float, float]:
    """Ends of the bare pupil on a chord at fractions (x, y) of the cell; low >= high where nothing is left."""
    if cut_by_lens & RIMS:
        low = max(low, mix(lens[0, chord], lens[2, chord], lens[4, chord], lens[6, chord], x, y))
        high = min(high, mix(lens[1, chord], lens[3, chord], lens[5, chord], lens[7, chord], x, y))
    if cut_by_lens & RING:
        ring = lens[RING_ROW]
        px = ring_at(ring, 0, x, y) + ring_at(ring, 4, x, y) * v
        py = ring_at(ring, 1, x, y) + ring_at(ring, 5, x, y) * v
        qx, qy = ring_at(ring, 2, x, y), ring_at(ring, 3, x, y)
        square = qx * qx + qy * qy
        middle = -(px * qx + py * qy) / square
        gap = (lens[RADIUS_ROW, 0] - (px * px + py * py)) / square + middle * middle
        if gap <= 0.0:
            return 0.0, 0.0
        low, high = max(low, middle - math.sqrt(gap)), min(high, middle + math.sqrt(gap))
    return low, high


@compiled
def mix(s0: float, s1: float, s2: float, s3: float, x: float, y: float) -> float:
    """A value at fractions (x, y) of the cell, of those at its four corners."""
    top, bottom = s0 + (s1 - s0) * x, s2 + (s3 - s2) * x
    return top + (bottom - top) * y


@compiled
def ring_at(ring: FloatArray, k: int, x: float, y: float) -> float:
    """One of the front ring's six numbers at fractions (x, y) of the cell."""
    return mix(ring[k], ring[6 + k], ring[12 + k], ring[18 + k], x, y)


@compiled
def lens_cuts(nodes: Nodes, i: int, j: int, stride: int) -> int:
    """Which of the lens's rims and front ring cut the pupils of a cell, as bits."""
    cuts = 0
    for c in range(4):
        row, column = i + stride * (c // 2), j + stride * (c % 2)
        rim, ring = nodes.rim[row, column], nodes.ring[row, column]
        for k in range(len(rim)):
            if rim[k] < 1.0 - WHOLE:
                cuts |= RIMS
                break
        spread = ring[2] * ring[2] + ring[3] * ring[3] + ring[4] * ring[4] + ring[5] * ring[5]
        far = math.sqrt(ring[0] * ring[0] + ring[1] * ring[1]) + math.sqrt(spread)
        if far * far > nodes.ring_square:
            cuts |= RING
    return cuts


@compiled
def load_lens(
    nodes: Nodes, i: int, j: int, stride: int, cuts: int, rule: FloatArray, lens: FloatArray, outline: FloatArray
) -> None:
    """Put those of rims and ring that cut the pupils of a cell, at its four corners, into the lens scratch."""
    lens[RADIUS_ROW, 0] = nodes.ring_square
    for c in range(4):
        _load_corner(nodes, i + stride * (c // 2), j + stride * (c % 2), c, cuts, rule, lens, outline)


@compiled
def load_next_lens(
    nodes: Nodes, i: int, j: int, stride: int, cuts: int, rule: FloatArray, lens: FloatArray, outline: FloatArray
) -> None:
    """The same for the cell to the right of the one that was put there last, with the same cuts: two of its corners are known."""
    for c in range(0, 4, 2):
        for k in range(6):
            lens[RING_ROW, 6 * c + k] = lens[RING_ROW, 6 * c + 6 + k]
        for k in range(len(rule[0])):
            lens[2 * c, k], lens[2 * c + 1, k] = lens[2 * c + 2, k], lens[2 * c + 3, k]
        _load_corner(nodes, i + stride * (c // 2), j + stride, c + 1, cuts, rule, lens, outline)


@compiled
def _load_corner(
    nodes: Nodes, row: int, column: int, c: int, cuts: int, rule: FloatArray, lens: FloatArray, outline: FloatArray
) -> None:
    for k in range(6):
        lens[RING_ROW, 6 * c + k] = nodes.ring[row, column, k]
    if cuts & RIMS:
        for k in range(len(outline)):
            outline[k, 0] = nodes.rim[row, column, k] * nodes.rim_turn[0, k]
            outline[k, 1] = nodes.rim[row, column, k] * nodes.rim_turn[1, k]
        _set_rims(outline, c, rule, lens)


@compiled
def _set_rims(rim_uv: FloatArray, corner: int, rule: FloatArray, lens: FloatArray) -> None:
    """Put the ends of all chords within a rim outline (K, 2) of the disc into the corner's rows: outermost crossings."""
    low, high = lens[2 * corner], lens[2 * corner + 1]
    n = len(rule[0])
    for j in range(n):
        low[j], high[j] = 2.0, -2.0
    count = len(rim_uv)
    for k in range(count):
        after = (k + 1) % count
        au, av, bu, bv = rim_uv[k, 0], rim_uv[k, 1], rim_uv[after, 0], rim_uv[after, 1]
        bottom, top = min(av, bv), max(av, bv)
        if top <= -1.0 or bottom >= 1.0 or top == bottom:
            continue
        for j in range(first_chord(top, rule), chords_end(bottom, rule)):
            v = rule[0, j]
            if bottom <= v <= top:
                u = au + (bu - au) * (v - av) / (bv - av)
                low[j], high[j] = min(low[j], u), max(high[j], u)
    for j in range(n):
        if low[j] > high[j]:
            low[j] = high[j] = 0.0


@compiled
def bare_share(lens: FloatArray, cut_by_lens: int, rule: FloatArray) -> float:
    """Share of the disc that the lens itself lets through, at the cell's first corner."""
    total = 0.0
    for j in range(len(rule[0])):
        low, high = rim_at(lens, cut_by_lens, 0.0, 0.0, j, rule[0, j], -rule[2, j], rule[2, j])
        total += max(high - low, 0.0) * rule[3, j]
    return total
