"""The room of every part from the beam of one guide: one hull first, cells of it where that comes too near."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from raytrace.box import Box
from raytrace.judge.body import Beam, Legs, NotFollowed, legs_of, look
from raytrace.judge.depth import least_move
from raytrace.judge.field import Cell
from raytrace.judge.pieces import Pieces
from raytrace.judge.separate import FOUND, part_room
from raytrace.lens import LensState

FloatArray = NDArray[np.float64]

DEEPEST_LEVEL = 3  # cells an eighth of the guide wide
NEAR_MM = 25.0  # what stays farther away is told by one hull
GAIN_MM = 0.01  # cells that bring less are not halved again
ON_EDGE_MM = 0.5  # as deep as this the sign itself may hang on the cells
MOST_HALVINGS = 40
RIGHT_THROUGH_MM = 1000.0  # told of parts that light cannot be followed past


@dataclass(slots=True)
class GuideBeam:
    """The beam of one guide, its cells made when they are asked for."""

    lenses: tuple[LensState, ...]
    box: Box
    cell: Cell
    deepest: int = DEEPEST_LEVEL
    _beam: Beam | None = None
    _legs: dict[Cell, Legs | None] = field(default_factory=dict)

    @property
    def beam(self) -> Beam:
        """How the beam is cut, by a first look."""
        if self._beam is None:
            self._beam = look(self.lenses, self.box, self.cell)
        return self._beam

    def legs(self, cell: Cell) -> Legs | None:
        """The legs of a cell; None where its light cannot be followed."""
        if cell not in self._legs:
            try:
                self._legs[cell] = legs_of(self.beam, cell)
            except NotFollowed:
                self._legs[cell] = None
        return self._legs[cell]

    def may_halve(self, cell: Cell) -> bool:
        """Whether quarters of a cell could come less near than the cell."""
        return cell.level < self.deepest and (self.beam.loose or self.legs(cell) is None)

    def known(self) -> tuple[Legs, ...]:
        """All legs made so far."""
        return tuple(legs for legs in self._legs.values() if legs is not None)


def room_in_cell(beam: GuideBeam, cell: Cell, pieces: Pieces) -> FloatArray:
    """The room of a part from the light of one cell, as `part_room` gives it; bodies that touch are 0."""
    legs = beam.legs(cell)
    if legs is None:
        return _unknown()
    return part_room(legs.corners, legs.fields, legs.legs, legs.pads, pieces.walls, pieces.points, pieces.runs, False)


def _unknown() -> FloatArray:
    found = np.zeros(FOUND)
    found[0], found[7] = -RIGHT_THROUGH_MM, 1.0
    return found


def touches(beam: GuideBeam, cell: Cell, pieces: Pieces) -> bool:
    """Whether a part cannot be shown to stand clear of a cell's light, however finely that is cut."""
    legs = beam.legs(cell)
    if legs is not None:
        row = part_room(legs.corners, legs.fields, legs.legs, legs.pads, pieces.walls, pieces.points, pieces.runs, True)
        if row[0] > 0.0:
            return False
    return not beam.may_halve(cell) or any(touches(beam, quarter, pieces) for quarter in cell.quarters())


def rooms(beam: GuideBeam, parts: Sequence[Pieces]) -> list[FloatArray]:
    """The room of every part (FOUND,) from the whole guide."""
    leaves = {beam.cell: [room_in_cell(beam, beam.cell, part) for part in parts]}
    done = [False] * len(parts)
    for _ in range(MOST_HALVINGS):
        asked = _next_cell(beam, leaves, done)
        if asked is None:
            break
        part, cell = asked
        was = leaves.pop(cell)
        for quarter in cell.quarters():
            leaves[quarter] = [room_in_cell(beam, quarter, one) for one in parts]
        now = min(rows[part][0] for rows in leaves.values())
        done[part] = now - was[part][0] < GAIN_MM and abs(now) > ON_EDGE_MM
    return [_joined(beam, leaves, number, part) for number, part in enumerate(parts)]


def _next_cell(beam: GuideBeam, leaves: dict[Cell, list[FloatArray]], done: list[bool]) -> tuple[int, Cell] | None:
    """The part that comes nearest of those that finer cells may help, and the cell to halve for it."""
    best: tuple[float, int, Cell] | None = None
    for number, finished in enumerate(done):
        cell = min(leaves, key=lambda one: leaves[one][number][0])
        room = float(leaves[cell][number][0])
        if not finished and room < NEAR_MM and beam.may_halve(cell) and (best is None or room < best[0]):
            best = (room, number, cell)
    return None if best is None else best[1:]


def _joined(beam: GuideBeam, leaves: dict[Cell, list[FloatArray]], number: int, part: Pieces) -> FloatArray:
    """The least room of a part over all cells; how deep a body that is moved as a whole stands in all of them together."""
    cell = min(leaves, key=lambda one: leaves[one][number][0])
    found = leaves[cell][number]
    if found[0] > 0.0 or not len(part.runs) or beam.legs(cell) is None:
        return found
    if len(part.whole):
        touched = [beam.legs(leaf) for leaf, rows in leaves.items() if rows[number][0] <= 0.0]
        return _deepest([legs for legs in touched if legs is not None], part)
    return found


def _deepest(touched: Sequence[Legs], part: Pieces) -> FloatArray:
    starts = np.cumsum([0, *(len(legs.corners) for legs in touched[:-1])])
    return least_move(
        np.concatenate([legs.corners for legs in touched]),
        np.concatenate([legs.fields for legs in touched]),
        np.concatenate([legs.legs + start for legs, start in zip(touched, starts, strict=True)]),
        np.concatenate([legs.pads for legs in touched]),
        part.whole,
    )
