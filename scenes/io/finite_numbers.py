"""Numbers that a made file must not hold: what reads it may take them for anything."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


class NotFiniteError(ArithmeticError):
    """A number of a file to be written is none: the program has worked it out wrongly, whatever it was given."""


def all_finite(numbers: ArrayLike, what: str) -> None:
    """Refuse to write what is infinite or no number."""
    if not np.isfinite(np.asarray(numbers, dtype=np.float64)).all():
        raise NotFiniteError(f"a number of {what} is not finite, so the file was not written")
