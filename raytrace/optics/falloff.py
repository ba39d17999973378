"""Natural fall-off of light toward the corners: what every lens does with no box before it.

Formulas: docs/physics.md, "Natural fall-off".
"""

import numpy as np
from numpy.typing import ArrayLike

from geometry.arrays import FloatArray
from raytrace.optics.projection import Projection


def natural_falloff(theta_rad: ArrayLike, projection: Projection) -> FloatArray:
    """Illuminance relative to the axis for a pupil of constant size, square to the axis: cos t sin t / (r r'), f = 1.

    Rectilinear cos^4 t; equidistant cos t sin t / t; equisolid cos t; stereographic cos t cos^4(t/2); orthographic 1.
    0 from 90 deg on, where a flat pupil is seen edge on.

    Parameters
    ----------
    theta_rad : array_like
        Field angle t from the axis, >= 0. [rad]

    Source: solid angle sin t dt per picture area r dr, times the pupil's foreshortening; docs/physics.md,
    "Natural fall-off". For cos^4: any photometry text.
    """
    t = np.asarray(theta_rad, dtype=np.float64)
    cosine = np.maximum(np.cos(t), 0.0)
    match projection:
        case "rectilinear":
            share = cosine**4
        case "equidistant":
            share = cosine * np.sinc(t / np.pi)
        case "equisolid":
            share = cosine
        case "stereographic":
            share = cosine * np.cos(t / 2.0) ** 4
        case "orthographic":
            share = np.ones_like(t)
    return np.where(t < np.pi / 2.0, share, 0.0)


def disc_form_factor(theta_rad: ArrayLike, tan_alpha: ArrayLike) -> FloatArray:
    """Illuminance E / (pi L) of a picture point by a flat, evenly bright pupil disc parallel to the picture.

    F = 1/2 {1 - u / w}, u = 1 + T^2 - A^2, w = sqrt(T^4 + 2 T^2 (1 - A^2) + (1 + A^2)^2), T = tan t, A = tan alpha. With
    w^2 - u^2 = 4 A^2 this is 2 A^2 / (w (w + u)), which keeps its digits for small pupils.

    Parameters
    ----------
    theta_rad : array_like
        Field angle t of the point seen from the pupil's centre. [rad]
    tan_alpha : array_like
        Pupil radius over distance; 1 / (2 N) for a flat pupil at f-number N.

    Source: Foote, Bull. Bur. Stand. 12, 583 (1915); Howell, Catalog of Radiation Configuration Factors (from memory).
    """
    t2 = np.tan(np.asarray(theta_rad, dtype=np.float64)) ** 2
    a2 = np.asarray(tan_alpha, dtype=np.float64) ** 2
    u = 1.0 + t2 - a2
    w = np.sqrt(t2 * t2 + 2.0 * t2 * (1.0 - a2) + (1.0 + a2) ** 2)
    near = u < 0.0  # pupils wider than their distance: there the first form is the exact one
    return np.where(near, 0.5 * (1.0 - u / w), 2.0 * a2 / (w * np.where(near, w, w + u)))


def exact_falloff(theta_rad: ArrayLike, f_number: float) -> FloatArray:
    """Illuminance relative to the axis for a rectilinear lens with a flat pupil at f-number N; cos^4 for large N.

    Source: `disc_form_factor` over its value on the axis, sin^2 alpha.
    """
    tan_alpha = 1.0 / (2.0 * f_number)
    return disc_form_factor(theta_rad, tan_alpha) / disc_form_factor(0.0, tan_alpha)
