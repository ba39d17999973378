"""Kernels: blocks where everything that cuts the discs is one straight side, or several parallel ones. Exact, and fast.

Parallel sides turn the disc into a line: pieces of their common normal, each worth the slice of the disc that it spans.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.kernels.intervals import cut_out, keep_only, most_of
from raytrace.coverage.kernels.project import cross_of, length_of
from raytrace.coverage.kernels.scratch import (
    ALL_DARK,
    FIRST,
    HULL_FIRST,
    HULL_LAST,
    HULL_MODE,
    LAST,
    MODE,
    NO_MODE,
    PART,
    SENSE,
    SPAN,
    TURN,
    WEBBED,
    Block,
    Tally,
)
from raytrace.coverage.tables.tables import PASSES
from raytrace.jit.compiled import compiled

Ints = NDArray[np.int64]
ShareMap = NDArray[np.float32]
PartMap = NDArray[np.int16]

LEAST_ASKEW = 1e-5  # [rad] sides count as parallel within this: they part by less than a hundred-thousandth of the disc across it
SINGLE, PARALLEL, CROSSED = 0, 1, 2
FAR, ENDLESS = 1e6, -1.0  # along the common normal [pupil radii]; in place of a side where a piece has no end
LEAST_LOSS = 1e-7  # shares of loss below this are rounding
EVEN = 1e-5  # a side's distance may stray this much, in pupil radii, from a straight course over the block


@compiled
def segment_share(h: float) -> float:
    """Share of the unit disc within a straight side at distance h from its centre, 0..1; h < 0 with the centre outside.

    1 - (acos h - h sqrt(1 - h^2)) / pi, with acos x = sqrt(1 - x) times a polynomial, good to 2e-8.

    Source: circular segment; Abramowitz and Stegun, 4.4.46 (from memory).
    """
    x = min(abs(h), 1.0)
    p = ((((((-0.0012624911 * x + 0.0066700901) * x - 0.0170881256) * x + 0.0308918810) * x - 0.0501743046) * x + 0.0889789874) * x
         - 0.2145988016) * x + 1.5707963050  # fmt: skip
    cut = math.sqrt(1.0 - x) * (p - x * math.sqrt(1.0 + x)) * (1.0 / math.pi)
    cut = max(cut, 0.0)
    return 1.0 - cut if h >= 0.0 else cut


@compiled
def course_of(entry: Ints, side: FloatArray, at: FloatArray) -> int:
    """SINGLE where one half plane cuts the block's discs, PARALLEL where all sides run one way, CROSSED otherwise.

    Each side gets a row of `at`: where it crosses the common normal at the block's four corners, 1 or -1 as its shape lies below or
    above. The normal is that of the first side, pointing out of the first entry's way through.
    """
    entries, sides = len(entry), len(side)
    for k in range(entries):
        if entry[k, MODE] == SPAN or entry[k, MODE] == WEBBED or entry[k, HULL_MODE] == SPAN:
            return CROSSED
    turn = float(entry[0, TURN]) if entry[0, SENSE] == PASSES else -float(entry[0, TURN])
    for e in range(sides):
        if not _runs_along(side[e], turn, at, e):
            return CROSSED
    if entries == 1 and sides == 1:
        return SINGLE
    for k in range(entries):
        turn_k = float(entry[k, TURN]) * turn
        for e in range(entry[k, HULL_FIRST], entry[k, HULL_LAST]):
            at[e, 4] = at[e, 7] * turn
        for e in range(entry[k, FIRST], entry[k, LAST]):
            at[e, 4] = at[e, 7] * turn_k
    return PARALLEL


@compiled
def _runs_along(side: FloatArray, turn: float, at: FloatArray, n: int) -> bool:
    """Whether the side runs along the first one and keeps an even course over the block; its places on the normal go in row n."""
    au, av, bu, bv = 0.0, 0.0, 0.0, 0.0
    way = 1.0
    for c in range(4):
        length = max(length_of(side, c), 1e-300)
        u, v = turn * (side[8 + 2 * c] - side[2 * c]) / length, turn * (side[9 + 2 * c] - side[2 * c + 1]) / length
        if c == 0:
            if n == 0:
                at[0, 5], at[0, 6] = u, v
            way = 1.0 if u * at[0, 5] + v * at[0, 6] >= 0.0 else -1.0
        if abs(u * at[0, 6] - v * at[0, 5]) > LEAST_ASKEW or way * (u * at[0, 5] + v * at[0, 6]) < 0.0:
            return False
        at[n, c] = way * turn * cross_of(side, c, c) / length
        au, av = au + 0.25 * side[2 * c], av + 0.25 * side[2 * c + 1]
        bu, bv = bu + 0.25 * side[8 + 2 * c], bv + 0.25 * side[9 + 2 * c]
    at[n, 4] = at[n, 7] = way  # as it runs; entries may share a side
    du, dv = bu - au, bv - av
    length = max(math.sqrt(du * du + dv * dv), 1e-300)
    return bool(abs(way * turn * (au * bv - av * bu) / length - 0.25 * (at[n, 0] + at[n, 1] + at[n, 2] + at[n, 3])) < EVEN)


@compiled
def cover_nearest(at: FloatArray, part: int, row: FloatArray, rect: Ints, clear: ShareMap, by: PartMap) -> None:
    """Fill the block that one half plane cuts; what is lost there goes to `part`."""
    row[6, 0], row[7, 0] = ENDLESS, 0.0
    _fill_pieces(at, 1, part, row, rect, clear, by)


@compiled
def cover_parallel(b: Block, w: Tally, rect: Ints, clear: ShareMap, by: PartMap) -> None:
    """Fill the block that parallel sides cut: everything happens along their common normal.

    Where the corners and the middle agree on what comes first, and between which sides the disc stays open, so does all in between.
    """
    part, same, pieces = -1, True, -1
    for k in range(5):
        r = (rect[0] + rect[1]) // 2 if k == 4 else (rect[0] if k < 2 else rect[1] - 1)
        c = (rect[2] + rect[3]) // 2 if k == 4 else (rect[2] if k % 2 == 0 else rect[3] - 1)
        found = _parallel_pixel(b, w, r, c, rect, clear, by)
        if by[r, c] >= 0:
            same &= part < 0 or by[r, c] == part
            part = by[r, c]
        same &= _same_pieces(w.row, len(b.side), found, pieces)
        pieces = found
    if same and part >= 0:
        _fill_pieces(w.at, pieces, part, w.row, rect, clear, by)
    else:
        for r in range(rect[0], rect[1]):
            for c in range(rect[2], rect[3]):
                _parallel_pixel(b, w, r, c, rect, clear, by)


@compiled
def _same_pieces(row: FloatArray, sides: int, pieces: int, before: int) -> bool:
    """Whether the open pieces lie between the same sides as those noted in rows 6 and 7; notes them if it is the first time."""
    if before >= 0 and pieces != before:
        return False
    same = True
    for i in range(pieces):
        low, high = ENDLESS, ENDLESS
        for e in range(sides):
            low = float(e) if row[0, e] == row[2, i] else low
            high = float(e) if row[0, e] == row[3, i] else high
        same &= before < 0 or (row[6, i] == low and row[7, i] == high)
        row[6, i], row[7, i] = low, high
    return same


@compiled
def _fill_pieces(at: FloatArray, pieces: int, part: int, row: FloatArray, rect: Ints, clear: ShareMap, by: PartMap) -> None:
    """Fill the block where the disc stays open between the sides noted in rows 6 and 7."""
    wide = rect[3] - rect[2]
    across, down = 1.0 / max(wide - 1, 1), 1.0 / max(rect[1] - rect[0] - 1, 1)
    for r in range(rect[0], rect[1]):
        for k in range(wide):
            row[1, k] = 0.0
        for i in range(pieces):
            _add_slices(at, int(row[7, i]), 1.0, (r - rect[0]) * down, across, wide, row)
            if row[6, i] != ENDLESS:
                _add_slices(at, int(row[6, i]), -1.0, (r - rect[0]) * down, across, wide, row)
        for k in range(wide):
            share = np.float32(row[1, k])
            clear[r, rect[2] + k] = share
            by[r, rect[2] + k] = part if share < np.float32(1.0) else -1


@compiled
def _add_slices(at: FloatArray, e: int, sign: float, fy: float, across: float, wide: int, row: FloatArray) -> None:
    """Add the disc's share below side e, along a row of pixels, to row[1]; all of it where there is no side."""
    if e < 0:
        for k in range(wide):
            row[1, k] += sign
        return
    h = at[e, 0] + (at[e, 2] - at[e, 0]) * fy
    step = (at[e, 1] + (at[e, 3] - at[e, 1]) * fy - h) * across
    for k in range(wide):
        row[1, k] += sign * segment_share(h + step * k)


@compiled
def _places(at: FloatArray, sides: int, r: int, c: int, rect: Ints, row: FloatArray) -> None:
    """Put where each side crosses the common normal at a pixel into row[0]."""
    fx, fy = (c - rect[2]) / max(rect[3] - rect[2] - 1, 1), (r - rect[0]) / max(rect[1] - rect[0] - 1, 1)
    for e in range(sides):
        top, bottom = at[e, 0] + (at[e, 1] - at[e, 0]) * fx, at[e, 2] + (at[e, 3] - at[e, 2]) * fx
        row[0, e] = top + (bottom - top) * fy


@compiled
def _parallel_pixel(b: Block, w: Tally, r: int, c: int, rect: Ints, clear: ShareMap, by: PartMap) -> int:
    """One pixel, and what each part stops first; answers the number of pieces that stay open, which are in rows 2 and 3."""
    row, entries = w.row, len(b.entry)
    _places(w.at, len(b.side), r, c, rect, row)
    row[2, 0], row[3, 0] = -FAR, FAR
    pieces, before = 1, 1.0
    for k in range(entries):
        row[8, b.entry[k, PART]] = 0.0
    for k in range(entries):
        pieces = _after_entry(b.entry, k, w.at, row, pieces)
        after = 0.0
        for i in range(pieces):
            after += segment_share(row[3, i]) - segment_share(row[2, i])
        row[8, b.entry[k, PART]] += before - after
        before = after
    lost = before < 1.0 - LEAST_LOSS
    clear[r, c] = before if lost else 1.0
    by[r, c] = most_of(b.entry, row) if lost else -1
    return pieces


@compiled
def _after_entry(entry: Ints, k: int, at: FloatArray, row: FloatArray, pieces: int) -> int:
    """Number of open pieces of the normal once entry k has stopped its own."""
    if entry[k, MODE] == ALL_DARK:
        return 0
    low, high = _within(at, entry[k, FIRST], entry[k, LAST], row)
    if entry[k, SENSE] != PASSES:
        return cut_out(row, pieces, low, high)
    hull_low, hull_high = -2.0 * FAR, 2.0 * FAR
    if entry[k, HULL_MODE] != NO_MODE:
        hull_low, hull_high = _within(at, entry[k, HULL_FIRST], entry[k, HULL_LAST], row)
    return keep_only(row, pieces, low, high, hull_low, hull_high)


@compiled
def _within(at: FloatArray, first: int, last: int, row: FloatArray) -> tuple[float, float]:
    """Piece of the common normal inside a shape at a pixel."""
    low, high = -2.0 * FAR, 2.0 * FAR
    for e in range(first, last):
        t = row[0, e]
        low, high = (low, min(high, t)) if at[e, 4] > 0.0 else (max(low, t), high)
    return low, high
