"""One outline about many: convex outlines in order round a ring, each joined to the next, the inside filled. Plane geometry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.flat_hull import hull_corners
from geometry.frame import frame_to_right_up
from geometry.outline import RoundedRectangle, inside_distance

BoolArray = NDArray[np.bool_]
Section = shapely.Polygon | shapely.MultiPolygon

BRIDGE_MM = 0.003  # a straight edge may pass the outlines under it by this much and still count as theirs
HELD_MM = 0.006  # a corner radius may leave this much of a section outside: as much as its chords stand off round pupils
CHECKED_EVERY = 4  # corners of a pencil
LARGEST_SWING_RAD = 1.5  # how far a common tangent of two neighbours may lean away from the edge above them
LOOKS = tuple(  # directions (D, 2) that hulls are looked for in: few for all points, more for those that remain
    np.column_stack([np.cos(turn), np.sin(turn)]) for turn in (2 * np.pi * np.arange(count) / count for count in (16, 64))
)
ON_EDGE = 1e-6  # mm; points this near an edge of the coarse hull may still be corners of the fine one
HAIR_MM = 0.001  # what rays all in one point or line are told to take up: none must look as if no beam were there
HALVINGS = 20  # of that swing: a tangent's lean to 3e-6 rad, so its height to a micrometre over a hundred


def chained(points: FloatArray, there: BoolArray) -> Section:
    """The hulls of neighbouring outlines (N, K, 2), all round and filled; outlines that are not `there` (N,) are left out."""
    if not there.any():
        return shapely.Polygon()
    if not there.all():
        return linked(points, there)
    corners, vertices = _hull(points.reshape(-1, 2))
    if len(corners) < 3:  # all rays in one point or line
        return _hair(points.reshape(-1, 2))
    dents = _dents(points, corners, vertices // points.shape[1])
    if not dents:
        return shapely.Polygon(corners)
    outline = shapely.Polygon(_with_dents(points, corners, dents))
    return outline if outline.is_valid and _keeps_in(outline, points) else linked(points, there)


def _hull(points: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """Corners (C, 2) of the convex hull, counter-clockwise, and which points they are; fewer than three where it has no area.

    Most rays cross well inside the polygon of the points farthest out in a few directions, so they need no closer look.
    """
    outer = np.arange(len(points))
    for directions in LOOKS:
        outer = outer[_outside_coarse(points[outer], directions)]
    vertices = outer[hull_corners(points[outer])]
    return points[vertices], vertices


def _hair(points: FloatArray) -> Section:
    """A hair's breadth round points (N, 2) that span no area."""
    return as_section(shapely.MultiPoint(points).convex_hull.buffer(HAIR_MM))


def _convex_corners(points: FloatArray) -> FloatArray:
    """Corners (C, 2) of a convex hull, counter-clockwise; its two ends where a pencil comes to a line or, in focus, a point."""
    corners = hull_corners(points)
    if len(corners) > 2:
        return points[corners]
    along = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][0]
    height = points @ along
    return points[[int(height.argmin()), int(height.argmax())]]


def _outside_coarse(points: FloatArray, directions: FloatArray) -> BoolArray:
    """Which points (N,) lie on or outside the polygon of those farthest out in some directions (D, 2)."""
    columns = np.ascontiguousarray(points.T)
    coarse = points[(directions @ columns).argmax(axis=1)]  # in the order of the directions, so all round
    along = np.roll(coarse, -1, axis=0) - coarse
    outward = np.column_stack([along[:, 1], -along[:, 0]])
    height = (coarse * outward).sum(axis=1) - ON_EDGE * np.abs(along).sum(axis=1)
    return np.asarray(((outward @ columns) > height[:, None]).any(axis=0))


def _keeps_in(outline: shapely.Polygon, points: FloatArray) -> bool:
    """Whether an outline holds the pencils: where they all but coincide, the order of hull corners says little about dents."""
    some = points[:, ::CHECKED_EVERY].reshape(-1, 2)
    past = some[~shapely.contains_xy(outline, some[:, 0], some[:, 1])]
    return bool(len(past) == 0 or np.max(shapely.distance(shapely.points(past), outline)) < BRIDGE_MM)


def linked(points: FloatArray, there: BoolArray) -> Section:
    """The same by unions, for chains with gaps: slow. The ring through their middles closes it."""
    after = np.roll(points, -1, axis=0)
    both = there & np.roll(there, -1)
    links = _hulls(np.concatenate([points[both], after[both]], axis=1))
    alone = there & ~both & ~np.roll(both, 1)
    singles = _hulls(points[alone])
    middles = points[there].mean(axis=1)
    inside = [shapely.make_valid(shapely.Polygon(middles))] if len(middles) > 2 else []
    section = filled(shapely.union_all([*links, *singles, *inside]))
    return section if not section.is_empty else _hair(points[there].reshape(-1, 2))


def _hulls(points: FloatArray) -> list[shapely.Geometry]:
    """The convex hull of each set of points (N, K, 2)."""
    return list(np.atleast_1d(np.asarray(shapely.convex_hull(shapely.multipoints(points)))))


def filled(shape: shapely.Geometry) -> Section:
    """The shape without holes: field points inside the guide light what its edge encloses."""
    section = as_section(shape)
    if isinstance(section, shapely.MultiPolygon):
        return as_section(shapely.union_all([shapely.Polygon(part.exterior) for part in section.geoms]))
    return shapely.Polygon(section.exterior)


def widened(section: Section, by_mm: float) -> Section:
    """A section larger all round by so much; an empty one stays so."""
    return section if by_mm <= 0.0 or section.is_empty else as_section(section.buffer(by_mm))


def as_section(shape: shapely.Geometry) -> Section:
    """What of a geometry has area."""
    if isinstance(shape, shapely.Polygon | shapely.MultiPolygon):
        return shape
    areas = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return shapely.Polygon() if not areas else as_section(shapely.union_all(areas))


@dataclass(frozen=True, slots=True)
class _Dent:
    """A hull edge that passes high over the outlines under it: its place among the corners, the chain's outlines, its normal."""

    after: int
    chain: NDArray[np.int64]
    edge_rad: float


def _with_dents(points: FloatArray, corners: FloatArray, dents: list[_Dent]) -> FloatArray:
    """Corners (C, 2) of the hull, each edge that passes high over the outlines under it replaced by their common tangents."""
    earlier = points[np.concatenate([dent.chain[:-1] for dent in dents])]
    later = points[np.concatenate([dent.chain[1:] for dent in dents])]
    edge_rad = np.repeat([dent.edge_rad for dent in dents], [len(dent.chain) - 1 for dent in dents])
    normal_rad, height = _common_tangents(earlier, later, edge_rad)
    pieces, done, first = [], 0, 0
    for dent in dents:
        pieces.append(corners[done : dent.after + 1])
        mine = slice(first, first + len(dent.chain) - 1)
        pieces.append(_along(points[dent.chain[0]], points[dent.chain[-1]], dent.edge_rad, normal_rad[mine], height[mine]))
        done, first = dent.after + 1, mine.stop
    return np.concatenate([*pieces, corners[done:]])


def _dents(points: FloatArray, corners: FloatArray, owner: NDArray[np.int64]) -> list[_Dent]:
    count = len(points)
    forward = 1 if shapely.LinearRing(points.mean(axis=1)).is_ccw else -1
    jump = forward * (np.roll(owner, -1) - owner) % count
    found = []
    for k in np.flatnonzero((jump > 1) & (jump < count / 2)):
        here, there = corners[k], corners[(k + 1) % len(corners)]
        chain = (owner[k] + forward * np.arange(jump[k] + 1)) % count
        edge_rad = float(np.arctan2(here[0] - there[0], there[1] - here[1]))
        gap = ((here - points[chain[1:-1]]) @ _unit(np.array(edge_rad))).min(axis=1)
        if gap.max() > BRIDGE_MM:
            found.append(_Dent(int(k), chain, edge_rad))
    return found


def _along(first: FloatArray, last: FloatArray, edge_rad: float, normal_rad: FloatArray, height: FloatArray) -> FloatArray:
    """Corners along a dent: off the first outline, from tangent to tangent, onto the last outline."""
    meet = _line_crossings(_unit(normal_rad), height)
    return np.concatenate([_arc(first, edge_rad, float(normal_rad[0])), meet, _arc(last, float(normal_rad[-1]), edge_rad)])


def _common_tangents(earlier: FloatArray, later: FloatArray, edge_rad: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Outward normals [rad] and distances from the origin (R,) of the tangents that pairs of outlines (R, K, 2) share.

    Turned far one way from the normal of the edge above, the later outline stands higher, turned the other way the earlier one.
    Both lie wholly under the line that comes back.
    """
    low, high = np.full(len(edge_rad), -LARGEST_SWING_RAD), np.full(len(edge_rad), LARGEST_SWING_RAD)
    (x, y), (u, v) = np.moveaxis(earlier, -1, 0), np.moveaxis(later, -1, 0)
    for _ in range(HALVINGS):
        angle = (edge_rad + (low + high) / 2)[:, None]
        c, s = np.cos(angle), np.sin(angle)
        one, other = (x * c + y * s).max(axis=1), (u * c + v * s).max(axis=1)
        low, high = np.where(other > one, low, (low + high) / 2), np.where(other > one, (low + high) / 2, high)
    return angle[:, 0], np.maximum(one, other)


def _line_crossings(normal: FloatArray, height: FloatArray) -> FloatArray:
    """Where each line n . p = h meets the next (R - 2, 2); nearly parallel ones meet at the foot of their mean."""
    n, m = normal[:-1], normal[1:]
    turn = n[:, 0] * m[:, 1] - n[:, 1] * m[:, 0]
    bent = np.abs(turn) > 1e-9
    x = (height[:-1] * m[:, 1] - height[1:] * n[:, 1])[bent] / turn[bent]
    y = (height[1:] * n[:, 0] - height[:-1] * m[:, 0])[bent] / turn[bent]
    return np.column_stack([x, y])


def _arc(outline: FloatArray, from_rad: float, to_rad: float) -> FloatArray:
    """Corners of one outline, counter-clockwise, whose outward normals lie between two directions."""
    corners = _convex_corners(outline)
    start, end = (int((corners @ _unit(np.array(a))).argmax()) for a in (from_rad, to_rad))
    return corners[(start + np.arange((end - start) % len(corners) + 1)) % len(corners)]


def _unit(angle_rad: FloatArray) -> FloatArray:
    return np.stack([np.cos(angle_rad), np.sin(angle_rad)], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionSize:
    """A section as a person would draw it: width, height, and where its middle lies, right and up as the operator sees [mm].

    corner_mm is the largest corner radius with which a rectangle of that size still holds the section.
    """

    width_mm: float
    height_mm: float
    corner_mm: float
    right_mm: float
    up_mm: float


def section_size(section: Section) -> SectionSize:
    """The size of a section in its own plane; all nought where it is empty."""
    if section.is_empty:
        return SectionSize(width_mm=0.0, height_mm=0.0, corner_mm=0.0, right_mm=0.0, up_mm=0.0)
    left, low, right, high = section.bounds
    middle = np.array([(left + right) / 2, (low + high) / 2])
    size, corners = np.array([right - left, high - low]), shapely.get_coordinates(section) - middle

    def held(radius_mm: float) -> bool:
        outline = RoundedRectangle(float(size[0]), float(size[1]), radius_mm)
        return bool(inside_distance(outline, corners).min() >= -HELD_MM)

    small, large = 0.0, float(size.min()) / 2
    for _ in range(HALVINGS):
        radius = (small + large) / 2
        small, large = (radius, large) if held(radius) else (small, radius)
    x, y = frame_to_right_up(middle)
    return SectionSize(width_mm=float(size[0]), height_mm=float(size[1]), corner_mm=small, right_mm=float(x), up_mm=float(y))
