"""One judgement of a state: the room of every part, how far the frame may grow, and what both rest on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.body import Block, Kind, Part, Surface
from raytrace.box import Box
from raytrace.judge.field import cell_of
from raytrace.judge.growth import Growth, Search, growth
from raytrace.judge.pieces import Pieces, pieces_of
from raytrace.judge.rooms import GuideBeam, room, rooms
from raytrace.judge.way import parts_span_mm, span_of
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState

FloatArray = NDArray[np.float64]

NEXT_TO_MM = 0.5  # a place as near as this to a part is one on it


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRoom:
    """How far a part stays out of the beam in space [mm], never more than it does; 0 or less where it touches: how deep it is in.

    Depth is a move across the axis: for openings how far the beam reaches past the edge, for boards and meshes the least move that
    takes them out. range_mm holds the least and the most over the pupil depths. point_mm (x, y, z) is the place on the part, in
    the frame; picture_mm (right, up) the field point whose light passes there. through: a board deeper in than half its size, whose
    depth is no more than a word. beyond_focus: some of the part stands beyond the plane in focus, where nothing is looked at.
    """

    part: str
    kind: Kind
    room_mm: float
    range_mm: tuple[float, float]
    point_mm: tuple[float, float, float] | None
    picture_mm: tuple[float, float]
    through: bool
    beyond_focus: bool
    margin_percent: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """All parts of a box in its order, the nearest one (index), and the frame's margin.

    margin_percent: how much wider the guide may be about its own centre with every part clear, negative where it has to be
    narrower; margin_part (index) ends it. pad_mm: how far the beam was widened for what lies between field points. followed:
    False where some light could not be followed through the glass, so that nothing is called clear. whole_field: False where the
    lens has no light for some of the guide.
    """

    parts: tuple[PartRoom, ...]
    nearest: int | None
    margin_percent: float | None
    margin_part: int | None
    margin_capped: bool
    margin_ends_at_field: bool
    pad_mm: float
    followed: bool
    whole_field: bool

    @property
    def room_mm(self) -> float:
        """The room of the nearest part [mm]; inf without parts."""
        return np.inf if self.nearest is None else self.parts[self.nearest].room_mm

    @property
    def clear(self) -> bool:
        """Whether every part is shown to stand clear of the beam."""
        return self.room_mm > 0.0


def judge(lenses: Sequence[LensState], guide: Guide, box: Box, *, margin: bool = True, every_margin: bool = False) -> Judgement:
    """The judgement of one guide for one state.

    lenses: the state at each pupil depth that it may have, in order (one, or ends and middle of what is known); everything between
    neighbours counts. `box` with glasses or without: both may be asked.
    """
    pieces = [pieces_of(part) for part in box.parts]
    beam = GuideBeam(tuple(lenses), box, cell_of(guide))
    told = [room(beam, one) for one in pieces]
    found = [row for row, _ in told]
    most = _most(lenses, guide, box, pieces, found)
    search = Search(tuple(lenses), box, guide, pieces, told)
    nearest = int(np.argmin([row[0] for row in found])) if found else None
    grown = _margin(search, found) if margin and found else None
    own = [_own_margin(search, number) if every_margin else None for number in range(len(found))]
    root = beam.legs(beam.cell)
    end_z_mm = root.end_z_mm if root else np.inf
    return Judgement(
        parts=tuple(
            _part(part, one, row, most[number], end_z_mm, own[number])
            for number, (part, one, row) in enumerate(zip(box.parts, pieces, found, strict=True))
        ),
        nearest=nearest,
        margin_percent=None if grown is None else _percent(grown),
        margin_part=None if grown is None else grown.part,
        margin_capped=grown is not None and grown.capped,
        margin_ends_at_field=grown is not None and grown.field_ends,
        pad_mm=max((float(legs.pads.max()) for legs in beam.known()), default=np.inf),
        followed=root is not None,
        whole_field=root is not None and root.whole,
    )


def _most(
    lenses: Sequence[LensState], guide: Guide, box: Box, pieces: Sequence[Pieces], found: Sequence[FloatArray]
) -> list[float]:
    """The most room of each part over the pupil depths given."""
    if len(lenses) == 1:
        return [float(row[0]) for row in found]
    each = [[float(row[0]) for row in rooms(GuideBeam((lens,), box, cell_of(guide)), pieces)] for lens in lenses]
    return [max(float(row[0]), *(one[number] for one in each)) for number, row in enumerate(found)]


def _margin(search: Search, found: Sequence[FloatArray]) -> Growth:
    least = min(float(row[0]) for row in found)
    return growth(search, [number for number, row in enumerate(found) if least > 0.0 or row[0] <= 0.0])


def _own_margin(search: Search, number: int) -> float:
    return _percent(growth(search, [number]))


def _percent(grown: Growth) -> float:
    return 100.0 * (grown.scale - 1.0)


def _part(part: Part, pieces: Pieces, row: FloatArray, most_mm: float, end_z_mm: float, margin: float | None) -> PartRoom:
    touched, is_board = bool(row[7]), isinstance(part.body, Block | Surface)
    place = _on_part(row[1:4], part, pieces) if touched else row[1:4]
    return PartRoom(
        part=part.name,
        kind=part.kind,
        room_mm=float(row[0]),
        range_mm=(float(row[0]), most_mm),
        point_mm=(float(place[0]), float(place[1]), float(place[2])) if np.isfinite(row[0]) else None,
        picture_mm=(float(row[4]), float(row[5])),
        through=touched and is_board and bool(-row[0] > _half_width_mm(pieces.whole, float(row[8]))),
        beyond_focus=parts_span_mm([part])[1] > end_z_mm,
        margin_percent=margin,
    )


def _on_part(place_mm: FloatArray, part: Part, pieces: Pieces) -> FloatArray:
    """A place (3,) of light that a part stops, on the part.

    Along the axis it may be told where a leg of the beam begins, ahead of the part or behind. Of rays that pass a board as deeply
    any may be told, beside the board too: its middle is taken then.
    """
    x, y, z = place_mm
    z = np.clip(z, *span_of(part.body))
    if not isinstance(part.body, Block | Surface):
        return np.array([x, y, z])
    low, high = pieces.whole[:, :2].min(axis=0), pieces.whole[:, :2].max(axis=0)
    off = (place_mm[:2] < low - NEXT_TO_MM) | (place_mm[:2] > high + NEXT_TO_MM)
    return np.append(np.where(off, (low + high) / 2, place_mm[:2]), z)


def _half_width_mm(points: FloatArray, angle_rad: float) -> float:
    """Half of the larger of a body's extents along and square to a sideways direction [mm]."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    along, across = points[:, 0] * c + points[:, 1] * s, points[:, 1] * c - points[:, 0] * s
    return float(max(np.ptp(along), np.ptp(across)) / 2)
