"""The beam of many states in several planes at once, with the filters it has to pass and with some of them taken out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from geometry.errors import GeometryError
from geometry.frame import Pose
from raytrace.beam.beam import Beam, lens_beam, outer_guides, union
from raytrace.beam.outline import Section, widened
from raytrace.box import Box, Glass
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState

ALL_WAYS_UP_TO = 3  # filters: beyond eight ways of filling the trays only all, none, and all but one are tried


def sections_in(variants: Sequence[LensState], guides: Sequence[Guide], box: Box, planes: Sequence[Pose]) -> Section:
    """The union of the beam's sections by planes that stand one behind the other, each in its own plane's coordinates [mm].

    GeometryError where some of the beam runs along a plane and never crosses it: no opening there could let it through.
    """
    return union([beam.section(plane) for beam in _beams(variants, guides, box, planes) for plane in planes])


def _beams(variants: Sequence[LensState], guides: Sequence[Guide], box: Box, planes: Sequence[Pose]) -> list[Beam]:
    """The beams of all pupil depths and outer guides, which cross all planes, the last the farthest."""
    beams = [lens_beam(lens, guide, box, far=planes[-1]) for lens in variants for guide in outer_guides(guides)]
    if any(beam.runs_along(plane) for beam in beams for plane in planes):
        raise GeometryError("some of the beam runs along this plane and never crosses it: tilt it less")
    return beams


def with_glasses(box: Box, glasses: Sequence[Glass]) -> Box:
    """The box with these filters in its trays and no others."""
    return replace(box, glasses=tuple(glasses))


def fillings(glasses: Sequence[Glass]) -> tuple[tuple[Glass, ...], ...]:
    """Ways to fill the trays, all of them filled first: every choice of a few filters; of many all, none, and all but one."""
    count = len(glasses)
    taken = range(count, -1, -1) if count <= ALL_WAYS_UP_TO else (count, count - 1, 0)
    return tuple(choice for some in taken for choice in combinations(glasses, some))


@dataclass(frozen=True, slots=True)
class Crossed:
    """Planes, one behind the other, and the ways of filling trays in which the beam is asked for there."""

    planes: tuple[Pose, ...]
    ways: tuple[tuple[Glass, ...], ...]


def sections_by_filling(
    variants: Sequence[LensState], guides: Sequence[Guide], asked: Sequence[Crossed], *, wider_mm: float = 0.0
) -> list[Section]:
    """For each of the planes asked for the union of the beam's sections, however the trays are filled [mm].

    It is taken wider all round by so much. The beam through glasses that are asked for twice, by their identity, is followed once,
    as far as the farthest of these planes. GeometryError as for `sections_in`.
    """
    found: list[list[Section]] = [[] for _ in asked]
    for key, way in {_key(way): way for one in asked for way in one.ways}.items():
        mine = [k for k, one in enumerate(asked) if key in map(_key, one.ways)]
        planes = sorted((plane for k in mine for plane in asked[k].planes), key=_ahead_mm)
        for beam in _beams(variants, guides, Box(parts=(), glasses=way), planes):
            for k in mine:
                found[k] += [beam.section(plane) for plane in asked[k].planes]
    return [widened(union(sections), wider_mm) for sections in found]


def _key(way: tuple[Glass, ...]) -> tuple[int, ...]:
    return tuple(map(id, way))


def _ahead_mm(plane: Pose) -> float:
    return float(plane.origin_mm[2])
