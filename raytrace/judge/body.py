"""The beam of a cell as legs: convex bodies between planes, each the hull of its rim rays' points on both, and a pad.

A leg's rays are straight between its planes, so it lies in the hull of their points there. Glass parts legs at its faces. Where the
edge of a filter runs through the beam, light goes both through it and past it, and the legs of both ways count.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import combinations

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.body import Loop
from geometry.outline import Freeform, Outline, is_convex, polygon_loops
from raytrace.box import Box, Glass
from raytrace.judge.crossings import Crossings, crossings
from raytrace.judge.field import (
    Cell,
    FieldPencils,
    Samples,
    edge_is_enough,
    edge_samples,
    edge_samples_near,
    field_pencils,
    grid_samples,
)
from raytrace.judge.front_ring import ring_matters
from raytrace.judge.kernels.pupil_sides import CONVERGENCE, REFERENCE
from raytrace.judge.kernels.shapes import ENDLESS_MM
from raytrace.judge.way import way_of
from raytrace.kept import Kept
from raytrace.optics.lens import FixedPupil, LensState

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CHORD_MM = 0.008  # corners of a pupil's polygon stand off it by no more
GRID_CHORD_MM = 0.016  # where the inside of the guide counts too, and there are so many more rays
LEAST_SIDES = 24
BEND_MM = 0.003  # how far rays may stray between two field points, if more of them help
LOOK_INTERVALS = 8
MOST_INTERVALS = 64
GRID_INTERVALS = 10  # along a guide whose inside counts
CELL_GRID_INTERVALS = 6  # along a cell of it
PUPIL = (1.0, 1.0)  # of front ring and pupil: the pupil alone
RING = (0.0, 0.0)
BEHIND_PARTS_MM = 1.0  # where the first leg is parted, behind the hindmost part
ROUNDING_MM = 1e-6  # what arithmetic may be off by


class NotFollowed(Exception):  # noqa: N818 - not a fault of the input: the caller widens its answer
    """Some ray never comes to the next plane in order, so that legs between planes do not hold the beam."""


@dataclass(frozen=True, slots=True)
class Legs:
    """Legs of a beam: corners (n, 3) [mm] with the picture points (n, 2) that they belong to, nan where they belong to all.

    legs (L, V, 4): runs of corners on the planes before and after, one for each stand-in; pads (L, V) [mm]; end_z_mm: where the
    last one ends; whole: whether the lens has light for all of the cell.
    """

    corners: FloatArray
    fields: FloatArray
    legs: IntArray
    pads: FloatArray
    end_z_mm: float
    whole: bool


@dataclass(frozen=True, slots=True)
class Beam:
    """How a lens's beam is cut into legs, as a first look at the whole guide tells.

    ring (z, radius): the lens front; object_z_mm: where it is focused. faces: see Way.
    stand_ins: blends of front ring and pupil (see `follow`); what is outside of one of them is outside of the beam. followed: what
    was followed already, shared by beams that differ in their stand-ins only. near: a place of a cell, in shares of it, whose
    light alone is looked at: some of the beam, which may show that a part touches, not that it does not.
    """

    lenses: tuple[LensState, ...]
    box: Box
    glasses: FloatArray
    faces: tuple[int, ...]
    before: FloatArray
    ring: FloatArray
    object_z_mm: float
    far_z_mm: float
    intervals: int
    loose: bool
    stand_ins: tuple[tuple[float, float], ...]
    near: tuple[float, float] | None = None
    followed: dict[tuple[Cell, tuple[float, float], tuple[int, ...]], Crossings] = field(default_factory=dict, compare=False)


def is_loose(lenses: Sequence[LensState]) -> bool:
    """Whether the hull of a whole guide's beam may hold much more than the beam: cells of it are then closer."""
    return any(
        not isinstance(lens.pupil, FixedPupil)
        or lens.projection != "rectilinear"
        or lens.distortion != (0.0, 0.0)
        or (np.isfinite(lens.object_z_mm) and lens.pupil.behind_front_mm[0] != lens.pupil.behind_front_mm[1])
        for lens in lenses
    )


def look(lenses: Sequence[LensState], box: Box, guide_cell: Cell) -> Beam:
    """A first look at the beam with few rays: how many field points it asks for, and where its first leg is parted."""
    loose, way = is_loose(lenses), way_of(box)
    hind, far, glasses = way.hind_mm, way.far_mm, way.glasses
    seen = field_pencils(lenses, guide_cell, edge_samples(LOOK_INTERVALS))
    start = float(seen.rows[:, REFERENCE:CONVERGENCE].min())
    ring, object_z_mm = _ring(lenses), _object_z(lenses)
    before = [start] if np.isinf(ring[1]) or ring[0] <= start else [start, float(ring[0])]
    leans = bool(way.leaning) or way.first_face_mm is None
    met = crossings(seen, 16, PUPIL, ring, np.array(before), glasses, far, object_z_mm, parted=False, with_points=leans)
    first_face = met.end_z_mm if way.first_face_mm is None else min(way.first_face_mm, met.end_z_mm)
    if (points := met.points) is not None:
        far = max(far, *(_meets_mm(loop, points[-2].T, points[-1].T) for loop in way.leaning), 0.0)
        first_face = float(points[len(before) if len(glasses) else -1, 2].min())
    before = _planes_mm(before, _waists_mm(lenses), loose, hind - BEHIND_PARTS_MM, first_face - BEHIND_PARTS_MM)
    bend = float(met.bends_mm.max())
    count = int(np.clip(np.ceil(LOOK_INTERVALS * np.sqrt(bend / BEND_MM)), 2, MOST_INTERVALS))
    stand_ins = _first_stand_ins(seen, ring)
    return Beam(tuple(lenses), box, glasses, way.faces, np.array(before), ring, object_z_mm, far, count, loose, stand_ins)


def _planes_mm(start: Sequence[float], waists: set[float], loose: bool, hind: float, most: float) -> list[float]:
    """Where the beam is cut before its glass [mm]: where it starts, behind the parts, and at waists that lie among the parts.

    start: where the pupils begin, and the front ring; most: as far ahead as a cut may stand.
    """
    planes = list(start)
    if len(waists) > 1:
        planes += [waist for waist in sorted(waists) if max(hind, start[0]) < waist < most and waist not in planes]
    split = min(hind, most)
    if (loose or len(waists) > 1) and split > start[-1] + BEHIND_PARTS_MM:
        planes.append(split)
    return sorted(planes)


def _first_stand_ins(seen: FieldPencils, ring: FloatArray) -> tuple[tuple[float, float], ...]:
    """The pupil, and where a front ring may take light, the ring: more are added where a part is near."""
    return (PUPIL,) if np.isinf(ring[1]) or not ring_matters(seen.pencils, float(ring[1])) else (PUPIL, RING)


def _waists_mm(lenses: Sequence[LensState]) -> set[float]:
    """Planes in which a pupil lies [mm]: a hull of planes on both sides of one would fill the beam's waist there."""
    return {float(depth) for lens in lenses if isinstance(lens.pupil, FixedPupil) for depth in lens.pupil.behind_front_mm}


def legs_of(beam: Beam, cell: Cell) -> Legs:
    """The legs of one cell of the guide. NotFollowed where planes cut through one another."""
    there = field_pencils(beam.lenses, cell, _samples(beam, cell))
    sides = _sides(there, CHORD_MM if edge_is_enough(beam.lenses) else GRID_CHORD_MM)
    edged: list[int] = []
    while True:  # filters whose edge the beam meets are left out in turn, until all that are left hold it
        chains = [
            tuple(g for g in range(len(beam.glasses)) if g not in out)
            for count in range(len(edged) + 1)
            for out in combinations(edged, count)
        ]
        made = [_chain(beam, cell, there, sides, chain) for chain in chains]
        more = {g for one in made for g in one.not_held} - set(edged)
        if not more:
            return _together(made, there.whole)
        edged += sorted(more)


@dataclass(frozen=True, slots=True)
class _Chain:
    corners: FloatArray
    fields: FloatArray
    legs: IntArray
    pads: FloatArray
    end_z_mm: float
    not_held: tuple[int, ...]


def _chain(beam: Beam, cell: Cell, there: FieldPencils, sides: int, chain: tuple[int, ...]) -> _Chain:
    """The legs of the light that goes through some of the filters, each taken as endless."""
    made: list[Crossings] = []
    over: list[FloatArray | float] = [np.inf] * len(chain)
    entries = _entries(beam, chain)
    for blend in beam.stand_ins:
        met = _followed(beam, cell, there, sides, chain, blend)
        if not met.followed:
            raise NotFollowed
        made.append(met)
        for number, (g, m) in enumerate(entries):
            if not np.max(over[number]) < 0.0:
                entering, pad_mm = met.corners[met.starts[m] : met.starts[m + 1]], float(met.bends_mm[m]) + ROUNDING_MM
                over[number] = np.minimum(over[number], _overhang_mm(beam.box.glasses[g], entering, pad_mm))
    not_held = tuple(g for g, beyond in zip(chain, over, strict=True) if not np.max(beyond) < 0.0)
    return _joined_by_leg(made, not_held)


def _followed(
    beam: Beam, cell: Cell, there: FieldPencils, sides: int, chain: tuple[int, ...], blend: tuple[float, float]
) -> Crossings:
    """A stand-in's crossings of the planes of a chain; followed once."""
    key = (cell, blend, chain)
    met = beam.followed.get(key)
    if met is None:
        glasses = beam.glasses if len(chain) == len(beam.glasses) else beam.glasses[list(chain)]
        planes = beam.before, glasses, beam.far_z_mm, beam.object_z_mm
        shares = _inside_shares(beam, blend) if chain else 0
        met = beam.followed[key] = crossings(there, sides, blend, beam.ring, *planes, parted=beam.loose, shares=shares)
    return met


def _joined_by_leg(made: Sequence[Crossings], not_held: tuple[int, ...]) -> _Chain:
    """The legs of several stand-ins, side by side."""
    pads = [_worse_of_ends(met.bends_mm + ROUNDING_MM) for met in made]
    ends = _ends_of_legs(len(pads[0]))
    if len(made) == 1:
        (met,) = made
        return _Chain(met.corners, met.fields, met.starts[ends][:, None], pads[0][:, None], met.end_z_mm, not_held)
    first = np.cumsum([0, *(len(met.corners) for met in made[:-1])])
    runs = [start + met.starts[ends] for start, met in zip(first, made, strict=True)]
    corners, fields = np.concatenate([met.corners for met in made]), np.concatenate([met.fields for met in made])
    return _Chain(corners, fields, np.stack(runs, 1), np.stack(pads, 1), made[-1].end_z_mm, not_held)


def _worse_of_ends(pads: FloatArray) -> FloatArray:
    return np.maximum(pads[:-1], pads[1:])


@cache
def _ends_of_legs(count: int) -> IntArray:
    """Of so many legs, by leg: which planes' corners begin and end its two runs (L, 4)."""
    return np.arange(count)[:, None] + np.array([0, 1, 1, 2])


def _inside_shares(beam: Beam, blend: tuple[float, float]) -> int:
    """How closely light inside a polygon is looked at, see `crossings`: it may come to lie beyond the hull of that of its corners.

    Without glass it does nowhere, nor where a pencil's rays are parallel. Glass shifts steep rays by more than their share.
    """
    if np.isinf(beam.object_z_mm):
        return 0
    return 1 if blend == PUPIL else 2  # a pupil is small: its middle is enough


def _entries(beam: Beam, chain: tuple[int, ...]) -> list[tuple[int, int]]:
    """Each filter of a chain, and the number of the plane where light enters it."""
    plane, found = len(beam.before), []
    for g in chain:
        found.append((g, plane))
        plane += beam.faces[g]
    return found


def _overhang_mm(glass: Glass, corners: FloatArray, pad_mm: float) -> FloatArray:
    """How far light that enters a filter reaches beyond each straight edge of its outline [mm]: below 0, it stays inside.

    Each edge may be kept by a stand-in of its own. One number stands for an outline with dents.
    """
    outline = glass.slab.outline
    if not is_convex(outline):
        at = glass.slab.pose.points_to_part(corners)[:, :2]
        assert isinstance(outline, Freeform)
        return np.array([-1.0 if shapely.MultiPoint(at).convex_hull.buffer(pad_mm).within(outline.shape) else 1.0])
    normals, levels = _sides_of(glass)
    return np.asarray((corners @ normals).max(axis=0) + (pad_mm - levels))


def _sides_in_frame(glass: Glass) -> tuple[FloatArray, FloatArray]:
    """Outward normals (3, K) of the straight edges of a filter, and how far out along them these lie, in the frame [mm]."""
    normals, levels = edges_of(glass.slab.outline)
    across = glass.slab.pose.rotation[:, :2] @ normals.T
    return across, levels + glass.slab.pose.origin_mm @ across


_sides_of: Kept[Glass, tuple[FloatArray, FloatArray]] = Kept(_sides_in_frame)


def _edges(outline: Outline) -> tuple[FloatArray, FloatArray]:
    """Outward normals (K, 2) and distances (K,) [mm] of the edges of a polygon inside a convex outline."""
    points = polygon_loops(outline)[0]
    along = np.roll(points, -1, axis=0) - points
    points, along = points[np.hypot(*along.T) > 0], along[np.hypot(*along.T) > 0]
    normals = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    levels = (normals * points).sum(axis=1)
    away = np.sign(levels - normals @ points.mean(axis=0))[:, None]
    return normals * away, levels * away[:, 0]


edges_of: Kept[Outline, tuple[FloatArray, FloatArray]] = Kept(_edges)


def _together(made: Sequence[_Chain], whole: bool) -> Legs:
    if len(made) == 1:
        (one,) = made
        return Legs(one.corners, one.fields, one.legs, one.pads, one.end_z_mm, whole)
    starts = np.cumsum([0, *(len(one.corners) for one in made[:-1])])
    return Legs(
        corners=np.concatenate([one.corners for one in made]),
        fields=np.concatenate([one.fields for one in made]),
        legs=np.concatenate([one.legs + start for one, start in zip(made, starts, strict=True)]),
        pads=np.concatenate([one.pads for one in made]),
        end_z_mm=min(one.end_z_mm for one in made),
        whole=whole,
    )


def _samples(beam: Beam, cell: Cell) -> Samples:
    if not edge_is_enough(beam.lenses):
        return grid_samples(GRID_INTERVALS if cell.level == 0 else CELL_GRID_INTERVALS)
    intervals = max(2, -(-beam.intervals // 2**cell.level))
    if beam.near is None:
        return edge_samples(intervals)
    return edge_samples_near(intervals, round(beam.near[0] * intervals), round(beam.near[1] * intervals))


def _sides(field: FieldPencils, chord_mm: float) -> int:
    """Sides K of a pupil's polygon: r (1 / cos(pi / K) - 1) ~ r pi^2 / (2 K^2)."""
    even = 2 * math.ceil(math.pi / 2 * math.sqrt(field.across_mm / (2 * chord_mm)))  # each corner has one opposite
    return max(LEAST_SIDES, even)


def _ring(lenses: Sequence[LensState]) -> FloatArray:
    return np.array([0.0, max(lens.front_radius_mm for lens in lenses)])


def _object_z(lenses: Sequence[LensState]) -> float:
    return float(max(lens.object_z_mm for lens in lenses))


def _meets_mm(loop: Loop, before: FloatArray, after: FloatArray) -> float:
    """How far ahead rays (N, 3) through points of two planes meet the plane of a loop at most [mm]."""
    way, normal = after - before, loop.pose.rotation[:, 2] * np.sign(loop.pose.rotation[2, 2] or 1.0)
    toward = way @ normal
    meets = toward > 1e-6 * way[..., 2]
    behind = loop.z_mm * np.sign(loop.pose.rotation[2, 2] or 1.0) - (before - loop.pose.origin_mm) @ normal
    z = np.where(meets, before[..., 2] + behind / np.where(meets, toward, 1.0) * way[..., 2], ENDLESS_MM)
    return float(np.minimum(z, ENDLESS_MM).max())
