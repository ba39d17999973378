"""Kernels on disk."""

import os
import subprocess
import sys
from functools import partial

import pytest

from raytrace.box import Box
from raytrace.coverage.engine import coverage_shares
from raytrace.coverage.kernels.cells import list_blocks
from raytrace.coverage.warm_up import compile_listing
from raytrace.jit.compiled import PLAIN, compiled, is_compiled
from raytrace.jit.linking import HelperLibrary
from tests.raytrace.made import edge_above, pencils


def test_a_kernel_that_has_run_lies_on_disk():
    coverage_shares(pencils([[0.0, 0.1]]), Box(parts=(edge_above(20.0, 60.0),)))
    assert is_compiled(list_blocks)


def test_a_kernel_on_disk_is_loaded_without_what_only_compiling_asks_for():
    compile_listing()
    imports = "import sys; from raytrace.coverage.warm_up import compile_listing"
    code = f"{imports}; compile_listing(); sys.exit('numba.np.linalg' in sys.modules)"
    path = os.pathsep.join(p for p in sys.path if p)
    assert subprocess.run([sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": path}, check=False).returncode == 0


@compiled
def half(x):
    return 0.5 * x


@compiled
def quarter(x):
    return half(half(x))


@partial(compiled, entry=True)
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


@pytest.mark.slow
def test_plain_numba_gives_the_same_map():
    code = (
        "import hashlib, numpy as np; from tests.raytrace.coverage.random_boxes import random_scene;"
        "from raytrace.coverage.picture import coverage_map; s = random_scene(np.random.default_rng(8));"
        "print(coverage_map(s.pencils, s.grid(24, 16), s.box).clear_share.round(5).tobytes().hex())"
    )
    path = os.pathsep.join(p for p in sys.path if p)
    said = [
        subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": path, **more}, check=True, capture_output=True
        )
        for more in ({}, {PLAIN: "1"})
    ]
    assert said[0].stdout == said[1].stdout
    assert said[0].stdout
