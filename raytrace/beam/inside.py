"""Light of field points inside a guide that reaches past that of its edge: pupils that shrink as they walk, fronts that cut.

The field is laid out along spokes from the lens axis to the guide's edge, with a ring wherever a table has a row, so that between
two rings pencils change smoothly. What lies between four neighbours lies in their hull, widened by how much the pencils bend.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.frame import Pose, right_up_to_frame
from raytrace.beam.outline import Section, filled
from raytrace.beam.rays import Sheet
from raytrace.optics.camera import Guide
from raytrace.optics.pencil import Pencils

BoolArray = NDArray[np.bool_]
PencilsAt = Callable[[FloatArray], Pencils]

COARSE, FINE = (8, 4), (12, 6)  # spokes to each side of the guide, and rings from one row of a table to the next
SEEN_PER_SIDE, SEEN_RINGS, SEEN_WAYS = 6, 13, 9  # in a first look: places of each side, rings, directions
LEAN_RAD = 0.15  # of the beam's sides against the guide's
MOST_ROWS = 12  # of a table that are followed one by one; longer tables are smooth
LOOKED_AT = 65  # places along a spoke in which a row's place is looked for
SLANT = 1.5  # a bend square to an outline, seen along its radius
MOST_BEND_MM = 1.0  # beyond, corners of different pencils are not the same ray's
LEAST_LENGTH = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Inside:
    """Outline rays of pencils on rings and spokes inside a guide, ring by ring, the last one on its edge.

    shares (rings, spokes) of the way to the edge; place (spokes,) where spokes meet it, from 0 to 4, corners at whole numbers.
    """

    sheets: tuple[Sheet, ...]
    shares: FloatArray
    place: FloatArray

    def endless(self) -> Inside:
        """The same rays, running on beyond the plane in focus."""
        return replace(self, sheets=tuple(sheet.endless() for sheet in self.sheets))

    def reaches_out(self, section: Section, plane: Pose) -> bool:
        """Whether anything may reach past a section of the edge's beam."""
        return any(bool(self._out(section, *self._crossing(sheet, plane))[0].any()) for sheet in self.sheets)

    def added_to(self, section: Section, plane: Pose) -> Section:
        """A section of the edge's beam by a plane, with what of the inside reaches past it."""
        found = [self._beyond(section, sheet, plane) for sheet in self.sheets]
        more = [shape for shapes in found for shape in shapes]
        return section if not more else filled(shapely.union_all([section, *more]))

    def _crossing(self, sheet: Sheet, plane: Pose) -> tuple[FloatArray, BoolArray]:
        points, there = sheet.at_plane(plane)
        return points.reshape(*self.shares.shape, -1, 2), there.reshape(self.shares.shape)

    def _out(self, section: Section, points: FloatArray, known: BoolArray) -> tuple[BoolArray, FloatArray]:
        """Which pencils (rings, spokes) may reach out of a section, and how far each may be bent (rings, spokes) [mm]."""
        bend = self._bends_mm(points)
        out = known & _reaches_out(section, points, bend)
        out[-1] = False  # the edge makes the section
        return out, bend.max(axis=-1)

    def _beyond(self, section: Section, sheet: Sheet, plane: Pose) -> list[shapely.Geometry]:
        points, known = self._crossing(sheet, plane)
        out, bend = self._out(section, points, known)
        if not out.any():
            return []
        after = np.roll(out, -1, axis=1)
        cells = (out[:-1] | out[1:] | after[:-1] | after[1:]) & _all_round(known)
        around = np.concatenate(
            [points[:-1], points[1:], np.roll(points, -1, axis=1)[:-1], np.roll(points, -1, axis=1)[1:]], axis=2
        )
        wide = np.maximum.reduce([bend[:-1], bend[1:], np.roll(bend, -1, axis=1)[:-1], np.roll(bend, -1, axis=1)[1:]])
        hulls = shapely.convex_hull(shapely.multipoints(around[cells]))
        return list(np.atleast_1d(np.asarray(shapely.buffer(hulls, wide[cells], quad_segs=4))))

    def _bends_mm(self, points: FloatArray) -> FloatArray:
        """How far pencils may bulge out over the straight way to their neighbours, corner by corner (rings, spokes, K) [mm]."""
        out = _outward(points)
        return np.minimum(_along_spokes(points, out, self.shares) + _round_rings(points, out, self.place), MOST_BEND_MM)


def _along_spokes(points: FloatArray, outward: FloatArray, shares: FloatArray) -> FloatArray:
    """The bend along the spokes: in each gap the smaller of what both its ends show, as a row bends pencils at one of the two."""
    gap = np.diff(shares, axis=0)
    curve = _bulge(np.diff(points, axis=0), gap, outward[1:-1])
    ends = np.concatenate([curve[:1], curve, curve[-1:]])
    between = np.minimum(ends[1:], ends[:-1]) * gap[..., None] ** 2 / 8
    none = np.zeros_like(between[:1])
    return np.maximum(np.concatenate([between, none]), np.concatenate([none, between]))


def _round_rings(points: FloatArray, outward: FloatArray, place: FloatArray) -> FloatArray:
    """The same from spoke to spoke: rings turn at the guide's corners, and where a row comes to its edge."""
    gap = np.broadcast_to((np.roll(place, -1) - place) % 4, points.shape[:2])
    step = np.roll(points, -1, axis=1) - points
    both = np.concatenate([step[:, -1:], step], axis=1), np.concatenate([gap[:, -1:], gap], axis=1)
    curve = _bulge(both[0].swapaxes(0, 1), both[1].T, outward.swapaxes(0, 1)).swapaxes(0, 1)
    curve = np.where((place % 1 == 0)[:, None], np.inf, curve)
    between = np.minimum(curve, np.roll(curve, -1, axis=1)) * gap[..., None] ** 2 / 8
    return np.maximum(between, np.roll(between, 1, axis=1))


def _bulge(steps: FloatArray, gap: FloatArray, outward: FloatArray) -> FloatArray:
    """How much each corner's way bulges outward where two of N steps (N, M, K, 2) meet: second derivatives (N - 1, M, K)."""
    wide = np.maximum(gap, LEAST_LENGTH)
    slope = np.where((gap > 2 * LEAST_LENGTH)[..., None, None], steps / wide[..., None, None], 0.0)
    turn = -(np.diff(slope, axis=0) * outward).sum(axis=-1)
    return np.asarray(2 * np.maximum(turn, 0.0) / (wide[1:] + wide[:-1])[..., None])


def _outward(points: FloatArray) -> FloatArray:
    radius = points - points.mean(axis=2, keepdims=True)
    return np.asarray(radius / np.maximum(np.linalg.norm(radius, axis=-1, keepdims=True), LEAST_LENGTH))


def _reaches_out(section: Section, points: FloatArray, bend_mm: FloatArray) -> BoolArray:
    """Which pencils (rings, spokes) reach out of a section, bent as far as they may be."""
    far = points + SLANT * bend_mm[..., None] * _outward(points)
    shapely.prepare(section)
    return np.asarray(np.any(~shapely.contains_xy(section, far[..., 0], far[..., 1]), axis=2))


def _all_round(known: BoolArray) -> BoolArray:
    after = np.roll(known, -1, axis=1)
    return np.asarray(known[:-1] & known[1:] & after[:-1] & after[1:])


def outgrows(pencils_at: PencilsAt, guide: Guide, planes_mm: Sequence[float]) -> bool:
    """Whether, in air, pencils reach farther outward from rings inside a guide than from its edge, seen at a few places of it.

    Outward is square to a side, give or take a little; at a corner all from one side's to the other's.
    """
    corners = guide.corners_mm()
    middle = np.clip(np.zeros(2), corners.min(axis=0), corners.max(axis=0))
    place = np.arange(4 * SEEN_PER_SIDE) / SEEN_PER_SIDE
    shares = np.linspace(0.0, 1.0, SEEN_RINGS)
    pencils = pencils_at((middle + shares[:, None, None] * (_edge(corners, place) - middle)).reshape(-1, 2))
    normals = _outward_of(corners, place)
    for z_mm in planes_mm:
        step = z_mm - pencils.reference_z_mm
        size = 1.0 - pencils.convergence_per_mm * step
        chief = (pencils.slope * step + pencils.centre_mm * size).reshape(SEEN_RINGS, len(place), 2)
        axes = (size[:, :, None] * pencils.axes_mm).reshape(SEEN_RINGS, len(place), 2, 2)
        reach = np.einsum("rpi,pni->rpn", chief, normals)
        reach += np.linalg.norm(np.einsum("pni,rpij->rpnj", normals, axes), axis=-1)
        if bool((np.diff(reach, axis=0) < 0.0).any()):
            return True
    return False


def _outward_of(corners: FloatArray, place: FloatArray) -> FloatArray:
    """Unit directions (places, SEEN_WAYS, 2), in the frame, about the outward normal of a place's side, or sides."""
    side = np.roll(corners, -1, axis=0) - corners
    away = (corners + side / 2) - corners.mean(axis=0)
    square = right_up_to_frame(away - (away * side).sum(axis=1, keepdims=True) * side / (side**2).sum(axis=1, keepdims=True))
    number = place.astype(np.int64)
    corner = place % 1 == 0
    turn = np.arctan2(square[:, 1], square[:, 0])
    before = turn[(number - 1) % 4] - turn[number]
    middle = turn[number] + np.where(corner, np.angle(np.exp(1j * before)) / 2, 0.0)
    width = np.where(corner, np.pi / 4, LEAN_RAD)
    angle = middle[:, None] + width[:, None] * np.linspace(-1.0, 1.0, SEEN_WAYS)
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def inside_points(pencils_at: PencilsAt, guide: Guide, steps: tuple[int, int]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Field points (rings * spokes, 2) inside a guide, ring by ring, their shares of the way to its edge, and where spokes meet it.

    A spoke goes wherever a row of the table crosses the edge, too: rows then run from spoke to spoke and end on one.
    """
    corners = guide.corners_mm()
    middle = np.clip(np.zeros(2), corners.min(axis=0), corners.max(axis=0))
    place = _places(pencils_at, corners, steps[0])
    edge = _edge(corners, place)
    shares = _shares(pencils_at, middle, edge, steps[1])
    return (middle + shares[..., None] * (edge - middle)).reshape(-1, 2), shares, place


def _edge(corners: FloatArray, place: FloatArray) -> FloatArray:
    side = place.astype(np.int64) % 4
    return np.asarray(corners[side] + (place % 1)[:, None] * (corners[(side + 1) % 4] - corners[side]))


def _places(pencils_at: PencilsAt, corners: FloatArray, per_side: int) -> FloatArray:
    """Places on the edge, from 0 to 4: even steps on each side, and where the field is that of a row."""
    fine = np.arange(4 * LOOKED_AT) / LOOKED_AT
    pencils = pencils_at(_edge(corners, fine))
    even = np.arange(4 * per_side) / per_side
    field, step = pencils.field_tan, 1 / LOOKED_AT
    after = np.roll(field, -1)
    met = [
        fine[k] + step * (row - field[k]) / (after[k] - field[k])
        for row in _rows(pencils)
        for k in np.flatnonzero((field - row) * (after - row) < 0)
    ]
    some = np.array(sorted({*even.tolist(), *met}))  # np.unique would load masked arrays first
    return np.sort(np.concatenate([some, some + (np.roll(some, -1) - some) % 4 / 2])) if met else some


def _rows(pencils: Pencils) -> FloatArray:
    return np.sort(pencils.kink_tan) if len(pencils.kink_tan) <= MOST_ROWS else np.zeros(0)


def _shares(pencils_at: PencilsAt, middle: FloatArray, edge: FloatArray, between: int) -> FloatArray:
    """Shares (rings, spokes) of the way from the middle to the edge: 0, the rows of the table, 1, and steps between them."""
    steps = np.linspace(0.0, 1.0, LOOKED_AT)
    pencils = pencils_at((middle + steps[:, None, None] * (edge - middle)).reshape(-1, 2))
    rows = _rows(pencils)
    ends = [np.zeros(len(edge)), np.ones(len(edge))]
    if len(rows):
        field = np.maximum.accumulate(pencils.field_tan.reshape(LOOKED_AT, -1), axis=0)
        at = np.array([np.interp(rows, field[:, k], steps) for k in range(len(edge))]).T
        ends = [ends[0], *at, ends[1]]
    return _filled_in(ends, between)


def _filled_in(ends: Sequence[FloatArray], between: int) -> FloatArray:
    """Steps between neighbouring rings; rings that lie all at one place come once."""
    found = [ends[0]]
    for here, there in pairwise(ends):
        if np.abs(there - here).max() > LEAST_LENGTH:
            found += [here + (there - here) * k / between for k in range(1, between + 1)]
    return np.array(found)
