"""Parts as convex pieces for the kernels, once a box: plain openings as walls whose arcs are cut on the fly, else corners."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.body import Block, Body, Loop, Part, Surface, Tube
from geometry.outline import Circle, Freeform, half_size_mm, to_shape
from raytrace.judge.kernels.shapes import ENDLESS_MM, LOOP_FIELDS
from raytrace.kept import Kept

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SAME_MM = 1e-9
BLOCK_CORNERS = 8  # a flag's or a rod's: it needs them all
LEAST_AREA_MM2 = 1e-12
NO_WALLS = np.zeros((0, 2, LOOP_FIELDS))
NO_POINTS = np.zeros((0, 3))
NO_PIECES = np.zeros((0, 2), dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Pieces:
    """One part: walls (S, 2, LOOP_FIELDS), corners (m, 3) in runs (Q, 2), the hull (h, 3) of a body that is moved as a whole.

    drawn: the tube whose outline is a drawing, and its outside in each loop's plane.
    """

    walls: FloatArray
    points: FloatArray
    runs: IntArray
    whole: FloatArray
    drawn: tuple[Tube, tuple[tuple[float, float, float], ...]] | None = None


def pieces_of(part: Part) -> Pieces:
    """The convex pieces that hold a part's material: no more than it, but for the chords of round corners."""
    return pieces_of_body(part.body)


def _pieces(body: Body) -> Pieces:
    match body:
        case Tube():
            return _tube(body)
        case Block(corners_mm=corners):
            return Pieces(NO_WALLS, np.ascontiguousarray(corners, dtype=np.float64), np.array([[0, len(corners)]]), _hull(corners))
        case Surface(vertices_mm=vertices, faces=faces):
            points = np.ascontiguousarray(vertices[faces].reshape(-1, 3), dtype=np.float64)
            starts = 3 * np.arange(len(faces), dtype=np.int64)
            return Pieces(NO_WALLS, points, np.column_stack([starts, starts + 3]), _hull(points))


pieces_of_body: Kept[Body, Pieces] = Kept(_pieces)


def _hull(points: FloatArray) -> FloatArray:
    """Those of points (N, 3) that their hull needs: of few, or of flat ones, all."""
    if len(points) <= BLOCK_CORNERS or np.linalg.svd(points - points.mean(axis=0), compute_uv=False)[-1] < 1e-6:
        return np.ascontiguousarray(points, dtype=np.float64)
    from scipy.spatial import ConvexHull, QhullError  # here, for it takes long to load

    try:
        return np.ascontiguousarray(points[ConvexHull(points).vertices])
    except QhullError:  # nearly flat for its size: all points have the same hull, they only take longer
        return np.ascontiguousarray(points, dtype=np.float64)


def _tube(tube: Tube) -> Pieces:
    pairs = list(pairwise(tube.inner)) if len(tube.inner) > 1 else [(tube.inner[0], tube.inner[0])]
    if not any(isinstance(loop.outline, Freeform) for loop in tube.inner):
        walls = np.array([[_loop_row(tube, one), _loop_row(tube, two)] for one, two in pairs])
        return Pieces(walls, NO_POINTS, NO_PIECES, NO_POINTS)
    found = [piece for one, two in pairs for piece in _drawn(tube, one, two)]
    ends = np.cumsum([0, *(len(piece) for piece in found)])
    runs = np.column_stack([ends[:-1], ends[1:]]).astype(np.int64)
    drawn = (tube, tuple(_outside(tube, loop) for loop in tube.inner))
    return Pieces(NO_WALLS, np.concatenate(found), runs, NO_POINTS, drawn)


def _loop_row(tube: Tube, loop: Loop) -> list[float]:
    assert not isinstance(loop.outline, Freeform)
    half, r = half_size_mm(loop.outline), loop.outline.radius_mm if isinstance(loop.outline, Circle) else loop.outline.corner_mm
    return [*loop.pose.rotation.ravel(), *_origin(loop), *half, r, *_outside(tube, loop)]


def _origin(loop: Loop) -> FloatArray:
    return loop.pose.points_to_frame(np.array([0.0, 0.0, loop.z_mm]))


def _outside(tube: Tube, loop: Loop) -> tuple[float, float, float]:
    """What bounds a tube in the plane of a loop: nothing, a box, or a circle; never less than there is."""
    if not tube.bounded:
        return 0.0, 0.0, 0.0
    mates = [outer for outer in tube.outer if np.abs(_origin(outer) - _origin(loop)).max() < SAME_MM and _turned_alike(outer, loop)]
    if len(mates) == 1 and len(tube.outer) == len(tube.inner):
        half = half_size_mm(mates[0].outline)
        return (2.0 if isinstance(mates[0].outline, Circle) else 1.0), float(half[0]), float(half[1])
    points = np.concatenate([points for outer in tube.outer for points in outer.points_mm()])
    reach = np.abs(loop.pose.points_to_part(points)[:, :2]).max(axis=0)
    return 1.0, float(reach[0]), float(reach[1])


def _turned_alike(one: Loop, two: Loop) -> bool:
    return bool(np.abs(one.pose.rotation - two.pose.rotation).max() < SAME_MM)


def _drawn(tube: Tube, one: Loop, two: Loop) -> list[FloatArray]:
    """Pieces round a drawn opening: beyond each edge of its hull, and what its dents and islands hold."""
    first, second = to_shape(one.outline), to_shape(two.outline)
    drawn = ((one, first), (two, second))
    faces = [(loop, shapely.get_coordinates(shapely.convex_hull(shape)), _outside(tube, loop)) for loop, shape in drawn]
    found = [
        np.concatenate([_placed(loop, _beyond(hull, outside, way)) for loop, hull, outside in faces])
        for way in _ways((first, second))
    ]
    if one.outline is two.outline or first.equals(second):
        dents = _triangles(shapely.convex_hull(first).difference(first))
        found += [np.concatenate([_placed(one, triangle), _placed(two, triangle)]) for triangle in dents]
    return found


def _ways(shapes: Sequence[shapely.Geometry]) -> FloatArray:
    """Outward directions (E, 2) of all edges of the shapes' hulls."""
    ways = []
    for shape in shapes:
        hull = shapely.Polygon(shapely.get_coordinates(shapely.convex_hull(shape)))
        ring = np.asarray(shapely.geometry.polygon.orient(hull).exterior.coords)
        step = np.diff(ring, axis=0)
        length = np.hypot(step[:, 0], step[:, 1])
        ways.append((np.column_stack([step[:, 1], -step[:, 0]]) / np.maximum(length, 1e-300)[:, None])[length > SAME_MM])
    return np.unique(np.concatenate(ways).round(14), axis=0)


def _beyond(hull: FloatArray, outside: tuple[float, float, float], way: FloatArray) -> FloatArray:
    """Corners (k, 2) of what lies beyond the edge of a hull (c, 2) and inside the tube's outside, in the loop's plane."""
    level = float((hull @ way).max())
    across = np.array([-way[1], way[0]])
    far = level + ENDLESS_MM
    strip = np.array([level * way + across * ENDLESS_MM, level * way - across * ENDLESS_MM, far * way - across * ENDLESS_MM])
    strip = np.concatenate([strip, [far * way + across * ENDLESS_MM]])
    kind, w, h = outside
    if kind == 0.0:
        return strip
    met = shapely.Polygon(strip).intersection(shapely.box(-w, -h, w, h))
    corners = shapely.get_coordinates(met)
    return corners if len(corners) else np.array([[np.copysign(w, way[0]), np.copysign(h, way[1])]])


def _triangles(shape: shapely.Geometry) -> list[FloatArray]:
    """Triangles (3, 2) that fill a flat shape."""
    areas = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon) and part.area > LEAST_AREA_MM2]
    threes = [three for area in areas for three in shapely.get_parts(shapely.constrained_delaunay_triangles(area))]
    return [shapely.get_coordinates(three)[:3] for three in threes]


def _placed(loop: Loop, xy: FloatArray) -> FloatArray:
    return loop.pose.points_to_frame(np.column_stack([xy, np.full(len(xy), loop.z_mm)]))
