"""Points on the unit disc of a pupil: scrambled Sobol, exact rings, and a fixed set without chance.

Every set is (K, 2) in the unit disc; points without weights count equally. Formulas: docs/physics.md, "Sampling".
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geometry.arrays import FloatArray

BITS = 30  # of a Sobol number
GOLDEN_ANGLE_RAD = np.pi * (3.0 - np.sqrt(5.0))


def sobol_square(log2_count: int, rng: np.random.Generator) -> FloatArray:
    """2^n scrambled Sobol points (K, 2) of the unit square: those of scipy.stats.qmc.Sobol, in half the time, without its loading.

    Each number's bits are multiplied by a random lower triangular matrix and shifted at random; points come in the order of the
    Gray code. Source: Matousek, J. Complexity 14, 527 (1998); Antonov & Saleev, USSR Comput. Math. 19(1), 252 (1979) (from memory).
    """
    own = rng.spawn(1)[0]
    shift = own.integers(2, size=(2, BITS), dtype=np.uint32) @ (1 << np.arange(BITS, dtype=np.uint32))
    mixed = np.tril(own.integers(2, size=(2, BITS, BITS), dtype=np.uint32), -1) + np.eye(BITS, dtype=np.uint32)
    bits = (mixed.astype(np.float32) @ _DIRECTION_BITS[:, :, :log2_count]).astype(np.uint32) & 1
    steps = _PLACES @ bits  # (2, n)
    found = shift[:, None]
    for k in range(log2_count):
        found = np.concatenate([found, found[:, ::-1] ^ steps[:, k, None]], axis=1)
    return np.ascontiguousarray(found.T) * 2.0**-BITS


def _direction_bits() -> NDArray[np.float32]:
    """Bits (2, BITS, BITS), first the largest, of the direction numbers of the first two dimensions: polynomials 1 and x + 1."""
    second = [1]
    for _ in range(BITS - 1):
        second.append(second[-1] ^ second[-1] << 1)
    numbers = np.array([[1] * BITS, second], dtype=np.uint64) << np.arange(BITS - 1, -1, -1, dtype=np.uint64)
    return ((numbers[:, None, :] >> np.arange(BITS - 1, -1, -1, dtype=np.uint64)[:, None]) & np.uint64(1)).astype(np.float32)


_DIRECTION_BITS = _direction_bits()
_PLACES = 1 << np.arange(BITS - 1, -1, -1, dtype=np.uint32)  # of a number's bits


def sobol_disc(log2_count: int, rng: np.random.Generator) -> FloatArray:
    """2^n Owen-scrambled Sobol points (K, 2) of the unit disc, by the concentric map."""
    return concentric_disc(sobol_square(log2_count, rng))


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
