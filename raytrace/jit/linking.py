"""How helpers get into kernels: tidied alone, linked in together, and made fast and turned into machine code once, there.

Left to itself numba links into each helper all that it calls, makes the whole fast and turns it into machine code nobody calls,
and again at every step up to the kernel: that alone took half of the very first run. A quarter of what was left went into passes
over constructs that no kernel uses, into asking the same types of the same operators over and over, and into collecting garbage.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from llvmlite import binding
from numba.core import typed_passes, untyped_passes
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import Compiler
from numba.core.compiler_machinery import PassManager
from numba.core.types.functions import BaseFunction

# What turns plain loops and arithmetic into machine code. Left out: closures, array expressions, literals, with and raise, and
# where variables die, which matters to counts of references alone.
PASSES = (
    untyped_passes.TranslateByteCode,
    untyped_passes.FixupArgs,
    untyped_passes.IRProcessing,
    untyped_passes.ReconstructSSA,
    typed_passes.NopythonTypeInference,
    typed_passes.PreLowerStripPhis,
    typed_passes.NoPythonSupportedFeatureValidation,
    typed_passes.AnnotateTypes,
    typed_passes.NativeLowering,
    typed_passes.NoPythonBackend,
)


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
        options = binding.create_pipeline_tuning_options(speed_level=1)
        manager = binding.create_new_module_pass_manager()
        manager.add_sroa_pass()
        manager.add_instruction_combine_pass()
        manager.add_simplify_cfg_pass()
        manager.run(self._final_module, binding.create_pass_builder(self._codegen._tm, options))
        self._finalized = True


class KernelLibrary(JITCodeLibrary):
    """A kernel with all helpers that it calls, and those that they call."""

    def add_linking_library(self, library: Any) -> None:
        """Link a library in, and what it would have been linked with."""
        super().add_linking_library(library)  # type: ignore[no-untyped-call]
        for other in library._linking_libraries if isinstance(library, HelperLibrary) else ():
            if other not in self._linking_libraries:
                self.add_linking_library(other)

    def _optimize_final_module(self) -> None:
        """Make the whole fast, once: numba does it twice, for the sake of counts of references, which kernels have none of.

        Only the kernel is called from outside, so all else may be taken apart. Without that, whether a helper goes into what calls
        it or takes a hundred arguments over the stack each time hangs on the smallest change, and with it half of the speed.
        """
        for function in self._final_module.functions:
            if not function.is_declaration and function.linkage is binding.Linkage.linkonce_odr:
                function.linkage = binding.Linkage.internal
        options = binding.create_pipeline_tuning_options(speed_level=2)
        options.loop_vectorization = options.slp_vectorization = True
        options.loop_unrolling = False  # a third of the time in LLVM, for maps no faster
        builder = binding.create_pass_builder(self._codegen._tm, options)
        builder.getModulePassManager().run(self._final_module, builder)


class PlainCompiler(Compiler):
    """numba's own compiler, with no more passes than plain loops and arithmetic ask for."""

    def define_pipelines(self) -> list[Any]:
        """The one way through."""
        manager = PassManager("plain")  # type: ignore[no-untyped-call]
        for one in PASSES:
            manager.add_pass(one, one.__name__)  # type: ignore[no-untyped-call]
        manager.finalize()  # type: ignore[no-untyped-call]
        return [manager]


class HelperCompiler(PlainCompiler):
    """Into a helper's library."""

    def __init__(self, typingctx: Any, targetctx: Any, *more: Any) -> None:
        super().__init__(typingctx, targetctx, *more)  # type: ignore[no-untyped-call]
        self.state.library = HelperLibrary(targetctx.codegen(), "helper")  # type: ignore[no-untyped-call]


class KernelCompiler(PlainCompiler):
    """Into a kernel's library."""

    def __init__(self, typingctx: Any, targetctx: Any, *more: Any) -> None:
        super().__init__(typingctx, targetctx, *more)  # type: ignore[no-untyped-call]
        self.state.library = KernelLibrary(targetctx.codegen(), "kernel")  # type: ignore[no-untyped-call]
        self.state.library.enable_object_caching()

    def compile_extra(self, func: Any) -> Any:
        """Compile a kernel and all its helpers."""
        with _no_garbage(), _types_remembered():
            return super().compile_extra(func)  # type: ignore[no-untyped-call]


@contextmanager
def _types_remembered() -> Iterator[None]:
    """Within, numba works out once what a function gives for arguments of some types, and not at every place that calls it."""
    worked_out, known = BaseFunction.get_call_type, {}

    def remembered(self: Any, context: Any, args: Any, kws: Any) -> Any:
        key = (id(self), tuple(args))
        if kws or key not in known:
            known[key] = (worked_out(self, context, args, kws), self)  # and the function, so that no other gets its id
        return known[key][0]

    asked: Any = BaseFunction
    asked.get_call_type = remembered
    try:
        yield
    finally:
        asked.get_call_type = worked_out


@contextmanager
def _no_garbage() -> Iterator[None]:
    """Within, Python does not look for cycles among objects that all live until the end anyway."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
