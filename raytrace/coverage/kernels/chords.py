"""Kernels: blocks of any kind, by chords across the disc: exact intervals along each chord, a Gauss sum across them.

Chords lie at v = cos(k pi / (N + 1)) and carry the weight 2 / (N + 1) sin^2(k pi / (N + 1)): Gauss's rule for the weight
sqrt(1 - v^2), which is the half length of a chord, so the sum of their open shares is the disc's open share.

Source: Gauss-Chebyshev rule of the second kind, Abramowitz and Stegun, 25.4.40 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.intervals import cut_out, keep_only, most_of, open_length, stop_layers
from raytrace.coverage.kernels.lens_rim import rim_at
from raytrace.coverage.kernels.project import between
from raytrace.coverage.kernels.scratch import (
    ALL_DARK,
    END_A,
    END_B,
    FIRST,
    HULL_FIRST,
    HULL_LAST,
    HULL_MODE,
    LAST,
    MODE,
    NO_MODE,
    PART,
    PLANES,
    SENSE,
    TURN,
    WEBBED,
    Block,
    Tally,
)
from raytrace.coverage.kernels.web_kernels import step_of
from raytrace.coverage.tables.tables import PASSES
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

LEAST_LOSS = 1e-7  # shares of loss below this are rounding
FAR = 1e30


def chord_rule(count: int) -> FloatArray:
    """Rule (5, N): v of the chords, their weights, half lengths, weight / length, and how many lie above each of N even steps of v.

    The steps rise from -1 to 1; the count is of chords above a step's upper end.
    """
    angle = np.arange(1, count + 1) * np.pi / (count + 1)
    weight, half = 2.0 / (count + 1) * np.sin(angle) ** 2, np.sin(angle)
    above = np.searchsorted(-np.cos(angle), -(-1.0 + 2.0 * np.arange(1, count + 1) / count))
    return np.stack([np.cos(angle), weight, half, weight / (2.0 * half), above.astype(np.float64)])


@compiled
def cover_by_chords(
    b: Block,
    w: Tally,
    cut_by_lens: int,
    rule: FloatArray,
    place: FloatArray,
    rect: Ints,
    clear: NDArray[np.float32],
    by: NDArray[np.int16],
) -> None:
    """Fill the block by chords."""
    convex = cut_by_lens == 0 and _all_convex(b.entry)
    across, down = 1.0 / max(rect[3] - rect[2] - 1, 1), 1.0 / max(rect[1] - rect[0] - 1, 1)
    for r in range(rect[0], rect[1]):
        for c in range(rect[2], rect[3]):
            fx, fy = (c - rect[2]) * across, (r - rect[0]) * down
            _sides_at(b, w, fx, fy)
            for k in range(len(b.entry)):
                w.row[8, b.entry[k, PART]] = 0.0
            for k in range(len(b.entry)):
                _set_reach(b, w.at, b.entry[k, MODE], b.entry[k, FIRST], b.entry[k, LAST])
                _set_reach(b, w.at, b.entry[k, HULL_MODE], b.entry[k, HULL_FIRST], b.entry[k, HULL_LAST])
            if convex:
                share = _convex_pixel(b, w, rule)
            else:
                x, y = place[0] + (place[1] - place[0]) * fx, place[2] + (place[3] - place[2]) * fy
                share = _any_pixel(b, w, cut_by_lens, x, y, rule)
            if share > 1.0 - LEAST_LOSS:
                clear[r, c] = 1.0
                by[r, c] = -1
            else:
                clear[r, c] = max(share, 0.0)
                by[r, c] = most_of(b.entry, w.row)


@compiled
def _all_convex(entry: Ints) -> bool:
    """Whether what is open is one piece on every chord: only openings with ordered sides, and half planes."""
    for k in range(len(entry)):
        if entry[k, MODE] == ALL_DARK:
            break
        single = entry[k, SENSE] == PASSES or entry[k, LAST] - entry[k, FIRST] == 1
        if entry[k, MODE] != PLANES or entry[k, HULL_MODE] != NO_MODE or not single:
            return False
    return True


@compiled
def _sides_at(b: Block, w: Tally, fx: float, fy: float) -> None:
    """Sides and web edges at a pixel, as rows of w.at: u = c + k v on the edge, v from low to high, which side is inside, step."""
    for n in range(len(b.side)):
        side = b.side[n]
        au, av, bu, bv = between(side, 0, fx, fy), between(side, 1, fx, fy), between(side, 8, fx, fy), between(side, 9, fx, fy)
        _row(w.at[n], au, av, bu, bv)
    base = len(b.side)
    for n in range(len(b.web)):
        for k in range(4):
            w.hand[2 * k], w.hand[2 * k + 1] = between(b.web[n], 8 * k, fx, fy), between(b.web[n], 8 * k + 1, fx, fy)
        _row(w.at[base + n], w.hand[0], w.hand[1], w.hand[2], w.hand[3])
        w.at[base + n, 5] = step_of(w.hand, 0, b.web[n])


@compiled
def _row(row: FloatArray, au: float, av: float, bu: float, bv: float) -> None:
    rise = bv - av
    if rise == 0.0:
        rise = 1e-300
        row[4] = 1.0 if bu > au else -1.0
        row[6] = 1.0
    else:
        row[6] = 0.0
        row[4] = 1.0 if rise > 0.0 else -1.0
    row[1] = (bu - au) / rise if row[6] == 0.0 else 0.0
    row[0] = au - row[1] * av
    row[2], row[3] = min(av, bv), max(av, bv)


@compiled
def _set_reach(b: Block, at: FloatArray, mode: int, first: int, last: int) -> None:
    """Let sides of an ordered outline count for the chords between their ends alone: columns 2 and 3 of their rows.

    Beyond an end the next side bounds the outline closer, if it is listed and goes on the same way up or down; else the side
    counts for all chords beyond.
    """
    if mode != PLANES:
        return
    for e in range(first, last):
        row = at[e]
        if row[6] != 0.0:
            continue
        before, after = e - 1 if e > first else last - 1, e + 1 if e + 1 < last else first
        goes_on = b.side[e, END_B] == b.side[after, END_A] and at[after, 4] == row[4] and at[after, 6] == 0.0
        comes_so = b.side[before, END_B] == b.side[e, END_A] and at[before, 4] == row[4] and at[before, 6] == 0.0
        up, down = (goes_on, comes_so) if row[4] > 0.0 else (comes_so, goes_on)
        row[3] = row[3] if up else FAR
        row[2] = row[2] if down else -FAR


@compiled
def _first_chord(top: float, rule: FloatArray) -> int:
    """The first chord that a side up to v = top may cross, or one before it."""
    n = len(rule[0])
    return 0 if top >= 1.0 else int(rule[4, min(int(max(top + 1.0, 0.0) * (0.5 * n)) + 1, n - 1)])


@compiled
def _chords_end(bottom: float, rule: FloatArray) -> int:
    """The end of the chords that a side down to v = bottom may cross, or one beyond it."""
    n = len(rule[0])
    step = int(max(min(bottom, 1.0) + 1.0, 0.0) * (0.5 * n)) - 2
    return int(rule[4, step]) if step >= 0 else n


@compiled
def _convex_pixel(b: Block, w: Tally, rule: FloatArray) -> float:
    """Clear share where one piece of every chord stays open; w.row[8] gets what each part stops first."""
    n = len(rule[0])
    low, high = w.row[0], w.row[1]
    for j in range(n):
        low[j], high[j] = -rule[2, j], rule[2, j]
    before = 1.0
    for k in range(len(b.entry)):
        entry = b.entry[k]
        after = 0.0
        if entry[MODE] != ALL_DARK:
            inward = float(entry[TURN]) if entry[SENSE] == PASSES else -float(entry[TURN])
            for e in range(entry[FIRST], entry[LAST]):
                _clip_chords(w.at[e], inward, rule, low, high)
            for j in range(n):
                after += max(high[j] - low[j], 0.0) * rule[3, j]
        w.row[8, entry[PART]] += before - after
        before = after
    return before


@compiled
def _clip_chords(row: FloatArray, inward: float, rule: FloatArray, low: FloatArray, high: FloatArray) -> None:
    """Cut the open piece of all chords at one side. One that runs upward, its inside to the left, keeps what is left of it."""
    c, k = row[0], row[1]
    if row[6] != 0.0:
        for j in range(len(rule[0])):
            if (rule[0, j] - row[2]) * row[4] * inward < 0.0:
                high[j] = -FAR
    elif row[4] * inward > 0.0:
        for j in range(_first_chord(row[3], rule), _chords_end(row[2], rule)):
            u = c + k * rule[0, j]
            high[j] = min(high[j], u)
    else:
        for j in range(_first_chord(row[3], rule), _chords_end(row[2], rule)):
            u = c + k * rule[0, j]
            low[j] = max(low[j], u)


@compiled
def _any_pixel(b: Block, w: Tally, cut_by_lens: int, x: float, y: float, rule: FloatArray) -> float:
    """Clear share of the bare pupil whatever the shapes; w.row[8] gets what each part stops first."""
    bare, clear = 0.0, 0.0
    _set_spans(b, w, rule)
    for j in range(len(rule[0])):
        v = rule[0, j]
        low, high = -rule[2, j], rule[2, j]
        if cut_by_lens != 0:
            low, high = rim_at(w.lens, cut_by_lens, x, y, j, v, low, high)
            if low >= high:
                continue
        w.row[2, 0], w.row[3, 0] = low, high
        bare += (high - low) * rule[3, j]
        clear += _chord(b, w, j, v, rule[3, j], high - low)
    return clear / bare if bare > 0.0 else 1.0


@compiled
def _chord(b: Block, w: Tally, chord: int, v: float, weight: float, length: float) -> float:
    """Weighted open length of one chord after all entries, in order."""
    pieces, before = 1, length
    for k in range(len(b.entry)):
        entry = b.entry[k]
        if entry[MODE] == ALL_DARK:
            w.row[8, entry[PART]] += before * weight
            return 0.0
        hull_low, hull_high = -FAR, FAR
        if entry[HULL_MODE] != NO_MODE:
            hull_low, hull_high = w.span[4 * k + 2, chord], w.span[4 * k + 3, chord]
        if entry[MODE] == WEBBED:
            pieces = stop_layers(b, w, entry, v, pieces, hull_low, hull_high)
        elif entry[SENSE] == PASSES:
            pieces = keep_only(w.row, pieces, w.span[4 * k, chord], w.span[4 * k + 1, chord], hull_low, hull_high)
        else:
            pieces = cut_out(w.row, pieces, w.span[4 * k, chord], w.span[4 * k + 1, chord])
        after = open_length(w.row, pieces)
        w.row[8, entry[PART]] += (before - after) * weight
        before = after
        if pieces == 0:
            break
    return before * weight


@compiled
def _set_spans(b: Block, w: Tally, rule: FloatArray) -> None:
    """Where the entries' shapes, and the hulls about them, begin and end on every chord: four rows of w.span for each."""
    for k in range(len(b.entry)):
        entry = b.entry[k]
        if entry[MODE] == ALL_DARK:
            break
        if entry[MODE] != WEBBED:
            _set_span(w.at, entry[MODE], entry[FIRST], entry[LAST], float(entry[TURN]), rule, w.span[4 * k], w.span[4 * k + 1])
        if entry[HULL_MODE] != NO_MODE:
            first, last = entry[HULL_FIRST], entry[HULL_LAST]
            _set_span(w.at, entry[HULL_MODE], first, last, 1.0, rule, w.span[4 * k + 2], w.span[4 * k + 3])


@compiled
def _set_span(
    at: FloatArray, mode: int, first: int, last: int, turn: float, rule: FloatArray, low: FloatArray, high: FloatArray
) -> None:
    """The piece of every chord inside a convex shape, low >= high where there is none."""
    n = len(rule[0])
    start = -FAR if mode == PLANES else FAR
    for j in range(n):
        low[j], high[j] = start, -start
    for e in range(first, last):
        if mode == PLANES:
            _clip_chords(at[e], turn, rule, low, high)
        elif at[e, 6] == 0.0:
            for j in range(_first_chord(at[e, 3], rule), _chords_end(at[e, 2], rule)):
                v = rule[0, j]
                if at[e, 2] <= v <= at[e, 3]:
                    u = at[e, 0] + at[e, 1] * v
                    low[j], high[j] = min(low[j], u), max(high[j], u)
