"""Where the camera of a 3D picture stands and where places land on its screen. Plain numbers: no drawing library, no display."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from geometry.arrays import FloatArray

VIEW_ANGLE_DEG = 24.0  # height of the view: a long lens, so that near and far parts keep comparable sizes
FIT_STEPS = 30  # each step shrinks what is left by more than half; thirty end below a hundredth of a pixel


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewpoint:
    """A camera: position, what it looks at and its up (3,), in the frame [mm].

    parallel_scale_mm is half the height seen without perspective; 0 with perspective.
    """

    position_mm: FloatArray
    focal_point_mm: FloatArray
    up: FloatArray
    parallel_scale_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Rectangle:
    """Part of the screen in pixels, from the lower left corner."""

    left: float
    bottom: float
    right: float
    top: float


def axes_of(ahead: ArrayLike, up: ArrayLike) -> FloatArray:
    """Rows (3, 3): right on the screen, up on the screen, away from the viewer."""
    away = np.asarray(ahead, dtype=np.float64)
    away = away / np.linalg.norm(away)
    right = np.cross(away, np.asarray(up, dtype=np.float64))
    right /= np.linalg.norm(right)
    return np.array([right, np.cross(right, away), away])


def project(view: Viewpoint, points_mm: ArrayLike, size: tuple[int, int]) -> FloatArray:
    """Screen places (N, 2) of points (N, 3): pixels right and up from the lower left corner."""
    axes = axes_of(view.focal_point_mm - view.position_mm, view.up)
    seen = (np.asarray(points_mm, dtype=np.float64) - view.position_mm) @ axes.T
    if view.parallel_scale_mm > 0:
        per_mm = size[1] / 2 / view.parallel_scale_mm
        return seen[:, :2] * per_mm + np.array(size) / 2
    half_height = np.tan(np.radians(VIEW_ANGLE_DEG) / 2)
    return seen[:, :2] / (seen[:, 2:] * half_height) * size[1] / 2 + np.array(size) / 2


def fitted(
    points_mm: ArrayLike, ahead: ArrayLike, up: ArrayLike, size: tuple[int, int], inner: Rectangle, *, parallel: bool
) -> Viewpoint:
    """The view along `ahead` in which the points just fill the inner rectangle of the screen."""
    points = np.asarray(points_mm, dtype=np.float64)
    axes = axes_of(ahead, up)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    reach = float(np.linalg.norm(points - middle, axis=1).max())
    distance = 3 * reach / np.tan(np.radians(VIEW_ANGLE_DEG) / 2)
    view = _view(middle, axes, distance, reach if parallel else 0.0)
    for _ in range(FIT_STEPS):
        seen = project(view, points, size)
        low, high = seen.min(axis=0), seen.max(axis=0)
        shift_px = (low + high) / 2 - [(inner.left + inner.right) / 2, (inner.bottom + inner.top) / 2]
        grow = float(max((high - low) / [inner.right - inner.left, inner.top - inner.bottom]))
        mm_per_px = 2 * _half_height_mm(view) / size[1]
        middle = view.focal_point_mm + shift_px @ axes[:2] * mm_per_px
        distance = float(np.linalg.norm(view.focal_point_mm - view.position_mm))
        view = _view(middle, axes, distance if parallel else max(distance * grow, 1.2 * reach), view.parallel_scale_mm * grow)
    return view


def _view(middle_mm: FloatArray, axes: FloatArray, distance_mm: float, parallel_scale_mm: float) -> Viewpoint:
    return Viewpoint(
        position_mm=middle_mm - distance_mm * axes[2], focal_point_mm=middle_mm, up=axes[1], parallel_scale_mm=parallel_scale_mm
    )


def _half_height_mm(view: Viewpoint) -> float:
    if view.parallel_scale_mm > 0:
        return view.parallel_scale_mm
    return float(np.linalg.norm(view.focal_point_mm - view.position_mm) * np.tan(np.radians(VIEW_ANGLE_DEG) / 2))


def spread_out(wanted: ArrayLike, widths: ArrayLike, low: float, high: float, gap: float) -> FloatArray:
    """Centres (N,) of labels in one row, in the order given: as near to the wanted places as widths and gaps allow.

    Where the row is too short for all of them they are packed evenly and may overlap.
    """
    centre = np.array(wanted, dtype=np.float64)
    half = np.asarray(widths, dtype=np.float64) / 2
    if len(centre) == 0:
        return centre
    step = half[:-1] + half[1:] + gap
    from_first = np.concatenate([[0.0], np.cumsum(step)])
    room = (high - half[-1]) - (low + half[0])
    if from_first[-1] > room:
        return low + half[0] + from_first * max(room, 0.0) / max(from_first[-1], 1e-9)
    flat = np.clip(_nearest_rising(centre - from_first), low + half[0], high - half[-1] - from_first[-1])
    return flat + from_first


def _nearest_rising(values: FloatArray) -> FloatArray:
    """The never falling sequence nearest to the values in the sense of least squares (pool adjacent violators)."""
    sums: list[float] = []
    counts: list[int] = []
    for value in values:
        sums.append(float(value))
        counts.append(1)
        while len(sums) > 1 and sums[-2] / counts[-2] > sums[-1] / counts[-1]:
            total, count = sums.pop(), counts.pop()
            sums[-1] += total
            counts[-1] += count
    return np.repeat(np.array(sums) / np.array(counts), counts)
