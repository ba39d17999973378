"""What is wrong with a mesh file that contradicts itself."""

from typing import Any

import numpy as np

FLAT_SHARE = 1e-9  # of the box that three axes span: flatter than that is flat


class DamagedMeshError(ValueError):
    """A file that contradicts itself; the text is what is wrong with it."""


def has_no_room(turned: Any) -> bool:
    """Whether a (3, 3) matrix presses bodies flat or to a point."""
    sizes = np.linalg.norm(turned, axis=0)
    return bool(abs(np.linalg.det(turned)) <= FLAT_SHARE * np.prod(sizes))
