"""How far every part stays out of the beam, or how deep it is in, and where. Worst over pupil depths and guides; draws nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from shapely.geometry.base import BaseGeometry

from geometry.arrays import FloatArray
from geometry.body import Block, Body, Kind, Loop, Part, Surface, Tube
from geometry.frame import Pose, ahead_in_words, frame_to_right_up, pose, where_in_words
from raytrace.beam.beam import Beam, lens_beam, outer_guides
from raytrace.beam.clearance_plane import Nearest, loop_clearance, outer_outline
from raytrace.beam.clearance_slice import slice_clearance, slicer
from raytrace.beam.frame_margin import scaled
from raytrace.box import Box
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState

Measure = Callable[[Beam], Nearest]

LENS_FRONT = "the lens front"  # what places along the axis are told from
BEYOND_MM = 1.0  # how far past the farthest part a beam has to be fine
WIDEST_SCALE = 1.5  # a frame half as wide again: beyond this nobody asks
NARROWEST_SCALE = 0.05
SCALE_STEP = 1e-4  # a hundredth of a percent of the frame: finer than any mount repeats
ALONG_MM = 1000.0  # how deep a part is counted in whose plane runs along the beam, so that rays never go through it


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """How far a part stays out of the beam [mm]; negative: how deep it is in; inf where beam and part never lie in one plane.

    It is measured in the plane of each opening, for blades and meshes square to the axis. range_mm holds the least and the most
    over the pupil depths that the lens may have; point_mm (x, y, z) is where it is least, in the frame, `where` in the operator's
    words; `guide` (the outer one of nested guides) and `variant` (index) are those that come nearest.
    """

    part: str
    kind: Kind
    clearance_mm: float
    range_mm: tuple[float, float]
    point_mm: tuple[float, float, float] | None
    where: str
    guide: str
    variant: int


def clearances(variants: Sequence[LensState], guides: Sequence[Guide], box: Box) -> tuple[Clearance, ...]:
    """The clearance of every part of a box, part by part in the box's order."""
    beams = beams_of(variants, guides, box)
    return tuple(part_clearance(part, beams) for part in box.parts)


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


def part_clearance(part: Part, beams: Sequence[NamedBeam], measure: Measure | None = None) -> Clearance:
    """The clearance of one part: the worst over the beams; `measure`, of its body, saves working it out anew for many beams."""
    measure = measure or measure_of(part.body)
    found = [(measure(named.beam), named) for named in beams]
    nearest, named = min(found, key=lambda pair: pair[0].distance_mm)
    by_variant = [min(n.distance_mm for n, b in found if b.variant == v) for v in sorted({b.variant for _, b in found})]
    return Clearance(
        part=part.name,
        kind=part.kind,
        clearance_mm=nearest.distance_mm,
        range_mm=(min(by_variant), max(by_variant)),
        point_mm=None if nearest.point_mm is None else _three(nearest.point_mm),
        where="" if nearest.point_mm is None else _words(nearest),
        guide=named.guide,
        variant=named.variant,
    )


def measure_of(body: Body) -> Measure:
    """How a body's clearance from any beam is taken; what does not depend on the beam is worked out once, here."""
    if isinstance(body, Tube):
        return partial(_tube, body, {})
    slices = slicer(body)
    return lambda beam: slice_clearance(slices, beam.section_at)


Rims = dict[int, BaseGeometry]  # outside of a tube in the planes of its inner loops, by number


def _tube(tube: Tube, rims: Rims, beam: Beam) -> Nearest:
    found = (_loop(tube, number, rims, beam) for number in range(len(tube.inner)))
    return min(found, key=lambda nearest: nearest.distance_mm)


def _loop(tube: Tube, number: int, rims: Rims, beam: Beam) -> Nearest:
    loop = tube.inner[number]
    plane = _plane(loop)
    if beam.runs_along(plane):
        return Nearest(-ALONG_MM)

    def rim() -> BaseGeometry:
        if number not in rims:
            rims[number] = outer_outline(tube, plane)
        return rims[number]

    return loop_clearance(loop.outline, plane, beam.section(plane), rim if tube.bounded else None)


def _plane(loop: Loop) -> Pose:
    return Pose(loop.pose.rotation, loop.pose.points_to_frame(np.array([0.0, 0.0, loop.z_mm])))


def _points_mm(body: Body) -> Iterator[FloatArray]:
    match body:
        case Tube():
            yield from (points for loop in body.inner for points in loop.points_mm(0.1))
        case Block():
            yield body.corners_mm
        case Surface():
            yield body.vertices_mm


def _three(point: FloatArray) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])


def _words(nearest: Nearest) -> str:
    assert nearest.point_mm is not None
    assert nearest.side is not None
    right, up = frame_to_right_up(nearest.side)
    return f"{where_in_words(float(right), float(up))}, {ahead_in_words(nearest.point_mm[2], LENS_FRONT)}"


def frame_margins_percent(variants: Sequence[LensState], guide: Guide, box: Box) -> tuple[float, ...]:
    """How much wider the guide could be about its own centre before each part shows, in the box's order [%].

    Negative where it would have to be narrower; never more than 50, never less than -95.
    """
    beams: dict[float, tuple[NamedBeam, ...]] = {}

    def at(scale: float) -> tuple[NamedBeam, ...]:
        if scale not in beams:
            beams[scale] = beams_of(variants, [scaled(guide, scale)], box)
        return beams[scale]

    return tuple(_margin_percent(measure_of(part.body), at) for part in box.parts)


def _margin_percent(measure: Measure, at: Callable[[float], tuple[NamedBeam, ...]]) -> float:
    """Where a part's clearance comes to nought as the frame grows, or shrinks."""
    from scipy.optimize import brentq  # here, for it takes long to load

    def clear_mm(scale: float) -> float:
        return float(np.clip(min(measure(named.beam).distance_mm for named in at(scale)), -ALONG_MM, ALONG_MM))

    end = WIDEST_SCALE if clear_mm(1.0) > 0 else NARROWEST_SCALE
    if (clear_mm(end) > 0) == (end == WIDEST_SCALE):
        return 100 * (end - 1)
    return 100 * (float(brentq(clear_mm, 1.0, end, xtol=SCALE_STEP, rtol=SCALE_STEP)) - 1)
