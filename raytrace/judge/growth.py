"""How far a guide may grow about its own centre before a part shows.

A wider guide holds every narrower one, so yes or no is monotone, and no part is stepped over, however narrow.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from raytrace.box import Box
from raytrace.judge.body import Beam, NotFollowed, legs_of
from raytrace.judge.field import Cell, cell_of, has_all
from raytrace.judge.nearest import nearest
from raytrace.judge.pieces import Pieces
from raytrace.judge.rooms import DEEPEST_LEVEL, GuideBeam, room
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState

FloatArray = NDArray[np.float64]

WIDEST_SCALE = 1.5  # a frame half as wide again: beyond this nobody asks
NARROWEST_SCALE = 0.05
SCALE_STEP = 1e-4  # a hundredth of a percent of the frame: finer than any mount repeats
LEAST_STEP = 1e-9  # where a room above 0 has to show as a margin above 0
MOST_STEPS = 60
ASK_MIDDLE = 8  # every so many steps, the middle of what is left, whatever the cell that came nearest says


@dataclass(frozen=True, slots=True)
class Growth:
    """The largest scale at which all stays clear, which part ends it, whether the search ended first, or the lens's field."""

    scale: float
    part: int | None
    capped: bool
    field_ends: bool


@dataclass(slots=True)
class Search:
    """Beams of a guide at scales already asked for.

    last: the scale asked last, which part came nearest then, to the light of which cell, and that room [mm].
    """

    lenses: tuple[LensState, ...]
    box: Box
    guide: Guide
    parts: Sequence[Pieces]
    _beams: dict[float, GuideBeam] = field(default_factory=dict)
    last: tuple[float, int, Cell, float] | None = None

    def beam(self, scale: float) -> GuideBeam:
        """The beam of the guide at a scale."""
        if scale not in self._beams:
            self._beams[scale] = GuideBeam(self.lenses, self.box, cell_of(self.guide, scale))
        return self._beams[scale]

    def in_field(self, scale: float) -> bool:
        """Whether the lens has light for the whole of the grown guide."""
        return has_all(self.lenses, cell_of(self.guide, scale))


def growth(search: Search, numbers: Sequence[int], room_mm: float) -> Growth:
    """The growth that some of the parts leave; `room_mm` is the least room of these at scale 1, above 0 where they are clear."""
    clear = room_mm > 0.0
    stop_at_field = clear and search.in_field(1.0)
    low, high = (1.0, WIDEST_SCALE) if clear else (NARROWEST_SCALE, 1.0)
    ended: int | None = None
    field_ends = False
    left = list(numbers)
    for step in range(MOST_STEPS):
        if high - low <= SCALE_STEP and not (clear and low == 1.0 and high - low > LEAST_STEP):
            break
        if step == 0:
            scale = high if clear else low
        else:
            scale, touched = _next(search, low, high, step)
            if touched < high:
                assert search.last is not None
                high, ended, field_ends = touched, search.last[1], False
        if stop_at_field and not search.in_field(scale):
            high, ended, field_ends = scale, None, True
            continue
        hit, room_mm, left = _nearest(search, scale, left)
        if room_mm <= 0.0:
            high, ended, field_ends = scale, hit, False
        else:
            low = scale
        if step == 0 and (room_mm > 0.0) == clear:
            return Growth(scale, hit if room_mm <= 0.0 else None, True, False)
    if ended is None and not field_ends:
        ended = _nearest(search, high, left)[0]
    return Growth(low, ended, False, field_ends)


def _next(search: Search, low: float, high: float, step: int) -> tuple[float, float]:
    """The scale to ask next, and one where something is known to touch, or `high`.

    The part that came nearest at last and the smallest cell that it came nearest to are followed alone, to where they touch: they
    do so in earnest, so the scale to ask lies just inside.
    """
    middle = (low + high) / 2
    if search.last is None or step % ASK_MIDDLE == 0:
        return middle, high
    scale, number, cell, room_mm = search.last
    cut, nearest_cell = search.beam(scale).beam, cell
    while cell.level < DEEPEST_LEVEL and cut.loose:
        cell = min(cell.quarters(), key=lambda quarter: _probe(search, cut, quarter, number))

    def room_at(at: float) -> float:
        if at == scale and cell is nearest_cell:
            return room_mm
        return _probe(search, cut, _grown(search, cell, at / scale), number)

    at_low, at_high = room_at(low), room_at(high)
    if at_high > 0.0:  # it touched by a hair, in a beam cut a little differently
        return max(high - SCALE_STEP / 2, middle), high
    if at_low <= 0.0:
        return min(low + SCALE_STEP / 2, middle), high
    clear, touched = _root(room_at, (low, at_low), (high, at_high), runs_straight=not cut.loose)
    return (clear if clear > low else (low + touched) / 2), touched


def _root(
    room_at: Callable[[float], float], clear: tuple[float, float], touched: tuple[float, float], *, runs_straight: bool
) -> tuple[float, float]:
    """Two scales less than SCALE_STEP apart, clear at the first and not at the second, between two that are such, with their rooms.

    A room that runs straight with the scale is followed on from two scales that are clear.
    """
    (low, at_low), (high, at_high) = clear, touched
    before: tuple[float, float] | None = None
    for step in range(MOST_STEPS):
        if high - low <= SCALE_STEP / 2:
            break
        scale = _guess(low, high, at_low, at_high, before) if step % 4 < 3 else None
        if scale is None:
            scale = (low + high) / 2
        else:  # now this side of where it seems to touch, now that
            scale = min(max(scale + (0.2 if step % 2 else -0.2) * SCALE_STEP, low + 0.2 * SCALE_STEP), high - 0.2 * SCALE_STEP)
        room_mm = room_at(scale)
        if room_mm > 0.0:
            before = (low, at_low) if runs_straight else None
            low, at_low = scale, room_mm
        else:
            high, at_high = scale, room_mm
    return low, high


def _guess(low: float, high: float, at_low: float, at_high: float, before: tuple[float, float] | None) -> float | None:
    """Where a room would be nought if it ran straight: on from two scales that are clear, or between clear and touched."""
    if before is not None and before[1] > at_low:
        onward = low + at_low / (before[1] - at_low) * (low - before[0])
        if onward < high:
            return onward
    return low + at_low / (at_low - at_high) * (high - low) if at_high < 0.0 else None


def _probe(search: Search, cut: Beam, cell: Cell, number: int) -> float:
    """The room of a part beside one cell, its beam cut as that of another guide: it says where to look, and what touches."""
    try:
        return float(nearest(legs_of(cut, cell), search.parts[number])[0])
    except NotFollowed:
        return -np.inf


def _grown(search: Search, cell: Cell, by: float) -> Cell:
    """A cell about the guide's centre, grown."""
    x, y = search.guide.centre_mm
    return Cell(x + (cell.left - x) * by, x + (cell.right - x) * by, y + (cell.low - y) * by, y + (cell.high - y) * by, cell.level)


def _nearest(search: Search, scale: float, numbers: list[int]) -> tuple[int, float, list[int]]:
    """The part with the least room beside the grown guide, and that room [mm]; bodies that touch may stop at 0.

    Also what parts are left: where some touch, those that don't are clear of every narrower guide as well.
    """
    beam = search.beam(scale)
    found = {number: room(beam, search.parts[number], 0.0, with_depth=False) for number in numbers}
    hit = min(found, key=lambda number: found[number][0][0])
    row, cell = found[hit]
    search.last = (scale, hit, cell, float(row[0]))
    if row[0] > 0.0:
        return hit, float(row[0]), numbers
    return hit, float(row[0]), [number for number in numbers if found[number][0][0] <= 0.0]
