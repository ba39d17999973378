"""Kernels: blocks of any kind, by chords across the disc: exact intervals along each chord, a Gauss sum across them.

Chords lie at v = cos(k pi / (N + 1)) and carry the weight 2 / (N + 1) sin^2(k pi / (N + 1)): Gauss's rule for the weight
sqrt(1 - v^2), which is the half length of a chord, so the sum of their open shares is the disc's open share.

Source: Gauss-Chebyshev rule of the second kind, Abramowitz and Stegun, 25.4.40 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.chord_steps import chords_end, first_chord
from raytrace.coverage.kernels.intervals import cut_out, keep_only, most_of, open_length, stop_layers
from raytrace.coverage.kernels.project import between
from raytrace.coverage.kernels.scratch import (
    ALL_DARK,
    END_A,
    END_B,
    FIRST,
    HULL_FIRST,
    HULL_LAST,
    HULL_MODE,
    LANES,
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
from raytrace.coverage.kernels.side_by_side import (
    cut_from_all,
    cut_round_way,
    keep_of_all,
    open_bare,
    set_all_apart,
    stop_all,
    weighed,
)
from raytrace.coverage.kernels.web_kernels import step_of
from raytrace.coverage.tables.tables import PASSES
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]

LEAST_LOSS = 1e-7  # shares of loss below this are rounding
FAR = 1e30

# Rows of a block's share of Tally.lane, a column for each side: u and v of both ends at the first pixel of a row, what they change
# by up to its last; then at the pixel at hand u = C + K v on the side, v from LOW to HIGH, 1 or -1 as it runs up or down, 1 where
# it does neither.
ENDS, CHANGES = 0, 4
C, K, LOW, HIGH, UPWARD, LEVEL = range(8, 14)


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
    lane = w.lane[: LANES * len(b.side)].reshape((LANES, len(b.side)))  # as near together as they can be
    across, down = 1.0 / max(rect[3] - rect[2] - 1, 1), 1.0 / max(rect[1] - rect[0] - 1, 1)
    for r in range(rect[0], rect[1]):
        fy = (r - rect[0]) * down
        _sides_of_row(b.side, lane, fy)
        for c in range(rect[2], rect[3]):
            fx = (c - rect[2]) * across
            _sides_at(b, w, lane, fx, fy)
            for k in range(len(b.entry)):
                w.row[8, b.entry[k, PART]] = 0.0
            for k in range(len(b.entry)):
                _set_reach(b, lane, b.entry[k, MODE], b.entry[k, FIRST], b.entry[k, LAST])
                _set_reach(b, lane, b.entry[k, HULL_MODE], b.entry[k, HULL_FIRST], b.entry[k, HULL_LAST])
            if convex:
                share = _convex_pixel(b, w, lane, rule)
            else:
                x, y = place[0] + (place[1] - place[0]) * fx, place[2] + (place[3] - place[2]) * fy
                share = _any_pixel(b, w, lane, cut_by_lens, x, y, rule)
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
def _sides_of_row(side: FloatArray, lane: FloatArray, fy: float) -> None:
    """What the sides' ends are at the first pixel of a row, and how much they change up to its last."""
    for n in range(len(side)):
        spots = side[n]
        for i in range(4):
            at = i if i < 2 else i + 6
            first = spots[at] + (spots[at + 4] - spots[at]) * fy
            lane[ENDS + i, n] = first
            lane[CHANGES + i, n] = spots[at + 2] + (spots[at + 6] - spots[at + 2]) * fy - first


@compiled
def _sides_at(b: Block, w: Tally, lane: FloatArray, fx: float, fy: float) -> None:
    """Sides and web edges at a pixel: u = c + k v on the edge, v from low to high, which side is inside, step.

    Sides are columns of `lane`, worked out side by side; web edges rows of w.at after as many as there are sides.
    """
    sides = len(b.side)
    for n in range(sides):
        au, av = lane[0, n] + lane[4, n] * fx, lane[1, n] + lane[5, n] * fx
        bu, bv = lane[2, n] + lane[6, n] * fx, lane[3, n] + lane[7, n] * fx
        rise = bv - av
        level = rise == 0.0
        k = (bu - au) / (1e-300 if level else rise)
        k = 0.0 if level else k
        lane[C, n], lane[K, n] = au - k * av, k
        lane[LOW, n], lane[HIGH, n] = min(av, bv), max(av, bv)
        lane[UPWARD, n] = 1.0 if (bu - au if level else rise) > 0.0 else -1.0
        lane[LEVEL, n] = 1.0 if level else 0.0
    for n in range(len(b.web)):
        for k in range(4):
            w.hand[2 * k], w.hand[2 * k + 1] = between(b.web[n], 8 * k, fx, fy), between(b.web[n], 8 * k + 1, fx, fy)
        _row(w.at[sides + n], w.hand[0], w.hand[1], w.hand[2], w.hand[3])
        w.at[sides + n, 5] = step_of(w.hand, 0, b.web[n])


@compiled
def _row(row: FloatArray, au: float, av: float, bu: float, bv: float) -> None:
    rise = bv - av
    row[1] = (bu - au) / rise if rise != 0.0 else 0.0
    row[0] = au - row[1] * av
    row[2], row[3] = min(av, bv), max(av, bv)


@compiled
def _set_reach(b: Block, lane: FloatArray, mode: int, first: int, last: int) -> None:
    """Let sides of an ordered outline count for the chords between their ends alone: LOW and HIGH of theirs.

    Beyond an end the next side bounds the outline closer, if it is listed and goes on the same way up or down; else the side
    counts for all chords beyond.
    """
    if mode != PLANES or first >= last:
        return
    comes_so = _goes_on(b.side, lane, last - 1, first)
    for e in range(first, last):
        goes_on = _goes_on(b.side, lane, e, e + 1 if e + 1 < last else first)
        rises, level = lane[UPWARD, e] > 0.0, lane[LEVEL, e] != 0.0
        up, down = goes_on if rises else comes_so, comes_so if rises else goes_on
        lane[HIGH, e] = lane[HIGH, e] if up | level else FAR
        lane[LOW, e] = lane[LOW, e] if down | level else -FAR
        comes_so = goes_on


@compiled
def _goes_on(side: FloatArray, lane: FloatArray, e: int, after: int) -> bool:
    """Whether the side after e begins where e ends and goes on the same way up or down."""
    linked, alike = side[e, END_B] == side[after, END_A], lane[UPWARD, e] == lane[UPWARD, after]
    return bool(linked & alike & (lane[LEVEL, e] == 0.0) & (lane[LEVEL, after] == 0.0))


@compiled
def _convex_pixel(b: Block, w: Tally, lane: FloatArray, rule: FloatArray) -> float:
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
                _clip_chords(lane, e, inward, rule, low, high)
            for j in range(n):
                after += max(high[j] - low[j], 0.0) * rule[3, j]
        w.row[8, entry[PART]] += before - after
        before = after
    return before


@compiled
def _clip_chords(lane: FloatArray, e: int, inward: float, rule: FloatArray, low: FloatArray, high: FloatArray) -> None:
    """Cut the open piece of all chords at one side. One that runs upward, its inside to the left, keeps what is left of it."""
    c, k, turn = lane[C, e], lane[K, e], lane[UPWARD, e] * inward
    if lane[LEVEL, e] != 0.0:
        for j in range(len(rule[0])):
            if (rule[0, j] - lane[LOW, e]) * turn < 0.0:
                high[j] = -FAR
        return
    first, end = first_chord(lane[HIGH, e], rule), chords_end(lane[LOW, e], rule)
    if turn > 0.0:
        for j in range(first, end):
            u = c + k * rule[0, j]
            high[j] = min(high[j], u)
    else:
        for j in range(first, end):
            u = c + k * rule[0, j]
            low[j] = max(low[j], u)


@compiled
def _any_pixel(b: Block, w: Tally, lane: FloatArray, cut_by_lens: int, x: float, y: float, rule: FloatArray) -> float:
    """Clear share of the bare pupil whatever the shapes; w.row[8] gets what each part stops first.

    All chords go side by side as long as what is open of them is one piece each; those that fall apart go on one by one.
    """
    low, high, apart, weight = w.row[0], w.row[1], w.row[9], rule[3]
    open_bare(w.lens, cut_by_lens, x, y, rule, low, high, apart)
    bare = weighed(low, high, weight)
    _set_spans(b, w, lane, rule)
    clear = bare
    for k in range(len(b.entry)):
        _side_by_side(b.entry[k], k, w, len(weight))
        after = weighed(low, high, weight)
        w.row[8, b.entry[k, PART]] += clear - after
        clear = after
    for j in range(len(weight)):
        if apart[j] != 0.0:
            w.row[2, 0], w.row[3, 0] = low[j], high[j]
            length = high[j] - low[j]
            clear += _chord(b, w, int(apart[j]) - 1, j, rule[0, j], weight[j], length) - length * weight[j]
    return clear / bare if bare > 0.0 else 1.0


@compiled
def _side_by_side(entry: Ints, k: int, w: Tally, n: int) -> None:
    """Let entry k stop its own of every chord that is not set aside."""
    low, high, apart, mark = w.row[0], w.row[1], w.row[9], k + 1.0
    if entry[MODE] == ALL_DARK:
        stop_all(low, high, apart, n)
    elif entry[MODE] == WEBBED:
        set_all_apart(low, high, apart, n, mark)
    elif entry[SENSE] != PASSES:
        cut_from_all(low, high, apart, w.span[4 * k], w.span[4 * k + 1], n, mark)
    elif entry[HULL_MODE] == NO_MODE:
        keep_of_all(low, high, apart, w.span[4 * k], w.span[4 * k + 1], n)
    else:
        cut_round_way(low, high, apart, w.span[4 * k], w.span[4 * k + 1], w.span[4 * k + 2], w.span[4 * k + 3], n, mark)


@compiled
def _chord(b: Block, w: Tally, first: int, chord: int, v: float, weight: float, length: float) -> float:
    """Weighted open length of one chord after all entries from `first` on, in order."""
    pieces, before = 1, length
    for k in range(first, len(b.entry)):
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
def _set_spans(b: Block, w: Tally, lane: FloatArray, rule: FloatArray) -> None:
    """Where the entries' shapes, and the hulls about them, begin and end on every chord: four rows of w.span for each."""
    for k in range(len(b.entry)):
        entry = b.entry[k]
        if entry[MODE] == ALL_DARK:
            break
        if entry[MODE] != WEBBED:
            _set_span(lane, entry[MODE], entry[FIRST], entry[LAST], float(entry[TURN]), rule, w.span[4 * k], w.span[4 * k + 1])
        if entry[HULL_MODE] != NO_MODE:
            first, last = entry[HULL_FIRST], entry[HULL_LAST]
            _set_span(lane, entry[HULL_MODE], first, last, 1.0, rule, w.span[4 * k + 2], w.span[4 * k + 3])


@compiled
def _set_span(
    lane: FloatArray, mode: int, first: int, last: int, turn: float, rule: FloatArray, low: FloatArray, high: FloatArray
) -> None:
    """The piece of every chord inside a convex shape, low >= high where there is none."""
    n = len(rule[0])
    start = -FAR if mode == PLANES else FAR
    for j in range(n):
        low[j], high[j] = start, -start
    for e in range(first, last):
        if mode == PLANES:
            _clip_chords(lane, e, turn, rule, low, high)
        elif lane[LEVEL, e] == 0.0:
            c, k, bottom, top = lane[C, e], lane[K, e], lane[LOW, e], lane[HIGH, e]
            for j in range(first_chord(top, rule), chords_end(bottom, rule)):
                v = rule[0, j]
                u, crosses = c + k * v, (bottom <= v) & (v <= top)
                low[j] = min(low[j], u) if crosses else low[j]
                high[j] = max(high[j], u) if crosses else high[j]
