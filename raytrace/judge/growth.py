"""How far a guide may grow about its own centre before a part shows: a wider guide holds every narrower one, so yes or no is monotone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from raytrace.box import Box
from raytrace.camera import Guide
from raytrace.judge.field import cell_of, has_all
from raytrace.judge.pieces import Pieces
from raytrace.judge.rooms import GuideBeam, room_in_cell, touches
from raytrace.lens import LensState

FloatArray = NDArray[np.float64]

WIDEST_SCALE = 1.5  # a frame half as wide again: beyond this nobody asks
NARROWEST_SCALE = 0.05
SCALE_STEP = 1e-4  # a hundredth of a percent of the frame: finer than any mount repeats
LEAST_STEP = 1e-9  # where a room above 0 has to show as a margin above 0
MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class Growth:
    """The largest scale at which all stays clear, which part ends it (None at an end of the search), and whether the lens's field does."""

    scale: float
    part: int | None
    capped: bool
    field_ends: bool


@dataclass(slots=True)
class Search:
    """Beams of a guide at scales already asked for."""

    lenses: tuple[LensState, ...]
    box: Box
    guide: Guide
    parts: Sequence[Pieces]
    _beams: dict[float, GuideBeam] = field(default_factory=dict)

    def beam(self, scale: float) -> GuideBeam:
        """The beam of the guide at a scale."""
        if scale not in self._beams:
            self._beams[scale] = GuideBeam(self.lenses, self.box, cell_of(self.guide, scale))
        return self._beams[scale]

    def in_field(self, scale: float) -> bool:
        """Whether the lens has light for the whole of the grown guide."""
        return has_all(self.lenses, cell_of(self.guide, scale))


def growth(search: Search, numbers: Sequence[int], clear: bool) -> Growth:
    """The growth that some of the parts leave; `clear` is whether they are at scale 1."""
    stop_at_field = search.in_field(1.0)
    low, high = (1.0, WIDEST_SCALE) if clear else (NARROWEST_SCALE, 1.0)
    order, ended, field_ends = list(numbers), None, False
    signs: list[tuple[float, float]] = []
    for step in range(MOST_STEPS):
        if high - low <= SCALE_STEP and not (clear and low == 1.0 and high - low > LEAST_STEP):
            break
        scale = _next(low, high, signs, clear, step)
        if stop_at_field and clear and not search.in_field(scale):
            high, ended, field_ends = scale, None, True
            continue
        hit, room = _first_touched(search, scale, order)
        if hit is None:
            if scale in (WIDEST_SCALE,):
                return Growth(WIDEST_SCALE, None, True, False)
            low = scale
            signs.append((scale, room))
        else:
            order.remove(hit)
            order.insert(0, hit)  # what touched last is likely to touch again
            high, ended, field_ends = scale, hit, False
            if scale == NARROWEST_SCALE:
                return Growth(NARROWEST_SCALE, hit, True, False)
            if room < 0.0:
                signs.append((scale, room))
    if ended is None and not field_ends:
        ended = _first_touched(search, high, order)[0]
    return Growth(low, ended, False, field_ends)


def _next(low: float, high: float, signs: list[tuple[float, float]], clear: bool, step: int) -> float:
    """The scale to ask next: the far end first, then where the rooms known so far come to nought, a hair to the other side of it."""
    if step == 0:
        return high if clear else low
    middle = (low + high) / 2
    if len(signs) < 2 or step % 4 == 3:
        return middle
    (a, at_a), (b, at_b) = sorted(signs, key=lambda pair: abs(pair[1]))[:2]
    if at_a == at_b:
        return middle
    root = a - at_a * (b - a) / (at_b - at_a)
    root += 0.4 * SCALE_STEP * (1.0 if signs[-1][1] > 0 else -1.0)
    return root if low + 0.1 * SCALE_STEP < root < high - 0.1 * SCALE_STEP else middle


def _first_touched(search: Search, scale: float, order: Sequence[int]) -> tuple[int | None, float]:
    """A part that touches the grown beam, or None; and the room as far as known: its own, or the least of all."""
    beam, least = search.beam(scale), np.inf
    for number in order:
        part = search.parts[number]
        if beam.beam.loose:
            if touches(beam, beam.cell, part):
                return number, 0.0
            continue
        room = float(room_in_cell(beam, beam.cell, part)[0])
        if room <= 0.0 and touches(beam, beam.cell, part):
            return number, room
        least = min(least, room)
    return None, least
