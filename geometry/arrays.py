"""Array types that every layer uses, and products of vectors."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def cross_product(a: FloatArray, b: FloatArray) -> FloatArray:
    """The cross product of vectors (..., 3): that of numpy to the last bit, which takes several times as long over a few."""
    a0, a1, a2, b0, b1, b2 = a[..., 0], a[..., 1], a[..., 2], b[..., 0], b[..., 1], b[..., 2]
    first = a1 * b2 - a2 * b1
    found = np.empty((*np.shape(first), 3))
    found[..., 0], found[..., 1], found[..., 2] = first, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0
    return found
