"""Rooms of parts in space for boxes that are tried out: judged as a state is, beams made once and asked for many parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from raytrace.beam.beam import outer_guides
from raytrace.beam.clearance import ALONG_MM, Clearance
from scenes.rig.focus_plane import BEYOND, TOUCHING_MM
from scenes.states.judgement import place_words

if TYPE_CHECKING:
    from geometry.body import Part
    from raytrace.box import Box
    from raytrace.judge.pieces import Pieces
    from raytrace.judge.rooms import GuideBeam
    from raytrace.optics.camera import Guide
    from raytrace.optics.lens import LensState


class Rooms:
    """The beams of a lens's outer guides through a box's glass, and with its trays empty: how near parts stand to them in space.

    `box` says how far the beams have to be followed; parts of others may be asked for as long as they reach no farther.
    """

    def __init__(self, variants: Sequence[LensState], guides: Sequence[Guide], box: Box, *, also_empty: bool = True) -> None:
        from raytrace.judge.field import cell_of
        from raytrace.judge.rooms import GuideBeam

        fillings = [box, replace(box, glasses=())] if box.glasses and also_empty else [box]
        outer = outer_guides(guides)
        self._beams = [(one.name, GuideBeam(tuple(variants), filled, cell_of(one))) for one in outer for filled in fillings]
        self._pieces: dict[int, tuple[Part, Pieces]] = {}

    def reaches(self, box: Box) -> bool:
        """Whether the beams are followed past all parts of another box."""
        from raytrace.judge.body import parts_span_mm

        return all(parts_span_mm(box.parts)[1] <= beam.beam.far_z_mm for _, beam in self._beams)

    def clearance(self, part: Part) -> Clearance:
        """How far a part stays out of every beam; -ALONG_MM where some of it stands beyond the plane in focus."""
        return min((self._one(name, beam, part) for name, beam in self._beams), key=lambda found: found.clearance_mm)

    def _one(self, guide: str, beam: GuideBeam, part: Part) -> Clearance:
        from raytrace.judge.body import parts_span_mm
        from raytrace.judge.rooms import rooms

        legs = beam.legs(beam.cell)
        beyond = legs is None or parts_span_mm([part])[1] > legs.end_z_mm + TOUCHING_MM
        (row,) = rooms(beam, [self._pieces_of(part)])
        room_mm = -ALONG_MM if beyond else float(row[0])
        point = (float(row[1]), float(row[2]), float(row[3])) if np.isfinite(row[0]) else None
        where = BEYOND if legs is not None and beyond else place_words(point)
        return Clearance(
            part=part.name,
            kind=part.kind,
            clearance_mm=room_mm,
            range_mm=(room_mm, room_mm),
            point_mm=point,
            where=where,
            guide=guide,
            variant=0,
        )

    def _pieces_of(self, part: Part) -> Pieces:
        from raytrace.judge.pieces import pieces_of

        if id(part) not in self._pieces:
            self._pieces[id(part)] = part, pieces_of(part)  # with the part, whose id would else be given anew
        return self._pieces[id(part)][1]


def clearances_in(variants: Sequence[LensState], guides: Sequence[Guide], box: Box) -> tuple[Clearance, ...]:
    """Every part of a box with the glass that it has, in the box's order."""
    rooms = Rooms(variants, guides, box, also_empty=False)
    return tuple(rooms.clearance(part) for part in box.parts)
