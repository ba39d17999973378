"""Kernels on disk."""

from raytrace.box import Box
from raytrace.coverage.cells import list_blocks
from raytrace.coverage.compiled import compiled, is_compiled, kernel
from raytrace.coverage.engine import coverage_shares
from raytrace.coverage.linking import HelperLibrary
from tests.raytrace.made import edge_above, pencils


def test_a_kernel_that_has_run_lies_on_disk():
    coverage_shares(pencils([[0.0, 0.1]]), Box(parts=(edge_above(20.0, 60.0),)))
    assert is_compiled(list_blocks)


@compiled
def half(x):
    return 0.5 * x


@compiled
def quarter(x):
    return half(half(x))


@kernel
def eighth(x):
    return quarter(x) / 2


def test_a_kernel_brings_along_what_its_helpers_call():
    assert eighth(12.0) == 1.5  # 12 / 8
    assert eighth(-1.0) == -0.125


def test_helpers_have_no_machine_code_of_their_own():
    quarter.compile("float64(float64)")
    (made,) = quarter.overloads.values()
    assert isinstance(made.library, HelperLibrary)
    assert made.library.get_pointer_to_function(made.fndesc.llvm_func_name) == 0
