"""Which bodies plainly stand clear of each other, or touch only: told from their corners, before a mesh of either is made."""

from __future__ import annotations

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Block, Body, Slab, Surface, Tube
from geometry.outline import inside_distance, is_convex, polygon_loops

CHORD_MM = 0.01  # chords of round outlines stand off them by no more


def corners_of(body: Body) -> FloatArray:
    """Points (N, 3) [mm] whose convex hull holds a body, but for the chords of round outlines."""
    match body:
        case Tube(inner=inner, outer=outer):
            return np.concatenate([points for loop in (*inner, *outer) for points in loop.points_mm(CHORD_MM)])
        case Block(corners_mm=corners):
            return corners
        case Surface(vertices_mm=vertices):
            return vertices


def slab_corners(slab: Slab) -> FloatArray:
    """The same of a sheet of glass."""
    flat = np.concatenate(polygon_loops(slab.outline, CHORD_MM))
    faces = [np.column_stack([flat, np.full(len(flat), z)]) for z in (-slab.thickness_mm / 2, slab.thickness_mm / 2)]
    return slab.pose.points_to_frame(np.concatenate(faces))


def ways_of(body: Body | Slab) -> FloatArray:
    """Directions (K, 3) along which a body is likely to end: its own axes, or those along which a board is longest and thinnest."""
    match body:
        case Tube(inner=inner):
            return inner[0].pose.rotation.T
        case Slab(pose=pose):
            return pose.rotation.T
        case Block(corners_mm=corners):
            return np.linalg.svd(corners - corners.mean(axis=0), full_matrices=False)[2]
        case Surface():
            return np.zeros((0, 3))


def least_overlap_mm(first: FloatArray, second: FloatArray, ways: FloatArray) -> float:
    """How far the hulls of points (N, 3) and (M, 3) reach into each other along the best of some directions (K, 3) [mm].

    0 or less where a plane parts them. What they share is no thicker than that anywhere.
    """
    one, two = ways @ first.T, ways @ second.T
    shared = np.minimum(one.max(axis=1), two.max(axis=1)) - np.maximum(one.min(axis=1), two.min(axis=1))
    return float(shared.min(initial=np.inf))


def passes_through(points: FloatArray, body: Body, play_mm: float) -> bool:
    """Whether the hull of points (N, 3) lies in the way through a tube, or reaches into its wall by no more than so much."""
    if not isinstance(body, Tube) or not all(loop.pose is body.inner[0].pose and is_convex(loop.outline) for loop in body.inner):
        return False
    return all(
        bool((inside_distance(loop.outline, loop.pose.points_to_part(points)[:, :2]) >= -play_mm).all()) for loop in body.inner
    )


def beyond(points: FloatArray, way: FloatArray, level_mm: float) -> FloatArray:
    """Points (K, 3) whose hull holds what of the hull of points (N, 3) lies beyond a level along a direction (3,)."""
    far = points @ way - level_mm
    there, here = np.flatnonzero(far > 0.0), np.flatnonzero(far <= 0.0)
    share = (far[there][:, None] / (far[there][:, None] - far[here]))[..., None]
    crossed = points[there][:, None] * (1.0 - share) + points[here] * share
    return np.concatenate([points[there], crossed.reshape(-1, 3)])
