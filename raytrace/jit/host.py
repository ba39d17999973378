"""Which processor machine code is made for here: numbers may differ in their last digit from one kind to another."""

from __future__ import annotations


def host_words() -> str:
    """The kind of processor and what it can do, as LLVM names them."""
    from llvmlite import binding

    return f"{binding.get_host_cpu_name()} {binding.get_host_cpu_features().flatten()}"
