"""How kernels are compiled: once per machine, kept on disk, free of the interpreter lock so that two threads share the frame."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core.caching import FunctionCache

from raytrace.jit.linking import HelperCompiler, KernelCompiler

F = TypeVar("F", bound=Callable[..., Any])

# Sums may be reordered and multiply-adds fused, alike in every run on one machine; infinities and signs keep their meaning.
RELAXED = {"contract", "reassoc", "nsz"}
# Kernels allocate nothing, so they need not count references to arrays: that alone makes them several times faster.
COMMON: dict[str, Any] = {"nogil": True, "fastmath": RELAXED, "error_model": "numpy", "_nrt": False}
PLAIN = "BRIMLINE_PLAIN_JIT"  # set in the environment: numba's own way alone, nothing of ours that leans on its inner classes
INNER: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}


def compiled(function: F, *, entry: bool = False) -> F:
    """A helper of kernels, which only compiled code calls; or, with `entry`, a kernel that the interpreter calls.

    A helper has no door to the interpreter and no machine code of its own. A kernel is compiled on the first call ever and read
    from disk afterwards. With BRIMLINE_PLAIN_JIT set both are plain numba.njit: slower to compile, the same numbers.
    """
    if os.environ.get(PLAIN):
        return cast("F", numba.njit(**COMMON, cache=entry)(function))
    return _kernel(function) if entry else _helper(function)


def _helper(function: F) -> F:
    return cast("F", _once_per_type(numba.njit(**COMMON, **INNER, pipeline_class=HelperCompiler)(function)))


def _kernel(function: F) -> F:
    settings: dict[str, Any] = {**COMMON, "no_cfunc_wrapper": True}
    dispatcher: Any = numba.njit(**settings, pipeline_class=KernelCompiler)(function)
    dispatcher._cache = _SourceCache(function)
    return cast("F", dispatcher)


def is_compiled(entry: Callable[..., Any]) -> bool:
    """Whether a kernel's machine code lies on disk, made from the sources as they are."""
    dispatcher = cast("Any", entry)
    digest = _sources_digest(_folder_of(dispatcher.py_func))
    return any(digest in key for key in dispatcher._cache._cache_file._load_index())


def _once_per_type(dispatcher: Any) -> Any:
    """The helper without a version of its own for every constant that it is called with: that more than halves what is compiled."""
    template, unliteral = dispatcher.get_call_template, cast("Any", numba.types.unliteral)

    def widened(args: Any, kws: Any) -> Any:
        return template(tuple(unliteral(a) for a in args), {k: unliteral(v) for k, v in kws.items()})

    dispatcher.get_call_template = widened
    return dispatcher


class _SourceCache(FunctionCache):
    """Compiled code on disk that is made anew when any source of it changes: numba itself looks at the kernel's module alone."""

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]
        self._sources = _folder_of(function)

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """What lies on disk, without loading half a second's worth of registries first, which only compiling asks for."""
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)  # type: ignore[no-untyped-call]

    def _index_key(self, sig: Any, codegen: Any) -> Any:
        return (*super()._index_key(sig, codegen), _sources_digest(self._sources))  # type: ignore[no-untyped-call]


def _folder_of(function: Callable[..., Any]) -> Path:
    return Path(function.__code__.co_filename).parent


@cache
def _sources_digest(folder: Path) -> str:
    """Of the modules beside a kernel, those of the room `tables` next to them, which they read, and how all are compiled."""
    folders = (folder, folder.parent / "tables", Path(__file__).parent)
    sources = [path for one in folders for path in sorted(one.glob("*.py"))]
    return hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()
