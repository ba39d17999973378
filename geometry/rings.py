"""Closed lines to cut, of straight pieces and arcs, in mm: exact area, chords of the same area, moved and turned.

A ring lies in the plane of a sheet seen from the operator's side: x to the right, y up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geometry.arrays import FloatArray
from geometry.errors import GeometryError
from geometry.frame import frame_to_right_up
from geometry.outline import SAGITTA_MM, Circle, Outline, RoundedRectangle

QUARTER_BULGE = float(np.tan(np.pi / 8))  # a bulge is the tangent of a quarter of the arc's angle, positive anticlockwise
DOUBLED_MM = 1e-9


@dataclass(frozen=True, slots=True)
class Ring:
    """A closed line: corners (K, 2) [mm] and the bulge (K,) of the piece that begins at each; 0 is straight."""

    points_mm: FloatArray
    bulges: FloatArray

    @property
    def as_circle(self) -> tuple[tuple[float, float], float] | None:
        """Centre and radius [mm] of a full circle; None of any other ring."""
        if len(self.points_mm) != 2 or not np.allclose(np.abs(self.bulges), 1.0):
            return None
        x, y = self.points_mm.mean(axis=0)
        return (float(x), float(y)), float(np.hypot(*(self.points_mm[1] - self.points_mm[0])) / 2)


def circle_ring(radius_mm: float, centre_mm: tuple[float, float] = (0.0, 0.0)) -> Ring:
    """A circle, anticlockwise."""
    if not radius_mm > 0:
        raise GeometryError(f"a hole needs a diameter above 0 mm, found {2 * radius_mm:g}")
    x, y = centre_mm
    return Ring(np.array([[x + radius_mm, y], [x - radius_mm, y]]), np.ones(2))


def rectangle_ring(width_mm: float, height_mm: float, corner_mm: float = 0.0) -> Ring:
    """A rectangle about the origin with equal round corners, anticlockwise."""
    w, h, r = width_mm / 2, height_mm / 2, corner_mm
    if r <= 0:
        return polygon_ring(np.array([[w, -h], [w, h], [-w, h], [-w, -h]]))
    steps = ((w, -h + r), (w, h - r), (w - r, h), (r - w, h), (-w, h - r), (-w, r - h), (r - w, -h), (w - r, -h))
    points, bulges = np.array(steps), np.array([0.0, QUARTER_BULGE] * 4)
    doubled = np.all(np.abs(points - np.roll(points, -1, axis=0)) < DOUBLED_MM, axis=1)  # corners that meet: no straight piece
    return Ring(points[~doubled], bulges[~doubled])


def polygon_ring(points_mm: FloatArray) -> Ring:
    """A ring of straight pieces through corners (K, 2)."""
    return Ring(np.asarray(points_mm, dtype=np.float64), np.zeros(len(points_mm)))


def rings_of(outline: Outline) -> tuple[Ring, ...]:
    """The rings to cut for an opening or edge, as the operator sees them; GeometryError for one with an island in it."""
    if isinstance(outline, Circle):
        return (circle_ring(outline.radius_mm),)
    if isinstance(outline, RoundedRectangle):
        return (rectangle_ring(outline.width_mm, outline.height_mm, outline.corner_mm),)
    polygons = outline.shape.geoms if isinstance(outline.shape, shapely.MultiPolygon) else [outline.shape]
    if any(polygon.interiors for polygon in polygons):
        raise GeometryError(
            "an opening with an island in it cannot be cut from one plate: the island falls out; join it to the plate"
        )
    return tuple(polygon_ring(frame_to_right_up(np.asarray(one.exterior.coords)[:-1])) for one in polygons)


def area_mm2(ring: Ring) -> float:
    """Enclosed area [mm2] in closed form, never negative: the polygon and the circular segments on it."""
    a, b = ring.points_mm, np.roll(ring.points_mm, -1, axis=0)
    straight = float(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])) / 2
    angle = 4 * np.arctan(ring.bulges)
    chord = np.hypot(*(b - a).T)
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = np.where(ring.bulges == 0, 0.0, chord / 2 / np.abs(np.sin(angle / 2)))
    return abs(straight + float(np.sum(radius**2 / 2 * (angle - np.sin(angle)))))


def length_mm(ring: Ring) -> float:
    """Length of the line [mm]: what a cutter travels."""
    chord = np.hypot(*(np.roll(ring.points_mm, -1, axis=0) - ring.points_mm).T)
    half = 2 * np.arctan(np.abs(ring.bulges))
    with np.errstate(divide="ignore", invalid="ignore"):
        return float(np.where(half == 0, chord, chord * half / np.sin(half)).sum())


def chords(ring: Ring, sagitta_mm: float = SAGITTA_MM) -> FloatArray:
    """Corners (N, 2) [mm] of a polygon of the very same area, anticlockwise, that strays about `sagitta_mm` from the arcs."""
    pieces = [_piece(ring, k, sagitta_mm) for k in range(len(ring.points_mm))]
    points = np.concatenate(pieces)
    a, b = points, np.roll(points, -1, axis=0)
    return points if np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) > 0 else points[::-1]


def _piece(ring: Ring, k: int, sagitta_mm: float) -> FloatArray:
    """The corners of one piece of a ring without its end."""
    start, end, bulge = ring.points_mm[k], ring.points_mm[(k + 1) % len(ring.points_mm)], float(ring.bulges[k])
    if bulge == 0:
        return start[None]
    angle = 4 * np.arctan(bulge)
    chord = end - start
    radius = float(np.hypot(*chord)) / 2 / abs(np.sin(angle / 2))
    centre = (start + end) / 2 + np.array([-chord[1], chord[0]]) / 2 / np.tan(angle / 2)
    widest = 2 * np.arccos(max(1 - sagitta_mm / radius, 0.5))
    steps = max(int(np.ceil(abs(angle) / widest)), 2)
    begins = np.arctan2(*(start - centre)[::-1])
    turns = begins + angle * np.arange(steps) / steps
    reach = np.full(steps, _swollen(radius, abs(angle) / steps, steps))
    if ring.as_circle is None:
        reach[0] = radius  # where arcs and straight pieces meet nothing moves
    else:
        reach[:] = radius * np.sqrt(abs(angle) / steps / np.sin(abs(angle) / steps))
    return np.asarray(centre + reach[:, None] * np.column_stack([np.cos(turns), np.sin(turns)]))


def _swollen(radius_mm: float, step_rad: float, steps: int) -> float:
    """How far the inner corners of an arc's chords lie from its centre, so that they enclose what the arc does.

    n r^2 a / sin a = (n - 2) R^2 + 2 r R for n steps of an angle a: both ends stay on the arc.
    """
    wanted = steps * radius_mm**2 * step_rad / np.sin(step_rad)
    if steps == 2:
        return float(wanted / (2 * radius_mm))
    return float((-radius_mm + np.sqrt(radius_mm**2 + (steps - 2) * wanted)) / (steps - 2))


def moved(ring: Ring, by_mm: tuple[float, float], turn_deg: float = 0.0) -> Ring:
    """The ring turned anticlockwise about the origin, then moved."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return Ring(ring.points_mm @ np.array([[c, s], [-s, c]]) + np.asarray(by_mm), ring.bulges)


def bounds_mm(ring: Ring) -> tuple[float, float, float, float]:
    """Left, low, right, high [mm], arcs included."""
    circle = ring.as_circle
    if circle is not None:
        (x, y), r = circle
        return x - r, y - r, x + r, y + r
    points = chords(ring)
    (left, low), (right, high) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return left, low, right, high
