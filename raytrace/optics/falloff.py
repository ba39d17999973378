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
