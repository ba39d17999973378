"""Where cells of a picture lie, and the optics at their corners, as the kernels read them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray

Ints = NDArray[np.int64]


class Nodes(NamedTuple):
    """Optics at H x W nodes of a grid (or N x 1 single pencils), as `raytrace.coverage.pencil_map` makes them.

    optics (H, W, 6 + 8 legs), rim (H, W, K), ring (H, W, 6); rim_turn (2, K) cosines and sines; ring_square radius^2, inf for none.
    """

    optics: FloatArray
    rim: FloatArray
    ring: FloatArray
    rim_turn: FloatArray
    ring_square: float


class Cells(NamedTuple):
    """Where cells lie: nodes at pixel rows (H,) and columns (W,), the pixels of a cell ending before row_end and column_end.

    usable (cells down, cells across); stride 1 where a cell has a node at each corner, 0 where it is a single pencil.
    """

    rows: Ints
    columns: Ints
    row_end: Ints
    column_end: Ints
    usable: NDArray[np.bool_]
    stride: int
