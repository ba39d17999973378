"""A process that does nothing but compile kernels, without what numba does for programs that live on.

numba looks through all its registries before every helper, tells listeners of every step, tidies up after constructs that no
kernel has and asks LLVM anew for the size of every value; Python looks for garbage, and at the end takes apart a million objects
one by one. Left out, a quarter of the time goes. The machine code is none the worse for it, and where this process fails, the
program compiles for itself.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Callable
from importlib import import_module
from typing import Any


def compile_alone(tasks: str) -> None:
    """Compile by calling 'module:function', or several with commas between, as fast as can be."""
    gc.disable()
    modules: dict[str, Any] = sys.modules
    modules["scipy"] = None  # numba would load it for linear algebra
    names = [task.split(":") for task in tasks.split(",")]
    calls = [getattr(import_module(module), function) for module, function in names]
    _leave_out()
    for call in calls:
        call()


def _leave_out() -> None:
    from numba.core import event, interpreter
    from numba.core.base import BaseContext

    context: Any = BaseContext
    context.refresh = _once(context.refresh, id)
    context.get_abi_sizeof = _once(context.get_abi_sizeof, lambda _, kind: str(kind))
    told: Any = event
    told.broadcast = lambda _: None
    reader: Any = interpreter.Interpreter
    reader.post_process = lambda _, __, instructions: instructions


def _once(method: Callable[..., Any], key_of: Callable[..., Any]) -> Callable[..., Any]:
    """The method, worked out once for each key of its arguments; these are kept, so that no other gets an id that is a key."""
    known: dict[Any, Any] = {}
    kept: list[tuple[Any, ...]] = []

    def remembered(*arguments: Any) -> Any:
        key = key_of(*arguments)
        if key not in known:
            kept.append(arguments)
            known[key] = None  # should it be asked for again while it is worked out
            known[key] = method(*arguments)
        return known[key]

    return remembered


if __name__ == "__main__":
    compile_alone(sys.argv[1])
    os._exit(0)  # the kernels are on disk
