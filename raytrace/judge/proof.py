"""What shows that a guide is clear: planes with all of its light on one side and all of a part on the other.

They can be checked without any of this: by whoever traces the guide's rays and knows the parts. Legs are cut across the axis here,
also about a leaning filter, so that they are as simple to check as can be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from geometry.outline import half_size_mm
from raytrace.box import Box, Glass, GlassKind
from raytrace.judge.body import CHORD_MM, GRID_CHORD_MM, look
from raytrace.judge.field import FieldPencils, cell_of, edge_samples, field_pencils, grid_samples
from raytrace.judge.kernels.gjk import BENCH
from raytrace.judge.kernels.parting import FIRST, LAST, LEAVES, LEVEL, NONE, OF_BODY, OF_WALL, PLANE, STAND_IN, WAY_OUT, part_planes
from raytrace.judge.kernels.shapes import MOST_CORNERS
from raytrace.judge.pieces import Pieces, pieces_of
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState, TracedPupil, WalkingPupil

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Ends = tuple[tuple[float, int], ...]  # z of a plane [mm], and how many filters the rays there have passed

IN_ANY_ORDER = 0  # of a fifth column of runs: corners of several planes go round none of them
STAND_INS = (1.0, 0.75, 0.5, 0.25, 0.0)  # discs between front ring and pupil that hold all light through both
FEW_STAND_INS = (1.0, 0.5, 0.0)  # where the guide is cut into many cells
SLACK_MM = 0.02  # that planes keep off the light, for whoever bounds it otherwise
BENT_MM = 0.12  # the same where pupils walk or the picture is bent, and the light bulges between field points
LOOSE_MM = 0.05  # the same where the depth of the pupil changes the field as well
BEYOND_MM = 3.0  # how far rays are followed past the last part
BEFORE_FOCUS = 1.0 - 1e-9
GRID_A_SIDE = 14  # of the guide, where points inside count too
PIECES_A_SIDE = 8  # of the guide: between its corners rays bend only by what filters shift
TURNS = 2 * np.pi * (np.arange(24) + 0.3) / 24
WAYS = np.array([np.cos(TURNS), np.sin(TURNS)])
MOST_PLANES = 20000
MOST_ARCS = 256
LEAST_SIDES = 32


@dataclass(frozen=True, slots=True)
class PartPlanes:
    """Planes of one part, a row each: legs, share, wall, first and last quarter turn of the arc, normal (3), level [mm].

    legs: numbers of the first and the last one whose light the plane holds back. share: of the way from front ring to pupil, where
    the disc lies whose light that is. wall: which pair of loops, or -1 for a board.
    """

    part: str
    rows: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """Planes about all parts of a box, from rays that begin and end at a z and whose legs are cut besides at some [mm].

    Legs are those of light through the filters and those with the trays empty, by where they begin. room_mm: the least that a
    plane leaves between light and part.
    """

    start_mm: float
    end_mm: float
    cuts_mm: tuple[float, ...]
    room_mm: float
    parts: tuple[PartPlanes, ...]


@dataclass(frozen=True, slots=True)
class _Rays:
    """Rays (N,) of a disc that holds a guide's light: where they cross its plane or planes (N, 2), slopes (N, 3) with dz 1."""

    at: FloatArray
    planes_mm: FloatArray
    slopes: FloatArray
    moved: FloatArray  # (G + 1, N, 3) by the filters passed

    def points(self, end: tuple[float, int]) -> FloatArray:
        """Where they cross a plane (N, 2) [mm]."""
        z, passed = end
        moved = self.moved[passed]
        return self.at + self.slopes[:, :2] * (z - self.planes_mm - moved[:, 2:]) + moved[:, :2]


def proof_of(lenses: Sequence[LensState], guide: Guide, box: Box, enough_mm: float) -> Proof | None:
    """Planes that part a guide's light from every part, filters in and trays empty; None where some are not found.

    A plane that leaves `enough_mm` is taken as it is; no more than most of the nearest part's room should be asked for. For lenses
    that are not traced, and boxes without close-up lenses: else None.
    """
    if not _is_plain(lenses, box):
        return None
    beam = look(tuple(lenses), box, cell_of(guide))
    loose = any(map(_is_bent, lenses))
    field = field_pencils(lenses, cell_of(guide), grid_samples(GRID_A_SIDE) if loose else edge_samples(PIECES_A_SIDE))
    if not field.whole:
        return None
    start, ring = float(field.pencils.reference_z_mm.min()), max(lens.front_radius_mm for lens in lenses)
    end = min(beam.far_z_mm + BEYOND_MM, BEFORE_FOCUS * max(lens.object_z_mm for lens in lenses))
    cuts = tuple(float(z) for z in beam.before[1:] if start < z < end)
    shares = (1.0,) if np.isinf(ring) else FEW_STAND_INS if loose else STAND_INS
    legs = _legs(box.glasses, start, end, cuts) + (_legs((), start, end, cuts) if box.glasses else [])
    if any(leg[0][0] >= leg[-1][0] for leg in legs):
        return None
    bodies = _bodies(
        [_rays(field, share, ring, box.glasses, GRID_CHORD_MM if loose else CHORD_MM) for share in shares],
        sorted(legs, key=lambda leg: leg[0][0]),
    )
    slack_mm = BENT_MM if loose else LOOSE_MM if len(lenses) > 1 and np.isfinite(lenses[0].object_z_mm) else SLACK_MM
    parts, room = [], np.inf
    for part in box.parts:
        planes = _planes(bodies, pieces_of(part), slack_mm, enough_mm)
        if planes is None:
            return None
        room = min(room, float(planes[:, LEAVES].min()))
        parts.append(PartPlanes(part.name, _rows(planes, bodies, np.array(shares))))
    return Proof(start_mm=start, end_mm=end, cuts_mm=cuts, room_mm=room, parts=tuple(parts))


def _is_plain(lenses: Sequence[LensState], box: Box) -> bool:
    plain = all(not isinstance(lens.pupil, TracedPupil) and lens.picture is None for lens in lenses)
    return plain and all(glass.kind is not GlassKind.CLOSE_UP for glass in box.glasses)


def _is_bent(lens: LensState) -> bool:
    return isinstance(lens.pupil, WalkingPupil) or lens.projection != "rectilinear" or any(lens.distortion)


def _rows(planes: FloatArray, bodies: _Bodies, shares: FloatArray) -> FloatArray:
    quarters = planes[:, FIRST : LAST + 1] / (np.pi / 2)
    wall = np.maximum(planes[:, OF_WALL], -1.0)
    share = shares[planes[:, STAND_IN].astype(np.int64)]
    legs = bodies.spans[planes[:, OF_BODY].astype(np.int64)]
    return np.column_stack([legs, share, wall, quarters, planes[:, WAY_OUT : LEVEL + 1]])


def _planes(bodies: _Bodies, part: Pieces, slack_mm: float, enough_mm: float) -> FloatArray | None:
    longest = max(MOST_CORNERS, int(np.diff(part.runs, axis=1).max(initial=0)))
    pads, planes = np.full((len(bodies.spans), len(bodies.runs) // len(bodies.spans)), slack_mm), np.empty((MOST_PLANES, PLANE))
    used = part_planes(
        *(bodies.corners, bodies.runs, pads, part.walls, part.points, part.runs, bodies.halves, enough_mm),
        *(np.empty((MOST_ARCS, 3)), np.empty((longest, 3)), np.zeros((BENCH, 4)), np.zeros((4, 2), dtype=np.int64), planes),
    )
    return planes[:used] if used > NONE else None


# Legs


def _legs(glasses: Sequence[Glass], start: float, end: float, cuts: Sequence[float]) -> list[Ends]:
    """Legs by the planes that they lie between: in air, and from before a filter, or several whose depths overlap, to behind it."""
    legs: list[Ends] = []
    at, passed = start, 0
    for group in _groups(glasses):
        spans, after = [_span_mm(glass) for glass in group], passed + len(group)
        low, high = min(span[0] for span in spans), max(span[1] for span in spans)
        legs += _runs(at, low, cuts, passed)
        square = len(group) == 1 and abs(group[0].slab.pose.rotation[2, 2]) > 1.0 - 1e-14
        legs.append(((low, passed), (high, after)) if square else tuple(product((low, high), range(passed, after + 1))))
        at, passed = high, after
    return legs + _runs(at, end, cuts, passed)


def _runs(start: float, end: float, cuts: Sequence[float], passed: int) -> list[Ends]:
    return [((a, passed), (b, passed)) for a, b in pairwise([start, *(cut for cut in cuts if start < cut < end), end])]


def _groups(glasses: Sequence[Glass]) -> list[list[Glass]]:
    groups: list[list[Glass]] = []
    for glass in glasses:
        if groups and _span_mm(glass)[0] < max(_span_mm(other)[1] for other in groups[-1]):
            groups[-1].append(glass)
        else:
            groups.append([glass])
    return groups


def _span_mm(glass: Glass) -> tuple[float, float]:
    """How far back and ahead light inside a filter may come [mm]: along its faces it runs no farther than Snell's law lets it."""
    run = glass.slab.thickness_mm / np.sqrt(glass.index**2 - 1.0)
    half = np.append(half_size_mm(glass.slab.outline) + run, glass.slab.thickness_mm / 2)
    z = glass.slab.pose.origin_mm[2] + np.array(list(product((-1, 1), repeat=3))) * half @ glass.slab.pose.rotation[2]
    return float(z.min()), float(z.max())


def _rays(field: FieldPencils, share: float, ring_mm: float, glasses: Sequence[Glass], chord_mm: float) -> _Rays:
    """Rays through the corners of a polygon about each pupil, or about the disc that lies so far from ring to pupil."""
    p = field.pencils
    largest = float(np.sqrt((p.axes_mm**2).sum(axis=(1, 2)).max()))
    sides = max(LEAST_SIDES, int(np.ceil(np.pi * np.sqrt(largest / (2 * chord_mm)))))
    turns = 2 * np.pi * np.arange(sides) / sides
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    reach = share * np.linalg.norm(np.einsum("nij,ki->nkj", p.axes_mm, ways), axis=-1) + share * p.centre_mm @ ways.T
    reach = reach + (0.0 if share == 1.0 else (1.0 - share) * ring_mm)
    at = _corners(reach, ways)
    planes = share * p.reference_z_mm
    slopes = (
        _aimed(p.slope, p.convergence_per_mm, p.reference_z_mm, planes)[:, None, :]
        - at * _nearer(p.convergence_per_mm, p.reference_z_mm, planes)[:, None, :]
    )
    ways3 = np.concatenate([slopes, np.ones((*slopes.shape[:2], 1))], axis=-1).reshape(-1, 3)
    moved = np.cumsum([np.zeros_like(ways3), *(_shift_mm(glass, ways3) for glass in glasses)], axis=0)
    return _Rays(at.reshape(-1, 2), np.repeat(planes, sides, axis=0), ways3, moved)


def _corners(reach: FloatArray, ways: FloatArray) -> FloatArray:
    """Corners (N, K, 2) of polygons whose sides lie so far out (N, K) along ways (K, 2)."""
    after, way = np.roll(reach, -1, axis=1), np.roll(ways, -1, axis=0)
    apart = ways[:, 0] * way[:, 1] - ways[:, 1] * way[:, 0]
    x, y = (reach * way[:, 1] - after * ways[:, 1]) / apart, (after * ways[:, 0] - reach * way[:, 0]) / apart
    return np.stack([x, y], axis=-1)


def _nearer(convergence: FloatArray, from_mm: FloatArray, to_mm: FloatArray) -> FloatArray:
    """Convergence as seen from another plane: toward the same object."""
    return np.where(convergence > 0.0, convergence / (1.0 + convergence * (from_mm - to_mm)), 0.0)


def _aimed(slope: FloatArray, convergence: FloatArray, from_mm: FloatArray, to_mm: FloatArray) -> FloatArray:
    """Slope from the middle of another plane toward the same object points."""
    return slope / (1.0 + convergence * (from_mm - to_mm))


def _shift_mm(glass: Glass, ways: FloatArray) -> FloatArray:
    """How rays (N, 3) are moved by a filter, along its axis (N, 3) [mm]."""
    axis = glass.slab.pose.rotation[:, 2]
    toward = ways @ axis
    t2 = np.maximum((ways**2).sum(axis=1) / toward**2 - 1.0, 0.0)
    n2 = glass.index**2
    return np.asarray((glass.slab.thickness_mm * (1.0 - 1.0 / np.sqrt(n2 + (n2 - 1.0) * t2)))[:, None] * axis)


@dataclass(frozen=True, slots=True)
class _Bodies:
    """Bodies of a beam as one with all legs, that cut into halves, and so on down to each leg.

    corners (n, 3) [mm]; runs (B V, 5): a body's own for each disc, at its first plane and at all others, in any order; spans
    (B, 2): its first and last leg; halves (B, 2): the bodies that it is cut into, or -1.
    """

    corners: FloatArray
    runs: IntArray
    spans: FloatArray
    halves: IntArray


def _bodies(by_disc: Sequence[_Rays], legs: Sequence[Ends]) -> _Bodies:
    flats = {(v, end): _flat(rays, end) for v, rays in enumerate(by_disc) for leg in legs for end in leg}
    corners: list[FloatArray] = []
    runs: list[list[int]] = []
    spans: list[tuple[int, int]] = []
    halves: list[tuple[int, int]] = []
    total = 0

    def run(v: int, ends: Sequence[tuple[float, int]]) -> tuple[int, int]:
        nonlocal total
        first = total
        for end in ends:
            corners.append(flats[v, end])
            total += len(flats[v, end])
        return first, total

    def body(first: int, last: int) -> int:
        number, ends = len(spans), sorted({end for leg in legs[first : last + 1] for end in leg})
        spans.append((first, last))
        halves.append((-1, -1))
        for v in range(len(by_disc)):
            before, after = [end for end in ends if end[0] == ends[0][0]], [end for end in ends if end[0] > ends[0][0]]
            runs.append([*run(v, before), *run(v, after), IN_ANY_ORDER])
        if last > first:
            middle = (first + last) // 2
            halves[number] = body(first, middle), body(middle + 1, last)
        return number

    body(0, len(legs) - 1)
    return _Bodies(np.concatenate(corners), np.array(runs), np.array(spans, dtype=np.float64), np.array(halves))


def _flat(rays: _Rays, end: tuple[float, int]) -> FloatArray:
    """Corners (n, 3) of the hull of all rays in a plane."""
    points = rays.points(end)
    outer = points[_may_be_outer(points)]
    flat = outer[ConvexHull(outer).vertices]
    return np.column_stack([flat, np.full(len(flat), end[0])])


def _may_be_outer(points: FloatArray) -> NDArray[np.bool_]:
    """Which of the points (N, 2) do not lie well inside a polygon of some of them: most do, and need no sorting."""
    far = points[np.unique((points @ WAYS).argmax(axis=0))]
    middle = far.mean(axis=0)
    rim = ConvexHull(far)
    room = -(rim.equations[:, :2] @ middle + rim.equations[:, 2]).max()
    return np.asarray(np.hypot(*(points - middle).T) >= room * (1.0 - 1e-9))
