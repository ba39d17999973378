"""Whether a light is on a target: proven dark, seen from somewhere on it, or neither. One judgement for every question on lights.

Dark is said only where every piece of the target, against all of the light, is kept off by one edge of the box's ways through, by
one flag or by one convex wall. Rays to the light's corners that get out show that it is lit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from geometry.flags import Bars, Hinge
from geometry.openings import OpeningKind
from raytrace.lights import LightPlace
from raytrace.stray.flag_cells import Lit, within
from raytrace.stray.flag_light import FINEST_MM, Ground, is_carried, set_at
from raytrace.stray.target import FlatTarget
from raytrace.stray.world import World

BoolArray = NDArray[np.bool_]

ROUNDS = 5  # from a fourteenth of the target down to FINEST_MM
MOST_CELLS = 3000  # more that nothing keeps off by itself: not to be proven in reasonable time


class Reach(StrEnum):
    """What is known of a light on a target."""

    NONE = "dark"
    SOME = "lit"
    UNSURE = "not proven dark"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetFlag:
    """A flag as it stands."""

    hinge: Hinge
    bars: Bars
    angle_deg: float


def reach_of(target: FlatTarget, light: LightPlace, world: World, flags: Sequence[SetFlag] = ()) -> Reach:
    """Whether a light is on a target; `world` holds all walls, those of `flags` among them.

    Light from behind is on the rear face of a glass only through gaps; one wide enough to stand on both sides is asked for both.
    """
    ground = Ground.of(target, light, world)
    if target.rear is not None and not ground.all_ahead and _has_gaps(world):
        return Reach.UNSURE
    if not ground.light.pieces:
        return Reach.NONE
    found = _by_the_mouth(ground, flags)
    return Reach.UNSURE if found is Reach.NONE and _gap_ahead(target, world) else found


def _has_gaps(world: World) -> bool:
    return any(gap.kind not in (OpeningKind.MOUTH, OpeningKind.REST) for gap in world.openings) or not world.ways


def _gap_ahead(target: FlatTarget, world: World) -> bool:
    """Whether any gap but the mouth lies on the scene's side of the target."""
    normal, at = target.pose.rotation[:, 2], target.pose.origin_mm
    gaps = (gap for gap in world.openings if gap.kind not in (OpeningKind.MOUTH, OpeningKind.REST))
    return any(bool(((gap.surface.vertices_mm - at) @ normal > 0).any()) for gap in gaps)


def _by_the_mouth(ground: Ground, flags: Sequence[SetFlag]) -> Reach:
    cells = ground.first_cells()
    for _ in range(ROUNDS):
        rays = ground.rays(cells)
        if rays.passes.any():
            return Reach.SOME
        cells = cells.take(~(rays.kept | _shaded(rays, ground, flags)))
        if not len(cells.side_mm):
            return Reach.NONE
        if len(cells.side_mm) > MOST_CELLS or cells.side_mm.max() <= FINEST_MM:
            break
        cells = within(cells.finer(), ground.outline)
    return Reach.UNSURE


def _shaded(rays: Lit, ground: Ground, flags: Sequence[SetFlag]) -> BoolArray:
    """Cells (C,) that one flag shades wholly."""
    found = np.zeros(len(rays.kept), dtype=np.bool_)
    for flag in flags:
        stopped = set_at(flag.hinge, flag.bars, flag.angle_deg, rays, carried=is_carried(flag.hinge, ground.ways))
        found |= ~rays.any_of(~stopped)
    return found
