"""A heap of numbered nodes, the least key on top: plain arrays, for kernels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.jit.compiled import compiled

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@compiled
def push(keys: FloatArray, ids: IntArray, size: int, key: float, name: int) -> int:
    """Puts a node on a heap with room for it; how many it holds then."""
    k = size
    while k > 0:
        up = (k - 1) // 2
        if keys[up] <= key:
            break
        keys[k], ids[k] = keys[up], ids[up]
        k = up
    keys[k], ids[k] = key, name
    return size + 1


@compiled
def pop(keys: FloatArray, ids: IntArray, size: int) -> int:
    """Takes the least node off a heap whose first entry has been read; how many it holds then."""
    size -= 1
    key, name = keys[size], ids[size]
    k = 0
    while True:
        low = 2 * k + 1
        if low >= size:
            break
        if low + 1 < size and keys[low + 1] < keys[low]:
            low += 1
        if keys[low] >= key:
            break
        keys[k], ids[k] = keys[low], ids[low]
        k = low
    keys[k], ids[k] = key, name
    return size
