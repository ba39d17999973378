"""Rays on the faces of glass, a run of rays at a time: columns of points (P, 3, N) and directions (3, N), without branches.

A row of glasses is: rotation (9), origin (3), thickness, index, power in dioptre, 1 for a close-up lens.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled

FloatArray = NDArray[np.float64]

GLASS_FIELDS = 16
UPRIGHT, THICKNESS, INDEX, POWER, CLOSE_UP = 8, 12, 13, 14, 15  # first: how far the glass's own axis lies along the lens axis
LEAN_X, LEAN_Y, MIDDLE_Z = 2, 5, 11  # how far that axis leans, and where the glass's middle is along the lens axis
UPRIGHT_WITHIN = 1e-12  # [rad]: sections a metre wide are sheared by no more than rounding
MM_PER_M = 1000.0
LEAST_SLOPE = 1e-9  # a ray that comes nearer to a plate by less per mm never meets it
BACK_MM = 1e-6  # planes that touch may be this much out of order


@compiled
def through_glasses(glasses: FloatArray, points: FloatArray, ways: FloatArray, plane: int, low: int, high: int) -> int:
    """Follows rays low to high through all filters, their points on the faces into `points` from a plane on; how many get lost."""
    lost = 0
    for g in range(len(glasses)):
        if glasses[g, CLOSE_UP] > 0.0:
            lost += _close_up(glasses, g, points, ways, plane, low, high)
            plane += 1
        else:
            lost += _plate(glasses, g, points, ways, plane, low, high)
            plane += 2
    return lost


@compiled
def _plate(glasses: FloatArray, g: int, points: FloatArray, ways: FloatArray, plane: int, low: int, high: int) -> int:
    """Both faces of a plate: inside, the part of a direction along the face shrinks by the index (Snell's law)."""
    nx, ny, nz = glasses[g, 2], glasses[g, 5], glasses[g, 8]
    thick, index = glasses[g, THICKNESS], glasses[g, INDEX]
    level = glasses[g, 9] * nx + glasses[g, 10] * ny + glasses[g, 11] * nz - thick / 2
    dx, dy, dz = ways[0, low:high], ways[1, low:high], ways[2, low:high]
    x, y, z = points[plane - 1, 0, low:high], points[plane - 1, 1, low:high], points[plane - 1, 2, low:high]
    x1, y1, z1 = points[plane, 0, low:high], points[plane, 1, low:high], points[plane, 2, low:high]
    x2, y2, z2 = points[plane + 1, 0, low:high], points[plane + 1, 1, low:high], points[plane + 1, 2, low:high]
    lost = 0
    for k in range(high - low):
        u, v, w = dx[k], dy[k], dz[k]
        toward = u * nx + v * ny + w * nz
        meets = toward > LEAST_SLOPE
        run = (level - (x[k] * nx + y[k] * ny + z[k] * nz)) / toward if meets else 0.0
        at_x, at_y, at_z = x[k] + run * u, y[k] + run * v, z[k] + run * w
        lost += 0 if meets & (at_z >= z[k] - BACK_MM) else 1
        x1[k], y1[k], z1[k] = at_x, at_y, at_z
        shrunk = 1.0 / (math.sqrt(u * u + v * v + w * w) * index)
        u, v, w = (u - toward * nx) * shrunk, (v - toward * ny) * shrunk, (w - toward * nz) * shrunk
        straight = math.sqrt(1.0 - (u * u + v * v + w * w))
        run = thick / straight
        x2[k], y2[k], z2[k] = at_x + run * u + thick * nx, at_y + run * v + thick * ny, at_z + run * w + thick * nz
    return lost


@compiled
def _close_up(glasses: FloatArray, g: int, points: FloatArray, ways: FloatArray, plane: int, low: int, high: int) -> int:
    """The middle plane of a close-up lens, where it turns rays: slope - D r, both in the lens's own axes."""
    nx, ny, nz = glasses[g, 2], glasses[g, 5], glasses[g, 8]
    level = glasses[g, 9] * nx + glasses[g, 10] * ny + glasses[g, 11] * nz
    lost = 0
    for at in range(low, high):
        u, v, w = ways[0, at], ways[1, at], ways[2, at]
        x, y, z = points[plane - 1, 0, at], points[plane - 1, 1, at], points[plane - 1, 2, at]
        toward = u * nx + v * ny + w * nz
        run = (level - (x * nx + y * ny + z * nz)) / toward if toward > LEAST_SLOPE else 0.0
        points[plane, 0, at], points[plane, 1, at], points[plane, 2, at] = x + run * u, y + run * v, z + run * w
        _turn(glasses, g, points, ways, plane, at)
        lost += 0 if toward > LEAST_SLOPE and run * w >= -BACK_MM and ways[2, at] > LEAST_SLOPE else 1
    return lost


@compiled
def _turn(glasses: FloatArray, g: int, points: FloatArray, ways: FloatArray, plane: int, at: int) -> None:
    x = y = u = v = w = 0.0
    for k in range(3):
        a, b, c = glasses[g, 3 * k], glasses[g, 3 * k + 1], glasses[g, 3 * k + 2]
        from_middle, d = points[plane, k, at] - glasses[g, 9 + k], ways[k, at]
        x, y = x + from_middle * a, y + from_middle * b
        u, v, w = u + d * a, v + d * b, w + d * c
    u, v = u / w - glasses[g, POWER] / MM_PER_M * x, v / w - glasses[g, POWER] / MM_PER_M * y
    for k in range(3):
        ways[k, at] = u * glasses[g, 3 * k] + v * glasses[g, 3 * k + 1] + glasses[g, 3 * k + 2]
