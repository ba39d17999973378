"""How far a guide may grow about its own centre before a part shows.

A wider guide holds every narrower one, so yes or no is monotone, and no part is stepped over, however narrow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from raytrace.box import Box
from raytrace.judge.field import Cell, cell_of, has_all
from raytrace.judge.pieces import Pieces
from raytrace.judge.rooms import GuideBeam, room, room_in_cell
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState

FloatArray = NDArray[np.float64]

WIDEST_SCALE = 1.5  # a frame half as wide again: beyond this nobody asks
NARROWEST_SCALE = 0.05
SCALE_STEP = 1e-4  # a hundredth of a percent of the frame: finer than any mount repeats
LEAST_STEP = 1e-9  # where a room above 0 has to show as a margin above 0
MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class Growth:
    """The largest scale at which all stays clear, which part ends it, whether the search ended first, or the lens's field."""

    scale: float
    part: int | None
    capped: bool
    field_ends: bool


@dataclass(slots=True)
class Search:
    """Beams of a guide at scales already asked for; at which scale which part last touched the light of which cell."""

    lenses: tuple[LensState, ...]
    box: Box
    guide: Guide
    parts: Sequence[Pieces]
    _beams: dict[float, GuideBeam] = field(default_factory=dict)
    last: tuple[float, int, Cell] | None = None

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
    signs = [(1.0, room_mm)] if room_mm != 0.0 and np.isfinite(room_mm) else []
    left = list(numbers)
    for step in range(MOST_STEPS):
        if high - low <= SCALE_STEP and not (clear and low == 1.0 and high - low > LEAST_STEP):
            break
        scale = _next(low, high, signs, (high if clear else low) if step == 0 else None, step)
        if stop_at_field and not search.in_field(scale):
            high, ended, field_ends = scale, None, True
            continue
        hit, room_mm, left = _nearest(search, scale, left)
        if abs(room_mm) > 0.0 and np.isfinite(room_mm):
            signs.append((scale, room_mm))
        if room_mm <= 0.0:
            high, ended, field_ends = scale, hit, False
        else:
            low = scale
        if step == 0 and (room_mm > 0.0) == clear:
            return Growth(scale, hit if room_mm <= 0.0 else None, True, False)
    if ended is None and not field_ends:
        ended = _nearest(search, high, left)[0]
    return Growth(low, ended, False, field_ends)


def _next(low: float, high: float, signs: list[tuple[float, float]], end: float | None, step: int) -> float:
    """The scale to ask next: the far end first, then where the rooms known come to nought, a hair to the other side of it."""
    if end is not None:
        return end
    middle = (low + high) / 2
    if len(signs) < 2 or step % 4 == 3:
        return middle
    (a, at_a), (b, at_b) = sorted(signs, key=lambda pair: abs(pair[1]))[:2]
    if at_a == at_b:
        return middle
    root = a - at_a * (b - a) / (at_b - at_a) + 0.4 * SCALE_STEP * np.sign(signs[-1][1])
    return float(root) if low + 0.1 * SCALE_STEP < root < high - 0.1 * SCALE_STEP else middle


def _nearest(search: Search, scale: float, numbers: list[int]) -> tuple[int, float, list[int]]:
    """The part with the least room beside the grown guide, and that room [mm]; bodies that touch may stop at 0.

    Also what parts are left: where some touch, those that don't are clear of every narrower guide as well.
    """
    beam = search.beam(scale)
    again = _touched_again(search, scale, numbers)
    if again is not None:
        return *again, numbers
    found = {number: room(beam, search.parts[number], 0.0, with_depth=False) for number in numbers}
    hit = min(found, key=lambda number: found[number][0][0])
    row, cell = found[hit]
    if row[0] > 0.0:
        return hit, float(row[0]), numbers
    if cell.level:
        search.last = (scale, hit, cell)
    return hit, float(row[0]), [number for number in numbers if found[number][0][0] <= 0.0]


def _touched_again(search: Search, scale: float, numbers: Sequence[int]) -> tuple[int, float] | None:
    """The part that touched at another scale and its room, if it still touches the light of the same cell."""
    if search.last is None or search.last[1] not in numbers:
        return None
    (at, number, cell), (x, y) = search.last, search.guide.centre_mm
    grow = scale / at
    again = Cell(
        x + (cell.left - x) * grow, x + (cell.right - x) * grow, y + (cell.low - y) * grow, y + (cell.high - y) * grow, cell.level
    )
    row = room_in_cell(search.beam(scale), again, search.parts[number])
    return (number, float(row[0])) if row[0] <= 0.0 and not search.beam(scale).may_halve(again) else None
