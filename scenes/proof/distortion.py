"""Distorted pictures for the verifier: where they fold back, and radii before distortion. Shares no code with the judgement."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenes.proof.errors import NotProvableError, RefusedError

FloatArray = NDArray[np.float64]


def folds_of(k1: float, k2: float) -> list[float]:
    """Radii before distortion at which the picture folds back: zeros of the slope 1 + 3 k1 r^2 + 5 k2 r^4."""
    return [math.sqrt(root.real) for root in np.roots([5.0 * k2, 3.0 * k1, 1.0]) if root.imag == 0.0 and root.real > 0.0]


def check_folds(distortion: tuple[float, float], camera: Mapping[str, Any]) -> None:
    """RefusedError where the picture folds back within the recorded area, which no lens does."""
    (k1, k2), (right, up) = distortion, camera.get("offset_mm", (0.0, 0.0))
    width, height = camera["width_mm"], camera["height_mm"]
    corner = math.hypot(width / 2 + abs(right), height / 2 + abs(up)) / (math.hypot(width, height) / 2)
    first = min(folds_of(k1, k2), default=math.inf)
    if math.isfinite(first) and first * (1.0 + first**2 * (k1 + k2 * first**2)) <= corner:
        raise RefusedError("its distortion folds the picture back within the recorded area, so check refuses the scene")


def undistorted(radius: FloatArray, k1: float, k2: float) -> FloatArray:
    """Radii r whose r (1 + k1 r^2 + k2 r^4) are these, by halving; up to where the picture folds back."""
    low, high = (
        np.zeros_like(radius),
        np.full_like(radius, min([*folds_of(k1, k2), 4.0 * max(float(radius.max(initial=0.0)), 1.0)])),
    )
    if (high * (1.0 + high**2 * (k1 + k2 * high**2)) <= radius).any():
        raise NotProvableError("its picture folds back")
    for _ in range(60):
        middle = (low + high) / 2
        short = middle * (1.0 + middle**2 * (k1 + k2 * middle**2)) < radius
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return high
