"""What stray light must not reach: the outermost glass the beam crosses, or the lens front; as points with a normal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geometry.arrays import FloatArray
from geometry.frame import AHEAD, Pose
from raytrace.box import Box
from raytrace.optics.bundle import Fate, launch
from raytrace.optics.camera import PixelGrid
from raytrace.optics.glass import walk
from raytrace.optics.lens import LensState, pencils_for
from raytrace.optics.sampling import sobol_disc, sobol_square, sunflower_disc
from raytrace.stray.world import STEP_MM

BEAM_COLUMNS = 12  # of the grid whose rays outline the beam on the glass
RIM_POINTS = 32  # pupil points of each of them


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A flat target: `points_mm` (M, 3) spread evenly over it and its `normal` (3,) toward the scene.

    Light from behind meets a glass on its rear face: `rear_points_mm` (M, 3); none (0, 3) for the lens front.
    """

    name: str
    points_mm: FloatArray
    rear_points_mm: FloatArray
    normal: FloatArray
    area_mm2: float

    def starts(self, direction: FloatArray) -> FloatArray:
        """Where rays toward `direction` (D, 3) start: (D, M, 3), on the face that looks there. NaN where no face does."""
        ahead = (direction @ self.normal > 0)[:, None, None]
        rear = self.rear_points_mm if len(self.rear_points_mm) else np.full_like(self.points_mm, np.nan)
        return np.where(ahead, self.points_mm, rear)

    @property
    def faces(self) -> tuple[tuple[FloatArray, FloatArray], ...]:
        """(points (M, 3), normal (3,)) of each face that light can reach."""
        front = (self.points_mm, self.normal)
        return (front, (self.rear_points_mm, -self.normal)) if len(self.rear_points_mm) else (front,)


def lens_front_target(radius_mm: float, *, log2_points: int, rng: np.random.Generator) -> Target:
    """The clear glass of the lens front, in the plane of its rim."""
    disc = radius_mm * sobol_disc(log2_points, rng)
    points = np.column_stack([disc, np.full(len(disc), STEP_MM)])
    return Target(
        name="lens front", points_mm=points, rear_points_mm=np.zeros((0, 3)), normal=AHEAD, area_mm2=float(np.pi * radius_mm**2)
    )


def glass_target(lens: LensState, grid: PixelGrid, box: Box, *, log2_points: int, rng: np.random.Generator) -> Target:
    """The outermost glass, as much of it as the beam of the whole picture crosses."""
    glass = box.glasses[-1]
    half = glass.slab.thickness_mm / 2 + STEP_MM
    section = beam_on_glass(lens, grid, box)
    flat = points_in(section, log2_points, rng)
    return Target(
        name=glass.name,
        points_mm=_on_plane(glass.slab.pose, flat, half),
        rear_points_mm=_on_plane(glass.slab.pose, flat, -half),
        normal=glass.slab.pose.vectors_to_frame(AHEAD),
        area_mm2=float(section.area),
    )


def _on_plane(pose: Pose, flat_mm: FloatArray, z_mm: float) -> FloatArray:
    return pose.points_to_frame(np.column_stack([flat_mm, np.full(len(flat_mm), z_mm)]))


def beam_on_glass(lens: LensState, grid: PixelGrid, box: Box) -> shapely.Polygon:
    """Outline of the beam where it enters the outermost glass, in the glass's plane [mm]: the hull of the whole picture's rays."""
    glass, coarse = box.glasses[-1], grid.resized(BEAM_COLUMNS)
    rim = np.concatenate([0.999 * _circle(RIM_POINTS), sunflower_disc(8)])
    corners = np.array([[x, y] for x in grid.x_mm[[0, -1]] for y in grid.y_mm[[0, -1]]])
    bundle, legs = walk(launch(pencils_for(lens, np.concatenate([coarse.points_mm, corners])), rim), box.glasses)
    inside = legs[-2]  # from the outermost glass's rear face to its front face
    kept = (bundle.fate == Fate.ALIVE) & (inside.length_mm > 0)
    flat = glass.slab.pose.points_to_part(inside.origin[kept])[:, :2]
    if len(flat) < 3:
        return shapely.Point(0, 0).buffer(1.0)
    hull = shapely.MultiPoint(flat).convex_hull
    return hull if isinstance(hull, shapely.Polygon) else shapely.Point(0, 0).buffer(1.0)


def _circle(count: int) -> FloatArray:
    turn = 2 * np.pi * np.arange(count) / count
    return np.column_stack([np.cos(turn), np.sin(turn)])


def points_in(shape: shapely.Polygon, log2_points: int, rng: np.random.Generator) -> FloatArray:
    """Points (2**log2_points, 2) spread evenly over a flat shape."""
    x0, y0, x1, y1 = shape.bounds
    wanted, more = 1 << log2_points, 2
    while True:
        square = sobol_square(log2_points + more, rng)
        points = np.array([x0, y0]) + square * np.array([x1 - x0, y1 - y0])
        inside = points[shapely.contains_xy(shape, points[:, 0], points[:, 1])]
        if len(inside) >= wanted:
            return inside[:wanted]
        more += 1
