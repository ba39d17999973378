"""What there is to compile of the judge, for processes that do it early. No heavy imports."""

from __future__ import annotations

from pathlib import Path

from raytrace.jit.start_early import seem_missing

JUDGING = "raytrace.judge.warm_up:compile_ahead"
INDEXES = ("rays.follow", "separate.part_room")  # numba's files beside compiled code: module and kernel


def kernels_seem_missing() -> bool:
    """Whether no compiled code of the judge is seen where it would be kept; False where looking at files can't tell."""
    return seem_missing(Path(__file__).parent / "kernels", INDEXES)
