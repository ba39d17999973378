"""What of a part lies between the pupil's reference plane and the object plane: only that can stop a ray. How far a box reaches."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Block, Body, Surface, Tube
from raytrace.box import Box
from raytrace.kept import Kept

Ints = NDArray[np.int64]

FEW_LINES = 1024  # a block has 28; a hull of more points has far fewer edges than lines


def block_between(corners_mm: FloatArray, span_mm: tuple[float, float]) -> FloatArray:
    """Corners (V', 3) that span the convex hull of `corners_mm` (V, 3) cut to z within the span; (0, 3) where nothing is left."""
    for sign, limit in ((1.0, span_mm[0]), (-1.0, span_mm[1])):
        corners_mm = _hull_beyond(corners_mm, sign, limit)
    return corners_mm


def _hull_beyond(corners: FloatArray, sign: float, limit: float) -> FloatArray:
    """Corners with sign * z above sign * limit, and where lines between kept and lost corners cross the limit."""
    height = sign * corners[:, 2] - sign * limit
    kept = height > 0
    if kept.all() or not kept.any():
        return corners[kept]
    inside, outside = _crossing_lines(corners, kept)
    share = height[inside] / (height[inside] - height[outside])
    return np.concatenate([corners[kept], corners[inside] + share[:, None] * (corners[outside] - corners[inside])])


def _crossing_lines(corners: FloatArray, kept: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Kept and lost ends of the lines on which a section has its corners: the hull's edges, or all lines of a few points."""
    inside, outside = np.flatnonzero(kept), np.flatnonzero(~kept)
    if len(inside) * len(outside) <= FEW_LINES:
        first, second = np.meshgrid(inside, outside, indexing="ij")
        return first.ravel(), second.ravel()
    from scipy.spatial import ConvexHull  # here, for it takes long to load and a process that only compiles needs none

    faces = ConvexHull(corners).simplices
    edges = np.unique(np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    crossing = edges[kept[edges[:, 0]] != kept[edges[:, 1]]]
    turned = np.where(kept[crossing[:, :1]], crossing, crossing[:, ::-1])
    return turned[:, 0], turned[:, 1]


def faces_between(vertices_mm: FloatArray, faces: Ints, span_mm: tuple[float, float]) -> tuple[FloatArray, Ints]:
    """A mesh's vertices and faces cut to z within the span."""
    for sign, limit in ((1.0, span_mm[0]), (-1.0, span_mm[1])):
        vertices_mm, faces = _faces_beyond(vertices_mm, faces, sign, limit)
    return vertices_mm, faces


def _faces_beyond(vertices: FloatArray, faces: Ints, sign: float, limit: float) -> tuple[FloatArray, Ints]:
    height = np.subtract(sign * vertices[:, 2], sign * limit) if np.isfinite(limit) else np.ones(len(vertices))
    kept = height > 0
    number = kept[faces].sum(axis=1)
    whole = faces[number == 3]
    parts = [_cut_face(vertices[face], height[face]) for face in faces[(number > 0) & (number < 3)]]
    if not parts:
        return vertices, whole
    fresh = np.concatenate(parts)
    return np.concatenate([vertices, fresh.reshape(-1, 3)]), np.concatenate(
        [whole, len(vertices) + np.arange(3 * len(fresh)).reshape(-1, 3)]
    )


def _cut_face(corners: FloatArray, height: FloatArray) -> FloatArray:
    """Triangles (1 or 2, 3, 3) of what a plane leaves of one triangle."""
    turn = int(np.argmax(height > 0)) if (height > 0).sum() == 1 else (int(np.argmax(height <= 0)) + 1) % 3
    c, h = np.roll(corners, -turn, axis=0), np.roll(height, -turn)
    if h[1] <= 0:
        return np.array([[c[0], _where(c, h, 0, 1), _where(c, h, 0, 2)]])
    return np.array([[c[0], c[1], _where(c, h, 1, 2)], [c[0], _where(c, h, 1, 2), _where(c, h, 0, 2)]])


def _where(c: FloatArray, h: FloatArray, i: int, j: int) -> FloatArray:
    return np.asarray(c[i] + h[i] / (h[i] - h[j]) * (c[j] - c[i]))


def box_depths_mm(box: Box) -> FloatArray:
    """Nearest and farthest z of all parts (2,) [mm]."""
    spans = [span for part in box.parts if (span := depths_of(part.body))[0] <= span[1]]
    return np.array([min(near for near, _ in spans), max(far for _, far in spans)]) if spans else np.zeros(2)


def _depths_mm(body: Body) -> tuple[float, float]:
    z = np.concatenate([points[:, 2] for points in _points(body)])
    return float(z.min(initial=np.inf)), float(z.max(initial=-np.inf))


def _points(body: Body) -> list[FloatArray]:
    match body:
        case Tube():
            return [points for loop in (*body.inner, *body.outer) for points in loop.points_mm(1.0)]
        case Block():
            return [body.corners_mm]
        case Surface():
            return [body.vertices_mm]


depths_of: Kept[Body, tuple[float, float]] = Kept(_depths_mm)
