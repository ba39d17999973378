"""Outline rays through filters as straight legs, as if filters had no edges; and where legs cross a plane.

Rays are columns: origins and ways (legs, 3, R), lengths (legs, R); of G filters a ray has 2 G + 1 legs, the one before each, the
one in it, and the last. The rules of a ray at a filter are those of `raytrace.optics.glass`.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from raytrace.beam.columns import CENTRE, CLOSE_UP, CONVERGENCE, INDEX, POWER, REFERENCE, SLOPE, THICKNESS, VALID
from raytrace.jit.compiled import compiled

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MM_PER_M = 1000.0
FACE_EPS_MM = 1e-6  # how far one plate may seem to reach into the next: plates that touch, computed from two poses
JOINT_EPS_MM = 1e-7  # legs overlap by this: a plane on a glass face must not fall between two of them
WIDE_MM = 5e6  # no beam is wider
LEVEL_WITHIN = 1e-12  # of a plane's normal: then a leg's depths tell at once whether any of it can cross


@compiled
def _launch(pencils: FloatArray, n: int, crossing: FloatArray, k: int, r: int, origins: FloatArray, ways: FloatArray) -> float:
    """A ray's start, on the reference plane farther back, and unit direction; where it comes to a point."""
    start_z, end, length = min(pencils[n, REFERENCE], pencils[n, REFERENCE + 1]), -math.inf, 1.0
    for axis in range(2):
        z, convergence, at = pencils[n, REFERENCE + axis], pencils[n, CONVERGENCE + axis], crossing[n, k, axis]
        way = pencils[n, SLOPE + axis] - at * convergence
        origins[0, axis, r], ways[0, axis, r] = at + way * (start_z - z), way
        length += way * way
        end = max(end, z + 1.0 / convergence if convergence > 0.0 else math.inf)
    origins[0, 2, r], ways[0, 2, r] = start_z, 1.0
    for c in range(3):
        ways[0, c, r] /= math.sqrt(length)
        if pencils[n, VALID] == 0.0:
            origins[0, c, r], ways[0, c, r], end = 0.0, c // 2, math.inf
    return end


@compiled
def _go_on(leg: int, r: int, origins: FloatArray, ways: FloatArray, lengths: FloatArray, length: float) -> None:
    """Ends a ray's leg after a length; the next begins there, in the same direction."""
    lengths[leg, r] = length
    for c in range(3):
        origins[leg + 1, c, r], ways[leg + 1, c, r] = origins[leg, c, r] + length * ways[leg, c, r], ways[leg, c, r]


@compiled
def _along(glass: FloatArray, column: int, vectors: FloatArray, leg: int, r: int) -> float:
    """A ray's vector along one of a filter's own axes."""
    return vectors[leg, 0, r] * glass[column] + vectors[leg, 1, r] * glass[3 + column] + vectors[leg, 2, r] * glass[6 + column]


@compiled
def _through(
    glass: FloatArray,
    leg: int,
    r: int,
    end: float,
    origins: FloatArray,
    ways: FloatArray,
    lengths: FloatArray,
    entry: FloatArray,
) -> float:
    """Follows a ray through one filter; where it comes to a point then. entry (2, R): where it enters, nan where it never does."""
    u, v, w = _along(glass, 0, ways, leg, r), _along(glass, 1, ways, leg, r), _along(glass, 2, ways, leg, r)
    depth, ahead = 0.0 if glass[CLOSE_UP] > 0.0 else glass[THICKNESS], w if w > 0.0 else 1.0
    middle = glass[CENTRE] * glass[2] + glass[CENTRE + 1] * glass[5] + glass[CENTRE + 2] * glass[8]
    run = (middle - depth / 2 - _along(glass, 2, origins, leg, r)) / ahead
    meets = w > 0.0 and run >= -FACE_EPS_MM and origins[leg, 2, r] + max(run, 0.0) * ways[leg, 2, r] < end
    _go_on(leg, r, origins, ways, lengths, max(run, 0.0) if meets else 0.0)
    for c in range(2):
        at = glass[CENTRE] * glass[c] + glass[CENTRE + 1] * glass[3 + c] + glass[CENTRE + 2] * glass[6 + c]
        entry[c, r] = _along(glass, c, origins, leg + 1, r) - at if meets else math.nan
    if not (abs(entry[0, r]) < WIDE_MM and abs(entry[1, r]) < WIDE_MM):
        _go_on(leg, r, origins, ways, lengths, 0.0)
        _go_on(leg + 1, r, origins, ways, lengths, 0.0)
        entry[0, r] = math.nan
        return end
    if glass[CLOSE_UP] > 0.0:
        power = glass[POWER] / MM_PER_M
        _go_on(leg + 1, r, origins, ways, lengths, 0.0)
        _turn(glass, u / w - power * entry[0, r], v / w - power * entry[1, r], 1.0, leg + 2, r, ways)
        return glass[CENTRE + 2] + 1.0 / max(1.0 / (end - glass[CENTRE + 2]) + power, 0.0)
    u, v = u / glass[INDEX], v / glass[INDEX]
    w = math.sqrt(1.0 - (u * u + v * v))
    _turn(glass, u, v, w, leg + 1, r, ways)
    _go_on(leg + 1, r, origins, ways, lengths, depth / w)
    for c in range(3):
        ways[leg + 2, c, r] = ways[leg, c, r]
    return end


@compiled
def _turn(glass: FloatArray, u: float, v: float, w: float, leg: int, r: int, ways: FloatArray) -> None:
    """Gives a leg the direction of a vector in a filter's own axes."""
    length = math.sqrt(u * u + v * v + w * w)
    for c in range(3):
        ways[leg, c, r] = (u * glass[3 * c] + v * glass[3 * c + 1] + w * glass[3 * c + 2]) / length


@compiled
def _reach_on(leg: int, r: int, origins: FloatArray, ways: FloatArray, lengths: FloatArray, spans: FloatArray) -> None:
    """Widens the span of a leg by a ray that runs it."""
    start, slope, length = origins[leg, 2, r], ways[leg, 2, r], lengths[leg, r]
    if length > 0.0:
        end = start if slope == 0.0 else start + slope * length
        spans[leg, 0], spans[leg, 1] = min(spans[leg, 0], start, end), max(spans[leg, 1], start, end)


@partial(compiled, entry=True)
def legs_through(
    pencils: FloatArray,
    crossing: FloatArray,
    glasses: FloatArray,
    origins: FloatArray,
    ways: FloatArray,
    lengths: FloatArray,
    spans: FloatArray,
    entries: FloatArray,
) -> None:
    """Legs of the rays of pencils (N, PENCIL_COLUMNS) by crossings (N, K, 2) through filters (G, GLASS_COLUMNS) without edges.

    Comes back in origins, ways, lengths and spans (legs, 2), the lowest and highest z of each leg, (inf, -inf) where no ray runs
    it; entries (G, 2, N K): where rays enter each filter, in its own plane, the first nan for those that never come to it.
    """
    last, per = len(lengths) - 1, crossing.shape[1]
    for leg in range(last + 1):
        spans[leg, 0], spans[leg, 1] = math.inf, -math.inf
    for r in range(lengths.shape[1]):
        n = r // per
        end = _launch(pencils, n, crossing, r - n * per, r, origins, ways)
        for g in range(len(glasses)):
            end = _through(glasses[g], 2 * g, r, end, origins, ways, lengths, entries[g])
        ahead = ways[last, 2, r]
        lengths[last, r] = max(end - origins[last, 2, r], 0.0) / ahead if ahead > 0.0 else math.inf
        for leg in range(last + 1):
            _reach_on(leg, r, origins, ways, lengths, spans)


@partial(compiled, entry=True)
def cross_plane(
    origins: FloatArray,
    ways: FloatArray,
    lengths: FloatArray,
    spans: FloatArray,
    here: BoolArray,
    rotation: FloatArray,
    at: FloatArray,
    xy: FloatArray,
    there: BoolArray,
) -> None:
    """Where rays first cross a plane, in its own coordinates (N, K, 2), and which pencils that are `here` do with all (N,).

    The plane is that of a pose, rotation (3, 3) and origin (3,).
    """
    nx, ny, nz, per = rotation[0, 2], rotation[1, 2], rotation[2, 2], xy.shape[1]
    level = max(abs(nx), abs(ny)) < LEVEL_WITHIN
    for n in range(len(here)):
        there[n] = here[n]
        for k in range(per):
            r, crossed = n * per + k, False
            xy[n, k, 0] = xy[n, k, 1] = 0.0
            for leg in range(len(lengths)):
                if level and not spans[leg, 0] - JOINT_EPS_MM <= at[2] <= spans[leg, 1] + JOINT_EPS_MM:
                    continue
                x, y, z = at[0] - origins[leg, 0, r], at[1] - origins[leg, 1, r], at[2] - origins[leg, 2, r]
                u, v, w = ways[leg, 0, r], ways[leg, 1, r], ways[leg, 2, r]
                run = z / w if level else (x * nx + y * ny + z * nz) / (u * nx + v * ny + w * nz)
                if run >= -JOINT_EPS_MM and run <= lengths[leg, r] + JOINT_EPS_MM and run < math.inf:
                    x, y, z = run * u - x, run * v - y, 0.0 if level else run * w - z
                    xy[n, k, 0] = x * rotation[0, 0] + y * rotation[1, 0] + z * rotation[2, 0]
                    xy[n, k, 1] = x * rotation[0, 1] + y * rotation[1, 1] + z * rotation[2, 1]
                    crossed = True
                    break
            there[n] &= crossed
