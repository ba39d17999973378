"""Through which planes a state's box is cut to be looked at: the worst place first. Loads nothing that draws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geometry.arrays import FloatArray
from geometry.meshes import part_mesh
from scenes.sheets.cut_shapes import SIDE, TOP, CutPlane, plane_through

if TYPE_CHECKING:
    from scenes.states.state import State

INSIDE_MM, INSIDE_SHARE = 4.0, 0.2
APART_DEG = 3.0  # a worst place nearer to the upright or the level plane than this is shown there


def plane_of(plan: State, part: str, point_mm: tuple[float, float, float] | None) -> CutPlane:
    """The plane through the worst place of a part; the upright one where there is none."""
    return SIDE if point_mm is None else planes_of(inside(plan, part, point_mm))[0]


def inside(plan: State, part: str, point_mm: tuple[float, float, float]) -> FloatArray:
    """A place a little inside the part from a point on it: a plane through a corner of a board would miss the board."""
    point = np.array(point_mm)
    body = next((one for one in plan.assembly.parts if one.name == part), None)
    if body is None:
        return point
    inward = np.asarray(part_mesh(body).vertices).mean(axis=0) - point
    return point + inward * min(INSIDE_MM / max(float(np.linalg.norm(inward)), 1e-9), INSIDE_SHARE)


def planes_of(worst_mm: Sequence[float] | FloatArray | None) -> tuple[CutPlane, ...]:
    """The planes that are drawn, the one through the worst place first."""
    if worst_mm is None or math.hypot(worst_mm[0], worst_mm[1]) < 1.0:
        return (SIDE, TOP)
    through = plane_through(worst_mm, "worst")
    for plane in (SIDE, TOP):
        if abs(plane.up[0] * through.up[0] + plane.up[1] * through.up[1]) > np.cos(np.radians(APART_DEG)):
            return (plane, *(other for other in (SIDE, TOP) if other is not plane))
    return (through, SIDE, TOP)
