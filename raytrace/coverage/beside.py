"""Kernels compiled in processes of their own, which can be begun before this one has loaded a single library: no heavy imports."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path
from subprocess import DEVNULL, Popen

ALONE = "raytrace.coverage.alone"  # what such a process runs
LISTING, COVERING = "listing", "covering"  # and which half of the kernels it is to compile
INDEXES = ("cells.list_blocks", "covering.cover_blocks", "covering.bare_shares", "spreading.spread")  # files beside compiled code
FOLDER = "NUMBA_CACHE_DIR"  # in the environment: where numba keeps compiled code instead


def begin(half: str) -> Popen[bytes] | None:
    """A process that compiles half of the kernels; None where there can be no more processes."""
    with suppress(OSError):
        return Popen([sys.executable, "-P", "-m", ALONE, half], stdin=DEVNULL, stdout=DEVNULL, stderr=DEVNULL)
    return None


def seem_missing() -> bool:
    """Whether no compiled code is seen where it would be kept; False where that can't be told by looking at files."""
    beside = Path(__file__).parent
    kept = Path(os.environ[FOLDER]) if FOLDER in os.environ else beside / "__pycache__"
    if not os.access(kept if kept.exists() else beside, os.W_OK):
        return False
    return not all(any(kept.rglob(f"{name}-*.nbi")) for name in INDEXES)
