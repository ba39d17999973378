"""Kernels compiled in processes of their own, which can be begun before this one has loaded a single library: no heavy imports."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from subprocess import DEVNULL, Popen

CHILD = "raytrace.jit.child"  # what such a process runs
FOLDER = "NUMBA_CACHE_DIR"  # in the environment: where numba keeps compiled code instead


def begin(*tasks: str) -> Popen[bytes] | None:
    """A process that compiles by calling each 'module:function' in turn; None where there can be no more processes."""
    with suppress(OSError):
        return Popen([sys.executable, "-P", "-m", CHILD, ",".join(tasks)], stdin=DEVNULL, stdout=DEVNULL, stderr=DEVNULL)
    return None


def seem_missing(sources: Path, indexes: Sequence[str]) -> bool:
    """Whether no compiled code of kernels in the folder `sources` is seen where it would be kept, by the names of its index files.

    False where that can't be told by looking at files.
    """
    kept = Path(os.environ[FOLDER]) if FOLDER in os.environ else sources / "__pycache__"
    if not os.access(kept if kept.exists() else sources, os.W_OK):
        return False
    return not all(any(kept.rglob(f"{name}-*.nbi")) for name in indexes)
