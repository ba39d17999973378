"""How far a guide may grow about its own centre before a part shows.

A wider guide holds every narrower one, so yes or no is monotone, and no part is stepped over, however narrow.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from raytrace.box import Box
from raytrace.judge.body import Beam, NotFollowed, is_loose, legs_of
from raytrace.judge.field import Cell, cell_of, has_all
from raytrace.judge.kernels.depth import ANGLE, PICTURE, PLACE, ROOM
from raytrace.judge.nearest import nearest
from raytrace.judge.pieces import Pieces
from raytrace.judge.rooms import DEEPEST_LEVEL, GuideBeam, room_by, room_held
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState, pencils_for

FloatArray = NDArray[np.float64]

WIDEST_SCALE = 1.5  # a frame half as wide again: beyond this nobody asks
NARROWEST_SCALE = 0.05
SCALE_STEP = 1e-4  # a hundredth of a percent of the frame: finer than any mount repeats
LEAST_STEP = 1e-9  # where a room above 0 has to show as a margin above 0
MOST_STEPS = 60
MORE_MM = 1e-3  # parts that leave more than the nearest by this are not looked at closer
LEAST_RATE = 0.05  # of a place's distance from the axis: how fast it is neared at least, where the first scale to ask is guessed
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

    rows: the room of each part at scale 1 (FOUND,), and the cell that was nearest. last: the scale asked last, which part came
    nearest then, to the light of which cell, and that room [mm]. followed: the part followed since, and a scale just this side of
    where it touches. wide: parts that touched in the light of other places than the one nearest at scale 1.
    """

    lenses: tuple[LensState, ...]
    box: Box
    guide: Guide
    parts: Sequence[Pieces]
    rows: Sequence[tuple[FloatArray, Cell]]
    _beams: dict[float, GuideBeam] = field(default_factory=dict)
    _stand_ins: dict[int, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    _expected: FloatArray | None = None
    last: tuple[float, int, Cell, float] | None = None
    followed: tuple[int, float] | None = None
    wide: set[int] = field(default_factory=set)

    @property
    def expected(self) -> FloatArray:
        """The scale (P,) at which each part should come to touch, as its room at scale 1 tells: which to ask first, and where."""
        if self._expected is None:
            self._expected = 1.0 + _expected_growth(self.lenses, self.guide, np.array([row for row, _ in self.rows]))
        return self._expected

    def beam(self, scale: float) -> GuideBeam:
        """The beam of the guide at a scale."""
        if scale not in self._beams:
            self._beams[scale] = GuideBeam(self.lenses, self.box, cell_of(self.guide, scale))
        return self._beams[scale]

    def held(self, scale: float, number: int) -> GuideBeam:
        """The beam at a scale with the stand-ins that suited a part."""
        beam = self.beam(scale)
        for blend in self._stand_ins.get(number, ()):
            beam = beam.with_stand_in(blend)
        return beam

    def is_wide(self, number: int) -> bool:
        """Whether a part has to be followed in all light of a cell: where its edge is not enough, or another place came nearer."""
        return number in self.wide or is_loose(self.lenses)

    def some(self, scale: float, number: int) -> Beam:
        """How the beam at a scale is cut for a part, for the light alone that is near the place nearest at scale 1."""
        (x, y), row, cell = self.guide.centre_mm, self.rows[number][0], cell_of(self.guide)
        right = 0.5 + (float(row[PICTURE]) - x) / (cell.right - cell.left)
        up = 0.5 + (float(row[PICTURE + 1]) - y) / (cell.high - cell.low)
        return replace(self.held(scale, number).beam, near=(right, up), followed={})

    def room(self, scale: float, number: int, enough_mm: float) -> tuple[FloatArray, Cell]:
        """The room of a part beside the guide at a scale, by stand-ins known to suit it; bodies that touch may stop at 0.

        What leaves `enough_mm` is not looked at closer.
        """
        return room_by(self.held(scale, number), self.parts[number], 0.0, with_depth=False, enough_mm=enough_mm)

    def closer_room(self, scale: float, number: int) -> tuple[FloatArray, Cell]:
        """The same by further stand-ins that suit the part here."""
        beam = self.held(scale, number)
        row, cell, held = room_held(beam, self.parts[number], 0.0, with_depth=False)
        if held is not beam:
            self._stand_ins[number] = held.beam.stand_ins[len(self.beam(scale).beam.stand_ins) :]
        return row, cell

    def in_field(self, scale: float) -> bool:
        """Whether the lens has light for the whole of the grown guide."""
        return has_all(self.lenses, cell_of(self.guide, scale))


def _expected_growth(lenses: Sequence[LensState], guide: Guide, rows: FloatArray) -> FloatArray:
    """By how much a guide may grow until each part (P, FOUND) should come to touch: its room by how fast light nears its place.

    Light at a place moves across the axis as its chief ray does. It is a guess: nothing but the way of the search hangs on it.
    """
    place, way = rows[:, PLACE : PLACE + 3], np.column_stack([np.cos(rows[:, ANGLE]), np.sin(rows[:, ANGLE])])
    points = np.concatenate([rows[:, PICTURE : PICTURE + 2], [guide.centre_mm]])
    pencils = pencils_for(lenses[0], points)
    slope = pencils.slope[:-1] - pencils.slope[-1]
    run = place[:, 2:] - pencils.reference_z_mm[:-1]
    moved, lean = np.abs((way * slope * run).sum(axis=1)), (way * pencils.slope[:-1]).sum(axis=1)
    rate = np.maximum(moved / np.hypot(1.0, lean), LEAST_RATE * np.hypot(place[:, 0], place[:, 1]) + 1e-3)
    return np.asarray(rows[:, ROOM] / rate)


def growth(search: Search, numbers: Sequence[int]) -> Growth:
    """The growth that some of the parts leave."""
    left = sorted(numbers, key=lambda number: float(search.expected[number]))
    least_mm = min(float(search.rows[number][0][ROOM]) for number in numbers)
    clear = least_mm > 0.0
    stop_at_field = clear and search.in_field(1.0)
    low, high = (1.0, WIDEST_SCALE) if clear else (NARROWEST_SCALE, 1.0)
    search.last = None if clear else (1.0, left[0], search.rows[left[0]][1], float(search.rows[left[0]][0][ROOM]))
    ended: int | None = None if clear else left[0]
    field_ends = False
    for step in range(MOST_STEPS):
        if high - low <= SCALE_STEP and not (clear and low == 1.0 and high - low > LEAST_STEP):
            break
        if step == 0 and clear:
            scale = high
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
        if step == 0 and clear and room_mm > 0.0:
            return Growth(scale, None, True, False)
    if low == NARROWEST_SCALE:
        hit, room_mm, left = _nearest(search, low, left)
        if room_mm <= 0.0:
            return Growth(low, hit, True, False)
    if ended is None and not field_ends:
        ended = _nearest(search, high, left)[0]
    return Growth(low, ended, False, field_ends)


def _next(search: Search, low: float, high: float, step: int) -> tuple[float, float]:
    """The scale to ask next, and one where something is known to touch, or `high`.

    The part that came nearest at last and the smallest cell that it came nearest to are followed alone, to where they touch: they
    do so in earnest, so the scale to ask lies just inside.
    """
    middle = (low + high) / 2
    if search.last is None or step % ASK_MIDDLE == ASK_MIDDLE - 1:
        return middle, high
    scale, number, cell, room_mm = search.last
    came_here, search.followed = search.followed == (number, scale), None
    if came_here and scale == high and room_mm <= 0.0:
        missing = -room_mm / max(_rate(search, number), 1e-9) if room_mm < 0.0 else SCALE_STEP / 4
        if missing < SCALE_STEP:  # it touched by a hair, in a beam cut a little differently
            return max(high - 1.2 * missing - 0.1 * SCALE_STEP, middle), high
    if came_here and scale == high:
        search.wide.add(number)
    if not search.is_wide(number) and _probe(search, search.some(scale, number), _grown(search, cell, high / scale), number) > 0.0:
        search.wide.add(number)
    cut = search.held(scale, number).beam if search.is_wide(number) else search.some(scale, number)
    nearest_cell = cell
    while cell.level < DEEPEST_LEVEL and cut.loose:
        cell = min(cell.quarters(), key=lambda quarter: _probe(search, cut, quarter, number))

    def room_at(at: float) -> float:
        if at == scale and cell is nearest_cell:
            return room_mm
        if at == 1.0 and cell.level == 0:
            return float(search.rows[number][0][ROOM])
        return _probe(search, cut, _grown(search, cell, at / scale), number)

    at_low, at_high = room_at(low), room_at(high)
    if at_high > 0.0:  # it touched by a hair, in a beam cut a little differently
        return max(high - SCALE_STEP / 2, middle), high
    if at_low <= 0.0:
        return min(low + SCALE_STEP / 2, middle), high
    clear, touched = _root(room_at, (low, at_low), (high, at_high), float(search.expected[number]))
    if clear <= low:
        return (low + touched) / 2, touched
    search.followed = number, clear
    return clear, touched


def _rate(search: Search, number: int) -> float:
    """How fast a part is neared as the guide grows, as it seems from scale 1 [mm]."""
    growing = float(search.expected[number]) - 1.0
    return float(search.rows[number][0][ROOM]) / growing if growing != 0.0 else 1.0


def _root(
    room_at: Callable[[float], float], clear: tuple[float, float], touched: tuple[float, float], expected: float
) -> tuple[float, float]:
    """Two scales less than SCALE_STEP apart, clear at the first and not at the second, between two that are such, with their rooms.

    First that is asked where it is expected to touch. A room runs nearly straight with the scale: it is followed on from two scales
    that are clear.
    """
    (low, at_low), (high, at_high) = clear, touched
    before: tuple[float, float] | None = None
    for step in range(MOST_STEPS):
        if high - low <= SCALE_STEP / 2:
            break
        if step == 0 and low < expected < high:
            scale = expected
        else:
            scale = _between(_guess(low, high, at_low, at_high, before) if step % 5 < 4 else None, low, high)
        room_mm = room_at(scale)
        if room_mm > 0.0:
            before = (low, at_low)
            low, at_low = scale, room_mm
        else:
            high, at_high = scale, room_mm
    return low, high


def _between(guess: float | None, low: float, high: float) -> float:
    """What to ask where it seems to touch at a guess: beyond it once the clear one is near it, this side once the other is."""
    if guess is None:
        return (low + high) / 2
    if guess - low < SCALE_STEP / 4:
        return min(low + 0.45 * SCALE_STEP, (low + high) / 2)
    if high - guess < SCALE_STEP / 4:
        return max(high - 0.45 * SCALE_STEP, (low + high) / 2)
    return guess


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
    """The part with the least room beside the grown guide, or the first that touches, and that room [mm].

    Also what parts are left: where one touches, those that were shown to stand clear do so beside every narrower guide as well.
    Against a front ring, one that touches is looked at more closely.
    """
    hit, least, nearest_cell, shown = numbers[0], np.inf, search.beam(scale).cell, set()
    for number in numbers:
        row, cell = search.room(scale, number, least + MORE_MM)
        if row[ROOM] <= 0.0:
            row, cell = search.closer_room(scale, number)
        if row[ROOM] < least:
            hit, least, nearest_cell = number, float(row[ROOM]), cell
        if least <= 0.0:
            break
        shown.add(number)
    search.last = (scale, hit, nearest_cell, least)
    return hit, least, [number for number in numbers if least > 0.0 or number not in shown]
