"""Corners of a mesh that a lost block of its file has put on one place."""

import numpy as np
from numpy.typing import NDArray

from scenes.io.meshes.damage import DamagedMeshError

NOTHING = 1e-25  # in any unit; zeros read off their place are such numbers, and rounding leaves 1e-17 of a mm
LEAST_ZEROED = 3  # a corner may lie there, and a second where bodies meet


def none_zeroed(vertices: NDArray[np.float64], faces: NDArray[np.int64]) -> None:
    """Refuse three corners and more on 0, 0, 0 where no others coincide, as zeros of a disk that was never written read.

    Where each face has corners of its own, many lie on every place.
    """
    used = vertices[np.unique(faces)]
    places, counts = np.unique(used, axis=0, return_counts=True)
    at_zero = (np.abs(places) < NOTHING).all(axis=1)
    zeroed = int(counts[at_zero].sum())
    if zeroed >= LEAST_ZEROED and not (counts[~at_zero] > 1).any():
        raise DamagedMeshError(
            f"{zeroed} of its corners lie on 0, 0, 0 and no others coincide, as where a block of the file holds zeros; export it "
            "again"
        )
