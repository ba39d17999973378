"""Kernels: pencils through a chain of glass, as legs that are straight in z, and how far glass spreads their rays.

Each pencil is followed by its middle ray and, where its rays meet glass at different angles, by rays through its rim, for glass
shifts each by its own. What grows evenly from the pupil's middle to its rim goes into the pencil's own scale; what is left over is
told as an error. The rules of a ray at a glass are those of `raytrace.optics.glass`.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.jit.compiled import compiled

# Columns of a glass: rotation (9), centre (3), thickness, index, power per mm, 1 for a close-up lens; its outline: 0 a circle,
# 1 a rounded rectangle, 2 a drawing, and its size: the radius; half sizes less the corner's, and that; first and last of its edges.
THICKNESS, INDEX, POWER, CLOSE_UP, OUTLINE, SIZE = 12, 13, 14, 15, 16, 17
GLASS_COLUMNS = 20
CIRCLE, ROUNDED, DRAWN = 0.0, 1.0, 2.0
PENCIL_COLUMNS = 12  # slope, reference z, convergence, centre, axes (4)
RAY_COLUMNS = 10  # of the scratch: where a ray is (3), how it runs (3), where it ends, whether it met the same glass; its crossing
END, MET, CROSSING = 6, 7, 8
FACE_EPS_MM = 1e-6  # how far one plate may seem to reach into the next: plates that touch, computed from two poses
NEAR_FOCUS = 0.05  # of the pupil's size: where the beam is narrower, every offset is large beside it and moves shadows little


@compiled
def _inside(glass: FloatArray, edges: FloatArray, x: float, y: float) -> bool:
    """Whether a point of a glass's plane is within its outline."""
    if glass[OUTLINE] == CIRCLE:
        return glass[SIZE] - math.hypot(x, y) > 0.0
    if glass[OUTLINE] == ROUNDED:
        u, v = abs(x) - glass[SIZE], abs(y) - glass[SIZE + 1]
        return glass[SIZE + 2] - math.hypot(max(u, 0.0), max(v, 0.0)) - min(max(u, v), 0.0) > 0.0
    odd = False
    for k in range(int(glass[SIZE]), int(glass[SIZE + 1])):
        x0, y0, x1, y1 = edges[k, 0], edges[k, 1], edges[k, 2], edges[k, 3]
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) / (y1 - y0) * (x1 - x0):
            odd = not odd
    return odd


@compiled
def _launch(pencil: FloatArray, valid: bool, u: float, v: float, ray: FloatArray) -> None:
    """The bare lens's ray through a point of the disc, from the reference plane farther back."""
    start_z, end, length = min(pencil[2], pencil[3]), -math.inf, 1.0
    for axis in range(2):
        crossing = pencil[8 + 2 * axis] * u + pencil[9 + 2 * axis] * v
        slope = pencil[axis] - (pencil[6 + axis] + crossing) * pencil[4 + axis]
        ray[CROSSING + axis] = crossing
        ray[axis] = pencil[6 + axis] + crossing + slope * (start_z - pencil[2 + axis])
        ray[3 + axis] = slope
        length += slope * slope
        end = max(end, pencil[2 + axis] + 1.0 / pencil[4 + axis] if pencil[4 + axis] > 0.0 else math.inf)
    ray[2], ray[5], ray[END], ray[MET] = start_z, 1.0, end, 1.0
    for k in range(3, 6):
        ray[k] /= math.sqrt(length)
    if not valid:
        ray[:END] = 0.0
        ray[5], ray[END] = 1.0, math.inf


@compiled
def _in_axes_of(glass: FloatArray, ray: FloatArray) -> tuple[float, float, float, float, float, float]:
    """Where a ray is and how it runs, in the axes of a glass."""
    x = y = z = u = v = w = 0.0
    for k in range(3):
        a, b, c = glass[3 * k], glass[3 * k + 1], glass[3 * k + 2]
        at, way = ray[k] - glass[9 + k], ray[3 + k]
        x, y, z = x + at * a, y + at * b, z + at * c
        u, v, w = u + way * a, v + way * b, w + way * c
    return x, y, z, u, v, w


@compiled
def _passes(glass: FloatArray, edges: FloatArray, ray: FloatArray) -> bool:
    """Follow a ray through one glass, if it meets it before it comes to a point; whether it did."""
    x, y, z, u, v, w = _in_axes_of(glass, ray)
    if w <= 0.0:
        return False
    run = (-glass[THICKNESS] / 2 - z) / w
    if run < -FACE_EPS_MM:
        return False
    run = max(run, 0.0)
    x, y, z = x + run * u, y + run * v, z + run * w
    if not (_inside(glass, edges, x, y) and ray[2] + run * ray[5] < ray[END]):
        return False
    if glass[CLOSE_UP] > 0.0:
        _bend(glass, ray, x, y, u / w, v / w)
    else:
        u, v = u / glass[INDEX], v / glass[INDEX]
        w = math.sqrt(1.0 - (u * u + v * v))
        x, y, z = x + u * (glass[THICKNESS] / w), y + v * (glass[THICKNESS] / w), z + glass[THICKNESS]
    for k in range(3):
        ray[k] = x * glass[3 * k] + y * glass[3 * k + 1] + z * glass[3 * k + 2] + glass[9 + k]
    return True


@compiled
def _bend(glass: FloatArray, ray: FloatArray, x: float, y: float, u: float, v: float) -> None:
    """The direction of a ray after a thin lens, in whose axes it has these slopes, and where it then comes to a point."""
    u, v = u - glass[POWER] * x, v - glass[POWER] * y
    length = math.sqrt(1.0 + u * u + v * v)
    for k in range(3):
        ray[3 + k] = (u * glass[3 * k] + v * glass[3 * k + 1] + glass[3 * k + 2]) / length
    ray[END] = glass[11] + 1.0 / max(1.0 / (ray[END] - glass[11]) + glass[POWER], 0.0)


@compiled
def _meets(glass: FloatArray, edges: FloatArray, ray: FloatArray) -> bool:
    """Whether the line of a ray crosses the middle plane of a glass within its outline: of a thin lens no leg tells."""
    x, y, z, u, v, w = _in_axes_of(glass, ray)
    return _inside(glass, edges, x - z / w * u, y - z / w * v)


@compiled
def _off(ray: FloatArray, axis: int, middle_mm: float, scale: float, z_mm: float) -> float:
    """How far a rim ray lies at z from where the middle ray and the pencil's scale there put it [mm]."""
    if ray[MET] == 0.0:
        return 0.0
    return ray[axis] + ray[3 + axis] / ray[5] * (z_mm - ray[2]) - middle_mm - scale * ray[CROSSING + axis]


@compiled
def _grow_evenly(rays: FloatArray, rim: FloatArray, pencil: FloatArray, legs: FloatArray, z_mm: float) -> None:
    """Add to a pencil's scale what of its rays' offsets grows evenly with their crossing: least squares over the rim.

    Over R equal angles the sum of u^2 and that of v^2 are R / 2 and that of u v is 0, so the slopes along u and v are mean
    products. A pencil of which rays were lost at the glass's edge gets none.
    """
    xu = xv = yu = yv = 0.0
    for k in range(len(rim)):
        if rays[1 + k, MET] == 0.0:
            return
        x = _off(rays[1 + k], 0, legs[2] + legs[3] * z_mm, legs[0] + legs[1] * z_mm, z_mm)
        y = _off(rays[1 + k], 1, legs[6] + legs[7] * z_mm, legs[4] + legs[5] * z_mm, z_mm)
        xu, xv, yu, yv = xu + x * rim[k, 0], xv + x * rim[k, 1], yu + y * rim[k, 0], yv + y * rim[k, 1]
    a, b, c, d = pencil[8], pencil[9], pencil[10], pencil[11]
    share = 2.0 / len(rim) / (a * d - b * c)  # the diagonal of these slopes times the inverse of the axes, by cofactors
    legs[0] += (xu * d - xv * c) * share
    legs[4] += (yv * a - yu * b) * share


@compiled
def _stray(rays: FloatArray, rim: FloatArray, disc: FloatArray, legs: FloatArray, z_mm: float) -> float:
    """The farthest offset of a pencil's rays at z as its disc sees it [pupil radii]."""
    worst, across, upright = 0.0, legs[0] + legs[1] * z_mm, legs[4] + legs[5] * z_mm
    for k in range(len(rim)):
        x = _off(rays[1 + k], 0, legs[2] + legs[3] * z_mm, across, z_mm) / max(across, NEAR_FOCUS)
        y = _off(rays[1 + k], 1, legs[6] + legs[7] * z_mm, upright, z_mm) / max(upright, NEAR_FOCUS)
        u, v = disc[2] * x + disc[3] * y, disc[4] * x + disc[5] * y
        worst = max(worst, u * u + v * v)
    return math.sqrt(worst)


@compiled
def _through(
    glass: FloatArray,
    edges: FloatArray,
    pencil: FloatArray,
    disc: FloatArray,
    rim: FloatArray,
    far_mm: float,
    rays: FloatArray,
    legs: FloatArray,
) -> float:
    """Follow a pencil through one glass; `legs` (8) becomes that beyond, about the middle ray. How far rays stray there."""
    z, through = glass[11], False
    if glass[CLOSE_UP] > 0.0:
        through = _meets(glass, edges, rays[0])
        _passes(glass, edges, rays[0])
        for at in (0, 4):
            bend = glass[POWER] * (legs[at] + legs[at + 1] * z) if through else 0.0
            legs[at], legs[at + 1] = legs[at] + bend * z, legs[at + 1] - bend
    else:
        through = _passes(glass, edges, rays[0])
    for axis in range(2):
        ahead = rays[0, 3 + axis] / rays[0, 5]
        legs[4 * axis + 2], legs[4 * axis + 3] = rays[0, axis] - ahead * rays[0, 2], ahead
    if not len(rim):
        return 0.0
    for k in range(1, len(rim) + 1):
        if _passes(glass, edges, rays[k]) != through:
            rays[k, MET] = 0.0
    _grow_evenly(rays, rim, pencil, legs, z)
    return max(_stray(rays, rim, disc, legs, z), _stray(rays, rim, disc, legs, max(far_mm, z)))


@compiled
def _keep(pencil: FloatArray, legs: FloatArray, out: FloatArray) -> None:
    """A leg about the middle ray as one about the crossing: x(z) = a(z) X + b(z)."""
    for at, axis in ((0, 0), (4, 1)):
        out[at], out[at + 1] = legs[at], legs[at + 1]
        out[at + 2] = legs[at + 2] - legs[at] * pencil[6 + axis]
        out[at + 3] = legs[at + 3] - legs[at + 1] * pencil[6 + axis]


@compiled
def _bare(pencil: FloatArray, legs: FloatArray, out: FloatArray) -> None:
    """The leg before any glass."""
    for axis in range(2):
        slope, z, converges = pencil[axis], pencil[2 + axis], pencil[4 + axis]
        out[4 * axis], out[4 * axis + 1] = 1 + converges * z, -converges
        out[4 * axis + 2], out[4 * axis + 3] = -slope * z, slope
    for k in range(8):
        legs[k] = out[k]


@partial(compiled, entry=True)
def legs_of_pencils(
    pencils: FloatArray,
    valid: NDArray[np.bool_],
    disc: FloatArray,
    glasses: FloatArray,
    edges: FloatArray,
    rim: FloatArray,
    far_mm: float,
    rays: FloatArray,
    legs: FloatArray,
    affine: FloatArray,
    stray: FloatArray,
) -> None:
    """Affine (N, 1 + G, 8) and stray (N,) of pencils (N, PENCIL_COLUMNS) through glasses (G, GLASS_COLUMNS).

    disc (N, 6) as `Optics` has it; edges (E, 4) of drawn outlines; rim (R, 2) the points of the disc through which rays are
    followed, none where all rays of a pencil run alike; rays (1 + R, RAY_COLUMNS) and legs (8,) are scratch.
    """
    for n in range(len(pencils)):
        _bare(pencils[n], legs, affine[n, 0])
        _launch(pencils[n], valid[n], 0.0, 0.0, rays[0])
        for k in range(len(rim)):
            _launch(pencils[n], valid[n], rim[k, 0], rim[k, 1], rays[1 + k])
        worst = 0.0
        for g in range(len(glasses)):
            worst = max(worst, _through(glasses[g], edges, pencils[n], disc[n], rim, far_mm, rays, legs))
            _keep(pencils[n], legs, affine[n, 1 + g])
        stray[n] = worst
