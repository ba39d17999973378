"""How deep a drawn opening stands in the beam: how far the beam reaches past its outline, in the planes of its two faces."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.body import Loop, Tube
from geometry.outline import to_shape
from raytrace.judge.body import Legs

FloatArray = NDArray[np.float64]

FEW = 200  # points whose hull is found from all
TURNS = 2 * np.pi * np.arange(16) / 16
WAYS = np.array([np.cos(TURNS), np.sin(TURNS)])
STEP_MM = 0.5  # between the places of a beam's edge that are looked at


def flat_depth(legs: Legs, tube: Tube, outsides: tuple[tuple[float, float, float], ...]) -> tuple[float, FloatArray | None]:
    """Depth [mm] of a tube with a drawn outline, and where (3,) in the frame; 0 and None where it shows in none of its planes."""
    deepest: tuple[float, FloatArray | None] = (0.0, None)
    for loop, outside in zip(tube.inner, outsides, strict=True):
        opening = to_shape(loop.outline)
        shapely.prepare(opening)
        for leg in range(len(legs.legs)):
            past = _past(legs, leg, loop, opening, outside)
            more_mm = float(legs.pads[leg].min()) + STEP_MM / 2
            farthest = _farthest(past, opening, deepest[0] - more_mm)
            if farthest is not None:
                deepest = (farthest[0] + more_mm, loop.pose.points_to_frame(np.append(farthest[1], loop.z_mm)))
    return deepest


def _farthest(past: shapely.Geometry, opening: shapely.Geometry, known_mm: float) -> tuple[float, FloatArray] | None:
    """How far the edge of an area lies off the opening, to STEP_MM / 2, and where (2,); None if no farther than `known_mm`.

    Halves the sides of the edge, those only whose inside may be farther off than what is known: no point of a side is farther than
    half of what its ends are and of its length.
    """
    lines = [shapely.get_coordinates(line) for line in shapely.get_parts(shapely.boundary(past))]
    if not lines:
        return None
    ends = np.concatenate([np.stack([line[:-1], line[1:]], axis=1) for line in lines])
    depth = _off(ends, opening)
    best, point = known_mm, None
    while True:
        k = int(depth.argmax())
        if depth.ravel()[k] > best:
            best, point = float(depth.ravel()[k]), ends.reshape(-1, 2)[k]
        most = (depth.sum(axis=1) + np.hypot(*(ends[:, 1] - ends[:, 0]).T)) / 2
        open_ = most > best + STEP_MM / 2
        if not open_.any():
            return None if point is None else (best, point)
        ends, depth = ends[open_], depth[open_]
        middle = ends.mean(axis=1)
        ends = np.concatenate([np.stack([ends[:, 0], middle], axis=1), np.stack([middle, ends[:, 1]], axis=1)])
        depth = _off(ends, opening)


def _off(ends: FloatArray, opening: shapely.Geometry) -> FloatArray:
    return np.asarray(shapely.distance(shapely.points(ends.reshape(-1, 2)), opening)).reshape(-1, 2)


def _past(legs: Legs, leg: int, loop: Loop, opening: shapely.Geometry, outside: tuple[float, float, float]) -> shapely.Geometry:
    """What of a leg's section lies beyond the opening and inside the tube's outside."""
    section: shapely.Geometry | None = None
    for runs in legs.legs[leg]:
        held = _hull(_crossings(legs.corners, runs, loop))
        section = held if section is None else shapely.intersection(section, held)  # every stand-in holds the beam
    assert section is not None
    past = shapely.difference(section, opening)
    return past if outside[0] == 0.0 else shapely.intersection(past, shapely.box(-outside[1], -outside[2], outside[1], outside[2]))


def _hull(points: FloatArray) -> shapely.Geometry:
    """The convex hull of points (n, 2), most of which lie well inside it."""
    if len(points) < 2:
        return shapely.Polygon()
    outer = points if len(points) < FEW else points[_outside(points)]
    return shapely.convex_hull(shapely.LineString(outer))


def _outside(points: FloatArray) -> NDArray[np.bool_]:
    """Which of the points are not inside an ellipse that the farthest of them in a few directions hold."""
    middle, size = (points.max(axis=0) + points.min(axis=0)) / 2, np.maximum(np.ptp(points, axis=0) / 2, 1e-9)
    at = (points - middle) / size
    far = at[(at @ WAYS).argmax(axis=0)]
    step = np.roll(far, -1, axis=0) - far
    inside = (far[:, 0] * step[:, 1] - far[:, 1] * step[:, 0]) / np.maximum(np.hypot(*step.T), 1e-12)
    least = float(inside[np.hypot(*step.T) > 1e-9].min(initial=1.0)) - 1e-9
    return np.asarray((at**2).sum(axis=1) >= max(least, 0.0) ** 2)


def _crossings(corners: FloatArray, runs: NDArray[np.int64], loop: Loop) -> FloatArray:
    """Points (n, 2) whose hull is where a leg meets the plane of a loop, in the loop's own coordinates; may be none."""
    at = loop.pose.points_to_part(np.concatenate([corners[runs[0] : runs[1]], corners[runs[2] : runs[3]]]))
    above = at[:, 2] - loop.z_mm
    up, down = at[above >= 0], at[above < 0]
    if not len(up) or not len(down):
        return np.zeros((0, 2))
    share = (up[:, 2] - loop.z_mm)[:, None] / (up[:, 2][:, None] - down[:, 2][None, :])
    return np.asarray(up[:, None, :2] + share[..., None] * (down[None, :, :2] - up[:, None, :2])).reshape(-1, 2)
