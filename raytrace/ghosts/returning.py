"""How much of the light that a filter mirrors back gets into the pupil again. Only that makes a ghost. Formulas: docs/ghosts.md."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from geometry.arrays import FloatArray
from raytrace.ghosts.mirrored import image_mm_of
from raytrace.ghosts.paths import Light, Mirror, disc_directions, plate_mm, thin_sharp_mm
from raytrace.kept import Kept
from raytrace.optics.lens import LensState, TracedPupil

RINGS = (0.5, 1.0)  # of a light's half width, where its returning light is looked at, besides its middle


def light_back(lenses: Sequence[LensState], mirror: Mirror, light: Light) -> float:
    """Share of a light's image that comes back into the pupil off a filter, over its disc: the most of several pupil depths."""
    return max(float(pupil_share(lens, mirror, _places(light), light.distance_mm).mean()) for lens in lenses)


def _looked_at(light: Light) -> FloatArray:
    if light.half_width_deg <= 0:
        return disc_directions(light)[:1]
    return np.concatenate([disc_directions(replace(light, half_width_deg=share * light.half_width_deg)) for share in RINGS])


_places: Kept[Light, FloatArray] = Kept(_looked_at)  # of a light's disc (N, 3)


def pupil_share(lens: LensState, mirror: Mirror, direction: FloatArray, light_mm: float = np.inf) -> FloatArray:
    """Share (N,) of the bundle that leaves the pupil toward directions (N, 3) and comes back into it off a mirror.

    It comes back as the pupil's own outline, moved by 2 p tan(angle) for an upright mirror p ahead, and 1 - 2 p / a as large where
    the light of a point goes out toward a distance a.

    Source: law of reflection; the overlap of two circles, any handbook of mathematics. docs/ghosts.md, "Back into the pupil".
    """
    half = np.array(_half_size_mm(lens))
    away = np.hypot(*(_moved_mm(lens, mirror, direction) / half).T)
    size = abs(1.0 - 2.0 * plate_mm(lens, mirror) * outward_per_mm(lens, light_mm))
    return np.where(np.isfinite(away), overlap_share(np.where(np.isfinite(away), away, np.inf), size), 0.0)


def _moved_mm(lens: LensState, mirror: Mirror, direction: FloatArray) -> FloatArray:
    """Where the middle of the returning bundle crosses the pupil's planes (N, 2) [mm]; inf where it does not come back."""
    depth = lens.pupil.behind_front_mm
    planes = -np.array(depth if isinstance(depth, tuple) else (depth, depth))  # of x and of y
    u = direction / direction[:, 2:]
    start = np.column_stack([-u[:, :2] * planes, np.zeros(len(u))])  # where the chief ray crosses the front's plane
    reach = ((mirror.centre_mm - start) @ mirror.normal) / (u @ mirror.normal)
    at = start + reach[:, None] * u
    back = u - 2.0 * (u @ mirror.normal)[:, None] * mirror.normal
    comes = back[:, 2] < 0
    slope = back[:, :2] / np.where(comes, back[:, 2], -1.0)[:, None]
    return np.where(comes[:, None], at[:, :2] + (planes - at[:, 2:]) * slope, np.inf)


def outward_per_mm(lens: LensState, light_mm: float) -> float:
    """1 / a, where the lens, taken as thin, sends the light of a point at a distance that the sensor mirrors [1/mm].

    Source: docs/ghosts.md, "Sharpness".
    """
    v, v_light = image_mm_of(lens.focal_mm, thin_sharp_mm(lens)), image_mm_of(lens.focal_mm, light_mm)
    return 1.0 / lens.focal_mm - 1.0 / (2.0 * v - v_light)


def _half_size_mm(lens: LensState) -> tuple[float, float]:
    if isinstance(lens.pupil, TracedPupil):
        return (lens.focal_mm / lens.f_number / 2,) * 2
    return lens.pupil.half_size_mm


def overlap_share(away: FloatArray, size: float) -> FloatArray:
    """Share (N,) of discs of radius `size` that lies inside a unit disc whose middle is `away` (N,) from theirs."""
    if size < 1e-6:
        return np.where(away < 1.0, 1.0, 0.0)
    d = np.clip(away, 1e-12, 2.0 + size)
    own = size * size * np.arccos(np.clip((d * d + size * size - 1.0) / (2.0 * d * size), -1.0, 1.0))
    unit = np.arccos(np.clip((d * d + 1.0 - size * size) / (2.0 * d), -1.0, 1.0))
    kite = (1.0 + size - d) * (d + size - 1.0) * (d - size + 1.0) * (d + size + 1.0)
    return np.asarray((own + unit - np.sqrt(np.maximum(kite, 0.0)) / 2.0) / (np.pi * size * size))
