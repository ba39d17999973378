"""Rim rays of pencils through a chain of glass, as the points where they cross the planes that part its legs.

Each pupil is held by a polygon with K sides about it, the sides at the same K angles for every field point, so that a corner of it
changes as smoothly with the field as the pupil does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.compiling import helper, kernel
from raytrace.judge.hull import flat_hull

FloatArray = NDArray[np.float64]

GLASS_FIELDS = 16  # rotation (9), origin (3), thickness, index, power in dioptre, 1 for a close-up lens
MM_PER_M = 1000.0
BEYOND_MM = 150.0  # how far past the parts the beam is followed: the nearest ray may pass a part by as much as its room
LEAST_SLOPE = 1e-9  # a ray that comes nearer to a plate by less per mm never meets it


@helper
def _rim_supports(centre: FloatArray, axes: FloatArray, rim: FloatArray, turn: FloatArray, fine: int, out: FloatArray) -> None:
    """How far a pupil reaches along K equal angles (K,) [mm].

    Between two spokes of a traced outline, r and s, the radius runs straight in angle, so it bulges over their chord by at most
    (r + s)^2 / (4 r s cos(step / 2)).
    """
    sides, spokes = len(out), len(rim)
    for k in range(sides):
        c, s = turn[k, 0], turn[k, 1]
        a, b = axes[0, 0] * c + axes[1, 0] * s, axes[0, 1] * c + axes[1, 1] * s
        if spokes == 0:
            far = np.sqrt(a * a + b * b)
        else:
            far = -np.inf
            step = 2 * np.pi / (spokes * fine)
            before, r = _spoke(rim, spokes * fine - 1, fine), _spoke(rim, 0, fine)
            for m in range(spokes * fine):
                after = _spoke(rim, (m + 1) % (spokes * fine), fine)
                bulge = max((before + r) ** 2 / (before * r), (r + after) ** 2 / (r * after)) / (4 * np.cos(step / 2))
                far = max(far, r * bulge * (a * np.cos(m * step) + b * np.sin(m * step)))
                before, r = r, after
        out[k] = centre[0] * c + centre[1] * s + far


@helper
def _spoke(rim: FloatArray, m: int, fine: int) -> float:
    """Radius of a traced outline at the m-th of the angles between its spokes, as a share; kept off zero."""
    low, share = m // fine, (m % fine) / fine
    return max(rim[low] * (1 - share) + rim[(low + 1) % len(rim)] * share, 1e-9)


@helper
def _corner(supports: FloatArray, turn: FloatArray, k: int) -> tuple[float, float]:
    """Where side k of the polygon meets the next."""
    m = k + 1 if k + 1 < len(supports) else 0
    a, b, apart = supports[k], supports[m], turn[k, 0] * turn[m, 1] - turn[k, 1] * turn[m, 0]
    return (a * turn[m, 1] - b * turn[k, 1]) / apart, (b * turn[k, 0] - a * turn[m, 0]) / apart


@helper
def _turns(sides: int) -> FloatArray:
    """Cosine and sine (K, 2) of K equal angles."""
    turn = np.empty((sides, 2))
    for k in range(sides):
        turn[k, 0], turn[k, 1] = np.cos(2 * np.pi * k / sides), np.sin(2 * np.pi * k / sides)
    return turn


@helper
def _to_plane(p: FloatArray, d: FloatArray, glass: FloatArray, depth: float) -> bool:
    """Moves a ray's point on to a plane across a plate's axis, `depth` ahead of its middle; False where it never comes there."""
    toward = d[0] * glass[2] + d[1] * glass[5] + d[2] * glass[8]
    if toward <= LEAST_SLOPE:
        return False
    behind = depth
    for k in range(3):
        behind -= (p[k] - glass[9 + k]) * glass[2 + 3 * k]
    run = behind / toward
    for k in range(3):
        p[k] += run * d[k]
    return True


@helper
def _into_glass(d: FloatArray, glass: FloatArray, inside: FloatArray) -> None:
    """Direction inside a plate: the part along the face shrinks by the index (Snell's law)."""
    length = np.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
    ahead = (d[0] * glass[2] + d[1] * glass[5] + d[2] * glass[8]) / length
    across = 0.0
    for k in range(3):
        inside[k] = (d[k] / length - ahead * glass[2 + 3 * k]) / glass[13]
        across += inside[k] * inside[k]
    straight = np.sqrt(1.0 - across)
    for k in range(3):
        inside[k] += straight * glass[2 + 3 * k]


@helper
def _bend(p: FloatArray, d: FloatArray, glass: FloatArray) -> None:
    """Turns a ray in a close-up lens: slope - D r, both in the lens's own axes."""
    x = y = u = v = w = 0.0
    for k in range(3):
        from_middle = p[k] - glass[9 + k]
        x, y = x + from_middle * glass[3 * k], y + from_middle * glass[3 * k + 1]
        u, v, w = u + d[k] * glass[3 * k], v + d[k] * glass[3 * k + 1], w + d[k] * glass[3 * k + 2]
    u, v = u / w - glass[14] / MM_PER_M * x, v / w - glass[14] / MM_PER_M * y
    for k in range(3):
        d[k] = u * glass[3 * k] + v * glass[3 * k + 1] + glass[3 * k + 2]


@helper
def _through(p: FloatArray, d: FloatArray, glass: FloatArray, inside: FloatArray, path: FloatArray, m: int) -> bool:
    """Follows a ray through one filter: its points on the faces go into `path` (P, 3) from plane m on. False where it gets lost."""
    close_up = glass[15] > 0.0
    ok = _to_plane(p, d, glass, 0.0 if close_up else -glass[12] / 2)
    ok &= p[2] >= path[m - 1, 2] - 1e-6
    path[m] = p
    if close_up:
        _bend(p, d, glass)
        return ok
    _into_glass(d, glass, inside)
    ok &= _to_plane(p, inside, glass, glass[12] / 2)
    path[m + 1] = p
    return ok


@helper
def _aim(slope: float, convergence: float, reference_z: float, at_z: float) -> tuple[float, float]:
    """Slope and convergence toward the same object point, for a pupil whose plane lies elsewhere."""
    if convergence <= 0.0:
        return slope, convergence
    ahead = reference_z + 1 / convergence - at_z
    return slope / convergence / ahead, 1 / ahead


@helper
def object_after(glasses: FloatArray, object_z_mm: float) -> float:
    """Where the rays come to a point once close-up lenses have added their power [mm]."""
    for g in range(len(glasses)):
        if glasses[g, 15] > 0.0:
            at = glasses[g, 11]
            power = max(1.0 / (object_z_mm - at) + glasses[g, 14] / MM_PER_M, 0.0)
            object_z_mm = at + 1.0 / power if power > 0.0 else np.inf
    return object_z_mm


@kernel
def trace(
    slope: FloatArray,
    reference_z: FloatArray,
    convergence: FloatArray,
    centre: FloatArray,
    axes: FloatArray,
    rim: FloatArray,
    sides: int,
    share: float,
    ring: FloatArray,
    before: FloatArray,
    glasses: FloatArray,
    far_z: float,
    object_z: float,
    parted: bool,
) -> tuple[FloatArray, bool, float]:
    """Points (P, N, K, 3) of rim rays on the planes of a chain: those given before the glass, faces, the last.

    share: 1 for the pupil itself; below, the disc that holds all light through pupil and front ring (z, radius), that share of
    the way from ring to pupil. parted: whether the last leg has a plane just ahead of all parts. Also whether every ray came
    through in order, and the z of the last plane.
    """
    count, planes = len(slope), len(before) + (2 if parted else 1)
    for g in range(len(glasses)):
        planes += 1 if glasses[g, 15] > 0.0 else 2
    points, ok = np.empty((planes, count, sides, 3)), True
    ways = np.empty((count, sides, 3))
    turn = _turns(sides)
    supports, p, d, inside = np.empty(sides), np.empty(3), np.empty(3), np.empty(3)
    fine = 1 if rim.shape[1] == 0 else int(np.ceil(sides / rim.shape[1]))
    reach = far_z
    for n in range(count):
        _rim_supports(centre[n], axes[n], rim[n], turn, fine, supports)
        if share < 1.0:
            for k in range(sides):
                supports[k] = share * supports[k] + (1 - share) * ring[1]
        at_x, at_y = (1 - share) * ring[0] + share * reference_z[n, 0], (1 - share) * ring[0] + share * reference_z[n, 1]
        sx, cx = _aim(slope[n, 0], convergence[n, 0], reference_z[n, 0], at_x)
        sy, cy = _aim(slope[n, 1], convergence[n, 1], reference_z[n, 1], at_y)
        for k in range(sides):
            x, y = _corner(supports, turn, k)
            d[0], d[1], d[2] = sx - x * cx, sy - y * cy, 1.0
            m = 0
            for b in range(len(before)):
                points[m, n, k, 0] = x + d[0] * (before[b] - at_x)
                points[m, n, k, 1] = y + d[1] * (before[b] - at_y)
                points[m, n, k, 2] = before[b]
                m += 1
            p[:] = points[m - 1, n, k]
            for g in range(len(glasses)):
                ok &= _through(p, d, glasses[g], inside, points[:, n, k], m)
                m += 1 if glasses[g, 15] > 0.0 else 2
            reach = max(reach, p[2])
            ways[n, k] = d
            ok &= d[2] > LEAST_SLOPE
    sharp, front = object_after(glasses, object_z), max(reach, before[-1]) + 1.0
    if parted:
        ok &= _run_on(points, planes - 2, ways, min(front, sharp))
    end = min(front + BEYOND_MM, sharp)
    ok &= _run_on(points, planes - 1, ways, end)
    return points, ok, end


@helper
def _run_on(points: FloatArray, plane: int, ways: FloatArray, z: float) -> bool:
    """Follows all rays from one plane straight to the next, at z; False where one would have to go back."""
    ok = True
    for n in range(ways.shape[0]):
        for k in range(ways.shape[1]):
            run = (z - points[plane - 1, n, k, 2]) / ways[n, k, 2]
            ok &= run >= -1e-6
            for c in range(3):
                points[plane, n, k, c] = points[plane - 1, n, k, c] + run * ways[n, k, c]
    return ok


@kernel
def bends(points: FloatArray, triples: NDArray[np.int64], weights: FloatArray) -> FloatArray:
    """How far rays between field points may stray from the straight way between them, per plane (P,) [mm].

    triples (T, 3): indices of three points in a row; weights (T, A): what share of their second difference counts, for A families
    (rows, columns, depths) whose largest add up.
    """
    planes, _, sides, _ = points.shape
    families = weights.shape[1]
    out, largest = np.zeros(planes), np.zeros(families)
    for m in range(planes):
        largest[:] = 0.0
        for t in range(len(triples)):
            a, b, c = triples[t, 0], triples[t, 1], triples[t, 2]
            square = 0.0
            for k in range(sides):
                total = 0.0
                for i in range(3):
                    step = points[m, a, k, i] - 2 * points[m, b, k, i] + points[m, c, k, i]
                    total += step * step
                square = max(square, total)
            for f in range(families):
                largest[f] = max(largest[f], weights[t, f] * np.sqrt(square))
        out[m] = largest.sum()
    return out


@kernel
def plane_corners(points: FloatArray) -> tuple[FloatArray, NDArray[np.int64], NDArray[np.int64]]:
    """Corners (n, 3) of the points (P, N, K, 3) on each plane, the field point (n,) of each, and where runs start (P + 1,)."""
    planes, count, sides, _ = points.shape
    picked = [flat_hull(points[m].reshape(count * sides, 3)) for m in range(planes)]
    starts = np.zeros(planes + 1, dtype=np.int64)
    for m in range(planes):
        starts[m + 1] = starts[m] + len(picked[m])
    corners, owner = np.empty((starts[-1], 3)), np.empty(starts[-1], dtype=np.int64)
    for m in range(planes):
        for k in range(len(picked[m])):
            corners[starts[m] + k] = points[m].reshape(count * sides, 3)[picked[m][k]]
            owner[starts[m] + k] = picked[m][k] // sides
    return corners, owner, starts
