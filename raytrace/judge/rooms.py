"""The room of every part from the beam of one guide: one hull first, cells of it where that comes too near."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from raytrace.box import Box
from raytrace.judge.body import PUPIL, Beam, Legs, NotFollowed, legs_of, look
from raytrace.judge.drawn import flat_depth
from raytrace.judge.field import Cell
from raytrace.judge.front_ring import best_blend
from raytrace.judge.kernels.depth import ANGLE, FOUND, PLACE
from raytrace.judge.kernels.rays import BEYOND_MM
from raytrace.judge.nearest import least_move, nearest
from raytrace.judge.pieces import Pieces
from raytrace.optics.lens import LensState

FloatArray = NDArray[np.float64]

DEEPEST_LEVEL = 3  # cells an eighth of the guide wide
NEAR_MM = 25.0  # what stays farther away is told by one hull
GAIN_MM = 0.01  # cells that bring less are not halved again
SHARE_GAINED = 0.1  # nor those that bring less than this share of how deep a part is in, where it is deeper than DEEP_MM
DEEP_MM = 3.0
DEEP_SHARE = 0.3  # of how deep a part is in: a pad that is no more of it leaves it deep
ON_EDGE_MM = 0.5
LITTLE_MM = 5e-4  # a room told may be less than one that is enough by less than this
MOST_HALVINGS = 40
RING_NEAR_MM = 10.0  # what stays farther away is not held any closer against a front ring
MOST_STAND_INS = 4  # added for one part
RIGHT_THROUGH_MM = 1000.0  # told of parts that light cannot be followed past


class _NotMade(Enum):
    """What a cell's legs are before they are asked for."""

    NOT_MADE = 0


NOT_MADE = _NotMade.NOT_MADE


@dataclass(slots=True)
class GuideBeam:
    """The beam of one guide, its cells made when they are asked for."""

    lenses: tuple[LensState, ...]
    box: Box
    cell: Cell
    deepest: int = DEEPEST_LEVEL
    _beam: Beam | None = None
    _legs: dict[Cell, Legs | None] = field(default_factory=dict)
    _suited: dict[tuple[float, float], GuideBeam] = field(default_factory=dict)
    _by_pupil: GuideBeam | None = None

    @property
    def beam(self) -> Beam:
        """How the beam is cut, by a first look."""
        if self._beam is None:
            self._beam = look(self.lenses, self.box, self.cell)
        return self._beam

    def legs(self, cell: Cell) -> Legs | None:
        """The legs of a cell; None where its light cannot be followed."""
        held: Legs | Literal[_NotMade.NOT_MADE] | None = self._legs.get(cell, NOT_MADE)
        if held is NOT_MADE:
            held = self._legs[cell] = _legs_or_none(self.beam, cell)
        return held

    @property
    def ring_matters(self) -> bool:
        """Whether the lens's front ring takes light from the guide."""
        return len(self.beam.stand_ins) > 1

    def by_pupil(self) -> GuideBeam:
        """The beam as its pupil alone holds it, which is no less: it shows most parts that stand clear to do so."""
        if not self.ring_matters:
            return self
        if self._by_pupil is None:
            beam = replace(self.beam, stand_ins=(PUPIL,))
            self._by_pupil = GuideBeam(self.lenses, self.box, self.cell, self.deepest, beam)
        return self._by_pupil

    def suited_to(self, nearest: FloatArray) -> GuideBeam | None:
        """The beam with one more stand-in, the best one for a nearest place (FOUND,); None where it has that already."""
        blend = best_blend(self.lenses, self.cell, nearest[PLACE : PLACE + 3], float(nearest[ANGLE]))
        if blend in self.beam.stand_ins:
            return None
        return self.with_stand_in(blend)

    def with_stand_in(self, blend: tuple[float, float]) -> GuideBeam:
        """The same beam held by one more stand-in."""
        if blend not in self._suited:
            beam = replace(self.beam, stand_ins=(*self.beam.stand_ins, blend))
            self._suited[blend] = GuideBeam(self.lenses, self.box, self.cell, self.deepest, beam)
        return self._suited[blend]

    def may_halve(self, cell: Cell) -> bool:
        """Whether quarters of a cell could come less near than the cell."""
        return cell.level < self.deepest and (self.beam.loose or self.legs(cell) is None)

    def pad_mm(self, cell: Cell) -> float:
        """By how much the beam of a cell is widened for what lies between its field points; 0 where it cannot be followed."""
        legs = self.legs(cell)
        return 0.0 if legs is None else float(legs.pads.max())

    def known(self) -> tuple[Legs, ...]:
        """All legs made so far."""
        return tuple(legs for legs in self._legs.values() if legs is not None)


def _legs_or_none(beam: Beam, cell: Cell) -> Legs | None:
    try:
        return legs_of(beam, cell)
    except NotFollowed:
        return None


def room_in_cell(beam: GuideBeam, cell: Cell, pieces: Pieces, enough_mm: float = np.inf) -> FloatArray:
    """The room of a part from the light of one cell, as `part_room` gives it; bodies that touch are 0."""
    legs = beam.legs(cell)
    if legs is None:
        return _unknown()
    found = nearest(legs, pieces, enough_mm)
    found[0] = min(found[0], BEYOND_MM)  # where the beam is not followed it may come nearer than that
    return found


def _unknown() -> FloatArray:
    found = np.zeros(FOUND)
    found[0], found[7] = -RIGHT_THROUGH_MM, 1.0
    return found


def rooms(beam: GuideBeam, parts: Sequence[Pieces]) -> list[FloatArray]:
    """The room of every part (FOUND,) from the whole guide."""
    return [room(beam, part)[0] for part in parts]


def room(
    beam: GuideBeam, part: Pieces, near_mm: float = NEAR_MM, *, with_depth: bool = True, enough_mm: float = np.inf
) -> tuple[FloatArray, Cell]:
    """The room of one part (FOUND,) from the whole guide, and the cell that is nearest.

    Cells are made where one hull leaves no more than `near_mm`. Where a front ring takes light and the part is near, stand-ins
    that suit the nearest place are added for as long as they show more room. What leaves `enough_mm` is not looked at closer.
    """
    row, cell, _ = room_held(beam, part, near_mm, with_depth=with_depth, enough_mm=enough_mm)
    return row, cell


def room_held(
    beam: GuideBeam, part: Pieces, near_mm: float = NEAR_MM, *, with_depth: bool = True, enough_mm: float = np.inf
) -> tuple[FloatArray, Cell, GuideBeam]:
    """As `room`, and the beam, held by more stand-ins, that showed it."""
    row, cell = room_by(beam, part, near_mm, with_depth=with_depth, enough_mm=enough_mm)
    if row[0] > min(near_mm, RING_NEAR_MM) or row[0] > enough_mm - LITTLE_MM or not beam.ring_matters:
        return row, cell, beam
    for _ in range(MOST_STAND_INS):
        closer = beam.suited_to(row)
        if closer is None:
            break
        again, where = room_by(closer, part, near_mm, with_depth=with_depth, enough_mm=enough_mm)
        if again[0] <= row[0] + GAIN_MM:
            break
        row, cell, beam = again, where, closer
        if row[0] > enough_mm - LITTLE_MM:
            break
    return row, cell, beam


def room_by(
    beam: GuideBeam, part: Pieces, near_mm: float, *, with_depth: bool, enough_mm: float = np.inf
) -> tuple[FloatArray, Cell]:
    """As `room`, by the stand-ins that the beam has; a hull that leaves `enough_mm` is not looked at closer."""
    leaves = {beam.cell: _leaf(beam, beam.cell, part, with_depth, enough_mm)}
    cell = beam.cell
    for _ in range(MOST_HALVINGS):
        was = float(leaves[cell][0])
        if was > min(near_mm, enough_mm - LITTLE_MM) or not beam.may_halve(cell):
            break
        del leaves[cell]
        for quarter in cell.quarters():
            leaves[quarter] = _leaf(beam, quarter, part, with_depth, enough_mm)
        gained = min(float(leaves[quarter][0]) for quarter in cell.quarters()) - was
        cell = min(leaves, key=lambda one: (leaves[one][0], -one.level))
        if _is_told(float(leaves[cell][0]), gained, beam.pad_mm(cell)):
            break
    touched = [legs for leaf, row in leaves.items() if row[0] <= 0.0 and (legs := beam.legs(leaf)) is not None]
    if len(touched) < 2 or not len(part.whole) or not with_depth or beam.legs(cell) is None:
        return leaves[cell], cell
    return _deepest(touched, part), cell


def _leaf(beam: GuideBeam, cell: Cell, part: Pieces, with_depth: bool, enough_mm: float) -> FloatArray:
    """The room of a part from the light of one cell; where it touches, with how deep it is in, if that is asked for."""
    row, legs = room_in_cell(beam, cell, part, enough_mm), beam.legs(cell)
    if row[0] > 0.0 or not len(part.runs) or not with_depth or legs is None:
        return row
    return _deepest([legs], part) if part.drawn is None else _drawn_deepest(legs, part, row)


def _is_told(room_mm: float, gained_mm: float, pad_mm: float) -> bool:
    """Whether finer cells would only change a number that nobody needs so closely; near 0 the sign may hang on them.

    pad_mm: of the nearest cell. A part that is in by hardly more than that may not be in at all.
    """
    if room_mm > ON_EDGE_MM:
        return gained_mm < GAIN_MM
    return room_mm < -DEEP_MM and gained_mm < -SHARE_GAINED * room_mm and pad_mm < -DEEP_SHARE * room_mm


def _drawn_deepest(legs: Legs, part: Pieces, found: FloatArray) -> FloatArray:
    assert part.drawn is not None
    depth_mm, point_mm = flat_depth(legs, *part.drawn)
    if point_mm is None:
        return found
    return np.concatenate([[-depth_mm], point_mm, found[4:]])


def _deepest(touched: Sequence[Legs], part: Pieces) -> FloatArray:
    starts = np.cumsum([0, *(len(legs.corners) for legs in touched[:-1])])
    together = Legs(
        corners=np.concatenate([legs.corners for legs in touched]),
        fields=np.concatenate([legs.fields for legs in touched]),
        legs=np.concatenate([legs.legs + start for legs, start in zip(touched, starts, strict=True)]),
        pads=np.concatenate([legs.pads for legs in touched]),
        end_z_mm=min(legs.end_z_mm for legs in touched),
        whole=True,
    )
    return least_move(together, part.whole)
