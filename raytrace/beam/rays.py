"""Outline rays of many pencils: the rim of each pupil as a polygon about it, traced through glass, met by any plane.

Polygons stand about the round pupil, not in it, so that their straight edges leave no ray outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.frame import Pose
from geometry.outline import RoundedRectangle, contains
from raytrace.box import Glass
from raytrace.optics.bundle import BoolArray, Leg, object_plane_z_mm
from raytrace.optics.glass import cross, length_to, object_plane_after
from raytrace.optics.pencil import Pencils

CHORD_MM = 0.005  # how far the corners of a polygon about a round pupil may stand off it
STEEP_SHARE = 2.0  # radii of neighbouring corners this far apart: by then the bulge over their chord grows out of hand
LEAST_CHORDS = 24  # even the smallest pupil stays round
ENDLESS_MM = 1e7  # a plate this wide has no edge that a beam could find
JOINT_EPS_MM = 1e-7  # legs overlap by this: a plane on a glass face must not fall between two of them
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

    spans_mm holds the lowest and highest z of each leg: looked at for every plane, worked out once.
    """

    here: BoolArray
    legs: tuple[Leg, ...]
    spans_mm: tuple[tuple[float, float], ...] = field(init=False)

    def __post_init__(self) -> None:
        """Work out the spans."""
        object.__setattr__(self, "spans_mm", tuple(leg.z_span_mm() for leg in self.legs))

    def endless(self) -> Sheet:
        """The same rays, running on beyond their object plane."""
        return replace(
            self, legs=(*self.legs[:-1], replace(self.legs[-1], length_mm=np.full_like(self.legs[-1].length_mm, np.inf)))
        )

    def at_plane(self, plane: Pose) -> tuple[FloatArray, BoolArray]:
        """Where the rays cross a plane, in its own coordinates (N, K, 2) [mm], and which pencils cross it with all rays (N,)."""
        xy, crossed = plane_crossing(plane, self.legs, self.spans_mm)
        count = len(self.here)
        return xy.reshape(count, -1, 2), self.here & crossed.reshape(count, -1).all(axis=1)

    def bends_behind(self, plane: Pose) -> FloatArray | None:
        """Frame points (M, 3) that hold the rays behind a plane: where they start and bend there, and where they cross it [mm].

        None where some ray never crosses it.
        """
        mine = np.repeat(self.here, len(self.legs[0].origin) // len(self.here))
        xy, crossed = plane_crossing(plane, self.legs, self.spans_mm)
        if not crossed[mine].all():
            return None
        starts = np.concatenate([leg.origin[mine] for leg in self.legs])
        behind = starts[(starts - plane.origin_mm) @ plane.rotation[:, 2] <= 0.0]
        return np.concatenate([behind, plane.points_to_frame(np.column_stack([xy[mine], np.zeros(int(mine.sum()))]))])

    def runs_along(self, plane: Pose) -> bool:
        """Whether some ray starts behind a plane and never gets nearer to it."""
        ahead = plane.rotation[:, 2] * (1 if plane.rotation[2, 2] >= 0 else -1)
        first, last = self.legs[0], self.legs[-1]
        behind = (first.origin - plane.origin_mm) @ ahead < 0
        away = behind & (first.direction @ ahead <= 0) & (last.direction @ ahead <= 0)
        return bool((away & np.repeat(self.here, len(away) // len(self.here))).any())


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


def _sheets(pencils: Pencils, rims: Outlines, glasses: Sequence[Glass], through: tuple[bool, ...]) -> list[Sheet]:
    legs, entries = _run(pencils, rims.crossing_mm, glasses, through)
    for k in range(len(through), len(glasses)):
        inside = np.isnan(entries[k][:, 0]) | contains(glasses[k].slab.outline, entries[k])
        met, past = _touching(inside, rims.lit), _touching(~inside, rims.lit)
        before = (*through, *_all_through(k - len(through)))
        if past.any() and met.any():
            ways = ((met, True), (past, False))
            return [sheet for lit, way in ways for sheet in _sheets(pencils, replace(rims, lit=lit), glasses, (*before, way))]
        if past.any():
            return _sheets(pencils, rims, glasses, (*before, False))
    return [Sheet(here=rims.lit, legs=legs)]


def _touching(rays: BoolArray, lit: BoolArray) -> BoolArray:
    """Lit pencils (N,) with any such ray (N * K,), and their neighbours."""
    touching = rays.reshape(len(lit), -1).any(axis=1) & lit
    return lit & (touching | np.roll(touching, 1) | np.roll(touching, -1)) if touching.any() else touching


def _all_through(count: int) -> tuple[bool, ...]:
    return (True,) * count


def _run(
    pencils: Pencils, crossing_mm: FloatArray, glasses: Sequence[Glass], through: tuple[bool, ...]
) -> tuple[tuple[Leg, ...], list[FloatArray]]:
    """Legs of all outline rays, as if plates had no edges, and where they enter each plate in its own plane (N * K, 2).

    Plates that `through` says no to are left out; those beyond its end are taken as met. Rays that never come to a plate have nan.
    """
    origin, direction, end_z = _launched(pencils, crossing_mm)
    start = np.zeros(len(origin))
    legs, entries = [], []
    for k, glass in enumerate(glasses):
        entries.append(np.full((len(origin), 2), np.nan))
        if k < len(through) and not through[k]:
            continue
        crossing = cross(edgeless(glass), origin, direction, end_z)
        entries[k][crossing.through] = glass.slab.pose.points_to_part(crossing.entry_mm[crossing.through])[:, :2]
        run = np.linalg.norm(crossing.leave_mm - crossing.entry_mm, axis=1)
        met = crossing.through[:, None]
        legs.append(Leg(origin=origin, direction=direction, length_mm=crossing.reach_mm, start_mm=start))
        inside = np.where(met, crossing.inside, direction)
        legs.append(Leg(origin=crossing.entry_mm, direction=inside, length_mm=run, start_mm=start + crossing.reach_mm))
        start = legs[-1].start_mm + run
        end_z = object_plane_after(glass, crossing, end_z)
        origin, direction = np.where(met, crossing.leave_mm, origin), np.where(met, crossing.beyond, direction)
    legs.append(Leg(origin=origin, direction=direction, length_mm=length_to(end_z, origin, direction), start_mm=start))
    return tuple(legs), entries


def edgeless(glass: Glass) -> Glass:
    """The same filter, so wide that no ray goes past it."""
    return replace(glass, slab=replace(glass.slab, outline=RoundedRectangle(ENDLESS_MM, ENDLESS_MM)))


def _launched(pencils: Pencils, crossing_mm: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Starts and unit directions (N * K, 3) of the rays on the reference plane farther back, and their object planes (N * K,)."""
    count, per = crossing_mm.shape[:2]
    start_z = np.broadcast_to(pencils.reference_z_mm.min(axis=1)[:, None], (count, per))
    origin = np.concatenate([pencils.at_plane_mm(crossing_mm, start_z), start_z[..., None]], axis=-1).reshape(-1, 3)
    along = np.concatenate([pencils.ray_slope(crossing_mm), np.ones((count, per, 1))], axis=-1).reshape(-1, 3)
    seen = np.repeat(pencils.valid, per)[:, None]
    along = np.where(seen, along, np.array([0.0, 0.0, 1.0]))
    end_z = np.repeat(np.where(pencils.valid, object_plane_z_mm(pencils), np.inf), per)
    return np.where(seen, origin, 0.0), along / np.linalg.norm(along, axis=1, keepdims=True), end_z


def plane_crossing(plane: Pose, legs: Sequence[Leg], spans_mm: Sequence[tuple[float, float]] = ()) -> tuple[FloatArray, BoolArray]:
    """Where rays first cross a plane, in its own coordinates (R, 2) [mm], and which do (R,).

    spans_mm holds each leg's lowest and highest z, where they are known.
    """
    xy = np.zeros((len(legs[0].start_mm), 2))
    crossed = np.zeros(len(xy), dtype=np.bool_)
    level = np.abs(plane.rotation[:2, 2]).max() < 1e-12  # then a leg's depths tell at once whether any of it can cross
    spans = spans_mm or ([leg.z_span_mm() for leg in legs] if level else [(-np.inf, np.inf)] * len(legs))
    for leg, span in zip(reversed(legs), reversed(spans), strict=True):  # the first leg to cross has the last word
        if level and not _reaches(span, float(plane.origin_mm[2])):
            continue
        t = _run_to(plane, leg, level)
        with np.errstate(invalid="ignore"):  # nan of rays along the plane: they do not cross
            here = (t >= -JOINT_EPS_MM) & (t <= leg.length_mm + JOINT_EPS_MM) & np.isfinite(t)
        if here.all():
            xy, crossed = _at(plane, leg, t, level), here
        elif here.any():
            xy = np.where(here[:, None], _at(plane, leg, np.where(here, t, 0.0), level), xy)
            crossed |= here
    return xy, crossed


def _run_to(plane: Pose, leg: Leg, level: bool) -> FloatArray:
    """How far (R,) each ray runs to a plane; inf or nan along it."""
    with np.errstate(divide="ignore", invalid="ignore"):
        if level:
            return np.asarray((plane.origin_mm[2] - leg.origin[:, 2]) / leg.direction[:, 2])
        normal = plane.rotation[:, 2]
        return np.asarray(((plane.origin_mm - leg.origin) @ normal) / (leg.direction @ normal))


def _at(plane: Pose, leg: Leg, run_mm: FloatArray, level: bool) -> FloatArray:
    """Where rays are (R, 2) in a plane that they have run to."""
    if level:
        xy = leg.origin[:, :2] + run_mm[:, None] * leg.direction[:, :2] - plane.origin_mm[:2]
        return np.asarray(xy @ plane.rotation[:2, :2])
    return plane.points_to_part(leg.origin + run_mm[:, None] * leg.direction)[:, :2]


def _reaches(span_mm: tuple[float, float], z_mm: float) -> bool:
    return span_mm[0] - JOINT_EPS_MM <= z_mm <= span_mm[1] + JOINT_EPS_MM
