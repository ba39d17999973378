"""Kernel: node values spread over the pixels between them."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.coverage.tables.nodes import Cells
from raytrace.jit.compiled import compiled

Shares = NDArray[np.float32]


@partial(compiled, entry=True)
def spread(values: FloatArray, cells: Cells, first: int, last: int, out: Shares) -> None:
    """Fill the pixel rows of cell rows first..last - 1 with node values (H, W), bilinear in between."""
    for i in range(first, last):
        tall = 1.0 / max(cells.rows[i + 1] - cells.rows[i], 1)
        for r in range(cells.rows[i], cells.row_end[i]):
            fy = (r - cells.rows[i]) * tall
            for j in range(len(cells.column_end)):
                begin, wide = cells.columns[j], cells.column_end[j] - cells.columns[j]
                left = values[i, j] + (values[i + 1, j] - values[i, j]) * fy
                right = values[i, j + 1] + (values[i + 1, j + 1] - values[i, j + 1]) * fy
                start = np.float32(left)
                slope = np.float32((right - left) / max(cells.columns[j + 1] - begin, 1))
                _ramp(out, r, begin, wide, start, slope)


@compiled
def _ramp(out: Shares, r: int, begin: int, wide: int, start: np.float32, slope: np.float32) -> None:
    for k in range(wide):
        out[r, begin + k] = start + slope * np.float32(np.int32(k))
