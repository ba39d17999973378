"""The stations of a box: back plate, trays, masks and hood in a row along its axis, and the body that joins them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Assembly, Kind, Part, Tube
from geometry.enclosure import Body, Ends, box_ends, filled_plate, half_extent_mm
from geometry.frame import Pose

TOUCH_MM = 1e-6  # parts closer than this touch: far below what any gauge finds


@dataclass(frozen=True, slots=True)
class Station:
    """A part in the row, its shape, and where it begins and ends along the box's axis [mm]."""

    part: Part
    tube: Tube
    ends: Ends

    @property
    def tight(self) -> bool:
        """Whether it is taken as joined to its neighbours."""
        return self.part.kind in (Kind.BACK, Kind.HOOD) or not self.tube.bounded

    @property
    def fills(self) -> bool:
        """Whether it is a plate that reaches out to the body's walls."""
        return self.part.kind in (Kind.TRAY, Kind.MASK) and not self.tube.bounded


def stations_of(assembly: Assembly, box: Pose) -> tuple[Station, ...]:
    """The parts of a box that stand in a row, from the rear on."""
    kinds = (Kind.BACK, Kind.TRAY, Kind.MASK, Kind.HOOD)
    found = [
        Station(part, part.body, box_ends(part.body, box))
        for part in assembly.parts
        if part.kind in kinds and isinstance(part.body, Tube)
    ]
    return tuple(sorted(found, key=lambda s: (s.ends.rear_mm + s.ends.front_mm, s.ends.rear_mm)))


def first_of(stations: Sequence[Station], kind: Kind) -> Station | None:
    """The first station of a kind; None where there is none."""
    return next((s for s in stations if s.part.kind is kind), None)


def body_of(stations: Sequence[Station], box: Pose) -> Body | None:
    """The sleeve from the first station to the hood's rear edge, else to the last station's front; None with no station."""
    if not stations:
        return None
    half = _body_half_mm(stations, box)
    back, hood = first_of(stations, Kind.BACK), first_of(stations, Kind.HOOD)
    rear = (back.ends.rear_mm + back.ends.front_mm) / 2 if back else _reach(stations[0], box, half).rear_mm
    front = hood.ends.rear_mm if hood else max(_reach(s, box, half).front_mm for s in stations)
    return Body(box=box, half_mm=half, ends=Ends(rear, max(front, rear)))


def _body_half_mm(stations: Sequence[Station], box: Pose) -> FloatArray:
    """Half size of the body: as large as the largest plate in it and the hood's rear edge; else as back plate and others are."""
    hood = first_of(stations, Kind.HOOD)
    sizes = [half_extent_mm(s.tube.outer, box) for s in stations if s.fills and not _beyond(s, hood)]
    sizes += [half_extent_mm(hood.tube.outer[:1], box)] if hood else []
    sizes = sizes or [half_extent_mm(s.tube.outer, box) for s in stations]
    return np.asarray(np.max(sizes, axis=0))


def _beyond(station: Station, hood: Station | None) -> bool:
    """Whether a plate stands inside or ahead of the hood."""
    return hood is not None and station is not hood and station.ends.rear_mm >= hood.ends.rear_mm


def _reach(station: Station, box: Pose, half_mm: FloatArray) -> Ends:
    """Where a station begins and ends at the body's walls: a tilted plate reaches farther there than at its opening."""
    if not station.fills:
        return station.ends
    z = box.points_to_part(filled_plate(station.tube, box, half_mm).vertices_mm)[:, 2]
    return Ends(float(z.min()), float(z.max()))


def half_at_mm(station: Station, hood: Station | None, body: Body) -> FloatArray:
    """How far out a plate has to reach: to the body's walls, or to the hood's where it stands inside it."""
    if hood is None or not _beyond(station, hood):
        return body.half_mm
    rear, front = (half_extent_mm(hood.tube.outer[k : k + 1 or None], body.box) for k in (0, -1))
    depth = hood.ends.front_mm - hood.ends.rear_mm
    share = np.clip((station.ends.front_mm - hood.ends.rear_mm) / depth, 0.0, 1.0)
    return np.asarray(rear + share * (front - rear))
