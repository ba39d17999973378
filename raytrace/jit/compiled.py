"""How kernels are compiled: once per machine, kept on disk, free of the interpreter lock so that two threads share the frame."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

from raytrace.jit.disk_cache import disk_cache
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
    dispatcher._cache = disk_cache(function)
    return cast("F", dispatcher)


def is_compiled(entry: Callable[..., Any]) -> bool:
    """Whether a kernel's machine code lies on disk whole, made from the sources as they are."""
    return bool(cast("Any", entry)._cache.is_whole())


def _once_per_type(dispatcher: Any) -> Any:
    """The helper without a version of its own for every constant that it is called with: that more than halves what is compiled."""
    template, unliteral = dispatcher.get_call_template, cast("Any", numba.types.unliteral)

    def widened(args: Any, kws: Any) -> Any:
        return template(tuple(unliteral(a) for a in args), {k: unliteral(v) for k, v in kws.items()})

    dispatcher.get_call_template = widened
    return dispatcher
