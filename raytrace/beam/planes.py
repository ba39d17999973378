"""The beam of many states in several planes at once, with the filters it has to pass and with some of them taken out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

from geometry.errors import GeometryError
from geometry.frame import Pose
from raytrace.beam.beam import lens_beam, outer_guides, union
from raytrace.beam.outline import Section, widened
from raytrace.box import Box, Glass
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState

ALL_WAYS_UP_TO = 3  # filters: beyond eight ways of filling the trays only all, none, and all but one are tried


def sections_in(variants: Sequence[LensState], guides: Sequence[Guide], box: Box, planes: Sequence[Pose]) -> Section:
    """The union of the beam's sections by planes that stand one behind the other, each in its own plane's coordinates [mm].

    GeometryError where some of the beam runs along a plane and never crosses it: no opening there could let it through.
    """
    found = []
    far = planes[-1]
    for beam in (lens_beam(lens, guide, box, far=far) for lens in variants for guide in outer_guides(guides)):
        if any(beam.runs_along(plane) for plane in planes):
            raise GeometryError("some of the beam runs along this plane and never crosses it: tilt it less")
        found += [beam.section(plane) for plane in planes]
    return union(found)


def with_glasses(box: Box, glasses: Sequence[Glass]) -> Box:
    """The box with these filters in its trays and no others."""
    return replace(box, glasses=tuple(glasses))


def fillings(glasses: Sequence[Glass]) -> tuple[tuple[Glass, ...], ...]:
    """Ways to fill the trays, all of them filled first: every choice of a few filters; of many all, none, and all but one."""
    count = len(glasses)
    taken = range(count, -1, -1) if count <= ALL_WAYS_UP_TO else (count, count - 1, 0)
    return tuple(choice for some in taken for choice in combinations(glasses, some))


def sections_by_filling(
    variants: Sequence[LensState],
    guides: Sequence[Guide],
    planes: Sequence[Pose],
    *,
    loose: Sequence[Glass],
    fixed: Sequence[Glass] = (),
    wider_mm: float = 0.0,
) -> Section:
    """The union of the beam's sections by planes, whichever of the `loose` filters are in and with all of the `fixed` ones [mm].

    It is taken wider all round by so much. GeometryError as for `sections_in`.
    """
    ways = [Box(parts=(), glasses=(*held, *fixed)) for held in fillings(loose)]
    return widened(union([sections_in(variants, guides, box, planes) for box in ways]), wider_mm)
