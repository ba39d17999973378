"""How many threads the linear algebra library may start: one, for it is asked for 3 x 3 matrices and more would only spin."""

from __future__ import annotations

import os

VARIABLES = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


def hold_to_one_thread() -> None:
    """Say so to the library, which asks when numpy loads it, and to processes started later; whoever has said else is heard."""
    for name in VARIABLES:
        os.environ.setdefault(name, "1")
