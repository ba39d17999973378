"""How deep a drawn opening stands in the beam: how far the beam reaches past its outline, in the planes of its two faces."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.body import Loop, Tube
from geometry.outline import to_shape
from raytrace.judge.body import Legs

FloatArray = NDArray[np.float64]

STEP_MM = 0.5  # between the places of a beam's edge that are looked at


def flat_depth(legs: Legs, tube: Tube, outsides: tuple[tuple[float, float, float], ...]) -> tuple[float, FloatArray | None]:
    """Depth [mm] of a tube with a drawn outline, and where (3,) in the frame; 0 and None where it shows in none of its planes."""
    deepest: tuple[float, FloatArray | None] = (0.0, None)
    for loop, outside in zip(tube.inner, outsides, strict=True):
        opening = to_shape(loop.outline)
        for leg in range(len(legs.legs)):
            past = _past(legs, leg, loop, opening, outside)
            if shapely.is_empty(past):
                continue
            points = shapely.get_coordinates(shapely.segmentize(past, STEP_MM))
            depth = np.asarray(shapely.distance(shapely.points(points), opening))
            k = int(depth.argmax())
            found = float(depth[k] + legs.pads[leg].min() + STEP_MM / 2)
            if found > deepest[0]:
                deepest = (found, loop.pose.points_to_frame(np.append(points[k], loop.z_mm)))
    return deepest


def _past(legs: Legs, leg: int, loop: Loop, opening: shapely.Geometry, outside: tuple[float, float, float]) -> shapely.Geometry:
    """What of a leg's section lies beyond the opening and inside the tube's outside."""
    section: shapely.Geometry | None = None
    for runs in legs.legs[leg]:
        held = shapely.convex_hull(shapely.MultiPoint(_crossings(legs.corners, runs, loop)))
        section = held if section is None else shapely.intersection(section, held)  # every stand-in holds the beam
    assert section is not None
    past = shapely.difference(section, opening)
    return past if outside[0] == 0.0 else shapely.intersection(past, shapely.box(-outside[1], -outside[2], outside[1], outside[2]))


def _crossings(corners: FloatArray, runs: NDArray[np.int64], loop: Loop) -> FloatArray:
    """Points (n, 2) whose hull is where a leg meets the plane of a loop, in the loop's own coordinates; may be none."""
    at = loop.pose.points_to_part(np.concatenate([corners[runs[0] : runs[1]], corners[runs[2] : runs[3]]]))
    above = at[:, 2] - loop.z_mm
    up, down = at[above >= 0], at[above < 0]
    if not len(up) or not len(down):
        return np.zeros((0, 2))
    share = (up[:, 2] - loop.z_mm)[:, None] / (up[:, 2][:, None] - down[:, 2][None, :])
    return np.asarray(up[:, None, :2] + share[..., None] * (down[None, :, :2] - up[:, None, :2])).reshape(-1, 2)
