"""Outline rays of many pencils: the rim of each pupil as a polygon about it, traced through glass, met by any plane.

Polygons stand about the round pupil, not in it, so that their straight edges leave no ray outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.frame import Pose
from geometry.outline import contains
from raytrace.beam.columns import CONVERGENCE, GLASS_COLUMNS, PENCIL_COLUMNS, REFERENCE, SLOPE, VALID
from raytrace.box import Glass, GlassKind
from raytrace.kept import Kept
from raytrace.optics.bundle import BoolArray
from raytrace.optics.pencil import Pencils

CHORD_MM = 0.005  # how far the corners of a polygon about a round pupil may stand off it
STEEP_SHARE = 2.0  # radii of neighbouring corners this far apart: by then the bulge over their chord grows out of hand
LEAST_CHORDS = 24  # even the smallest pupil stays round
ENDLESS_MM = 1e7  # a plate this wide has no edge that a beam could find
LIT_MM = 1e-4  # a pencil reaches into the front ring by this much at least where its edge counts as lit
LEAST_AREA_MM2 = 1e-9  # what the front ring leaves of a pencil below this is nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlines:
    """The bare pupil outlines of N pencils: crossings (N, K, 2) of the reference planes [mm].

    lit (N,) where any ray is left; cut (N,) where the front ring takes some.
    """

    crossing_mm: FloatArray
    lit: BoolArray
    cut: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Outline rays of N pencils that all go through the same glasses: `here` (N,) says which pencils have any; N * K rays.

    Rays are columns, as kernels take them: origins and ways, unit vectors, (legs, 3, N * K) [mm], lengths (legs, N * K) [mm]. spans
    (legs, 2) hold the lowest and highest z of each leg [mm].
    """

    here: BoolArray
    origins: FloatArray
    ways: FloatArray
    lengths: FloatArray
    spans: FloatArray

    def endless(self) -> Sheet:
        """The same rays, running on beyond their object plane."""
        lengths, spans = self.lengths.copy(), self.spans.copy()
        start, slope = self.origins[-1, 2], self.ways[-1, 2]
        lengths[-1] = np.inf
        spans[-1, 0] = np.where(slope < 0.0, -np.inf, start).min(initial=np.inf)
        spans[-1, 1] = np.where(slope > 0.0, np.inf, start).max(initial=-np.inf)
        return replace(self, lengths=lengths, spans=spans)

    def at_plane(self, plane: Pose) -> tuple[FloatArray, BoolArray]:
        """Where the rays cross a plane, in its own coordinates (N, K, 2) [mm], and which pencils cross it with all rays (N,)."""
        from raytrace.beam.kernels.legs import cross_plane  # numba, which takes long to load

        count = len(self.here)
        xy, there = np.empty((count, self.lengths.shape[1] // max(count, 1), 2)), np.empty(count, dtype=np.bool_)
        rotation, at = (np.array(some, dtype=np.float64, order="C") for some in (plane.rotation, plane.origin_mm))
        cross_plane(self.origins, self.ways, self.lengths, self.spans, self.here, rotation, at, xy, there)
        return xy, there

    def bends_behind(self, plane: Pose) -> FloatArray | None:
        """Frame points (M, 3) that hold the rays behind a plane: where they start and bend there, and where they cross it [mm].

        None where some ray never crosses it.
        """
        xy, there = self.at_plane(plane)
        if not there[self.here].all():
            return None
        mine = np.repeat(self.here, xy.shape[1])
        starts = self.origins[:, :, mine].swapaxes(1, 2).reshape(-1, 3)
        behind = starts[(starts - plane.origin_mm) @ plane.rotation[:, 2] <= 0.0]
        met = xy.reshape(-1, 2)[mine]
        return np.concatenate([behind, plane.points_to_frame(np.column_stack([met, np.zeros(len(met))]))])

    def runs_along(self, plane: Pose) -> bool:
        """Whether some ray starts behind a plane and never gets nearer to it."""
        ahead = plane.rotation[:, 2] * (1 if plane.rotation[2, 2] >= 0 else -1)
        behind = ahead @ self.origins[0] < ahead @ plane.origin_mm
        away = behind & (ahead @ self.ways[0] <= 0) & (ahead @ self.ways[-1] <= 0)
        return bool(away.any() and (away.reshape(len(self.here), -1).any(axis=1) & self.here).any())


def chords_for(radius_mm: float) -> int:
    """How many chords stand no more than CHORD_MM off a circle: r (1 / cos(pi / K) - 1) ~ r pi^2 / (2 K^2)."""
    return max(LEAST_CHORDS, int(np.ceil(np.pi * np.sqrt(radius_mm / (2 * CHORD_MM)))))


def outlines(pencils: Pencils, chords: int) -> Outlines:
    """Polygons about the bare pupils of N pencils: own rims, then what the front ring leaves of them."""
    crossing = pencils.crossing_mm(rim_disc(pencils, chords))
    return _cut_by_front_ring(pencils, crossing)


def rim_disc(pencils: Pencils, chords: int) -> FloatArray:
    """Corners (N, K, 2) of polygons about the pupil outline in its unit disc.

    Between two spokes the radius runs straight in angle, so it bulges over the chord of r and s by at most
    (r + s)^2 / (4 r s cos(step / 2)). Where one of them is half the other or less, as beside spokes on which no light comes
    through, both corners are set to hold the disc of the larger.
    """
    spokes = pencils.rim_share.shape[1]
    count = chords if spokes == 0 else spokes * int(np.ceil(chords / spokes))
    angle = 2 * np.pi * np.arange(count) / count
    r = np.ones((len(pencils), count)) if spokes == 0 else _between_spokes(pencils.rim_share, count)
    s = np.roll(r, -1, axis=1)
    half_cos, larger = np.cos(np.pi / count), np.maximum(r, s)
    steep = larger >= STEEP_SHARE * np.minimum(r, s)
    bulge = (r + s) ** 2 / np.where(steep, 1.0, 4 * r * s * half_cos)
    here, there = (np.where(steep, larger / half_cos, end * bulge) for end in (r, s))
    r = np.maximum(here, np.roll(there, 1, axis=1))
    return r[..., None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def _between_spokes(rim_share: FloatArray, count: int) -> FloatArray:
    each = count // rim_share.shape[1]
    share = np.arange(each) / each
    after = np.roll(rim_share, -1, axis=1)
    return (rim_share[..., None] * (1 - share) + after[..., None] * share).reshape(len(rim_share), count)


def _cut_by_front_ring(pencils: Pencils, crossing_mm: FloatArray) -> Outlines:
    z_mm, radius_mm = pencils.front_ring_mm
    lit = np.array(pencils.valid)
    if np.isinf(radius_mm):
        return Outlines(crossing_mm=crossing_mm, lit=lit, cut=np.zeros_like(lit))
    at = pencils.at_plane_mm(crossing_mm, float(z_mm))
    cut = lit & (np.hypot(at[..., 0], at[..., 1]) > radius_mm).any(axis=1)
    if not cut.any():
        return Outlines(crossing_mm=crossing_mm, lit=lit, cut=cut)
    ring = _about_circle(float(radius_mm))
    left = np.asarray(shapely.intersection(shapely.polygons(at[cut]), ring))
    lit[cut] = np.asarray(shapely.area(left)) > LEAST_AREA_MM2
    # The crossing of the ring's plane is A X + b along each axis, so it comes back by one division.
    step = float(z_mm) - pencils.reference_z_mm
    scale, offset = 1 - pencils.convergence_per_mm * step, pencils.slope * step
    corners, rows = padded_corners(left, at.shape[1])
    at = _widened(at, corners.shape[1])
    at[np.flatnonzero(cut)[rows]] = corners
    return Outlines(crossing_mm=(at - offset[:, None]) / scale[:, None], lit=lit, cut=cut)


def lit(pencils: Pencils, chords: int) -> BoolArray:
    """Which pencils (N,) the front ring leaves any light of, by a hair less than `outlines` does."""
    z_mm, radius_mm = pencils.front_ring_mm
    if np.isinf(radius_mm):
        return np.array(pencils.valid)
    at = pencils.at_plane_mm(pencils.crossing_mm(rim_disc(pencils, chords)), float(z_mm))
    return pencils.valid & (_distance_from_axis(at) < radius_mm - LIT_MM)


def _distance_from_axis(corners: FloatArray) -> FloatArray:
    """Distance (N,) of convex polygons (N, K, 2) from the origin; 0 where they hold it."""
    side = np.roll(corners, -1, axis=1) - corners
    length2 = np.maximum((side**2).sum(axis=2), 1e-300)
    share = np.clip(-(corners * side).sum(axis=2) / length2, 0.0, 1.0)
    foot = corners + share[..., None] * side
    turn = corners[..., 0] * side[..., 1] - corners[..., 1] * side[..., 0]
    holds = (turn > 0).all(axis=1) | (turn < 0).all(axis=1)
    return np.where(holds, 0.0, np.hypot(foot[..., 0], foot[..., 1]).min(axis=1))


def _about_circle(radius_mm: float) -> shapely.Polygon:
    count = chords_for(radius_mm)
    angle = 2 * np.pi * np.arange(count) / count
    return shapely.Polygon(radius_mm / np.cos(np.pi / count) * np.column_stack([np.cos(angle), np.sin(angle)]))


def padded_corners(shapes: NDArray[np.object_], least: int) -> tuple[FloatArray, NDArray[np.int64]]:
    """Corners of the shapes that have any (S, K, 2), short ones filled up with their first corner, and which shapes these are."""
    points, index = shapely.get_coordinates(shapes, return_index=True)
    rows, start, count = np.unique(index, return_index=True, return_counts=True)
    widest = max(least, int(count.max(initial=0)))
    step = np.arange(widest)
    take = start[:, None] + np.where(step < count[:, None], step, 0)
    return points[take], rows


def _widened(points: FloatArray, corners: int) -> FloatArray:
    more = corners - points.shape[1]
    return np.concatenate([points, np.repeat(points[:, :1], more, axis=1)], axis=1) if more > 0 else np.array(points)


def traced(pencils: Pencils, rims: Outlines, glasses: Sequence[Glass]) -> tuple[Sheet, ...]:
    """Outline rays through the glass. Pencils come in order round a ring.

    Where the edge of a plate runs through pencils, these and their neighbours are followed both ways, whole: through the plate and
    past it. That is on the safe side by what the plate shifts a ray.
    """
    return tuple(_sheets(pencils, rims, glasses, ()))


def traced_edgeless(pencils: Pencils, rims: Outlines, glasses: Sequence[Glass]) -> Sheet:
    """The same as if plates had no edges."""
    return _run(pencils, rims, glasses)[0]


def _sheets(pencils: Pencils, rims: Outlines, glasses: Sequence[Glass], through: tuple[bool, ...]) -> list[Sheet]:
    """Sheets by which of the first plates rays go through; those beyond are taken as met first."""
    known, open_ = [glass for glass, met in zip(glasses, through, strict=False) if met], glasses[len(through) :]
    sheet, entries = _run(pencils, rims, [*known, *open_])
    for k, glass in enumerate(open_):
        entry = entries[len(known) + k]
        inside = np.isnan(entry[0]) | contains(glass.slab.outline, entry.T)
        if inside.all():
            continue
        met, past = _touching(inside, rims.lit), _touching(~inside, rims.lit)
        before = (*through, *(True,) * k)
        if past.any() and met.any():
            ways = ((met, True), (past, False))
            return [one for lit, way in ways for one in _sheets(pencils, replace(rims, lit=lit), glasses, (*before, way))]
        if past.any():
            return _sheets(pencils, rims, glasses, (*before, False))
    return [sheet]


def _touching(rays: BoolArray, lit: BoolArray) -> BoolArray:
    """Lit pencils (N,) with any such ray (N * K,), and their neighbours."""
    touching = rays.reshape(len(lit), -1).any(axis=1) & lit
    return lit & (touching | np.roll(touching, 1) | np.roll(touching, -1)) if touching.any() else touching


def _run(pencils: Pencils, rims: Outlines, glasses: Sequence[Glass]) -> tuple[Sheet, FloatArray]:
    """All outline rays as if plates had no edges, and where they enter each plate in its own plane (G, 2, N * K).

    The first of a ray that never comes to a plate is nan.
    """
    from raytrace.beam.kernels.legs import legs_through  # numba, which takes long to load

    rays, legs = rims.crossing_mm.shape[0] * rims.crossing_mm.shape[1], 2 * len(glasses) + 1
    columns = np.empty((len(pencils), PENCIL_COLUMNS))
    columns[:, SLOPE:REFERENCE], columns[:, REFERENCE:CONVERGENCE] = pencils.slope, pencils.reference_z_mm
    columns[:, CONVERGENCE:VALID], columns[:, VALID] = pencils.convergence_per_mm, pencils.valid
    rows = np.array([_row_of(glass) for glass in glasses]).reshape(-1, GLASS_COLUMNS)
    origins, ways = np.empty((legs, 3, rays)), np.empty((legs, 3, rays))
    lengths, spans, entries = np.empty((legs, rays)), np.empty((legs, 2)), np.empty((len(glasses), 2, rays))
    legs_through(columns, np.ascontiguousarray(rims.crossing_mm), rows, origins, ways, lengths, spans, entries)
    return Sheet(here=rims.lit, origins=origins, ways=ways, lengths=lengths, spans=spans), entries


def _glass_row(glass: Glass) -> list[float]:
    """A filter as kernels take it."""
    place, power = glass.slab.pose, glass.power_dioptre if glass.kind is GlassKind.CLOSE_UP else 0.0
    close_up = float(glass.kind is GlassKind.CLOSE_UP)
    return [*place.rotation.ravel().tolist(), *place.origin_mm.tolist(), glass.slab.thickness_mm, glass.index, power, close_up]


_row_of: Kept[Glass, list[float]] = Kept(_glass_row)
