"""How the kernels of this package are compiled: once per machine, kept on disk until one of their sources changes."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core.caching import FunctionCache

F = TypeVar("F", bound=Callable[..., Any])

KERNEL_MODULES = ("compiling", "depth", "gjk", "heap", "hull", "planes", "rays", "separate", "shapes")
SETTINGS: dict[str, Any] = {"nogil": True, "error_model": "numpy"}


def helper(function: F) -> F:
    """A function that only kernels call."""
    return cast("F", numba.njit(**SETTINGS)(function))


def kernel(entry: F) -> F:
    """A kernel that the interpreter calls; compiled on the first call ever and read from disk afterwards."""
    dispatcher: Any = numba.njit(**SETTINGS)(entry)
    dispatcher._cache = _SourceCache(entry)  # type: ignore[no-untyped-call]
    return cast("F", dispatcher)


class _SourceCache(FunctionCache):
    """Compiled code that is made anew when any module of this package changes: numba itself looks at the kernel's alone."""

    def _index_key(self, sig: Any, codegen: Any) -> Any:
        return (*super()._index_key(sig, codegen), _sources_digest())  # type: ignore[no-untyped-call]


@cache
def _sources_digest() -> str:
    here = Path(__file__).parent
    return hashlib.sha256(b"".join((here / f"{name}.py").read_bytes() for name in KERNEL_MODULES)).hexdigest()
