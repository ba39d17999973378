"""How kernels are compiled: once per machine, kept on disk, free of the interpreter lock so that two threads share the frame."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core.caching import FunctionCache

from raytrace.coverage.linking import HelperCompiler, KernelCompiler

F = TypeVar("F", bound=Callable[..., Any])

# Sums may be reordered and multiply-adds fused, alike in every run on one machine; infinities and signs keep their meaning.
RELAXED = {"contract", "reassoc", "nsz"}
# Kernels allocate nothing, so they need not count references to arrays: that alone makes them several times faster.
COMMON: dict[str, Any] = {"nogil": True, "fastmath": RELAXED, "error_model": "numpy", "_nrt": False}
NO_KERNELS = ("gpu", "engine", "picture", "preview", "planning", "field", "clip", "glass_spread", "ahead", "beside", "alone")
INNER: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}


def compiled(helper: F) -> F:
    """A helper of kernels, which only compiled code calls: it has no door to the interpreter and no machine code of its own."""
    return cast("F", _once_per_type(numba.njit(**COMMON, **INNER, pipeline_class=HelperCompiler)(helper)))


def kernel(entry: F) -> F:
    """A kernel that the interpreter calls; compiled on the first call ever and read from disk afterwards."""
    settings: dict[str, Any] = {**COMMON, "no_cfunc_wrapper": True}
    dispatcher: Any = numba.njit(**settings, pipeline_class=KernelCompiler)(entry)
    dispatcher._cache = _SourceCache(entry)  # type: ignore[no-untyped-call]
    return cast("F", dispatcher)


def is_compiled(entry: Callable[..., Any]) -> bool:
    """Whether a kernel's machine code lies on disk, made from the sources as they are."""
    digest, dispatcher = _sources_digest(), cast("Any", entry)
    return any(digest in key for key in dispatcher._cache._cache_file._load_index())


def _once_per_type(dispatcher: Any) -> Any:
    """The helper without a version of its own for every constant that it is called with: that more than halves what is compiled."""
    template, unliteral = dispatcher.get_call_template, cast("Any", numba.types.unliteral)

    def widened(args: Any, kws: Any) -> Any:
        return template(tuple(unliteral(a) for a in args), {k: unliteral(v) for k, v in kws.items()})

    dispatcher.get_call_template = widened
    return dispatcher


class _SourceCache(FunctionCache):
    """Compiled code on disk that is made anew when any module of this package changes: numba itself looks at the kernel's alone."""

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """What lies on disk, without loading half a second's worth of registries first, which only compiling asks for."""
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)  # type: ignore[no-untyped-call]

    def _index_key(self, sig: Any, codegen: Any) -> Any:
        return (*super()._index_key(sig, codegen), _sources_digest())  # type: ignore[no-untyped-call]


@cache
def _sources_digest() -> str:
    sources = sorted(path for path in Path(__file__).parent.glob("*.py") if not path.name.startswith(NO_KERNELS))
    return hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()
