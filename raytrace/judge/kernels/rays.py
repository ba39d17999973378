"""Rim rays of pencils through a chain of glass, as the points where they cross the planes that part its legs."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.faces import BACK_MM, CLOSE_UP, MM_PER_M, POWER, UPRIGHT, through_glasses
from raytrace.judge.kernels.hull import CHAIN, flat_hull
from raytrace.judge.kernels.pupil_sides import (
    AXES,
    CONVERGENCE,
    CORNER_X,
    CORNER_Y,
    COSINE,
    REFERENCE,
    SINE,
    SLOPE,
    SPOKES,
    place_corners,
    turn_sides,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

OK, END = 0, 1  # what is told of a beam: whether all rays came through in order, where the last plane is
BULGE = 4 / 3  # of what is seen in the middle and half-way: for what lies in between
MOST_TURNED = 0.5  # [rad]: where sections' sides may be turned by more than this, corners count whichever way they stray
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
) -> int:
    """Points of rim rays on the planes before the glass and on its faces; how many get lost."""
    lost, count = 0, sides.shape[1] - 1
    turn_sides(sides)
    for n in range(len(pencils)):
        place_corners(pencils, n, blend, ring_radius, sides, outline)
        _launch(pencils, n, blend, ring_z, before, points, ways, sides, n * count, count)
        lost += through_glasses(glasses, points, ways, len(before), n * count, (n + 1) * count)
    return lost


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
def _largest(values: FloatArray) -> float:
    """The largest of some values; four at a time, so that none waits for the one before."""
    a = b = c = d = -math.inf
    whole = len(values) // 4
    for k in range(whole):
        a, b = max(a, values[4 * k]), max(b, values[4 * k + 1])
        c, d = max(c, values[4 * k + 2]), max(d, values[4 * k + 3])
    for k in range(4 * whole, len(values)):
        a = max(a, values[k])
    return max(a, b, c, d)


@compiled
def _bends(
    points: FloatArray, plane: int, turns: FloatArray, turned: float, triples: IntArray, weights: FloatArray, steps: FloatArray
) -> float:
    """How far the beam between field points may stray from the hull of those on both sides, in a plane [mm].

    triples (T, 3): indices of three points in a row; weights (T, 3): what share of their second difference counts, for three
    families (rows, columns, depths) whose largest add up. turns: `sides`. turned: by how much sections
    that keep the pupil's shape may be turned against it [rad]; more than MOST_TURNED where they do not keep it. A corner of such a
    section bounds the beam only in directions between those of its two sides: what it strays along the outline is no matter.
    """
    rows = columns = depths = 0.0
    sides = turns.shape[1] - 1
    for t in range(len(triples)):
        first, second, third = triples[t, 0] * sides, triples[t, 1] * sides, triples[t, 2] * sides
        if turned <= MOST_TURNED:
            _strays(points, plane, turns, turned, first, second, third, steps)
        else:
            for c in range(3):
                low = points[plane, c, first : first + sides]
                middle = points[plane, c, second : second + sides]
                high = points[plane, c, third : third + sides]
                for k in range(sides):
                    step = low[k] - 2 * middle[k] + high[k]
                    steps[k] = step * step + (steps[k] if c else 0.0)
        bend = math.sqrt(_largest(steps[:sides]))
        rows, columns = max(rows, weights[t, 0] * bend), max(columns, weights[t, 1] * bend)
        depths = max(depths, weights[t, 2] * bend)
    return rows + columns + depths


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
) -> int:
    """How far light inside a polygon may lie off the straight lines between opposite corners, by plane, into `squares` (P,) [mm2].

    Looked at in the middle and, with two shares, half-way to each corner too. How many of these rays get lost comes back. parted_z:
    where the plane just ahead of all parts is, inf without one. one (1, columns of pencils), inner (P, 3, K) and ways (3, K) are
    scratch.
    """
    lost, count, planes = 0, sides.shape[1] - 1, len(points)
    for m in range(planes):
        squares[m] = 0.0
    for n in range(len(pencils)):
        for number in range(shares):
            share, rays = 0.5 * number, count if number else 1
            for c in range(pencils.shape[1]):
                one[0, c] = pencils[n, c] * share if AXES <= c < AXES + 4 else pencils[n, c]
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
def _turned(pencils: FloatArray, glasses: FloatArray) -> float:
    """By how much sections of pencils in leaning faces of glass may be turned, seen along the axis, against the pupils [rad].

    A face that leans by t moves a section's points along the pencil, by their distance along the lean times tan t: a shear.
    """
    lean, steep = 0.0, 0.0
    for g in range(len(glasses)):
        upright = max(abs(glasses[g, UPRIGHT]), 1e-6)
        lean = max(lean, math.sqrt(max(1.0 - upright * upright, 0.0)) / upright)
    for n in range(len(pencils)):
        steep = max(steep, math.hypot(pencils[n, SLOPE], pencils[n, SLOPE + 1]))
    shear = lean * steep
    return math.atan(shear / (1.0 - shear)) if shear < 1.0 else math.inf


@compiled
def _strays(
    points: FloatArray, plane: int, turns: FloatArray, turned: float, first: int, second: int, third: int, steps: FloatArray
) -> None:
    """Squares of second differences of corners, as far as they show in the directions in which a corner is the outermost."""
    sides = turns.shape[1] - 1
    half = math.pi / sides + turned
    along, aside = math.cos(half), math.sin(half)
    low, middle, high = points[plane, :, first:], points[plane, :, second:], points[plane, :, third:]
    for k in range(sides):
        x = low[0, k] - 2 * middle[0, k] + high[0, k]
        y = low[1, k] - 2 * middle[1, k] + high[1, k]
        z = low[2, k] - 2 * middle[2, k] + high[2, k]
        c, s = turns[COSINE, k] + turns[COSINE, k + 1], turns[SINE, k] + turns[SINE, k + 1]
        size = math.sqrt(c * c + s * s)
        out, past = abs(x * c + y * s) / size, abs(y * c - x * s) / size
        inside = past * along <= out * aside
        shown = out * along + past * aside
        steps[k] = (x * x + y * y if inside else shown * shown) + z * z


@compiled
def _cross_alike(points: FloatArray, plane: int, sides: int) -> bool:
    """Whether pencils of unlike field points have the same polygon in a plane."""
    other, k = points.shape[2] // sides // 2 * sides, sides // 3
    return (
        other > 0
        and points[plane, 0, 0] == points[plane, 0, other]
        and points[plane, 1, 0] == points[plane, 1, other]
        and points[plane, 0, k] == points[plane, 0, other + k]
        and points[plane, 1, k] == points[plane, 1, other + k]
    )


@compiled
def _hulls(
    points: FloatArray,
    sides: int,
    ends: IntArray,
    places: FloatArray,
    corners: FloatArray,
    starts: IntArray,
    keys: FloatArray,
    poly: FloatArray,
    numbers: IntArray,
    fields: FloatArray,
) -> None:
    """Corners of the points on each plane, one plane after the other, their picture points, and where the runs start (P + 1,).

    Where all pencils cross a plane alike, as they do in their pupil, no corner is a point of one of them: nan.
    """
    total = 0
    for m in range(len(points)):
        starts[m] = total
        count = flat_hull(points, m, sides, ends, keys, poly, numbers)
        alike = _cross_alike(points, m, sides)
        for k in range(count):
            n = numbers[CHAIN, k] // sides
            for c in range(2):
                fields[total, c] = math.nan if alike else places[n, c]
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
    ends: IntArray,
    places: FloatArray,
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
    how closely light inside the polygons is looked at, see `_bulges`. triples, weights: see `_bends`; ends: see `flat_hull`;
    places (N, 2): picture points. Comes back in points (P, 3, N K); corners, fields and starts, see `_hulls`; told (2 + P,): OK,
    END and the bends of each plane. ways (3, N K), sides (SIDE_ROWS, K + 1), outline (2, M), one (1, as pencils), inner (P, 3, K),
    small (DIRECTIONS + 1, 2), keys (N K, at least K and P) and numbers (4, 2 N K + 2) are scratch.
    """
    count = sides.shape[1] - 1
    turned = _turned(pencils, glasses) if pencils.shape[1] > SPOKES and blend[0] == blend[1] else math.inf
    lost = _trace(pencils, blend, ring_z, ring_radius, before, glasses, points, ways, sides, outline)
    planes = len(points)
    last = planes - (3 if parted else 2)
    reach = max(far_z, _largest(points[last, 2]))
    sharp, front = _object_after(glasses, object_z), max(reach, before[len(before) - 1]) + 1.0
    if parted:
        lost += _run_on(points, planes - 2, ways, points.shape[2], min(front, sharp))
    end = min(front + BEYOND_MM, sharp)
    lost += _run_on(points, planes - 1, ways, points.shape[2], end)
    for m in range(planes):
        told[2 + m] = _bends(points, m, sides, turned, triples, weights, keys)
    if shares and lost == 0:
        parted_z = min(front, sharp) if parted else math.inf
        lost += _bulges(
            *(pencils, blend, ring_z, ring_radius, before, glasses, points, shares, parted_z, end),
            *(sides, outline, one, inner, ways, keys),
        )
        for m in range(planes):
            told[2 + m] += BULGE * math.sqrt(keys[m])
    told[OK], told[END] = 1.0 if lost == 0 else 0.0, end
    if lost == 0:
        _hulls(points, count, ends, places, corners, starts, keys, small, numbers, fields)
