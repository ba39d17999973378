"""Which directions are in the recorded picture of a lens, seen from its pupil."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray, cross_product
from raytrace.optics.camera import PixelGrid, whole_frame
from raytrace.optics.lens import LensState, pencils_for


def in_frame(
    lens: LensState, grid: PixelGrid, direction: FloatArray, half_width_deg: FloatArray | float = 0.0
) -> NDArray[np.bool_]:
    """Whether any of lights in directions (N, 3) from the pupil, so wide to each side, is in the recorded picture (N,)."""
    ring = frame_slopes(lens, grid)
    outline = shapely.Polygon(ring).convex_hull
    unit = direction / np.linalg.norm(direction, axis=1, keepdims=True)
    ahead = unit[:, 2] > 1e-9
    slope = unit[:, :2] / np.where(ahead, unit[:, 2], 1.0)[:, None]
    middle = ahead & shapely.contains_xy(outline, slope[:, 0], slope[:, 1])
    edge = shapely.get_coordinates(outline)
    return np.asarray(middle | (_angle_to_ring_deg(unit, edge) <= half_width_deg))


def _angle_to_ring_deg(unit: FloatArray, ring: FloatArray) -> FloatArray:
    """The least angle (N,) from directions (N, 3) to a closed line of slopes (K, 2), whose sides are great circles in the sky."""
    corner = np.column_stack([ring, np.ones(len(ring))])
    corner /= np.linalg.norm(corner, axis=1, keepdims=True)
    first, last = corner[:-1], corner[1:]
    pole = cross_product(first, last)
    pole /= np.maximum(np.linalg.norm(pole, axis=1, keepdims=True), 1e-300)
    to_arc = np.arcsin(np.clip(np.abs(unit @ pole.T), 0.0, 1.0))
    after, before = cross_product(pole, first), cross_product(last, pole)
    beside = (unit @ after.T >= 0) & (unit @ before.T >= 0)  # the foot lies between the ends
    to_end = np.arccos(np.clip(unit @ corner.T, -1.0, 1.0)).min(axis=1)
    return np.asarray(np.degrees(np.minimum(np.where(beside, to_arc, np.inf).min(axis=1), to_end)))


def frame_slopes(lens: LensState, grid: PixelGrid) -> FloatArray:
    """Slopes (K, 2) dx/dz, dy/dz round the edge of the recorded picture, in order."""
    corners = whole_frame(grid).corners_mm()
    steps = np.linspace(0.0, 1.0, 24, endpoint=False)[:, None]
    edge = np.concatenate([corners[k] + steps * (corners[(k + 1) % 4] - corners[k]) for k in range(4)])
    return pencils_for(lens, edge).slope
