"""What stray light must not reach: the outermost glass the beam crosses, or the lens front; as points with a normal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity

from geometry.arrays import FloatArray
from geometry.frame import AHEAD, Pose, pose
from geometry.outline import contains
from raytrace.box import Box, GlassKind
from raytrace.optics.bundle import Fate, Leg, launch
from raytrace.optics.camera import PixelGrid, whole_frame
from raytrace.optics.glass import walk
from raytrace.optics.lens import FixedPupil, LensState, pencils_for
from raytrace.optics.sampling import sobol_disc, sobol_square, sunflower_disc
from raytrace.stray.world import STEP_MM

BoolArray = NDArray[np.bool_]

BEAM_COLUMNS = 12  # of the grid whose rays outline the beam on the glass
EDGE_POINTS = 25  # along each side of the picture
RIM_POINTS = 32  # pupil points of each of them
RIM_SHARE = 0.999  # how near the pupil's own edge they lie: rounding must not lose them
DISC_CORNERS = 128
LENS_FRONT = "lens front"


@dataclass(frozen=True, slots=True, kw_only=True)
class RearFace:
    """The far face of a glass: the outline that counts on it, in the glass's plane, and the glass in front of it."""

    outline: shapely.Polygon
    thickness_mm: float
    index: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatTarget:
    """What light must not reach: an outline in the plane of a pose, x to the operator's left, z toward the scene [mm].

    Light from ahead that goes through a glass must not reach its `rear` face either.
    """

    name: str
    pose: Pose
    outline: shapely.Polygon
    rear: RearFace | None = None

    def covers(self, other: FlatTarget) -> bool:
        """Whether light on another target in the same plane would be on this one too."""
        if not self.outline.covers(other.outline):
            return False
        return other.rear is None or (self.rear is not None and self.rear.outline.covers(other.rear.outline))

    def outline_for(self, ray: FloatArray) -> shapely.Polygon:
        """The outline, with where light toward (J, 3) enters that falls on the rear face: T tan t' nearer to the light."""
        if self.rear is None:
            return self.outline
        local = self.pose.vectors_to_part(ray / np.linalg.norm(ray, axis=1, keepdims=True))
        inside = local[:, :2] / self.rear.index
        shift = self.rear.thickness_mm * inside / np.sqrt(1.0 - (inside**2).sum(axis=1, keepdims=True))
        return _hull_of([self.outline, *(affinity.translate(self.rear.outline, x, y) for x, y in shift)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A flat target: `points_mm` (M, 3) spread evenly over it and its `normal` (3,) toward the scene.

    Light from behind meets a glass on its rear face: `rear_points_mm` (M, 3); none (0, 3) for the lens front. `face` is the target
    whole, with its outline.
    """

    name: str
    points_mm: FloatArray
    rear_points_mm: FloatArray
    normal: FloatArray
    area_mm2: float
    face: FlatTarget | None = None

    def starts(self, direction: FloatArray) -> FloatArray:
        """Where rays toward `direction` (D, 3) start: (D, M, 3), on the face that looks there. NaN where no face does."""
        ahead = (direction @ self.normal > 0)[:, None, None]
        rear = self.rear_points_mm if len(self.rear_points_mm) else np.full_like(self.points_mm, np.nan)
        return np.where(ahead, self.points_mm, rear)

    def scattered(self, log2_count: int, rng: np.random.Generator, *, rear: bool = False) -> FloatArray:
        """Places (2**log2_count, 3) all over the front or the rear face; the points again and again where no outline is known."""
        points, count = self.rear_points_mm if rear else self.points_mm, 1 << log2_count
        if self.face is None or (rear and self.face.rear is None):
            return points[rng.permutation(count) % len(points)]
        outline = self.face.rear.outline if rear and self.face.rear else self.face.outline
        flat = points_in(outline, log2_count, rng)[rng.permutation(count)]
        return _on_plane(self.face.pose, flat, float(self.face.pose.points_to_part(points[0])[2]))

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
        name=LENS_FRONT,
        points_mm=points,
        rear_points_mm=np.zeros((0, 3)),
        normal=AHEAD,
        area_mm2=float(np.pi * radius_mm**2),
        face=lens_front_face(radius_mm),
    )


def lens_front_face(radius_mm: float) -> FlatTarget:
    """The clear glass of the lens front as a flat target."""
    return FlatTarget(name=LENS_FRONT, pose=pose(ahead_mm=STEP_MM), outline=_disc(radius_mm))


def glass_target(lens: LensState, grid: PixelGrid, box: Box, *, log2_points: int, rng: np.random.Generator) -> Target:
    """The outermost glass, as much of each face as the beam of the whole picture crosses."""
    glass = box.glasses[-1]
    half = glass.slab.thickness_mm / 2 + STEP_MM
    faces = beam_on_faces(lens, grid, box)
    return Target(
        name=glass.name,
        points_mm=_on_plane(glass.slab.pose, points_in(faces.front, log2_points, rng), half),
        rear_points_mm=_on_plane(glass.slab.pose, points_in(faces.rear, log2_points, rng), -half),
        normal=glass.slab.pose.vectors_to_frame(AHEAD),
        area_mm2=float(faces.front.area),
        face=glass_face(box, (faces,)),
    )


def _on_plane(place: Pose, flat_mm: FloatArray, z_mm: float) -> FloatArray:
    return place.points_to_frame(np.column_stack([flat_mm, np.full(len(flat_mm), z_mm)]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Faces:
    """Outlines of the beam on the rear and the front face of the outermost glass, in the glass's plane [mm]."""

    rear: shapely.Polygon
    front: shapely.Polygon


def glass_face(box: Box, found: Sequence[Faces]) -> FlatTarget:
    """The front face of the outermost glass, as far as any of several beams crosses it, with the rear face behind it."""
    glass = box.glasses[-1]
    at = glass.slab.pose.points_to_frame(np.array([0.0, 0.0, glass.slab.thickness_mm / 2 + STEP_MM]))
    return FlatTarget(
        name=glass.name,
        pose=Pose(glass.slab.pose.rotation, at),
        outline=_hull_of([faces.front for faces in found]),
        rear=RearFace(outline=_hull_of([faces.rear for faces in found]), thickness_mm=glass.slab.thickness_mm, index=glass.index),
    )


def together_of(targets: Sequence[FlatTarget]) -> FlatTarget:
    """A target that holds several in one plane, all alike but for their outlines."""
    first, rears = targets[0], [one.rear.outline for one in targets if one.rear is not None]
    rear = None if first.rear is None else replace(first.rear, outline=_hull_of(rears))
    return replace(first, outline=_hull_of([one.outline for one in targets]), rear=rear)


def _hull_of(shapes: Sequence[shapely.Polygon]) -> shapely.Polygon:
    hull = shapely.convex_hull(shapely.geometrycollections(shapes))
    assert isinstance(hull, shapely.Polygon)
    return hull


def beam_on_faces(lens: LensState, grid: PixelGrid, box: Box) -> Faces:
    """Outlines of the beam on both faces of the outermost glass [mm]: hulls of the rays of the whole picture.

    Rays of the frame's very edge, not only of its corners: a glass draws in the corners more than the middles of the sides.
    """
    glass, rim, edge = box.glasses[-1], RIM_SHARE * _circle(RIM_POINTS), whole_frame(grid).rim_points_mm(EDGE_POINTS)
    kept, legs = _through(lens, box, edge, rim)
    if not (kept.all() and isinstance(lens.pupil, FixedPupil)):  # else no ray from further in reaches as far out
        inside = grid.resized(BEAM_COLUMNS).points_mm
        kept, legs = _through(lens, box, np.concatenate([inside, edge]), np.concatenate([rim, sunflower_disc(8)]))
    stray = (1 - RIM_SHARE * np.cos(np.pi / RIM_POINTS)) * lens.focal_mm / lens.f_number / 2
    rear, front = (_outline(glass.slab.pose.points_to_part(leg.origin[kept])[:, :2], stray) for leg in legs[-2:])
    return Faces(rear=rear, front=front)


def _through(lens: LensState, box: Box, places_mm: FloatArray, rim: FloatArray) -> tuple[BoolArray, Sequence[Leg]]:
    """Which rays from places of the picture by places of the pupil's disc come through the outermost glass, and their legs."""
    glass = box.glasses[-1]
    bundle, legs = walk(launch(pencils_for(lens, places_mm), rim), box.glasses, dimmed=False)
    flat = glass.slab.pose.points_to_part(legs[-1].origin)[:, :2]
    through = (legs[-2].length_mm > 0) | ((glass.kind is GlassKind.CLOSE_UP) & contains(glass.slab.outline, flat))
    return (bundle.fate == Fate.ALIVE) & through, legs


def _outline(flat_mm: FloatArray, stray_mm: float) -> shapely.Polygon:
    """The hull of places (N, 2), as much larger as the chords between them may stray inside the beam's own edge."""
    if len(flat_mm) < 3:
        return _disc(1.0)
    hull = shapely.LineString(flat_mm).convex_hull.buffer(stray_mm, quad_segs=4)
    return hull if isinstance(hull, shapely.Polygon) else _disc(1.0)


def _disc(radius_mm: float) -> shapely.Polygon:
    """A polygon round a disc."""
    return shapely.Polygon(radius_mm / np.cos(np.pi / DISC_CORNERS) * _circle(DISC_CORNERS))


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
