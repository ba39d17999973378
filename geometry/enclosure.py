"""Meshes that close a box for stray light: ruled rings, plates filled out to the body's wall, and the body's own four walls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import mapbox_earcut
import numpy as np
import shapely

from geometry.arrays import FloatArray
from geometry.body import Loop, Surface, Tube
from geometry.frame import AHEAD, OUTWARD, Pose, Side
from geometry.outline import Outline, RoundedRectangle, polygon_loops, to_shape

CIRCLE_POINTS = 360  # chords of a 75 mm circle stray 0.003 mm: a thousandth of a gap worth naming
OVERLAP_MM = 0.5  # walls run this far into each other, so that no ray finds a seam between two meshes
LEAST_AREA_MM2 = 1e-9  # slivers below this are rounding of shapes that touch


@dataclass(frozen=True, slots=True)
class Ends:
    """Where a part begins and ends along the box [mm], in box coordinates."""

    rear_mm: float
    front_mm: float


def box_ends(tube: Tube, box: Pose) -> Ends:
    """Rear and front of a tube's way through, in box coordinates; of a tilted one the farthest points."""
    z = np.concatenate([box.points_to_part(points)[:, 2] for loop in tube.inner for points in loop.points_mm()])
    return Ends(float(z.min()), float(z.max()))


def circle_points(pose: Pose, radius_mm: float, z_mm: float = 0.0) -> FloatArray:
    """Points (K, 3) round a circle about a pose's axis in the frame; its chords enclose the circle's own area [mm]."""
    turn = 2 * np.pi * np.arange(CIRCLE_POINTS) / CIRCLE_POINTS
    step = turn[1]
    fair = radius_mm * np.sqrt(step / np.sin(step))  # area of the polygon = area of the circle
    return pose.points_to_frame(np.column_stack([fair * np.cos(turn), fair * np.sin(turn), np.full_like(turn, z_mm)]))


def rectangle_points(pose: Pose, half_mm: FloatArray, z_mm: float) -> FloatArray:
    """Points (K, 3) round a rectangle about a pose's axis, at the same angles as `circle_points`, its corners among them."""
    turn = 2 * np.pi * np.arange(CIRCLE_POINTS) / CIRCLE_POINTS
    c, s = np.cos(turn), np.sin(turn)
    reach = np.minimum(half_mm[0] / np.maximum(np.abs(c), 1e-12), half_mm[1] / np.maximum(np.abs(s), 1e-12))
    points = np.column_stack([reach * c, reach * s])
    for x, y in ((1, 1), (-1, 1), (-1, -1), (1, -1)):  # the nearest point of each corner moves onto it
        corner = half_mm * np.array([x, y])
        points[np.argmin(np.abs(points - corner).sum(axis=1))] = corner
    return pose.points_to_frame(np.column_stack([points, np.full(len(points), z_mm)]))


def ruled(first: FloatArray, second: FloatArray) -> Surface:
    """The surface of straight lines between two closed loops of as many points (K, 3)."""
    k = len(first)
    here = np.arange(k)
    along = (here + 1) % k
    faces = np.concatenate([np.column_stack([here, along, along + k]), np.column_stack([here, along + k, here + k])])
    return Surface(np.concatenate([first, second]), faces)


def flat_surface(shape: shapely.Geometry, pose: Pose, z_mm: float = 0.0) -> Surface:
    """A flat shape of a pose's plane as triangles; may be empty."""
    pieces = [p for p in getattr(shape, "geoms", [shape]) if isinstance(p, shapely.Polygon) and p.area > LEAST_AREA_MM2]
    return joined([_triangles(piece, pose, z_mm) for piece in pieces])


def _triangles(piece: shapely.Polygon, pose: Pose, z_mm: float) -> Surface:
    loops = [np.asarray(ring.coords, dtype=np.float64)[:, :2] for ring in (piece.exterior, *piece.interiors)]
    flat, ends = np.concatenate(loops), np.cumsum([len(loop) for loop in loops])
    faces = mapbox_earcut.triangulate_float64(flat, ends).reshape(-1, 3)
    return Surface(pose.points_to_frame(np.column_stack([flat, np.full(len(flat), z_mm)])), faces.astype(np.int64))


def joined(surfaces: Sequence[Surface]) -> Surface:
    """Several surfaces as one; none give one without faces."""
    if not surfaces:
        return Surface(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))
    starts = np.cumsum([0, *(len(s.vertices_mm) for s in surfaces[:-1])])
    faces = [s.faces + start for s, start in zip(surfaces, starts, strict=True)]
    return Surface(np.concatenate([s.vertices_mm for s in surfaces]), np.concatenate(faces))


def filled_plate(tube: Tube, box: Pose, half_mm: FloatArray) -> Surface:
    """A plate with its opening, filled out to walls `half_mm` (2,) from the box's axis: both faces and the way through."""
    skins = []
    for loop in (tube.inner[0], tube.inner[-1]):
        wall = shapely.Polygon(_body_corners(loop, box, half_mm + OVERLAP_MM))
        skins.append(flat_surface(wall.difference(to_shape(loop.outline)), loop.pose, loop.z_mm))
    return joined([*skins, *way_through(tube)])


def _body_corners(loop: Loop, box: Pose, half_mm: FloatArray) -> FloatArray:
    """Where the body's four edges pierce a plate's plane, in the plate's own coordinates (4, 2) [mm]."""
    corners = np.array([[x * half_mm[0], y * half_mm[1], 0.0] for x, y in ((1, 1), (-1, 1), (-1, -1), (1, -1))])
    start = loop.pose.points_to_part(box.points_to_frame(corners))
    along = loop.pose.vectors_to_part(box.vectors_to_frame(AHEAD))
    reach = (loop.z_mm - start[:, 2]) / along[2]
    return np.asarray((start + reach[:, None] * along)[:, :2])


def way_through(tube: Tube) -> list[Surface]:
    """The walls of a prismatic opening, rear to front, one for each ring of its outline."""
    rear, front = tube.inner[0], tube.inner[-1]
    return [
        ruled(_placed(ring, rear), _placed(other, front))
        for ring, other in zip(polygon_loops(rear.outline), polygon_loops(front.outline), strict=True)
    ]


def _placed(ring: FloatArray, loop: Loop) -> FloatArray:
    return loop.pose.points_to_frame(np.column_stack([ring, np.full(len(ring), loop.z_mm)]))


def half_extent_mm(loops: Sequence[Loop], box: Pose) -> FloatArray:
    """Half width and half height (2,) of the rectangle about the box's axis that holds the loops [mm]."""
    points = np.concatenate([box.points_to_part(points) for loop in loops for points in loop.points_mm()])
    return np.abs(points[:, :2]).max(axis=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """The body between back plate and hood: a straight rectangular sleeve along the box's axis [mm]."""

    box: Pose
    half_mm: FloatArray
    ends: Ends

    def wall_pose(self, side: Side) -> Pose:
        """Pose of a wall: x along it, y ahead, z outward; its origin where the box's rear plane begins."""
        outward = OUTWARD[side]
        along = np.cross(AHEAD, outward)  # x cross y = z: along cross ahead = outward
        rotation = np.column_stack([along, AHEAD, outward])
        return Pose(rotation, outward * self.reach_mm(side)).then(self.box)

    def reach_mm(self, side: Side) -> float:
        """Distance of a wall from the box's axis."""
        return float(self.half_mm[1] if side in (Side.TOP, Side.BOTTOM) else self.half_mm[0])

    def half_length_mm(self, side: Side) -> float:
        """Half length of a wall across the box."""
        return float(self.half_mm[0] if side in (Side.TOP, Side.BOTTOM) else self.half_mm[1])

    def wall(self, side: Side, cut: shapely.Geometry) -> Surface:
        """A wall without what is cut out of it, `cut` in the wall's own plane."""
        half = self.half_length_mm(side) + OVERLAP_MM
        whole = shapely.box(-half, self.ends.rear_mm, half, self.ends.front_mm)
        return flat_surface(whole.difference(cut), self.wall_pose(side))

    def frame(self, pose: Pose, hole: Outline, z_mm: float) -> Surface:
        """What closes the body from a hole of a part to its walls, in the plane of that part."""
        half = self.half_mm + OVERLAP_MM
        whole = to_shape(RoundedRectangle(2 * float(half[0]), 2 * float(half[1])))
        return flat_surface(whole.difference(to_shape(hole)), pose, z_mm)
