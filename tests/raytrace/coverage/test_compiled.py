"""Kernels on disk."""

from raytrace.box import Box
from raytrace.coverage.cells import cover_cells
from raytrace.coverage.compiled import is_compiled
from raytrace.coverage.engine import coverage_shares
from tests.raytrace.made import edge_above, pencils


def test_a_kernel_that_has_run_lies_on_disk():
    coverage_shares(pencils([[0.0, 0.1]]), Box(parts=(edge_above(20.0, 60.0),)))
    assert is_compiled(cover_cells)
