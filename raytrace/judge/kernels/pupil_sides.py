"""Each pupil is held by a polygon with K sides about it, the sides at the same K angles for every field point.

So a corner of it changes as smoothly with the field as the pupil does.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled

FloatArray = NDArray[np.float64]

# Columns of a pencil: slope (2), plane of its pupil (2), convergence (2), centre (2), axes (4), then the spokes of its outline.
SLOPE, REFERENCE, CONVERGENCE, CENTRE, AXES, SPOKES = 0, 2, 4, 6, 8, 12
# Rows of a pupil's sides (SIDE_ROWS, K + 1), the first again at the end: direction, how far the pupil reaches along it, and where
# the side meets the next.
COSINE, SINE, SUPPORT, CORNER_X, CORNER_Y, SIDE_ROWS = 0, 1, 2, 3, 4, 5


@compiled
def turn_sides(sides: FloatArray) -> None:
    """Fills in the directions of K sides."""
    count = sides.shape[1] - 1
    for k in range(count):
        sides[COSINE, k], sides[SINE, k] = math.cos(2 * math.pi * k / count), math.sin(2 * math.pi * k / count)
    sides[COSINE, count], sides[SINE, count] = sides[COSINE, 0], sides[SINE, 0]


@compiled
def place_corners(
    pencils: FloatArray, n: int, share: float, ring_radius: float, sides: FloatArray, outline: FloatArray
) -> None:
    """Corners of the polygon about a pupil; with a share below 1 about the disc that far on the way from the front ring to it."""
    _reach(pencils, n, sides, outline)
    count = sides.shape[1] - 1
    support = sides[SUPPORT]
    if share < 1.0:
        for k in range(count):
            support[k] = share * support[k] + (1 - share) * ring_radius
    support[count] = support[0]
    cosine, sine, x, y = sides[COSINE], sides[SINE], sides[CORNER_X], sides[CORNER_Y]
    for k in range(count):
        apart = cosine[k] * sine[k + 1] - sine[k] * cosine[k + 1]
        x[k] = (support[k] * sine[k + 1] - support[k + 1] * sine[k]) / apart
        y[k] = (support[k + 1] * cosine[k] - support[k] * cosine[k + 1]) / apart


@compiled
def _reach(pencils: FloatArray, n: int, sides: FloatArray, outline: FloatArray) -> None:
    """How far a pupil reaches along the sides' angles [mm], into SUPPORT."""
    count = sides.shape[1] - 1
    cosine, sine, support = sides[COSINE], sides[SINE], sides[SUPPORT]
    xx, xy, yx, yy = pencils[n, AXES], pencils[n, AXES + 1], pencils[n, AXES + 2], pencils[n, AXES + 3]
    x, y = pencils[n, CENTRE], pencils[n, CENTRE + 1]
    if pencils.shape[1] == SPOKES:
        for k in range(count):
            a, b = xx * cosine[k] + yx * sine[k], xy * cosine[k] + yy * sine[k]
            support[k] = x * cosine[k] + y * sine[k] + math.sqrt(a * a + b * b)
        return
    _lay_out(pencils, n, outline)
    for k in range(count):
        a, b = xx * cosine[k] + yx * sine[k], xy * cosine[k] + yy * sine[k]
        support[k] = x * cosine[k] + y * sine[k] + _farthest(outline, a, b)


@compiled
def _farthest(outline: FloatArray, a: float, b: float) -> float:
    """How far points (2, M) reach along (a, b); two at a time, so that none waits for the one before."""
    u, v = outline[0], outline[1]
    one = two = -math.inf
    for m in range(len(u) // 2):
        one, two = max(one, a * u[2 * m] + b * v[2 * m]), max(two, a * u[2 * m + 1] + b * v[2 * m + 1])
    last = len(u) - 1
    return max(one, two, a * u[last] + b * v[last])


@compiled
def _lay_out(pencils: FloatArray, n: int, outline: FloatArray) -> None:
    """Points (2, M) whose hull holds a traced outline, at M angles, a multiple of its spokes.

    Between two spokes, r and s, the radius runs straight in angle, so it bulges over their chord by at most
    (r + s)^2 / (4 r s cos(step / 2)).
    """
    count, spokes = outline.shape[1], pencils.shape[1] - SPOKES
    fine, step = count // spokes, 2 * math.pi / count
    before, r = _spoke(pencils, n, spokes, count - 1, fine), _spoke(pencils, n, spokes, 0, fine)
    cosine, sine, turn_x, turn_y = 1.0, 0.0, math.cos(step), math.sin(step)
    for m in range(count):
        after = _spoke(pencils, n, spokes, m + 1 if m + 1 < count else 0, fine)
        bulge = max((before + r) * (before + r) / (before * r), (r + after) * (r + after) / (r * after)) / (4 * math.cos(step / 2))
        outline[0, m], outline[1, m] = r * bulge * cosine, r * bulge * sine
        before, r = r, after
        cosine, sine = cosine * turn_x - sine * turn_y, sine * turn_x + cosine * turn_y


@compiled
def _spoke(pencils: FloatArray, n: int, spokes: int, m: int, fine: int) -> float:
    """Radius of a traced outline at the m-th of the angles between its spokes, as a share; kept off zero."""
    low, share = m // fine, (m % fine) / fine
    high = low + 1 if low + 1 < spokes else 0
    return max(pencils[n, SPOKES + low] * (1 - share) + pencils[n, SPOKES + high] * share, 1e-9)
