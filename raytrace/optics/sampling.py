"""Points on the unit disc of a pupil: scrambled Sobol, exact rings, and a fixed set without chance.

Every set is (K, 2) in the unit disc; points without weights count equally. Formulas: docs/physics.md, "Sampling".
"""

import numpy as np
from numpy.typing import ArrayLike

from geometry.arrays import FloatArray

GOLDEN_ANGLE_RAD = np.pi * (3.0 - np.sqrt(5.0))


def sobol_square(log2_count: int, rng: np.random.Generator) -> FloatArray:
    """2^n Owen-scrambled Sobol points (K, 2) of the unit square.

    Source: Owen, J. Complexity 14, 466 (1998) (from memory); scipy.stats.qmc.
    """
    from scipy.stats import qmc  # half a second to import: only where chance is asked for

    return qmc.Sobol(d=2, scramble=True, rng=rng).random_base2(log2_count)


def sobol_disc(log2_count: int, rng: np.random.Generator) -> FloatArray:
    """2^n Owen-scrambled Sobol points (K, 2) of the unit disc, by the concentric map."""
    return concentric_disc(sobol_square(log2_count, rng))


def polar_disc(square: ArrayLike) -> FloatArray:
    """Unit square (K, 2) to unit disc, r = sqrt(u), phi = 2 pi v: equal areas, stretched shapes."""
    u, v = np.moveaxis(np.asarray(square, dtype=np.float64), -1, 0)
    return _from_polar(np.sqrt(u), 2.0 * np.pi * v)


def concentric_disc(square: ArrayLike) -> FloatArray:
    """Unit square (K, 2) to unit disc, squares to rings: equal areas, and neighbours stay neighbours.

    With a, b in -1..1: r = a, phi = pi/4 b/a where |a| > |b|, else r = b, phi = pi/2 - pi/4 a/b.

    Source: Shirley & Chiu, J. Graphics Tools 2 (3), 45 (1997) (from memory).
    """
    a, b = np.moveaxis(2.0 * np.asarray(square, dtype=np.float64) - 1.0, -1, 0)
    wide = np.abs(a) > np.abs(b)
    r = np.where(wide, a, b)
    divisor = np.where(r == 0.0, 1.0, r)
    phi = np.where(wide, np.pi / 4.0 * b / divisor, np.pi / 2.0 - np.pi / 4.0 * a / divisor)
    return _from_polar(r, phi)


def forbes_rings(rings: int, arms: int) -> tuple[FloatArray, FloatArray]:
    """Points (K, 2) and weights (K,), summing to 1, that integrate smooth functions over the disc.

    Gauss-Legendre nodes in r^2 times equal angles, offset by half a step. Exact for polynomials of degree < arms in angle
    and of power <= 4 rings - 2 in r.

    Source: Forbes, J. Opt. Soc. Am. A 5, 1943 (1988).
    """
    nodes, weights = np.polynomial.legendre.leggauss(rings)
    radius = np.sqrt(0.5 * (nodes + 1.0))
    angle = 2.0 * np.pi * (np.arange(arms) + 0.5) / arms
    points = _from_polar(np.repeat(radius, arms), np.tile(angle, rings))
    return points, np.repeat(0.5 * weights / arms, arms)


def sunflower_disc(count: int) -> FloatArray:
    """Fixed points (K, 2) of the unit disc: r = sqrt((k + 1/2) / K), each turned on by the golden angle.

    Source: Vogel, Math. Biosciences 44, 179 (1979) (from memory).
    """
    k = np.arange(count)
    return _from_polar(np.sqrt((k + 0.5) / count), k * GOLDEN_ANGLE_RAD)


def _from_polar(radius: FloatArray, angle_rad: FloatArray) -> FloatArray:
    return np.stack([radius * np.cos(angle_rad), radius * np.sin(angle_rad)], axis=-1)
