"""The beam: all rays of all field points of a guide, and its section by any plane as an exact outline. Draws nothing.

A section contains every ray of the guide and exceeds them by no more than 0.02 mm. It is built from the outlines of pencils along
the guide's edge: between two neighbours their convex hull, all of it filled.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from geometry.frame import Pose, pose
from raytrace.beam_rays import Outlines, Sheet, chords_for, outlines, traced
from raytrace.box import Box
from raytrace.bundle import FloatArray
from raytrace.camera import Guide
from raytrace.lens import LensState, pencils_for
from raytrace.pencil import Pencils

PencilsAt = Callable[[FloatArray], Pencils]
Section = shapely.Polygon | shapely.MultiPolygon

SAG_MM = 0.003  # how far the beam may bulge between two neighbouring pencils; the outline is widened by as much
BRIDGE_MM = 0.004  # a straight edge may pass the pencils under it by this much and still count as theirs
FIRST_INTERVALS = 8  # per side of the guide, to see how much the beam's sides bend
MOST_INTERVALS = 64  # per side; 0.2 mm of bend in the first look asks for as many
FIRST_CHORDS = 16  # outline rays in the first look
CUT_INTERVALS = 16  # per side at least, where the front ring cuts pencils and their shape changes along the side
FAR_MM = 400.0  # no box reaches farther ahead: where the beam's bend is judged unless a plane is given


@dataclass(frozen=True, slots=True, kw_only=True)
class Beam:
    """Outline rays of pencils round a guide's edge, in order; sections come from it without tracing again.

    pad_mm is how far the beam may bulge between two neighbours.
    """

    sheets: tuple[Sheet, ...]
    pad_mm: float

    def section(self, plane: Pose) -> Section:
        """The beam's outline in a plane, in the plane's own coordinates (x to the operator's left, y up) [mm]; may be empty."""
        pieces = [_sheet_section(sheet, plane) for sheet in self.sheets]
        shape = pieces[0] if len(pieces) == 1 else shapely.union_all(pieces)
        return _widened(_filled(shape), self.pad_mm)

    def section_at(self, z_mm: float) -> Section:
        """The section square to the axis, z ahead of the lens front [mm]."""
        return self.section(pose(ahead_mm=z_mm))


def beam_of(pencils_at: PencilsAt, guide: Guide, box: Box, *, far: Pose | None = None) -> Beam:
    """The beam of a guide, fine enough for sections up to the plane `far` (400 mm ahead unless given)."""
    per_side, sag_mm = _intervals(pencils_at, guide, box, far or pose(ahead_mm=FAR_MM))
    points = _edge_points(guide, per_side)
    pencils = pencils_at(points)
    rims = outlines(pencils, chords_for(_largest_mm(pencils)))
    return Beam(sheets=traced(pencils, rims, box.glasses), pad_mm=sag_mm)


def beam_section(pencils_at: PencilsAt, guide: Guide, box: Box, plane: Pose) -> Section:
    """The section of a guide's beam by a plane, through the glass before it; see `Beam.section`."""
    return beam_of(pencils_at, guide, box, far=plane).section(plane)


def lens_section(variants: Sequence[LensState], guides: Sequence[Guide], box: Box, plane: Pose) -> Section:
    """The union of the sections of several guides for several states or pupil depths."""
    sections = [beam_section(partial(pencils_for, lens), guide, box, plane) for lens in variants for guide in guides]
    return union(sections)


def union(sections: Sequence[Section]) -> Section:
    """Sections in one plane as one."""
    return _as_section(shapely.union_all(list(sections)))


def _largest_mm(pencils: Pencils) -> float:
    return float(np.linalg.norm(pencils.axes_mm, ord=2, axis=(1, 2)).max(initial=0.0))


def _edge_points(guide: Guide, per_side: Sequence[int]) -> FloatArray:
    """Points once round the guide's edge (M, 2) right, up [mm]: each side cut into its number of intervals."""
    corners = guide.corners_mm()
    sides = [
        corners[k] + np.arange(count)[:, None] / count * (corners[(k + 1) % 4] - corners[k]) for k, count in enumerate(per_side)
    ]
    return np.concatenate(sides)


def _intervals(pencils_at: PencilsAt, guide: Guide, box: Box, far: Pose) -> tuple[tuple[int, ...], float]:
    """Intervals that each side of the guide needs, and how far the beam may then bulge between neighbours [mm].

    The bulge over a chord of n intervals falls as 1 / n^2; it is an eighth of the second difference, square to the side.
    """
    first = (FIRST_INTERVALS,) * 4
    pencils = pencils_at(_edge_points(guide, first))
    rims = outlines(pencils, FIRST_CHORDS)
    whole = Outlines(crossing_mm=pencils.crossing_mm(_even_disc(FIRST_CHORDS)), lit=pencils.valid)
    bulge = np.zeros(4)
    for sheet in traced(pencils, whole, box.glasses):
        points, crossed = sheet.at_plane(far)
        bulge = np.maximum(bulge, _bulges(points, crossed))
    cut = rims.crossing_mm.shape != whole.crossing_mm.shape or not rims.lit.all()
    count = np.clip(np.ceil(FIRST_INTERVALS * np.sqrt(bulge / SAG_MM)), CUT_INTERVALS if cut else 1, MOST_INTERVALS).astype(int)
    return tuple(count.tolist()), float((bulge * (FIRST_INTERVALS / count) ** 2).max())


def _even_disc(count: int) -> FloatArray:
    angle = 2 * np.pi * np.arange(count) / count
    return np.column_stack([np.cos(angle), np.sin(angle)])


def _bulges(points: FloatArray, crossed: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Largest bulge over one first interval along each side (4,) [mm]; points (4 * FIRST_INTERVALS, K, 2)."""
    sides = np.arange(4)[:, None] * FIRST_INTERVALS + np.arange(FIRST_INTERVALS + 1)
    p = points[sides % len(points)]
    along = p[:, 2:] - p[:, :-2]
    second = p[:, 2:] - 2 * p[:, 1:-1] + p[:, :-2]
    across = along[..., 0] * second[..., 1] - along[..., 1] * second[..., 0]
    bulge = np.abs(across) / np.maximum(np.linalg.norm(along, axis=-1), 1e-9) / 8
    known = crossed[sides % len(points)].all(axis=1)
    return np.where(known, bulge.max(axis=(1, 2)), 0.0)


def _sheet_section(sheet: Sheet, plane: Pose) -> Section:
    """The filled outline of one sheet."""
    points, crossed = sheet.at_plane(plane)
    if not crossed.any():
        return shapely.Polygon()
    return _one_hull(points, crossed) or _chain(points, crossed)


def _one_hull(points: FloatArray, crossed: NDArray[np.bool_]) -> Section | None:
    """The convex hull of all outlines, where no pencil between two corners of it stays far under the edge that joins them."""
    flat = points[crossed].reshape(-1, 2)
    try:
        hull = ConvexHull(flat)
    except QhullError:  # all rays in one point or line: no area
        return _as_section(shapely.MultiPoint(flat).convex_hull)
    if crossed.all() and _deepest_bridge_mm(points, hull) > BRIDGE_MM:
        return None
    return shapely.Polygon(flat[hull.vertices])


def _deepest_bridge_mm(points: FloatArray, hull: ConvexHull) -> float:
    """How far pencils between the ends of a hull edge stay under that edge, at most [mm]."""
    count, per = points.shape[:2]
    corners = hull.points[hull.vertices]  # counter-clockwise
    pencil = hull.vertices // per
    forward = 1 if shapely.LinearRing(points.mean(axis=1)).is_ccw else -1
    deepest = 0.0
    for k in np.flatnonzero(pencil != np.roll(pencil, -1)):
        here, there = corners[k], corners[(k + 1) % len(corners)]
        jump = int(forward * (pencil[(k + 1) % len(pencil)] - pencil[k]) % count)
        between = (pencil[k] + forward * np.arange(1, jump)) % count
        if 1 < jump < count - 1:
            outward = np.array([there[1] - here[1], here[0] - there[0]]) / np.linalg.norm(there - here)
            deepest = max(deepest, float((here @ outward - (points[between] @ outward).max(axis=1)).max()))
    return deepest


def _chain(points: FloatArray, crossed: NDArray[np.bool_]) -> Section:
    """Hulls of neighbouring outlines, all round, filled."""
    after = np.roll(points, -1, axis=0)
    both = crossed & np.roll(crossed, -1)
    links = shapely.convex_hull(shapely.multipoints(np.concatenate([points[both], after[both]], axis=1)))
    alone = crossed & ~both & ~np.roll(both, 1)
    singles = shapely.convex_hull(shapely.multipoints(points[alone]))
    return _filled(shapely.union_all(np.concatenate([links, singles])))


def _filled(shape: shapely.Geometry) -> Section:
    """The shape without holes: field points inside the guide light what its edge encloses."""
    section = _as_section(shape)
    if isinstance(section, shapely.MultiPolygon):
        return _as_section(shapely.union_all([shapely.Polygon(part.exterior) for part in section.geoms]))
    return shapely.Polygon(section.exterior)


def _as_section(shape: shapely.Geometry) -> Section:
    """What of a geometry has area."""
    if isinstance(shape, shapely.Polygon | shapely.MultiPolygon):
        return shape
    areas = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return shapely.Polygon() if not areas else _as_section(shapely.union_all(areas))


def _widened(shape: Section, by_mm: float) -> Section:
    return shape if by_mm <= 0 or shape.is_empty else _as_section(shape.buffer(by_mm, join_style="mitre"))
