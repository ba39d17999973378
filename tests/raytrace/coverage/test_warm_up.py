"""Kernels compiled before they are needed."""

import subprocess
import sys

import numpy as np

from raytrace.box import Box
from raytrace.coverage import warm_up
from raytrace.coverage.engine import coverage_shares
from raytrace.coverage.picture import coverage_map
from raytrace.jit.compiled import is_compiled
from tests.raytrace.coverage.random_boxes import random_scene
from tests.raytrace.made import edge_above, pencils


def test_what_is_compiled_ahead_is_what_real_pictures_ask_for():
    warm_up.compile_listing()
    warm_up.compile_covering()
    scene = random_scene(np.random.default_rng(8))
    coverage_map(scene.pencils, scene.grid(24, 16), scene.box)
    coverage_shares(pencils([[0.0, 0.1]]), Box(parts=(edge_above(20.0, 60.0),)))
    assert [len(kernel.signatures) for kernel in warm_up.KERNELS] == [1, 1, 1, 1, 1]
    assert warm_up.are_compiled()


def test_all_kernels_lie_on_disk_after_compiling_side_by_side():
    warm_up.compile_ahead()
    assert all(is_compiled(kernel) for kernel in warm_up.KERNELS)


def test_a_second_process_that_fails_costs_nothing_but_time(monkeypatch):
    began = []

    def fails(half):
        began.append(half)
        return subprocess.Popen([sys.executable, "-c", "raise SystemExit(3)"])

    monkeypatch.setattr(warm_up, "begin", fails)
    warm_up.compile_ahead()
    assert began == ["raytrace.coverage.warm_up:compile_covering"]
    assert is_compiled(warm_up.list_blocks)


def test_no_second_process_at_all_costs_nothing_but_time(monkeypatch):
    monkeypatch.setattr(warm_up, "begin", lambda _: None)
    warm_up.compile_ahead()
    assert is_compiled(warm_up.list_blocks)
