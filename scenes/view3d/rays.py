"""The few rays that a 3D picture shows: which field points and pupil points, and the path of each through glass to where it ends.

The map is made by the tracers; these rays only show it. They refract and stop by the very rules of the reference way.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Part
from raytrace.box import Box
from raytrace.intersect import stopper
from raytrace.optics.bundle import Leg, launch
from raytrace.optics.camera import Guide
from raytrace.optics.glass import walk
from raytrace.optics.pencil import Pencils
from raytrace.shares import VignetteMap
from scenes.sheets.colours import RAY_BLOCKED, RAY_CLEAR, RAY_DIMMED, rgb_of
from scenes.view3d.content import Colour, RayFate, RayPath

PencilsAt = Callable[[FloatArray], Pencils]

RIM = 0.985  # share of the pupil's radius at which rim rays start: just inside, where the box bites first
RIM_RAYS, WORST_RAYS = 9, 16
FAN_RAYS = 7
DIMMED = 0.7  # half a stop: two clear filters at a slant take less, and what takes more is worth another colour


def field_points(guide: Guide) -> FloatArray:
    """Picture points (9, 2) to show rays of: the guide's corners, the middles of its sides, its centre."""
    corners = guide.corners_mm()
    sides = (corners + np.roll(corners, -1, axis=0)) / 2
    return np.concatenate([corners, sides, [guide.centre_mm]])


def worst_point(guide: Guide, map_: VignetteMap) -> FloatArray:
    """Picture point (2,) of the guide at which parts take most light [mm]; its top left corner where they take none."""
    across = np.abs(map_.x_mm - guide.centre_mm[0]) <= guide.half_width_mm * 1.001
    upright = np.abs(map_.y_mm - guide.centre_mm[1]) <= guide.half_height_mm * 1.001
    if not (across.any() and upright.any()):
        return guide.corners_mm()[0]
    share = np.where(upright[:, None] & across[None, :] & (map_.lens > 0), map_.clear_share, 2.0)
    row, column = np.unravel_index(int(np.argmin(share)), share.shape)
    return np.array([map_.x_mm[column], map_.y_mm[row]])


def rim_and_centre(count: int) -> FloatArray:
    """Pupil points (count + 1, 2) of the unit disc: the chief ray first, then evenly along the rim."""
    angle = 2 * np.pi * (np.arange(count) + 0.5) / count
    return np.concatenate([[[0.0, 0.0]], RIM * np.column_stack([np.cos(angle), np.sin(angle)])])


def upright_fan(count: int = FAN_RAYS) -> FloatArray:
    """Pupil points (count, 2) from the bottom to the top of the unit disc."""
    return np.column_stack([np.zeros(count), RIM * np.linspace(-1.0, 1.0, count)])


def shown_rays(pencils: Pencils, disc: FloatArray, box: Box, end_z_mm: float, longest_mm: float = np.inf) -> tuple[RayPath, ...]:
    """The rays of pencils through pupil points (R, 2) that the bare lens lets through.

    Each runs to where it is stopped or to `end_z_mm`, and never on for more than `longest_mm` behind the last glass.
    """
    bundle, legs = walk(launch(pencils, disc), box.glasses)
    legs = (*legs[:-1], _ended(legs[-1], end_z_mm, longest_mm))
    stop, by = first_stops(legs, box.parts)
    runs = np.flatnonzero(bundle.alive)
    names = (*(part.name for part in box.parts), "")
    return tuple(_path(_places(legs, int(i)), float(stop[i]), names[by[i]], float(bundle.weight[i])) for i in runs)


def _ended(leg: Leg, end_z_mm: float, longest_mm: float) -> Leg:
    """The last leg up to a plane, or to the object where that is nearer."""
    length = np.clip((end_z_mm - leg.origin[:, 2]) / leg.direction[:, 2], 0.0, np.minimum(leg.length_mm, longest_mm))
    return Leg(origin=leg.origin, direction=leg.direction, length_mm=length, start_mm=leg.start_mm)


def _places(legs: Sequence[Leg], ray: int) -> FloatArray:
    """Corners (K, 3) of one ray's polyline [mm]."""
    last = legs[-1]
    return np.array([*(leg.origin[ray] for leg in legs), last.origin[ray] + last.length_mm[ray] * last.direction[ray]])


def first_stops(legs: Sequence[Leg], parts: Sequence[Part]) -> tuple[FloatArray, NDArray[np.int64]]:
    """How far along each ray is stopped (N,) [mm], inf if never, and by which part (N,), -1 if by none."""
    count = len(legs[0].start_mm)
    met = np.array([np.full(count, np.inf), *(stopper(part.body)(legs) for part in parts)])
    first = np.argmin(met, axis=0)
    stop = met[first, np.arange(count)]
    return stop, np.where(np.isfinite(stop), first - 1, -1)


def _path(places_mm: FloatArray, stop_mm: float, stopped_by: str, light: float) -> RayPath:
    begun = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(places_mm, axis=0), axis=1))])
    if np.isinf(stop_mm):
        return RayPath(points_mm=places_mm, fate=RayFate.GLASS if light < DIMMED else RayFate.CLEAR)
    end = [np.interp(stop_mm, begun, places_mm[:, axis]) for axis in range(3)]
    return RayPath(points_mm=np.array([*places_mm[begun < stop_mm], end]), fate=RayFate.BLOCKED, stopped_by=stopped_by)


# Widths say the same. Dashes of many rays side by side would make a pattern that hides the rays.
RAY_COLOURS: dict[RayFate, Colour] = {
    RayFate.CLEAR: rgb_of(RAY_CLEAR),
    RayFate.GLASS: rgb_of(RAY_DIMMED),
    RayFate.BLOCKED: rgb_of(RAY_BLOCKED),
}
RAY_WIDTH_PX = {RayFate.CLEAR: 3.0, RayFate.GLASS: 1.6, RayFate.BLOCKED: 4.5}  # supersampling draws lines at half and less
STOP_DOT_PX = 16.0  # where a ray is stopped
