"""Kernels compiled in processes of their own."""

import os
import subprocess
import sys

from raytrace.coverage import kernel_tasks, warm_up
from raytrace.jit import start_early


def _touch(folder, names=kernel_tasks.INDEXES):
    (folder / "coverage_0").mkdir(exist_ok=True)
    for name in names:
        (folder / "coverage_0" / f"{name}-40.py311.nbi").touch()


def test_index_files_are_named_after_the_kernels():
    names = [f"{kernel.__module__.rsplit('.', 1)[1]}.{kernel.__name__}" for kernel in warm_up.KERNELS]
    assert sorted(names) == sorted(kernel_tasks.INDEXES)


def test_code_seems_missing_until_there_is_a_file_for_each_kernel(monkeypatch, tmp_path):
    monkeypatch.setenv(start_early.FOLDER, str(tmp_path))
    assert kernel_tasks.kernels_seem_missing()
    _touch(tmp_path, kernel_tasks.INDEXES[:-1])
    assert kernel_tasks.kernels_seem_missing()
    _touch(tmp_path)
    assert not kernel_tasks.kernels_seem_missing()


def test_code_that_is_kept_elsewhere_does_not_seem_missing(monkeypatch, tmp_path):
    monkeypatch.setenv(start_early.FOLDER, str(tmp_path))
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert not kernel_tasks.kernels_seem_missing()


def test_a_folder_that_is_not_there_yet_holds_no_code(monkeypatch, tmp_path):
    monkeypatch.setenv(start_early.FOLDER, str(tmp_path / "none"))
    assert kernel_tasks.kernels_seem_missing()


def test_both_halves_make_all_kernels(monkeypatch, tmp_path):
    monkeypatch.setenv(start_early.FOLDER, str(tmp_path))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(p for p in sys.path if p))
    children = [start_early.begin(half) for half in (kernel_tasks.LISTING, kernel_tasks.COVERING)]
    assert [child.wait() for child in children] == [0, 0]
    assert not kernel_tasks.kernels_seem_missing()


def test_a_process_reads_no_library_from_the_folder_it_is_started_in(monkeypatch):
    began = []
    monkeypatch.setattr(start_early, "Popen", lambda command, **_: began.append(command))
    start_early.begin(kernel_tasks.LISTING)
    assert began == [[sys.executable, "-P", "-m", "raytrace.jit.child", kernel_tasks.LISTING]]


def test_no_process_to_be_had_is_no_error(monkeypatch):
    def refused(*_, **__):
        raise OSError("no more processes")

    monkeypatch.setattr(start_early, "Popen", refused)
    assert start_early.begin(kernel_tasks.LISTING) is None


def test_it_is_loaded_without_a_heavy_library():
    code = "import sys, raytrace.coverage.kernel_tasks; raise SystemExit(bool({'numpy', 'numba'} & set(sys.modules)))"
    path = os.pathsep.join(p for p in sys.path if p)
    assert subprocess.run([sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": path}, check=False).returncode == 0
