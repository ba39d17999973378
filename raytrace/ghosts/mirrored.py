"""Formulas of ghosts: where light goes that a filter mirrors back to the sensor or to another filter, and how sharp it arrives.

Directions are unit vectors in the frame from the lens toward what is seen there. Derivations: docs/ghosts.md.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from geometry.arrays import FloatArray


def ghost_direction(light: ArrayLike, normal: ArrayLike) -> FloatArray:
    """Where the ghost between sensor and a plate seems to stand, g = 2 (u.n) n - u, unit vectors (..., 3).

    The sensor sends the light of its image back out along u; the plate mirrors it, and it comes in again from g.

    Source: law of reflection as a vector formula; docs/ghosts.md, "Sensor and filter".
    """
    u, n = np.asarray(light, dtype=np.float64), np.asarray(normal, dtype=np.float64)
    return 2.0 * (u * n).sum(axis=-1, keepdims=True) * n - u


def near_ghost_direction(light: ArrayLike, normal: FloatArray, plate_mm: float, sharp_mm: float) -> FloatArray:
    """As `ghost_direction`, for a lens whose sharp plane lies `sharp_mm` from the pupil, square to the axis (..., 3).

    The image point on the sensor is the image of O in the sharp plane; the plate mirrors O to O', and the ghost's chief ray comes
    in along the line from O' to the pupil's middle: g = 2 (u.n - p u_z / s) n - u, with p from the pupil to the plate along n.

    With a plate farther than half the sharp distance the light crosses in O' before the pupil and comes from the other side.

    Source: as above, with mirrored points; for s = inf the same as `ghost_direction`.
    """
    u = np.asarray(light, dtype=np.float64)
    along = (u * normal).sum(axis=-1, keepdims=True)
    nearer = 0.0 if np.isinf(sharp_mm) else plate_mm * u[..., 2:] / sharp_mm
    g = 2.0 * (along - nearer) * normal - u
    sense = -1.0 if 2.0 * plate_mm > sharp_mm else 1.0
    return np.asarray(sense * g / np.linalg.norm(g, axis=-1, keepdims=True))


def double_direction(light: ArrayLike, near_normal: ArrayLike, far_normal: ArrayLike) -> FloatArray:
    """Where the ghost between two plates seems to stand (..., 3): the light turned by twice the angle between the plates.

    Light comes in along -u, is mirrored by the plate nearer the lens, then by the farther one, and goes on into the lens.

    Source: two reflections are a rotation by twice the angle between the mirrors (any optics text).
    """
    return ghost_direction(ghost_direction(light, near_normal), far_normal)


def centred_tilt_deg(half_height_mm: float, focal_mm: float) -> float:
    """Tilt that puts the ghost of a light in the middle of the picture on its edge, atan(h / f) / 2 [deg]."""
    return float(np.degrees(np.arctan(half_height_mm / focal_mm)) / 2.0)


def point_blur_mm(focal_mm: float, f_number: float, image_mm: float, vergence_per_mm: float) -> float:
    """Diameter of the blur of light that reaches a thin lens as from a point at 1 / vergence; the sensor is `image_mm` behind [mm].

    1/s' = 1/f + vergence, with vergence -1/d for a point at a distance d ahead; blur = D |v - s'| / s', D = f / N.

    Source: thin-lens law (any optics text).
    """
    return float(focal_mm / f_number * abs(image_mm * (1.0 / focal_mm + vergence_per_mm) - 1.0))


def ghost_blur_mm(focal_mm: float, f_number: float, sharp_mm: float, plate_mm: float, light_mm: float | None = None) -> float:
    """Blur of the ghost between sensor and plate of a point light, thin lens, distances from the lens [mm].

    A light at `light_mm` (the sharp distance where not given) has its image at v_L, the sensor at v mirrors that to 2 v - v_L, the
    lens sends it out toward a, and the plate at p folds it back: 1/s' = 1/f + 1/(a - 2 p).

    Source: thin-lens law and plane mirrors; for a light in the sharp plane a = s. docs/ghosts.md, "Sharpness".
    """
    v = image_mm_of(focal_mm, sharp_mm)
    v_light = v if light_mm is None else image_mm_of(focal_mm, light_mm)
    outward = 1.0 / focal_mm - 1.0 / (2.0 * v - v_light)  # 1 / a
    folded = 1.0 - 2.0 * plate_mm * outward
    return np.inf if folded == 0.0 else point_blur_mm(focal_mm, f_number, v, outward / folded)


def image_mm_of(focal_mm: float, distance_mm: float) -> float:
    """Distance of a thin lens's image of a point `distance_mm` ahead, 1 / (1/f - 1/d) [mm]."""
    return focal_mm if np.isinf(distance_mm) else 1.0 / (1.0 / focal_mm - 1.0 / distance_mm)


def spreading(width_mm: float, blur_mm: float, own_width_mm: float, own_blur_mm: float) -> float:
    """How much weaker a blurred spot's brightest place is than that of the light's own image, the same light in both; at most 1.

    A disc blurred by another is at its brightest as bright as all its light on the larger of the two. A point without any
    blur has no brightness to compare: 1. `width_mm` are radii, blurs diameters.
    """
    own, ghost = max(own_width_mm, own_blur_mm / 2), max(width_mm, blur_mm / 2)
    return 1.0 if not ghost > own or own <= 0.0 else (own / ghost) ** 2
