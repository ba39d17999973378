"""What there is to compile of the coverage engine, for processes that do it early. No heavy imports."""

from __future__ import annotations

from pathlib import Path

from raytrace.jit.start_early import seem_missing

LISTING = "raytrace.coverage.warm_up:compile_listing"  # one half of the work
COVERING = "raytrace.coverage.warm_up:compile_covering"  # the other
INDEXES = (  # numba's files beside compiled code: module and kernel
    "cells.list_blocks",
    "cover_kernels.cover_blocks",
    "cover_kernels.bare_shares",
    "interpolate.spread",
    "glass_legs.legs_of_pencils",
)


def kernels_seem_missing() -> bool:
    """Whether no compiled code of the engine is seen where it would be kept; False where looking at files can't tell."""
    return seem_missing(Path(__file__).parent / "kernels", INDEXES)
