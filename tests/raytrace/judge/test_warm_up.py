"""The judge's kernels compiled before they are needed."""

import os
import subprocess
import sys

import pytest

from geometry import parts as make
from geometry.frame import pose
from raytrace.box import Box
from raytrace.jit import start_early
from raytrace.jit.compiled import PLAIN, is_compiled
from raytrace.judge import kernel_tasks, warm_up
from raytrace.judge.judgement import judge
from tests.raytrace.judge.test_closed_forms import GUIDE, board, lens


def test_what_is_compiled_ahead_is_what_real_boxes_ask_for():
    warm_up.compile_ahead()
    mask = make.mask(pose(), at_mm=59.0, thickness_mm=1.0, opening=make.opening(size_mm=(150.0, 120.0), corner_mm=9.0))
    judge([lens()], GUIDE, Box(parts=(mask, board((70.0, 200.0), (-90.0, 90.0), (59.0, 60.0)))))
    assert [len(kernel.signatures) for kernel in warm_up.KERNELS] == [1, 1]
    assert all(is_compiled(kernel) for kernel in warm_up.KERNELS)


def test_index_files_that_are_looked_for_are_those_of_the_kernels():
    names = {f"{kernel.__module__.rsplit('.', 1)[1]}.{kernel.__name__}" for kernel in warm_up.KERNELS}
    assert set(kernel_tasks.INDEXES) == names


def test_a_process_of_its_own_makes_all_kernels(monkeypatch, tmp_path):
    monkeypatch.setenv(start_early.FOLDER, str(tmp_path))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(p for p in sys.path if p))
    assert kernel_tasks.kernels_seem_missing()
    child = start_early.begin(kernel_tasks.JUDGING)
    assert child.wait() == 0
    assert not kernel_tasks.kernels_seem_missing()


@pytest.mark.slow
def test_plain_numba_gives_the_same_rooms():
    code = (
        "from raytrace.judge.judgement import judge; from tests.raytrace.judge.test_against_brute_force import scene_and_guide;"
        "box, lens, guide = scene_and_guide(501); print([round(p.room_mm, 6) for p in judge([lens], guide, box).parts])"
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
