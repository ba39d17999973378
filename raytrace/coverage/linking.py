"""How helpers get into kernels: tidied alone, linked in together, and made fast and turned into machine code once, there.

Left to itself numba links into each helper all that it calls, makes the whole fast and turns it into machine code nobody calls,
and again at every step up to the kernel: that alone took half of the very first run.
"""

from __future__ import annotations

from typing import Any

from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import Compiler


class _NoEnvironment:
    """Stands in for the code generator where numba would register a helper with the interpreter, which never calls one."""

    def set_env(self, name: str, env: Any) -> None:
        """Do nothing."""


class HelperLibrary(JITCodeLibrary):
    """A helper's own instructions and the names of those that it calls; no machine code."""

    codegen = _NoEnvironment()

    def get_pointer_to_function(self, name: str) -> int:  # noqa: ARG002 - numba asks all libraries alike
        """No address: there is none before it is part of a kernel."""
        self._ensure_finalized()  # type: ignore[no-untyped-call]
        return 0

    def _optimize_functions(self, ll_module: Any) -> None:
        ll_module.data_layout = self._codegen._data_layout

    def finalize(self) -> None:
        """Tidy the instructions up, so that the kernel has less to read; what they call is not looked at."""
        passes = self._codegen._module_pass_manager(opt=2, loop_vectorize=False, slp_vectorize=False, cost="cheap")  # type: ignore[no-untyped-call]
        manager, *builder = passes if isinstance(passes, tuple) else (passes,)  # a lone manager in older numba
        manager.run(self._final_module, *builder)
        self._finalized = True


class KernelLibrary(JITCodeLibrary):
    """A kernel with all helpers that it calls, and those that they call."""

    def add_linking_library(self, library: Any) -> None:
        """Link a library in, and what it would have been linked with."""
        super().add_linking_library(library)  # type: ignore[no-untyped-call]
        for other in library._linking_libraries if isinstance(library, HelperLibrary) else ():
            if other not in self._linking_libraries:
                self.add_linking_library(other)


class HelperCompiler(Compiler):
    """numba's own compiler, into a helper's library."""

    def __init__(self, typingctx: Any, targetctx: Any, *more: Any) -> None:
        super().__init__(typingctx, targetctx, *more)  # type: ignore[no-untyped-call]
        self.state.library = HelperLibrary(targetctx.codegen(), "helper")  # type: ignore[no-untyped-call]


class KernelCompiler(Compiler):
    """numba's own compiler, into a kernel's library."""

    def __init__(self, typingctx: Any, targetctx: Any, *more: Any) -> None:
        super().__init__(typingctx, targetctx, *more)  # type: ignore[no-untyped-call]
        self.state.library = KernelLibrary(targetctx.codegen(), "kernel")  # type: ignore[no-untyped-call]
        self.state.library.enable_object_caching()
