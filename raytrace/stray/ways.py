"""Ways through the parts of a box as half planes, and what they keep off: whole pieces of a flat target against a whole light.

A ray from p toward d crosses the plane (o, n) beyond a straight edge (e, m) where

    ((p - e) . m) (d . n) + ((o - p) . n) (d . m) > 0    for d . n > 0 and (o - p) . n > 0.

That is linear in p and linear in d, and for a light at a place l, with d = l - p, linear in l: so where the corners of a piece and
of a light are kept off by one edge, all of the piece is, against all of the light.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, cast

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Loop
from geometry.frame import AHEAD
from geometry.outline import RoundedRectangle, polygon_loops
from raytrace.stray.ways_kernel import kept_entry

BoolArray = NDArray[np.bool_]
Index = NDArray[np.int64]

CHORD_MM = 0.02  # edges stand this far outside a round way through: its chords stray less
CORNER_STEP_RAD = np.radians(15.0)  # between lines round a sharp corner of a way through
LIGHT_CORNERS = 16  # of the polygon drawn round a light: 2 % of its half width wider at the corners
SPAN = 1.05  # of a light's half width: holds its polygon
PIECE_DEG, MOST_PIECES = 1.0, 4  # a wider light is cut across so often, either way, and no more
GRAZING = 1e-4  # light that comes nearer than this to along a face brings nothing: sine of 0.006 deg
TARGET_REACH_MM = 200.0  # from the middle of a target to its farthest place, no more
WIDEST_HALF_DEG = 85.0  # a light's polygon is drawn on a plane square to its middle: no wider cone has one


@dataclass(frozen=True, slots=True)
class Way:
    """A way through in one plane: a point of it (3,), its normal (3,) toward the scene; edge points and outward normals (E, 3)."""

    origin_mm: FloatArray
    normal: FloatArray
    edge_mm: FloatArray
    outward: FloatArray


def ways_of(loops: Sequence[Loop]) -> tuple[Way, ...]:
    """Loops as half planes; of a shape that is hollow anywhere its hull, through which all of its light comes as well."""
    return tuple(_way(loop) for loop in loops)


def _way(loop: Loop) -> Way:
    is_straight = isinstance(loop.outline, RoundedRectangle) and loop.outline.corner_mm == 0.0
    points = np.concatenate(polygon_loops(loop.outline, CHORD_MM))
    hull = shapely.MultiPoint(points).convex_hull
    assert isinstance(hull, shapely.Polygon)
    ring = shapely.get_coordinates(shapely.geometry.polygon.orient(hull))[:-1]
    along = np.roll(ring, -1, axis=0) - ring
    length = np.linalg.norm(along, axis=1)
    ring, along = ring[length > 1e-9], along[length > 1e-9] / length[length > 1e-9][:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    ring, out = _with_corners(ring, out)
    edge = ring + (0.0 if is_straight else CHORD_MM) * out
    flat = np.column_stack([edge, np.full(len(edge), loop.z_mm)])
    return Way(
        origin_mm=loop.pose.points_to_frame(np.array([0.0, 0.0, loop.z_mm])),
        normal=loop.pose.vectors_to_frame(AHEAD),
        edge_mm=loop.pose.points_to_frame(flat),
        outward=loop.pose.vectors_to_frame(np.column_stack([out, np.zeros(len(out))])),
    )


def _with_corners(ring: FloatArray, out: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Edges (E, 2) with their outward normals, and lines between two of them that touch their corner alone."""
    found = [(point, normal) for point, normal in zip(ring, out, strict=True)]
    for point, before, after in zip(ring, np.roll(out, 1, axis=0), out, strict=True):
        turn = float(np.arccos(np.clip(before @ after, -1.0, 1.0)))
        count = int(turn / CORNER_STEP_RAD)
        mixed = (before + (after - before) * k / (count + 1) for k in range(1, count + 1))
        found += [(point, normal / np.linalg.norm(normal)) for normal in mixed]
    return np.array([point for point, _ in found]), np.array([normal for _, normal in found])


@dataclass(frozen=True, slots=True, kw_only=True)
class LightCorners:
    """A light in pieces, each by its corners (J, 3): places in the frame [mm] if in the set, else directions, not of length 1."""

    pieces: tuple[FloatArray, ...]
    in_set: bool

    def ahead_of(self, point_mm: FloatArray, normal: FloatArray) -> LightCorners:
        """What of the light stands ahead of a plane: its pieces cut along it; none where it stands behind."""
        cut = (self._cut(piece, point_mm, normal) for piece in self.pieces)
        return LightCorners(pieces=tuple(piece for piece in cut if len(piece)), in_set=self.in_set)

    def _cut(self, piece: FloatArray, point_mm: FloatArray, normal: FloatArray) -> FloatArray:
        height = (piece - point_mm * self.in_set) @ normal - GRAZING * np.linalg.norm(piece, axis=1)
        ring = [one for k in range(len(height)) for one in _cut_side(piece, height, k)]
        return np.array(ring).reshape(-1, 3)

    def rays_from(self, start_mm: FloatArray, piece: int) -> FloatArray:
        """From points (N, 3) to the corners of a piece (N, J, 3)."""
        every = np.broadcast_to(self.pieces[piece], (len(start_mm), *self.pieces[piece].shape))
        return every - start_mm[:, None] if self.in_set else every

    def all_from(self, point_mm: FloatArray) -> FloatArray:
        """From one point (3,) to every corner (J, 3)."""
        every = np.concatenate(self.pieces) if self.pieces else np.zeros((0, 3))
        return every - point_mm if self.in_set else every


def _cut_side(ring: FloatArray, height: FloatArray, k: int) -> Iterator[FloatArray]:
    """A corner that stands above, and the place where the side after it crosses."""
    after = (k + 1) % len(ring)
    if height[k] > 0:
        yield ring[k]
    if height[k] * height[after] < 0:
        yield ring[k] + (ring[after] - ring[k]) * height[k] / (height[k] - height[after])


def light_corners(
    direction: FloatArray, width_deg: float, place_mm: FloatArray | None = None, size_mm: float = 0.0
) -> LightCorners:
    """A polygon that holds a far light in a direction (3,) with a width, or a light of a size at a place (3,), cut into pieces."""
    if place_mm is None:
        toward = direction / np.linalg.norm(direction)
        half = np.tan(np.radians(min(width_deg / 2, WIDEST_HALF_DEG)))
        return LightCorners(pieces=_pieces(toward, toward, half, width_deg), in_set=False)
    distance = float(np.linalg.norm(place_mm))
    half = np.hypot(distance, TARGET_REACH_MM) / distance * size_mm / 2  # looked at from beside its axis
    width_deg = float(np.degrees(2 * np.arctan(half / distance)))
    return LightCorners(pieces=_pieces(place_mm, place_mm / distance, half, width_deg), in_set=True)


def _pieces(middle: FloatArray, toward: FloatArray, radius: float, width_deg: float) -> tuple[FloatArray, ...]:
    """The polygon round a disc square to `toward` (3,), in pieces of some PIECE_DEG."""
    if radius <= 0.0:
        return (np.asarray(middle[None]),)
    first = np.cross(toward, [0.0, 1.0, 0.0] if abs(toward[1]) < 0.9 else [1.0, 0.0, 0.0])
    first /= np.linalg.norm(first)
    turn = 2 * np.pi * (np.arange(LIGHT_CORNERS) + 0.5) / LIGHT_CORNERS
    polygon = shapely.Polygon(np.column_stack([np.cos(turn), np.sin(turn)]) / np.cos(np.pi / LIGHT_CORNERS))
    steps = np.linspace(-SPAN, SPAN, min(int(np.ceil(width_deg / PIECE_DEG)), MOST_PIECES) + 1)
    boxes = (shapely.box(x0, y0, x1, y1) for x0, x1 in pairwise(steps) for y0, y1 in pairwise(steps))
    cut = (shapely.intersection(polygon, box) for box in boxes)
    flat = (shapely.get_coordinates(piece)[:-1] for piece in cut if isinstance(piece, shapely.Polygon) and not piece.is_empty)
    return tuple(middle + radius * (xy @ np.stack([first, np.cross(toward, first)])) for xy in flat)


def kept_off(ways: Sequence[Way], cell: Index, start_mm: FloatArray, ray: FloatArray, count: int) -> BoolArray:
    """Which of `count` pieces (C,) one edge keeps off wholly; rays (R, 3) from their corners (R, 3) to all corners of the light."""
    found = np.zeros(count, dtype=np.bool_)
    if not ways or not len(cell):
        return found
    order = np.argsort(cell, kind="stable")
    first = np.searchsorted(cell[order], np.arange(count + 1))
    ends = np.cumsum([len(one.edge_mm) for one in ways])
    origin, normal = (np.stack([getattr(one, name) for one in ways]) for name in ("origin_mm", "normal"))
    edge, outward = (np.concatenate([getattr(one, name) for one in ways]) for name in ("edge_mm", "outward"))
    rays = np.ascontiguousarray(start_mm[order]), np.ascontiguousarray(ray[order])
    lucky, scratch = np.zeros(len(ways), dtype=np.int64), np.empty((2, len(cell)))
    cast("Any", kept_entry)(first, *rays, ends, origin, normal, edge, outward, lucky, scratch, found)
    return found
