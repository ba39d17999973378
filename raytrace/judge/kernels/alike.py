"""Pencils that differ in their slopes alone: where all their light runs straight their sections are one shape, moved.

So it is in front of a pupil that stays in place, up to the first glass; and behind upright plates too, where pencils are parallel.
Of such a plane one polygon is known and where its first corner comes to lie for every pencil. The corners of all of them together
are those of a sum of two convex shapes. Source: Boyd and Vandenberghe, Convex Optimization, section 2.3; de Berg et al.,
Computational Geometry, section 13.3.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.faces import CLOSE_UP, LEAN_X, LEAN_Y, UPRIGHT_WITHIN
from raytrace.judge.kernels.hull import CHAIN, KEPT, ORDER, once_round
from raytrace.judge.kernels.pupil_sides import CENTRE, CONVERGENCE, REFERENCE, SPOKES

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEADY_MM = 1e-9  # a corner less far by no more may still have farther ones behind it


@compiled
def same_pupils(pencils: FloatArray) -> bool:
    """Whether all pencils have the same pupil, a round or oval one."""
    return len(pencils) > 1 and pencils.shape[1] == SPOKES and not _differ(pencils, CENTRE, SPOKES)


@compiled
def _differ(pencils: FloatArray, first: int, last: int) -> bool:
    for n in range(1, len(pencils)):
        for c in range(first, last):
            if pencils[n, c] != pencils[0, c]:
                return True
    return False


@compiled
def _are_parallel(pencils: FloatArray) -> bool:
    most = 0.0
    for n in range(len(pencils)):
        most = max(most, pencils[n, CONVERGENCE], pencils[n, CONVERGENCE + 1])
    return most == 0.0


@compiled
def planes_alike(pencils: FloatArray, glasses: FloatArray, before: int, planes: int) -> int:
    """In how many planes, from the first on, the sections of pencils with the same pupil are one shape, moved."""
    parallel = _are_parallel(pencils)
    if not parallel and _differ(pencils, REFERENCE, CENTRE):
        return 0
    alike = before
    for g in range(len(glasses)):
        if max(abs(glasses[g, LEAN_X]), abs(glasses[g, LEAN_Y])) > UPRIGHT_WITHIN:
            return alike
        if not parallel or glasses[g, CLOSE_UP] > 0.0:
            return alike + 1
        alike += 2
    return planes


@compiled
def spread(points: FloatArray, sides: int, count: int) -> None:
    """Moves the first corners of all pencils but one, which stand behind that one's corners, to where each pencil's rays begin."""
    for m in range(len(points)):
        for c in range(3):
            row = points[m, c]
            for n in range(count - 1, 0, -1):
                row[n * sides] = row[sides + n - 1]


@compiled
def alike_hull(points: FloatArray, plane: int, sides: int, keys: FloatArray, numbers: IntArray) -> int:
    """As `flat_hull`, for a plane with one shape, moved: of each pencil but the first only the first corner has to be there."""
    pencils = points.shape[2] // sides
    for n in range(pencils):
        numbers[KEPT, n] = n * sides
    places = once_round(points, plane, pencils, keys, numbers)
    held = numbers[ORDER, points.shape[2] :]
    for j in range(places):
        held[j] = numbers[CHAIN, j]
    kept = _put_in(points, plane, sides, held, places, numbers)
    return once_round(points, plane, kept, keys, numbers)


@compiled
def _put_in(points: FloatArray, plane: int, sides: int, held: IntArray, places: int, numbers: IntArray) -> int:
    """How many corners may bound the shape put to some places, which go once round; they are put into KEPT, and their points in.

    At each place it is those that lie farthest in some direction between the outward ones of the two lines to the next places,
    and one to either side.
    """
    kept, whole = 0, places == 1 or not _goes_round(points, plane, sides)
    at = 0 if whole else _farthest(points, plane, sides, held[places - 1], held[0], 0)
    for j in range(places):
        to = at if whole else _farthest(points, plane, sides, held[j], held[j + 1 if j + 1 < places else 0], at)
        count = sides if whole else min((to - at + sides) % sides + 3, sides)
        for step in range(count):
            k = (at - 1 + step + sides) % sides
            n = held[j] + k
            if k > 0 and held[j] > 0:
                for c in range(3):
                    points[plane, c, n] = points[plane, c, held[j]] + (points[plane, c, k] - points[plane, c, 0])
            numbers[KEPT, kept] = n
            kept += 1
        at = to
    return kept


@compiled
def _goes_round(points: FloatArray, plane: int, sides: int) -> bool:
    """Whether the first polygon has a size and runs counter-clockwise."""
    x, y, area = points[plane, 0], points[plane, 1], 0.0
    for k in range(1, sides - 1):
        area += (x[k] - x[0]) * (y[k + 1] - y[0]) - (x[k + 1] - x[0]) * (y[k] - y[0])
    return area > 0.0


@compiled
def _farthest(points: FloatArray, plane: int, sides: int, one: int, two: int, start: int) -> int:
    """The corner of the first polygon that lies farthest to the right of the way from one place to another, looked for from one on.

    Farness rises from there to the farthest one and falls again, but for rounding.
    """
    x, y = points[plane, 0], points[plane, 1]
    right, up = y[two] - y[one], x[one] - x[two]
    length = math.sqrt(right * right + up * up)
    at, best, k = start, x[start] * right + y[start] * up, start
    for _ in range(sides - 1):
        k = k + 1 if k + 1 < sides else 0
        far = x[k] * right + y[k] * up
        if far > best:
            at, best = k, far
        elif start > 0 and far < best - STEADY_MM * length:
            break
    return at
