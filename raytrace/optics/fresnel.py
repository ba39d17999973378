"""Glass plates: what they reflect, pass, absorb and how far they shift a ray. Plain arrays of incidence angles.

Angles are measured in air from the plate's normal; index 1 outside. Formulas: docs/physics.md, "Glass".
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from geometry.arrays import FloatArray
from geometry.errors import GeometryError

SPPair = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """Optical data of one plane-parallel plate.

    Attributes
    ----------
    index : float
        Refractive index n.
    internal_transmittance : float
        Share that survives one passage straight through the glass, faces not counted.
    reflectance : float or None
        Of each face where it is coated, the same at every angle; None for bare glass (Fresnel).
    """

    index: float
    internal_transmittance: float = 1.0
    reflectance: float | None = None


def inside_cosine(angle_rad: ArrayLike, index: float) -> FloatArray:
    """Cosine of the ray's angle inside the glass, sqrt(1 - sin^2 t / n^2). Source: Snell's law."""
    sine = np.sin(np.asarray(angle_rad, dtype=np.float64)) / index
    return np.sqrt(1.0 - sine * sine)


def face_reflectance(angle_rad: ArrayLike, index: float, reflectance: float | None = None) -> SPPair:
    """Reflectance of one face for s and p light; the stated value for both where the face is coated.

    Rs = ((cos t - n cos t') / (cos t + n cos t'))^2, Rp = ((n cos t - cos t') / (n cos t + cos t'))^2.
    It holds for both faces of a plate: reflectances at matching angles are equal from within.

    Source: Born & Wolf, Principles of Optics, section 1.5 (from memory).
    """
    outside = np.cos(np.asarray(angle_rad, dtype=np.float64))
    if reflectance is not None:
        stated = np.full_like(outside, reflectance)
        return stated, stated
    inside = inside_cosine(angle_rad, index)
    s = ((outside - index * inside) / (outside + index * inside)) ** 2
    p = ((index * outside - inside) / (index * outside + inside)) ** 2
    return s, p


def plate_sp(angle_rad: ArrayLike, plate: Plate) -> tuple[SPPair, SPPair]:
    """Transmittance and reflectance of a plate, each for s and p, all inner reflections summed without interference.

    T = (1 - R)^2 tau / (1 - R^2 tau^2), total reflectance R (1 + tau T), tau = tau_0^(1 / cos t').

    Source: Hecht, Optics, multiple reflections in a thick plate (from memory); docs/physics.md, "Glass".
    """
    tau = plate.internal_transmittance ** (1.0 / inside_cosine(angle_rad, plate.index))
    rs, rp = face_reflectance(angle_rad, plate.index, plate.reflectance)
    ts, tp = (_summed_transmittance(r, tau) for r in (rs, rp))
    return (ts, tp), (rs * (1.0 + tau * ts), rp * (1.0 + tau * tp))


def _summed_transmittance(r: FloatArray, tau: FloatArray) -> FloatArray:
    return (1.0 - r) ** 2 * tau / (1.0 - (r * tau) ** 2)


def internal_transmittance_of_density(density: float, index: float, reflectance: float | None = None) -> float:
    """Internal transmittance tau_0 of a plate whose total density at normal incidence is `density`.

    Solves (1 - R)^2 tau / (1 - R^2 tau^2) = 10^-D. GeometryError where clear glass alone is denser.

    Source: inverse of `plate_sp`; D = -log10 T as in ISO 5 (from memory).
    """
    total = 10.0**-density
    r = float(face_reflectance(0.0, index, reflectance)[0])
    tau = 2.0 * total / ((1.0 - r) ** 2 + np.sqrt((1.0 - r) ** 4 + 4.0 * (total * r) ** 2))
    if tau > 1.0:
        least = -np.log10((1.0 - r) / (1.0 + r))
        raise GeometryError(
            f"density: the faces of this glass alone have a density of {least:.4g}, got {density:g}; "
            'use kind = "clear" or give a reflectance for its coating'
        )
    return float(tau)


def loss_stops(transmission: ArrayLike) -> FloatArray:
    """Loss -log2(transmission); inf where nothing gets through [stops]."""
    with np.errstate(divide="ignore"):  # zero light is an infinite loss, not a fault
        return -np.log2(np.asarray(transmission, dtype=np.float64))
