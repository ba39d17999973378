"""Slices of convex bodies and of meshes by a plane, as flat shapes in the plane's own coordinates."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from geometry.arrays import FloatArray
from geometry.frame import Pose

ON_PLANE_MM = 1e-7  # corners this near a plane lie in it
SKIN_MM = 5e-4  # half the thickness given to a sheet without any


def hull_edges(corners_mm: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """Corners (V, 3) of a convex hull and its edges (E, 2) by index; flat sets get a skin, so that a sheet is a body too."""
    from scipy.spatial import ConvexHull  # here, for it takes long to load

    spread = corners_mm - corners_mm.mean(axis=0)
    _, size, axes = np.linalg.svd(spread, full_matrices=False)
    points = corners_mm if size[-1] > 1e-6 else np.concatenate([corners_mm + SKIN_MM * axes[-1], corners_mm - SKIN_MM * axes[-1]])
    return points, mesh_edges(ConvexHull(points).simplices.astype(np.int64))


def mesh_edges(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Edges (E, 2) of triangles (F, 3), each once."""
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    return np.unique(pairs, axis=0)


def edge_cut(points_mm: FloatArray, edges: NDArray[np.int64], plane: Pose) -> BaseGeometry:
    """The slice of a convex body, from its corners and edges: a polygon, or less where the plane only touches it."""
    p = plane.points_to_part(points_mm)
    z = np.where(np.abs(p[:, 2]) < ON_PLANE_MM, 0.0, p[:, 2])
    a, b = edges[:, 0], edges[:, 1]
    across = z[a] * z[b] < 0
    share = (z[a] / np.where(across, z[a] - z[b], 1.0))[across, None]
    crossings = p[a[across], :2] * (1 - share) + p[b[across], :2] * share
    cut = np.concatenate([p[z == 0, :2], crossings])
    return shapely.MultiPoint(cut).convex_hull if len(cut) else shapely.Polygon()


def hull_cut(corners_mm: FloatArray, plane: Pose) -> BaseGeometry:
    """The slice of the convex hull of corners (V, 3) by a plane."""
    return edge_cut(*hull_edges(corners_mm), plane)


def mesh_cut(vertices_mm: FloatArray, faces: NDArray[np.int64], plane: Pose) -> BaseGeometry:
    """The lines along which a plane meets triangles, and whole triangles that lie in it."""
    p = plane.points_to_part(vertices_mm)
    z = np.where(np.abs(p[:, 2]) < ON_PLANE_MM, 0.0, p[:, 2])[faces]
    flat = (z == 0).all(axis=1)
    meets = ~flat & (z.min(axis=1) <= 0) & (z.max(axis=1) >= 0)
    lines = [_triangle_cut(p[face], height) for face, height in zip(faces[meets], z[meets], strict=True)]
    sheets = shapely.polygons(p[faces[flat]][:, :, :2]) if flat.any() else np.array([], dtype=object)
    return shapely.union_all([*lines, *sheets]) if len(lines) + len(sheets) else shapely.Polygon()


def _triangle_cut(corners: FloatArray, z: FloatArray) -> BaseGeometry:
    """Where one triangle (3, 3) with heights z (3,) meets the plane: a line, or a point at a corner."""
    points = [corners[k, :2] for k in range(3) if z[k] == 0]
    for a, b in ((0, 1), (1, 2), (2, 0)):
        if z[a] * z[b] < 0:
            share = z[a] / (z[a] - z[b])
            points.append(corners[a, :2] * (1 - share) + corners[b, :2] * share)
    return shapely.LineString(points) if len(points) > 1 else shapely.Point(points[0])
