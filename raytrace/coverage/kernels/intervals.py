"""Kernels: the open pieces of one chord, rising and apart, from row[2] to row[3]; rows 4 and 5 are where new ones grow."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.scratch import FIRST, LAST, PART, SENSE, Block, Tally
from raytrace.coverage.tables.tables import PASSES
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]


@compiled
def open_length(row: FloatArray, pieces: int) -> float:
    """Length of all pieces."""
    total = 0.0
    for k in range(pieces):
        total += row[3, k] - row[2, k]
    return total


@compiled
def cut_out(row: FloatArray, pieces: int, low: float, high: float) -> int:
    """Number of pieces once low..high is taken out of them. Pieces beyond the room for them count as stopped."""
    if low >= high:
        return pieces
    n, room = 0, len(row[0])
    for k in range(pieces):
        a, b = row[2, k], row[3, k]
        if a < low and n < room:
            row[4, n], row[5, n] = a, min(b, low)
            n += 1
        if b > high and n < room:
            row[4, n], row[5, n] = max(a, high), b
            n += 1
    for k in range(n):
        row[2, k], row[3, k] = row[4, k], row[5, k]
    return n


@compiled
def keep_only(row: FloatArray, pieces: int, low: float, high: float, hull_low: float, hull_high: float) -> int:
    """Number of pieces where only low..high stays open within hull_low..hull_high, and all beyond the hull."""
    if low >= high:
        return cut_out(row, pieces, hull_low, hull_high)
    pieces = cut_out(row, pieces, hull_low, min(low, hull_high))
    return cut_out(row, pieces, max(high, hull_low), hull_high)


@compiled
def stop_layers(b: Block, w: Tally, entry: Ints, v: float, pieces: int, hull_low: float, hull_high: float) -> int:
    """Number of pieces after a web: it stops what lies under its layers, or what does not where they are a way through."""
    n = _events(b, w, entry, v)
    layers, at = 0, -np.inf
    passes = entry[SENSE] == PASSES
    for k in range(n + 1):
        to = w.row[6, k] if k < n else np.inf
        if (layers == 0) == passes and to > at:
            pieces = cut_out(w.row, pieces, max(at, hull_low), min(to, hull_high))
        if k < n:
            layers += int(w.row[7, k])
            at = to
    return pieces


@compiled
def _events(b: Block, w: Tally, entry: Ints, v: float) -> int:
    """Where the chord's line crosses edges that change the layers, by rising u: insertion sort, for they are few."""
    n, base = 0, len(b.side)
    for e in range(base + entry[FIRST], base + entry[LAST]):
        edge = w.at[e]
        if edge[5] == 0.0 or v <= edge[2] or v > edge[3]:
            continue
        u, j = edge[0] + edge[1] * v, n
        while j > 0 and w.row[6, j - 1] > u:
            w.row[6, j], w.row[7, j] = w.row[6, j - 1], w.row[7, j - 1]
            j -= 1
        w.row[6, j], w.row[7, j] = u, edge[5]
        n += 1
    return n


@compiled
def most_of(entry: Ints, row: FloatArray) -> int:
    """The part that stops most first, of those in the block's list; the earlier one where two stop alike."""
    worst = entry[0, PART]
    for k in range(1, len(entry)):
        worst = entry[k, PART] if row[8, entry[k, PART]] > row[8, worst] else worst
    return worst
