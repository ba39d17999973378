"""Rim rays of pencils through a chain of glass, as the points where they cross the planes that part its legs.

Each pupil is held by a polygon with K sides about it, the sides at the same K angles for every field point, so that a corner of it
changes as smoothly with the field as the pupil does.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.hull import CHAIN, flat_hull

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Columns of a pencil: slope (2), plane of its pupil (2), convergence (2), centre (2), axes (4), then the spokes of its outline.
SLOPE, REFERENCE, CONVERGENCE, CENTRE, AXES, SPOKES = 0, 2, 4, 6, 8, 12
GLASS_FIELDS = 16  # rotation (9), origin (3), thickness, index, power in dioptre, 1 for a close-up lens
P, D, INSIDE = 0, 1, 2  # rows of a ray: its point, its direction, its direction inside a plate
COSINE, SINE, SUPPORT = 0, 1, 2  # columns of a pupil's sides
OK, END = 0, 1  # what is told of a beam: whether all rays came through in order, where the last plane is
MM_PER_M = 1000.0
BEYOND_MM = 150.0  # how far past the parts the beam is followed: the nearest ray may pass a part by as much as its room
LEAST_SLOPE = 1e-9  # a ray that comes nearer to a plate by less per mm never meets it


@compiled
def _rim_supports(pencils: FloatArray, n: int, sides: FloatArray) -> None:
    """How far a pupil reaches along K equal angles [mm], into SUPPORT.

    Between two spokes of a traced outline, r and s, the radius runs straight in angle, so it bulges over their chord by at most
    (r + s)^2 / (4 r s cos(step / 2)).
    """
    spokes = pencils.shape[1] - SPOKES
    fine = 1 if spokes == 0 else (len(sides) + spokes - 1) // spokes
    for k in range(len(sides)):
        c, s = sides[k, COSINE], sides[k, SINE]
        a, b = pencils[n, AXES] * c + pencils[n, AXES + 2] * s, pencils[n, AXES + 1] * c + pencils[n, AXES + 3] * s
        far = math.sqrt(a * a + b * b) if spokes == 0 else _traced_support(pencils, n, spokes, fine, a, b)
        sides[k, SUPPORT] = pencils[n, CENTRE] * c + pencils[n, CENTRE + 1] * s + far


@compiled
def _traced_support(pencils: FloatArray, n: int, spokes: int, fine: int, a: float, b: float) -> float:
    far, step, count = -math.inf, 2 * math.pi / (spokes * fine), spokes * fine
    before, r = _spoke(pencils, n, spokes, count - 1, fine), _spoke(pencils, n, spokes, 0, fine)
    cosine, sine, turn_x, turn_y = 1.0, 0.0, math.cos(step), math.sin(step)
    for m in range(count):
        after = _spoke(pencils, n, spokes, m + 1 if m + 1 < count else 0, fine)
        bulge = max((before + r) * (before + r) / (before * r), (r + after) * (r + after) / (r * after)) / (4 * math.cos(step / 2))
        far = max(far, r * bulge * (a * cosine + b * sine))
        before, r = r, after
        cosine, sine = cosine * turn_x - sine * turn_y, sine * turn_x + cosine * turn_y
    return far


@compiled
def _spoke(pencils: FloatArray, n: int, spokes: int, m: int, fine: int) -> float:
    """Radius of a traced outline at the m-th of the angles between its spokes, as a share; kept off zero."""
    low, share = m // fine, (m % fine) / fine
    high = low + 1 if low + 1 < spokes else 0
    return max(pencils[n, SPOKES + low] * (1 - share) + pencils[n, SPOKES + high] * share, 1e-9)


@compiled
def _corner(sides: FloatArray, k: int) -> tuple[float, float]:
    """Where side k of the polygon meets the next."""
    m = k + 1 if k + 1 < len(sides) else 0
    a, b = sides[k, SUPPORT], sides[m, SUPPORT]
    apart = sides[k, COSINE] * sides[m, SINE] - sides[k, SINE] * sides[m, COSINE]
    return (a * sides[m, SINE] - b * sides[k, SINE]) / apart, (b * sides[k, COSINE] - a * sides[m, COSINE]) / apart


@compiled
def _to_plane(ray: FloatArray, way: int, glasses: FloatArray, g: int, depth: float) -> bool:
    """Moves a ray's point on to a plane across a plate's axis, `depth` ahead of its middle; False where it never comes there."""
    toward, behind = 0.0, depth
    for k in range(3):
        toward += ray[way, k] * glasses[g, 2 + 3 * k]
        behind -= (ray[P, k] - glasses[g, 9 + k]) * glasses[g, 2 + 3 * k]
    if toward <= LEAST_SLOPE:
        return False
    run = behind / toward
    for k in range(3):
        ray[P, k] += run * ray[way, k]
    return True


@compiled
def _into_glass(ray: FloatArray, glasses: FloatArray, g: int) -> None:
    """Direction inside a plate: the part along the face shrinks by the index (Snell's law)."""
    square = ahead = 0.0
    for k in range(3):
        square += ray[D, k] * ray[D, k]
        ahead += ray[D, k] * glasses[g, 2 + 3 * k]
    length, across = math.sqrt(square), 0.0
    for k in range(3):
        ray[INSIDE, k] = (ray[D, k] - ahead * glasses[g, 2 + 3 * k]) / (length * glasses[g, 13])
        across += ray[INSIDE, k] * ray[INSIDE, k]
    straight = math.sqrt(1.0 - across)
    for k in range(3):
        ray[INSIDE, k] += straight * glasses[g, 2 + 3 * k]


@compiled
def _bend(ray: FloatArray, glasses: FloatArray, g: int) -> None:
    """Turns a ray in a close-up lens: slope - D r, both in the lens's own axes."""
    x = y = u = v = w = 0.0
    for k in range(3):
        a, b, c = glasses[g, 3 * k], glasses[g, 3 * k + 1], glasses[g, 3 * k + 2]
        from_middle, d = ray[P, k] - glasses[g, 9 + k], ray[D, k]
        x, y = x + from_middle * a, y + from_middle * b
        u, v, w = u + d * a, v + d * b, w + d * c
    u, v = u / w - glasses[g, 14] / MM_PER_M * x, v / w - glasses[g, 14] / MM_PER_M * y
    for k in range(3):
        ray[D, k] = u * glasses[g, 3 * k] + v * glasses[g, 3 * k + 1] + glasses[g, 3 * k + 2]


@compiled
def _put(points: FloatArray, plane: int, at: int, ray: FloatArray) -> None:
    for k in range(3):
        points[plane, at, k] = ray[P, k]


@compiled
def _through(ray: FloatArray, glasses: FloatArray, points: FloatArray, plane: int, at: int) -> bool:
    """Follows a ray through all filters: its points on their faces go into `points` from a plane on. False where it gets lost."""
    ok = True
    for g in range(len(glasses)):
        close_up = glasses[g, 15] > 0.0
        ok &= _to_plane(ray, D, glasses, g, 0.0 if close_up else -glasses[g, 12] / 2)
        ok &= ray[P, 2] >= points[plane - 1, at, 2] - 1e-6
        _put(points, plane, at, ray)
        plane += 1
        if close_up:
            _bend(ray, glasses, g)
        else:
            _into_glass(ray, glasses, g)
            ok &= _to_plane(ray, INSIDE, glasses, g, glasses[g, 12] / 2)
            _put(points, plane, at, ray)
            plane += 1
    return ok


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
        if glasses[g, 15] > 0.0:
            at = glasses[g, 11]
            power = max(1.0 / (object_z_mm - at) + glasses[g, 14] / MM_PER_M, 0.0)
            object_z_mm = at + 1.0 / power if power > 0.0 else math.inf
    return object_z_mm


@compiled
def _trace(
    pencils: FloatArray,
    share: float,
    ring_z: float,
    ring_radius: float,
    before: FloatArray,
    glasses: FloatArray,
    points: FloatArray,
    ways: FloatArray,
    sides: FloatArray,
    ray: FloatArray,
) -> bool:
    """Points of rim rays on the planes before the glass and on its faces; False where some ray gets lost."""
    ok, count = True, len(sides)
    for n in range(len(pencils)):
        _rim_supports(pencils, n, sides)
        if share < 1.0:
            for k in range(count):
                sides[k, SUPPORT] = share * sides[k, SUPPORT] + (1 - share) * ring_radius
        zx, zy = pencils[n, REFERENCE], pencils[n, REFERENCE + 1]
        at_x, at_y = (1 - share) * ring_z + share * zx, (1 - share) * ring_z + share * zy
        if share == 1.0:
            at_x, at_y = zx, zy
        sx, cx = _aim(pencils[n, SLOPE], pencils[n, CONVERGENCE], zx, at_x)
        sy, cy = _aim(pencils[n, SLOPE + 1], pencils[n, CONVERGENCE + 1], zy, at_y)
        for k in range(count):
            x, y = _corner(sides, k)
            at = n * count + k
            ray[D, 0], ray[D, 1], ray[D, 2] = sx - x * cx, sy - y * cy, 1.0
            for b in range(len(before)):
                ray[P, 0] = x + ray[D, 0] * (before[b] - at_x)
                ray[P, 1] = y + ray[D, 1] * (before[b] - at_y)
                ray[P, 2] = before[b]
                _put(points, b, at, ray)
            ok &= _through(ray, glasses, points, len(before), at)
            for k2 in range(3):
                ways[at, k2] = ray[D, k2]
            ok &= ray[D, 2] > LEAST_SLOPE
    return ok


@compiled
def _run_on(points: FloatArray, plane: int, ways: FloatArray, z: float) -> bool:
    """Follows all rays from one plane straight to the next, at z; False where one would have to go back."""
    ok = True
    for at in range(len(ways)):
        run = (z - points[plane - 1, at, 2]) / ways[at, 2]
        ok &= run >= -1e-6
        for c in range(3):
            points[plane, at, c] = points[plane - 1, at, c] + run * ways[at, c]
    return ok


@compiled
def _bends(points: FloatArray, plane: int, sides: int, triples: IntArray, weights: FloatArray) -> float:
    """How far rays between field points may stray from the straight way between them, in a plane [mm].

    triples (T, 3): indices of three points in a row; weights (T, 3): what share of their second difference counts, for three
    families (rows, columns, depths) whose largest add up.
    """
    rows = columns = depths = 0.0
    for t in range(len(triples)):
        a, b, c = triples[t, 0] * sides, triples[t, 1] * sides, triples[t, 2] * sides
        square = 0.0
        for k in range(sides):
            total = 0.0
            for i in range(3):
                step = points[plane, a + k, i] - 2 * points[plane, b + k, i] + points[plane, c + k, i]
                total += step * step
            square = max(square, total)
        bend = math.sqrt(square)
        rows, columns = max(rows, weights[t, 0] * bend), max(columns, weights[t, 1] * bend)
        depths = max(depths, weights[t, 2] * bend)
    return rows + columns + depths


@compiled
def _hulls(
    points: FloatArray,
    corners: FloatArray,
    starts: IntArray,
    keys: FloatArray,
    poly: FloatArray,
    numbers: IntArray,
    owner: IntArray,
) -> None:
    """Corners of the points on each plane, one plane after the other, the point that each is, and where the runs start (P + 1,)."""
    total = 0
    for m in range(len(points)):
        starts[m] = total
        count = flat_hull(points, m, keys, poly, numbers)
        for k in range(count):
            owner[total] = numbers[CHAIN, k]
            for c in range(3):
                corners[total, c] = points[m, owner[total], c]
            total += 1
    starts[len(points)] = total


@partial(compiled, entry=True)
def follow(
    pencils: FloatArray,
    share: float,
    ring_z: float,
    ring_radius: float,
    before: FloatArray,
    glasses: FloatArray,
    far_z: float,
    object_z: float,
    parted: bool,
    triples: IntArray,
    weights: FloatArray,
    points: FloatArray,
    ways: FloatArray,
    sides: FloatArray,
    small: FloatArray,
    corners: FloatArray,
    keys: FloatArray,
    numbers: IntArray,
    owner: IntArray,
    starts: IntArray,
    told: FloatArray,
) -> None:
    """The beam of pencils (N, SPOKES + spokes) as corners on the planes of a chain: those given before the glass, faces, the last.

    share: 1 for the pupil itself; below, the disc that holds all light through pupil and front ring, that share of the way from
    ring to pupil. parted: whether the last leg has a plane just ahead of all parts. triples, weights: see `_bends`.
    Comes back in points (P, N K, 3); corners, owner and starts, see `_hulls`; told (2 + P,): OK, END and the bends of each plane.
    ways (N K, 3), sides (K, 3), small (DIRECTIONS + 4, 3), keys (N K,) and numbers (4, 2 N K + 2) are scratch.
    """
    count = len(sides)
    for k in range(count):
        sides[k, COSINE], sides[k, SINE] = math.cos(2 * math.pi * k / count), math.sin(2 * math.pi * k / count)
    ok = _trace(pencils, share, ring_z, ring_radius, before, glasses, points, ways, sides, small)
    planes, reach = len(points), far_z
    last = planes - (3 if parted else 2)
    for at in range(len(ways)):
        reach = max(reach, points[last, at, 2])
    sharp, front = _object_after(glasses, object_z), max(reach, before[len(before) - 1]) + 1.0
    if parted:
        ok &= _run_on(points, planes - 2, ways, min(front, sharp))
    end = min(front + BEYOND_MM, sharp)
    ok &= _run_on(points, planes - 1, ways, end)
    told[OK], told[END] = 1.0 if ok else 0.0, end
    for m in range(planes):
        told[2 + m] = _bends(points, m, count, triples, weights)
    if ok:
        _hulls(points, corners, starts, keys, small, numbers, owner)
