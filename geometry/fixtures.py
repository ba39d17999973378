"""What stands by the box without being part of it: the lens barrel, its front ring, the rods. Drawn and checked, never traced."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geometry.body import Block, Kind, Loop, Part, Tube
from geometry.errors import GeometryError
from geometry.frame import Pose, pose
from geometry.outline import Circle, polygon_loops

RING_DEPTH_MM = 2.0  # depth of the front ring as drawn
BARREL_LENGTH_MM = 80.0  # as drawn where the lens does not say how long it is
ROD_SAGITTA_MM = 0.02  # rods are looked at, not traced: coarse chords do
CENTRE = Pose(np.eye(3), np.zeros(3))


@dataclass(frozen=True, slots=True, kw_only=True)
class RodSpec:
    """A pair of rods: their diameter, their distance centre to centre, and how far below the lens axis they run."""

    name: str
    diameter_mm: float
    spacing_mm: float
    drop_mm: float

    def __post_init__(self) -> None:
        """Refuse rods that have no thickness or run through each other."""
        if not 0 < self.diameter_mm < self.spacing_mm:
            raise GeometryError(
                f"{self.name}: rods must be thinner than they stand apart, found {self.diameter_mm:g} mm thick, "
                f"{self.spacing_mm:g} mm apart"
            )


def front_ring(*, outside_mm: float, glass_mm: float, name: str = "front ring") -> Part:
    """The lens's front ring: a flat ring from the clear glass to the outside, its front face at the front rim (z = 0)."""
    if not 0 < glass_mm < outside_mm:
        raise GeometryError(
            f"{name}: the clear glass must be smaller than the barrel's outside, found {glass_mm:g} mm in {outside_mm:g} mm"
        )
    return _pipe(name, Kind.FRONT_RING, inner_mm=glass_mm, outer_mm=outside_mm, rear_mm=-RING_DEPTH_MM, front_mm=0.0)


def barrel(*, outside_mm: float, inside_mm: float | None = None, length_mm: float = BARREL_LENGTH_MM, name: str = "barrel") -> Part:
    """The lens barrel behind its front ring, as a straight pipe reaching back `length_mm` from the front rim."""
    inside_mm = 0.9 * outside_mm if inside_mm is None else inside_mm
    if not length_mm > RING_DEPTH_MM:
        raise GeometryError(f"{name}: length must be above {RING_DEPTH_MM:g} mm, found {length_mm:g}")
    return _pipe(name, Kind.BARREL, inner_mm=inside_mm, outer_mm=outside_mm, rear_mm=-length_mm, front_mm=-RING_DEPTH_MM)


def rods(spec: RodSpec, *, rear_mm: float, front_mm: float) -> tuple[Part, Part]:
    """The left and the right rod, straight along the axis from `rear_mm` to `front_mm` ahead of the lens front rim."""
    if not rear_mm < front_mm:
        raise GeometryError(f"{spec.name}: rods must end ahead of where they begin, found {rear_mm:g} to {front_mm:g} mm")
    half = spec.spacing_mm / 2
    return (_rod("left rod", spec, -half, rear_mm, front_mm), _rod("right rod", spec, half, rear_mm, front_mm))


def _rod(name: str, spec: RodSpec, right_mm: float, rear_mm: float, front_mm: float) -> Part:
    place = pose(right_mm=right_mm, up_mm=-spec.drop_mm)
    (ring,) = polygon_loops(Circle(spec.diameter_mm / 2), ROD_SAGITTA_MM)
    ends = [np.column_stack([ring, np.full(len(ring), z)]) for z in (rear_mm, front_mm)]
    return Part(name=name, kind=Kind.ROD, body=Block(place.points_to_frame(np.concatenate(ends))), group=spec.name)


def _pipe(name: str, kind: Kind, *, inner_mm: float, outer_mm: float, rear_mm: float, front_mm: float) -> Part:
    inner, outer = Circle(inner_mm / 2), Circle(outer_mm / 2)
    body = Tube(
        inner=(Loop(CENTRE, inner, rear_mm), Loop(CENTRE, inner, front_mm)),
        outer=(Loop(CENTRE, outer, rear_mm), Loop(CENTRE, outer, front_mm)),
        bounded=True,
    )
    return Part(name=name, kind=kind, body=body)
