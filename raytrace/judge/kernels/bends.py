"""How far the beam may stray between field points: what the pencils of three in a row show."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.faces import UPRIGHT
from raytrace.judge.kernels.pupil_sides import COSINE, SINE, SLOPE

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_TURNED = 0.5  # [rad]: where sections' sides may be turned by more than this, corners count whichever way they stray


@compiled
def largest(values: FloatArray) -> float:
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
def bends_mm(
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
        bend = math.sqrt(largest(steps[:sides]))
        rows, columns = max(rows, weights[t, 0] * bend), max(columns, weights[t, 1] * bend)
        depths = max(depths, weights[t, 2] * bend)
    return rows + columns + depths


@compiled
def bends_of_places_mm(points: FloatArray, plane: int, sides: int, triples: IntArray, weights: FloatArray) -> float:
    """The same in a plane where all sections are one shape, moved: their first corners tell."""
    rows = columns = depths = 0.0
    x, y, z = points[plane, 0], points[plane, 1], points[plane, 2]
    for t in range(len(triples)):
        a, b, c = triples[t, 0] * sides, triples[t, 1] * sides, triples[t, 2] * sides
        u, v, w = x[a] - 2 * x[b] + x[c], y[a] - 2 * y[b] + y[c], z[a] - 2 * z[b] + z[c]
        bend = math.sqrt(u * u + v * v + w * w)
        rows, columns = max(rows, weights[t, 0] * bend), max(columns, weights[t, 1] * bend)
        depths = max(depths, weights[t, 2] * bend)
    return rows + columns + depths


@compiled
def turned_rad(pencils: FloatArray, glasses: FloatArray) -> float:
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
