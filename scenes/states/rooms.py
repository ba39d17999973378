"""Rooms of parts in space for boxes that are tried out: judged as a state is, beams made once and asked for many parts.

Where only a yes or no is asked for, cells of the beam are made no finer than it takes: the same answer in a fraction of the time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from raytrace.beam.beam import outer_guides
from raytrace.beam.clearance import ALONG_MM, Clearance
from raytrace.beam.frame_margin import scaled
from raytrace.optics.lens import FixedPupil
from scenes.cautions.focus_plane import BEYOND, TOUCHING_MM
from scenes.states.clear_rule import ROOM_PERCENT, TOLD_MM, room_needed_mm
from scenes.states.judgement import doubts, place_words

if TYPE_CHECKING:
    from geometry.body import Part
    from raytrace.box import Box
    from raytrace.judge.pieces import Pieces
    from raytrace.judge.rooms import GuideBeam
    from raytrace.optics.camera import Guide
    from raytrace.optics.lens import LensState
    from scenes.states.state import State

FloatArray = NDArray[np.float64]

# What a clear frame has to spare of its guide, and a step more: its margin is told by the last scale found to be clear.
ROOMY = 1 + (ROOM_PERCENT + 0.02) / 100
SAME_MM = 0.01  # rooms in beams that are followed differently far differ by less
ENOUGH_MM = 0.0
UNHALVED_MM = -1.0  # near no part is: the whole guide as one hull
PLENTY_MM = 1e-3  # more room than is asked for by this need not be told


@dataclass(slots=True)
class _Asked:
    """A guide's beam; by_pupil: whether to ask its pupil alone first, which takes half as long, where a front ring takes light."""

    guide: str
    beam: GuideBeam
    by_pupil: bool

    @property
    def first(self) -> GuideBeam:
        """The beam to ask first."""
        return self.beam.by_pupil() if self.by_pupil else self.beam


class Rooms:
    """The beams of a lens's guides, none inside another, through a box as it is: how near parts stand to them in space.

    `box` says how far the beams have to be followed; parts of others may be asked for as long as they reach no farther.
    """

    def __init__(self, variants: Sequence[LensState], outer: Sequence[Guide], box: Box) -> None:
        from raytrace.judge.field import cell_of
        from raytrace.judge.rooms import GuideBeam

        stays = all(isinstance(lens.pupil, FixedPupil) for lens in variants)  # of one that walks the pupil alone seldom is enough
        self._beams = [_Asked(one.name, GuideBeam(tuple(variants), box, cell_of(one)), stays) for one in outer]

    def reaches(self, box: Box) -> bool:
        """Whether the beams are followed past all parts of another box."""
        return all(_ahead_mm(part) <= one.beam.beam.far_z_mm for one in self._beams for part in box.parts)

    @property
    def whole_field(self) -> bool:
        """Whether all light of the guides could be followed, and the lens has some for all of each."""
        roots = [one.first.legs(one.beam.cell) for one in self._beams]
        return all(root is not None and root.whole for root in roots)

    def clearance(self, part: Part) -> Clearance:
        """How far a part stays out of every beam; -ALONG_MM where some of it stands beyond the plane in focus."""
        return min((self._one(one.guide, one.beam, part) for one in self._beams), key=lambda found: found.clearance_mm)

    def lacks_mm(self, part: Part, needed_mm: float = 0.0) -> float:
        """By how much a part misses the room needed, at least; ENOUGH_MM where it has it. The sign alone is exact."""
        for place, one in enumerate(self._beams):
            if self._is_beyond(one.first, part):
                return ALONG_MM
            row = self._asked(one, part, max(needed_mm, 0.0), needed_mm)
            if not row[0] > needed_mm:
                self._beams.insert(0, self._beams.pop(place))  # what refuses one part is likely to refuse the next
                return max(needed_mm - max(float(row[0]), 0.0), 1e-9)
        return ENOUGH_MM

    def _asked(self, one: _Asked, part: Part, near_mm: float, needed_mm: float) -> FloatArray:
        """The room of a part, as far as its sign less what is needed asks for."""
        from raytrace.judge.rooms import room

        pieces, enough_mm = _pieces(part), near_mm + PLENTY_MM
        if one.by_pupil:
            row, _ = room(one.first, pieces, UNHALVED_MM, with_depth=False, enough_mm=enough_mm)
            if row[0] > needed_mm:
                return row
            one.by_pupil = one.beam.ring_matters
        row, _ = room(one.beam, pieces, near_mm, with_depth=False, enough_mm=enough_mm)
        one.by_pupil = one.by_pupil and not row[0] > needed_mm
        return row

    def _one(self, guide: str, beam: GuideBeam, part: Part) -> Clearance:
        from raytrace.judge.rooms import rooms

        beyond = self._is_beyond(beam, part)
        (row,) = rooms(beam, [_pieces(part)])
        room_mm = -ALONG_MM if beyond else float(row[0])
        point = (float(row[1]), float(row[2]), float(row[3])) if np.isfinite(row[0]) else None
        where = BEYOND if beyond and beam.legs(beam.cell) is not None else place_words(point)
        return Clearance(
            part=part.name,
            kind=part.kind,
            clearance_mm=room_mm,
            point_mm=point,
            where=where,
            guide=guide,
        )

    def _is_beyond(self, beam: GuideBeam, part: Part) -> bool:
        legs = beam.legs(beam.cell)
        return legs is None or _ahead_mm(part) > legs.end_z_mm + TOUCHING_MM


def rooms_of(variants: Sequence[LensState], guides: Sequence[Guide], box: Box) -> Rooms:
    """Rooms in the beams of those of a lens's guides that lie in no other."""
    return Rooms(variants, outer_guides(guides), box)


def _pieces(part: Part) -> Pieces:
    from raytrace.judge.pieces import pieces_of

    return pieces_of(part)


def _ahead_mm(part: Part) -> float:
    """How far ahead a part reaches [mm]."""
    from raytrace.judge.way import parts_span_mm

    return parts_span_mm([part])[1]


class ClearRooms:
    """What a clear frame keeps free of parts, as `check` has it.

    The beams of its guides, with the glass of the box and without, by the room that its pupil needs; and as the box is, those of
    guides grown by what they have to spare. left_out_mm is room that is asked for besides.
    """

    def __init__(self, variants: Sequence[LensState], guides: Sequence[Guide], box: Box, *, left_out_mm: float = 0.0) -> None:
        needed_mm = room_needed_mm(variants)
        outer = outer_guides(guides)
        grown = outer_guides([scaled(guide, ROOMY) for guide in outer])
        more_mm = left_out_mm + SAME_MM
        own_mm = more_mm + (needed_mm - TOLD_MM if needed_mm > 0.0 else 0.0)
        self.own = Rooms(variants, outer, box) if needed_mm > 0.0 else None  # else the grown ones are enough
        asked = [(Rooms(variants, grown, box), more_mm), *([(self.own, own_mm)] if self.own else [])]
        if box.glasses:
            asked.append((Rooms(variants, outer, replace(box, glasses=())), own_mm))
        self.asked: tuple[tuple[Rooms, float], ...] = tuple(asked)  # the last with the trays empty, where there is glass
        self.has_glass = bool(box.glasses)

    def reaches(self, box: Box) -> bool:
        """Whether the beams are followed past all parts of another box."""
        return all(rooms.reaches(box) for rooms, _ in self.asked)

    def lacks_mm(self, part: Part) -> float:
        """By how much a part misses the room of a clear frame, at least; ENOUGH_MM where it has it. The sign alone is exact."""
        lacking = (rooms.lacks_mm(part, needed_mm) for rooms, needed_mm in self.asked)
        return next((one for one in lacking if one > 0.0), ENOUGH_MM)

    def clears(self, part: Part) -> bool:
        """Whether a part leaves a clear frame its room."""
        return self.lacks_mm(part) <= 0.0


def stands_clear(state: State) -> bool:
    """Whether `check` calls a state clear: no fault leaves its light in doubt, and every part leaves the room of a clear frame."""
    if doubts(state):
        return False
    rooms = ClearRooms(state.variants, state.guides, state.box)
    return all(rooms.clears(part) for part in state.box.parts)


def least_rooms(state: State) -> tuple[float, ...]:
    """The room of the nearest part from each beam that a clear frame keeps free, beyond what it needs [mm]."""
    rooms = ClearRooms(state.variants, state.guides, state.box)
    return tuple(
        min((one.clearance(part).clearance_mm for part in state.box.parts), default=ALONG_MM) - needed_mm
        for one, needed_mm in rooms.asked
    )


def near_in(
    variants: Sequence[LensState], guides: Sequence[Guide], box: Box, *, within_mm: float = math.inf, untouched_mm: float = 0.0
) -> list[Clearance]:
    """The part of a box that comes nearest to the beam with the glass that it has, if it comes within so much.

    With it all parts that do not stay out by `untouched_mm`; others may be among them.
    """
    rooms, found = rooms_of(variants, guides, box), list[Clearance]()
    least_mm = within_mm
    for part in box.parts:
        enough_mm = max(least_mm, untouched_mm)
        if enough_mm < math.inf and rooms.lacks_mm(part, enough_mm) <= 0.0:
            continue
        found.append(rooms.clearance(part))
        least_mm = min(least_mm, found[-1].clearance_mm)
    return found
