"""How far parts stay out of the beam, as a value, and the beams of several guides and pupil depths. Draws nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from geometry.arrays import FloatArray
from geometry.body import Block, Body, Kind, Part, Surface, Tube
from geometry.frame import pose
from raytrace.beam.beam import Beam, lens_beam, outer_guides
from raytrace.box import Box
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState

BEYOND_MM = 1.0  # how far past the farthest part a beam has to be fine
ALONG_MM = 1000.0  # how deep a part is counted in whose plane runs along the beam, so that rays never go through it


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """How far a part stays out of the beam, in space, square to the beam's side [mm]; negative: how deep it is in; inf far away.

    point_mm (x, y, z) is the place on the part, in the frame, `where` in the operator's words; `guide` is the outer one of nested
    guides that comes nearest.
    """

    part: str
    kind: Kind
    clearance_mm: float
    point_mm: tuple[float, float, float] | None
    where: str
    guide: str


@dataclass(frozen=True, slots=True)
class NamedBeam:
    """The beam of one guide and one pupil depth."""

    guide: str
    variant: int
    beam: Beam


def beams_of(variants: Sequence[LensState], guides: Sequence[Guide], box: Box) -> tuple[NamedBeam, ...]:
    """The beams of several guides and pupil depths through the glass of one box, fine enough for all of its parts."""
    far = pose(ahead_mm=farthest_mm(box.parts) + BEYOND_MM)
    return tuple(
        NamedBeam(guide.name, number, lens_beam(lens, guide, box, far=far))
        for number, lens in enumerate(variants)
        for guide in outer_guides(guides)
    )


def farthest_mm(parts: Sequence[Part]) -> float:
    """How far ahead of the lens front the parts reach [mm]; 0 at least."""
    return max([0.0, *(float(points[:, 2].max()) for part in parts for points in _points_mm(part.body))])


def _points_mm(body: Body) -> Iterator[FloatArray]:
    match body:
        case Tube():
            yield from (points for loop in body.inner for points in loop.points_mm(0.1))
        case Block():
            yield body.corners_mm
        case Surface():
            yield body.vertices_mm
