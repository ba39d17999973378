"""Which blend of front ring and pupil shows best that a point stands outside of the light through both.

A ray's points in the ring, at z = 0, and in the pupil add up to its point anywhere on its way: (1 - t) ring + t pupil. So may each
of its two coordinates, with a t of its own, and light toward a corner of the picture is held most closely by such a blend that
suits the corner. Any blend is safe; which one is best is looked for here, as if no glass stood in the way.
Source: the separating plane of a sum of convex sets, Boyd and Vandenberghe, Convex Optimization, section 2.5.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.field import Cell, edge_samples, field_pencils
from raytrace.optics.lens import LensState
from raytrace.optics.pencil import Pencils

FloatArray = NDArray[np.float64]

BLENDS = 17  # of a first look
ROUNDS = 3  # of closer ones, each with steps a quarter as wide
FINEST = 0.02  # blends are told apart by this
CORNERS = np.array([0, 1, 4, 5])  # of a cell, among the points round its edge, which hold each twice


def ring_matters(pencils: Pencils, radius_mm: float) -> bool:
    """Whether a front ring takes light from any of some pencils."""
    offset, gain = _at(pencils, np.ones((1, 2)), 0.0)
    reach = np.hypot(*offset[0].T) + np.abs(gain[0]).max(axis=-1) * np.linalg.norm(pencils.axes_mm, axis=(1, 2))
    return bool((reach > radius_mm).any())


def best_blend(lenses: Sequence[LensState], cell: Cell, point_mm: FloatArray, turn_rad: float) -> tuple[float, float]:
    """The blend, across and up, of which a point (3,) is farthest outside, by a plane that faces that way across the axis."""
    ends = (lenses[0], lenses[-1]) if len(lenses) > 1 else lenses
    samples = edge_samples(1)
    corners = (CORNERS + len(samples.shares) * np.arange(len(ends))[:, None]).ravel()
    pencils = field_pencils(ends, cell, samples).pencils.take(corners)
    radius_mm = max(lens.front_radius_mm for lens in lenses)
    ahead = max(float(point_mm[2]), 1.0)
    least = -ahead / max(float(-pencils.reference_z_mm.min()), 1.0)
    turns = turn_rad + np.array([0.0, np.pi])  # whichever way it was told
    across: FloatArray = np.linspace(least, 1.0, BLENDS)
    up = across
    step, best = (1.0 - least) / (BLENDS - 1), (1.0, 1.0)
    for _ in range(1 + ROUNDS):
        best = _farthest_out(pencils, radius_mm, point_mm, turns, across, up)
        step = step / 4
        near = step * np.arange(-4.0, 5.0)
        across, up = np.add(best[0], near, dtype=np.float64), np.add(best[1], near, dtype=np.float64)
    return round(best[0] / FINEST) * FINEST, round(best[1] / FINEST) * FINEST


def _farthest_out(
    pencils: Pencils, radius_mm: float, point_mm: FloatArray, turns: FloatArray, across: FloatArray, up: FloatArray
) -> tuple[float, float]:
    """Of blends (A,) across and (A,) up the two that part the point farthest from the light, along any of some directions (D,)."""
    offset, gain = _at(pencils, np.column_stack([across, up]), float(point_mm[2]))
    x, gain_x, y, gain_y = offset[..., 0], gain[..., 0], offset[..., 1], gain[..., 1]
    c, s = np.cos(turns)[:, None, None, None], np.sin(turns)[:, None, None, None]
    t, v = across[None, :, None, None], up[None, None, :, None]
    a, b = c * gain_x[None, :, None, :], s * gain_y[None, None, :, :]
    axes, p, q = pencils.axes_mm, a * t, b * v
    pupil = p * pencils.centre_mm[:, 0] + q * pencils.centre_mm[:, 1]
    pupil += np.hypot(axes[:, 0, 0] * p + axes[:, 1, 0] * q, axes[:, 0, 1] * p + axes[:, 1, 1] * q)
    ring = radius_mm * np.hypot(a * (1 - t), b * (1 - v))
    reach = (c * x[None, :, None, :] + s * y[None, None, :, :] + pupil + ring).max(axis=-1)
    c, s = c[..., 0], s[..., 0]
    outside = c * point_mm[0] + s * point_mm[1] - reach
    at = np.unravel_index(int(np.argmax(outside)), outside.shape)
    return float(across[at[1]]), float(up[at[2]])


def _at(pencils: Pencils, blends: FloatArray, z_mm: float) -> tuple[FloatArray, FloatArray]:
    """Where each pencil's middle is at a depth, and what a mm at the blends (T, 2) is there: (T, N, 2) each."""
    at_z = blends[:, None] * pencils.reference_z_mm
    k = pencils.convergence_per_mm
    ahead = np.where(k > 0, pencils.reference_z_mm + 1 / np.where(k > 0, k, 1.0) - at_z, 1.0)
    slope = np.where(k > 0, pencils.slope / np.where(k > 0, k, 1.0) / ahead, pencils.slope)
    closer = np.where(k > 0, 1 / ahead, 0.0)
    run = z_mm - at_z
    return slope * run, 1 - closer * run
