"""What there is to compile of the beam, for processes that do it early. No heavy imports."""

from __future__ import annotations

from pathlib import Path

from raytrace.jit.start_early import seem_missing

TRACING = "raytrace.beam.warm_up:compile_ahead"
INDEXES = ("legs.legs_through", "legs.cross_plane")  # numba's files beside compiled code: module and kernel


def kernels_seem_missing() -> bool:
    """Whether no compiled code of the beam is seen where it would be kept; False where looking at files can't tell."""
    return seem_missing(Path(__file__).parent / "kernels", INDEXES)
