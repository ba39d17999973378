"""Rim rays of pencils through a chain of glass, as the points where they cross the planes that part its legs."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.alike import alike_hull, planes_alike, same_pupils, spread
from raytrace.judge.kernels.bends import bends_mm, bends_of_places_mm, largest, turned_rad
from raytrace.judge.kernels.faces import BACK_MM, CLOSE_UP, MM_PER_M, POWER, through_glasses
from raytrace.judge.kernels.hull import CHAIN, flat_hull
from raytrace.judge.kernels.pupil_sides import (
    AXES,
    CONVERGENCE,
    CORNER_X,
    CORNER_Y,
    REFERENCE,
    SLOPE,
    SPOKES,
    place_corners,
    turn_sides,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

OK, END = 0, 1  # what is told of a beam: whether all rays came through in order, where the last plane is
BULGE = 4 / 3  # of what is seen in the middle and half-way: for what lies in between
BEYOND_MM = 150.0  # how far past the parts the beam is followed: the nearest ray may pass a part by as much as its room


@compiled
def _aim(slope: float, convergence: float, reference_z: float, at_z: float) -> tuple[float, float]:
    """Slope and convergence toward the same object point, for a pupil whose plane lies elsewhere."""
    if convergence <= 0.0:
        return slope, convergence
    ahead = reference_z + 1 / convergence - at_z
    return slope / convergence / ahead, 1 / ahead


@compiled
def _object_after(glasses: FloatArray, object_z_mm: float) -> float:
    """Where the rays come to a point once close-up lenses have added their power [mm]."""
    for g in range(len(glasses)):
        if glasses[g, CLOSE_UP] > 0.0:
            at = glasses[g, 11]
            power = max(1.0 / (object_z_mm - at) + glasses[g, POWER] / MM_PER_M, 0.0)
            object_z_mm = at + 1.0 / power if power > 0.0 else math.inf
    return object_z_mm


@compiled
def _launch(
    pencils: FloatArray,
    n: int,
    blend: FloatArray,
    ring_z: float,
    before: FloatArray,
    points: FloatArray,
    ways: FloatArray,
    sides: FloatArray,
    first: int,
    count: int,
) -> None:
    """Directions of one pencil's rays, and their points on the planes before the glass, as the rays from `first` on."""
    x, y = sides[CORNER_X], sides[CORNER_Y]
    for axis in range(2):
        pupil_z = pencils[n, REFERENCE + axis]
        at_z = pupil_z if blend[axis] == 1.0 else (1 - blend[axis]) * ring_z + blend[axis] * pupil_z
        slope, convergence = _aim(pencils[n, SLOPE + axis], pencils[n, CONVERGENCE + axis], pupil_z, at_z)
        crossing, way = x if axis == 0 else y, ways[axis, first : first + count]
        for k in range(count):
            way[k] = slope - crossing[k] * convergence
        for b in range(len(before)):
            point, ahead = points[b, axis, first : first + count], before[b] - at_z
            for k in range(count):
                point[k] = crossing[k] + way[k] * ahead
    for at in range(first, first + count):
        ways[2, at] = 1.0
        for b in range(len(before)):
            points[b, 2, at] = before[b]


@compiled
def _trace(
    pencils: FloatArray,
    blend: FloatArray,
    ring_z: float,
    ring_radius: float,
    before: FloatArray,
    glasses: FloatArray,
    points: FloatArray,
    ways: FloatArray,
    sides: FloatArray,
    outline: FloatArray,
    same: bool,
) -> int:
    """Points of rim rays on the planes before the glass and on its faces; how many get lost. same: all pupils are the same."""
    lost, count = 0, sides.shape[1] - 1
    for n in range(len(pencils)):
        if n == 0 or not same:
            place_corners(pencils, n, blend, ring_radius, sides, outline)
        _launch(pencils, n, blend, ring_z, before, points, ways, sides, n * count, count)
        lost += through_glasses(glasses, points, ways, len(before), n * count, (n + 1) * count)
    return lost


@compiled
def _trace_few(
    pencils: FloatArray,
    blend: FloatArray,
    ring_z: float,
    ring_radius: float,
    before: FloatArray,
    glasses: FloatArray,
    points: FloatArray,
    ways: FloatArray,
    sides: FloatArray,
    outline: FloatArray,
) -> int:
    """The same for the rim rays of the first pencil, and behind them the first ray of each other one; how many get lost."""
    count, rays = sides.shape[1] - 1, sides.shape[1] - 2 + len(pencils)
    place_corners(pencils, 0, blend, ring_radius, sides, outline)
    _launch(pencils, 0, blend, ring_z, before, points, ways, sides, 0, count)
    for n in range(1, len(pencils)):
        _launch(pencils, n, blend, ring_z, before, points, ways, sides, count + n - 1, 1)
    return through_glasses(glasses, points, ways, len(before), 0, rays)


@compiled
def _run_on(points: FloatArray, plane: int, ways: FloatArray, count: int, z: float) -> int:
    """Follows the first rays from one plane straight to the next, at z; how many would have to go back."""
    lost = 0
    dx, dy, dz = ways[0], ways[1], ways[2]
    x0, y0, z0 = points[plane - 1, 0], points[plane - 1, 1], points[plane - 1, 2]
    x1, y1, z1 = points[plane, 0], points[plane, 1], points[plane, 2]
    for k in range(count):
        run = (z - z0[k]) / dz[k]
        lost += 0 if run >= -BACK_MM else 1
        x1[k], y1[k], z1[k] = x0[k] + run * dx[k], y0[k] + run * dy[k], z0[k] + run * dz[k]
    return lost


@compiled
def _last_leg(
    points: FloatArray, ways: FloatArray, count: int, before_z: float, far_z: float, sharp_z: float, parted: bool
) -> tuple[int, float, float]:
    """Follows the first rays to the last planes: how many would have to go back, the plane ahead of all parts, and the end.

    No plane lies beyond the one in focus; without a plane ahead of all parts its place is inf.
    """
    planes = len(points)
    last = planes - (3 if parted else 2)
    front = max(far_z, largest(points[last, 2, :count]), before_z) + 1.0
    parted_z, end = min(front, sharp_z), min(front + BEYOND_MM, sharp_z)
    lost = _run_on(points, planes - 2, ways, count, parted_z) if parted else 0
    lost += _run_on(points, planes - 1, ways, count, end)
    return lost, parted_z if parted else math.inf, end


@compiled
def _bends(
    points: FloatArray,
    alike: int,
    sides: FloatArray,
    turned: float,
    triples: IntArray,
    weights: FloatArray,
    keys: FloatArray,
    told: FloatArray,
) -> None:
    """The bends of each plane, behind the first two of `told`; in the first planes, `alike` of them, of one shape's places."""
    for m in range(len(points)):
        if m < alike:
            told[2 + m] = bends_of_places_mm(points, m, sides.shape[1] - 1, triples, weights)
        else:
            told[2 + m] = bends_mm(points, m, sides, turned, triples, weights, keys)


@compiled
def _off(inner: FloatArray, points: FloatArray, plane: int, first: int, sides: int, rays: int) -> float:
    """The square of how far the rays inside a polygon, one or one for each corner, stand off the lines between opposite corners."""
    half, worst = sides // 2, 0.0
    ax, ay, az = points[plane, 0, first:], points[plane, 1, first:], points[plane, 2, first:]
    bx, by, bz = points[plane, 0, first + half :], points[plane, 1, first + half :], points[plane, 2, first + half :]
    x, y, z = inner[plane, 0], inner[plane, 1], inner[plane, 2]
    for turn in range(1 if rays == 1 else 2):
        step, start = (0, 0) if rays == 1 else (1, turn * half)
        for k in range(half):
            u, v, w = bx[k] - ax[k], by[k] - ay[k], bz[k] - az[k]
            i = start + step * k
            p, q, r = x[i] - ax[k], y[i] - ay[k], z[i] - az[k]
            square = u * u + v * v + w * w
            run = (p * u + q * v + r * w) / (square if square > 0.0 else 1.0)
            p, q, r = p - run * u, q - run * v, r - run * w
            worst = max(worst, p * p + q * q + r * r)
    return worst


@compiled
def _bulges(
    pencils: FloatArray,
    blend: FloatArray,
    ring_z: float,
    ring_radius: float,
    before: FloatArray,
    glasses: FloatArray,
    points: FloatArray,
    shares: int,
    parted_z: float,
    end_z: float,
    sides: FloatArray,
    outline: FloatArray,
    one: FloatArray,
    inner: FloatArray,
    ways: FloatArray,
    squares: FloatArray,
    same: bool,
) -> int:
    """How far light inside a polygon may lie off the straight lines between opposite corners, by plane, into `squares` (P,) [mm2].

    Looked at in the middle and, with two shares, half-way to each corner too. How many of these rays get lost comes back. parted_z:
    where the plane just ahead of all parts is, inf without one. one (1, columns of pencils), inner (P, 3, K) and ways (3, K) are
    scratch.
    """
    lost, count, planes = 0, sides.shape[1] - 1, len(points)
    for m in range(planes):
        squares[m] = 0.0
    for number in range(shares):
        share, rays = 0.5 * number, count if number else 1
        for n in range(len(pencils)):
            for c in range(pencils.shape[1]):
                one[0, c] = pencils[n, c] * share if AXES <= c < AXES + 4 else pencils[n, c]
            if n == 0 or not same:
                place_corners(one, 0, blend, ring_radius * share if number else 0.0, sides, outline)
            _launch(one, 0, blend, ring_z, before, inner, ways, sides, 0, rays)
            lost += through_glasses(glasses, inner, ways, len(before), 0, rays)
            if parted_z < math.inf:
                lost += _run_on(inner, planes - 2, ways, rays, parted_z)
            lost += _run_on(inner, planes - 1, ways, rays, end_z)
            for m in range(len(before), planes):
                squares[m] = max(squares[m], _off(inner, points, m, n * count, count, rays))
    return lost


@compiled
def _cross_alike(points: FloatArray, plane: int, sides: int, moved: bool) -> bool:
    """Whether pencils of unlike field points have the same polygon in a plane; moved: the same shape they have."""
    other, k = points.shape[2] // sides // 2 * sides, sides // 3
    return (
        other > 0
        and points[plane, 0, 0] == points[plane, 0, other]
        and points[plane, 1, 0] == points[plane, 1, other]
        and (moved or points[plane, 0, k] == points[plane, 0, other + k])
        and (moved or points[plane, 1, k] == points[plane, 1, other + k])
    )


@compiled
def _hulls(
    points: FloatArray,
    turns: FloatArray,
    alike: int,
    places: FloatArray,
    corners: FloatArray,
    starts: IntArray,
    keys: FloatArray,
    poly: FloatArray,
    numbers: IntArray,
    fields: FloatArray,
) -> None:
    """Corners of the points on each plane, one plane after the other, their picture points, and where the runs start (P + 1,).

    In the first planes, `alike` of them, sections are one shape, moved. Where all pencils cross a plane alike, as they do in their
    pupil, no corner is a point of one of them: nan.
    """
    total, sides = 0, turns.shape[1] - 1
    for m in range(len(points)):
        starts[m] = total
        count = alike_hull(points, m, sides, keys, numbers) if m < alike else flat_hull(points, m, turns, keys, poly, numbers)
        all_meet = _cross_alike(points, m, sides, m < alike)
        for k in range(count):
            n = numbers[CHAIN, k] // sides
            for c in range(2):
                fields[total, c] = math.nan if all_meet else places[n, c]
            for c in range(3):
                corners[total, c] = points[m, c, numbers[CHAIN, k]]
            total += 1
    starts[len(points)] = total


@partial(compiled, entry=True)
def follow(
    pencils: FloatArray,
    blend: FloatArray,
    ring_z: float,
    ring_radius: float,
    before: FloatArray,
    glasses: FloatArray,
    far_z: float,
    object_z: float,
    parted: bool,
    shares: int,
    triples: IntArray,
    weights: FloatArray,
    places: FloatArray,
    every: bool,
    points: FloatArray,
    ways: FloatArray,
    sides: FloatArray,
    outline: FloatArray,
    one: FloatArray,
    inner: FloatArray,
    small: FloatArray,
    corners: FloatArray,
    keys: FloatArray,
    numbers: IntArray,
    fields: FloatArray,
    starts: IntArray,
    told: FloatArray,
) -> None:
    """The beam of pencils (N, SPOKES + spokes) as corners on the planes of a chain: those given before the glass, faces, the last.

    blend (2,): 1, 1 for the pupil itself; else, across and up, what holds all light through pupil and front ring that far on its
    way from ring to pupil (below 0: ahead of the ring). parted: whether the last leg has a plane just ahead of all parts. shares:
    how closely light inside the polygons is looked at, see `_bulges`. triples, weights: see `bends_mm`; places (N, 2): picture
    points; every: whether all points are asked for. Comes back in points (P, 3, N K); corners, fields and starts, see `_hulls`;
    told (2 + P,): OK, END and the bends of each plane. ways (3, N K), sides (SIDE_ROWS, K + 1), outline (2, M), one (1, as
    pencils), inner (P, 3, K), small (DIRECTIONS + 1, 2), keys (N K, at least K and P) and numbers (4, 2 N K + 2) are scratch.
    """
    count, planes = sides.shape[1] - 1, len(points)
    same = same_pupils(pencils)
    alike = planes_alike(pencils, glasses, len(before), planes) if same else 0
    few, rays = alike == planes and not every, points.shape[2]
    turn_sides(sides)
    if few:
        rays = count + len(pencils) - 1
        lost = _trace_few(pencils, blend, ring_z, ring_radius, before, glasses, points, ways, sides, outline)
    else:
        lost = _trace(pencils, blend, ring_z, ring_radius, before, glasses, points, ways, sides, outline, same)
    behind, parted_z, end = _last_leg(points, ways, rays, before[len(before) - 1], far_z, _object_after(glasses, object_z), parted)
    lost += behind
    if few:
        spread(points, count, len(pencils))
    turned = turned_rad(pencils, glasses) if pencils.shape[1] > SPOKES and blend[0] == blend[1] else math.inf
    _bends(points, alike, sides, turned, triples, weights, keys, told)
    if shares and lost == 0:
        lost += _bulges(
            pencils, blend, ring_z, ring_radius, before, glasses, points, shares, parted_z, end,
            sides, outline, one, inner, ways, keys, same,
        )  # fmt: skip
        for m in range(planes):
            told[2 + m] += BULGE * math.sqrt(keys[m])
    told[OK], told[END] = 1.0 if lost == 0 else 0.0, end
    if lost == 0:
        _hulls(points, sides, alike, places, corners, starts, keys, small, numbers, fields)
