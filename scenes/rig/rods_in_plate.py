"""Rods that run into a back plate: by its edge, or as no hole is there for them. No words."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from scenes.rig.box import rod_spec
from scenes.scene_file.tables.box import Back, Box
from scenes.scene_file.tables.make import LEAST_BETWEEN_MM, Make, names_of
from scenes.scene_file.tables.scene import Scene, box_for

SIDES = (("left", -1.0), ("right", 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class RodMeeting:
    """A rod that a back plate is in the way of: by its edge, or by having no hole for it.

    at_mm: the rod's middle from the plate's, right and up. lens_name: the first lens with which it is so.
    """

    side: str
    at_edge: bool
    at_mm: tuple[float, float]
    diameter_mm: float
    plate: str
    lens_name: str


def rods_in_plate(scene: Scene) -> tuple[RodMeeting, ...]:
    """Rods that a back plate is in the way of, the first lens of each."""
    found: dict[tuple[str, str], RodMeeting] = {}
    for lens in scene.lens:
        for meeting in rod_meetings(box_for(scene, lens), scene.make, lens.name):
            found.setdefault((meeting.plate, meeting.side), meeting)
    return tuple(found.values())


def rod_meetings(box: Box, make: Make, lens_name: str) -> Iterator[RodMeeting]:
    """Rods that a back plate of a box as it is on a lens is in the way of."""
    spec = rod_spec(box)
    if spec is None:
        return
    radius, (right, up) = spec.diameter_mm / 2, box.offset_mm
    for back in box.back:
        near = LEAST_BETWEEN_MM + _leaning_mm(back, box.tilt_deg)
        for side, sign in SIDES:
            at = sign * spec.spacing_mm / 2 - right, -spec.drop_mm - up
            inside, outside = _to_edge_mm(at, (back.width_mm / 2, back.height_mm / 2))
            if outside < radius + near and not _passes(box, make, at, radius):
                yield RodMeeting(
                    side=side,
                    at_edge=inside < radius + near,
                    at_mm=at,
                    diameter_mm=spec.diameter_mm,
                    plate=back.name or "back plate",
                    lens_name=lens_name,
                )


def _leaning_mm(back: Back, tilt_deg: float) -> float:
    """How far the upper and lower edge of a tilted plate may stand from where they are taken to."""
    tilt = math.radians(abs(tilt_deg))
    return back.height_mm / 2 * (1 - math.cos(tilt)) + back.thickness_mm * math.sin(tilt)


def _to_edge_mm(at_mm: tuple[float, float], half_mm: tuple[float, float]) -> tuple[float, float]:
    """How far a point lies inside a rectangle about the middle, below 0 outside; and how far outside, 0 inside [mm]."""
    beyond = [abs(one) - half for one, half in zip(at_mm, half_mm, strict=True)]
    return -max(beyond), math.hypot(*(max(one, 0.0) for one in beyond))


def _passes(box: Box, make: Make, at_mm: tuple[float, float], radius_mm: float) -> bool:
    """Whether a hole in the back plate lets a rod through."""
    known = names_of(box)
    for hole in make.hole:
        if known.get(hole.of, ("", 0))[0] == "back" and math.dist(hole.at_mm, at_mm) + radius_mm <= hole.diameter_mm / 2 + 1e-9:
            return True
    return False
