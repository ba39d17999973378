"""Kernels compiled in processes of their own."""

import os
import subprocess
import sys

from raytrace.coverage import ahead, beside


def _touch(folder, names=beside.INDEXES):
    (folder / "coverage_0").mkdir(exist_ok=True)
    for name in names:
        (folder / "coverage_0" / f"{name}-40.py311.nbi").touch()


def test_index_files_are_named_after_the_kernels():
    names = [f"{kernel.__module__.rsplit('.', 1)[1]}.{kernel.__name__}" for kernel in ahead.KERNELS]
    assert sorted(names) == sorted(beside.INDEXES)


def test_code_seems_missing_until_there_is_a_file_for_each_kernel(monkeypatch, tmp_path):
    monkeypatch.setenv(beside.FOLDER, str(tmp_path))
    assert beside.seem_missing()
    _touch(tmp_path, beside.INDEXES[:-1])
    assert beside.seem_missing()
    _touch(tmp_path)
    assert not beside.seem_missing()


def test_code_that_is_kept_elsewhere_does_not_seem_missing(monkeypatch, tmp_path):
    monkeypatch.setenv(beside.FOLDER, str(tmp_path))
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert not beside.seem_missing()


def test_a_folder_that_is_not_there_yet_holds_no_code(monkeypatch, tmp_path):
    monkeypatch.setenv(beside.FOLDER, str(tmp_path / "none"))
    assert beside.seem_missing()


def test_both_halves_make_all_kernels(monkeypatch, tmp_path):
    monkeypatch.setenv(beside.FOLDER, str(tmp_path))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(p for p in sys.path if p))
    children = [beside.begin(half) for half in (beside.LISTING, beside.COVERING)]
    assert [child.wait() for child in children] == [0, 0]
    assert not beside.seem_missing()


def test_a_process_reads_no_library_from_the_folder_it_is_started_in(monkeypatch):
    began = []
    monkeypatch.setattr(beside, "Popen", lambda command, **_: began.append(command))
    beside.begin(beside.LISTING)
    assert began == [[sys.executable, "-P", "-m", "raytrace.coverage.alone", "listing"]]


def test_no_process_to_be_had_is_no_error(monkeypatch):
    def refused(*_, **__):
        raise OSError("no more processes")

    monkeypatch.setattr(beside, "Popen", refused)
    assert beside.begin(beside.LISTING) is None


def test_it_is_loaded_without_a_heavy_library():
    code = "import sys, raytrace.coverage.beside as b; raise SystemExit(bool({'numpy', 'numba'} & set(sys.modules)))"
    path = os.pathsep.join(p for p in sys.path if p)
    assert subprocess.run([sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": path}, check=False).returncode == 0

