"""Machine code that lies on disk damaged, cut or unwritable costs time, never a run or a number."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
KERNEL = """
from functools import partial
from raytrace.jit.compiled import compiled

@partial(compiled, entry=True)
def eighth(x):
    return x / 8
"""
RUN = """
import sys
from kernel import eighth
from raytrace.jit.compiled import is_compiled
from raytrace.jit.disk_cache import kept_in_temporary_folder
before = is_compiled(eighth)
assert eighth(12.0) == 1.5  # 12 / 8
print(before, is_compiled(eighth), kept_in_temporary_folder() or "")
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "source").mkdir()
    (tmp_path / "source/kernel.py").write_text(KERNEL)
    return tmp_path


def begun(folder, **more):
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(folder / "source"), str(ROOT)]), "PYTHONDONTWRITEBYTECODE": "1", **more}
    env = {name: value for name, value in env.items() if name != "NUMBA_CACHE_DIR" or name in more}
    pipe = subprocess.PIPE
    return subprocess.Popen([sys.executable, "-c", RUN], env=env, stdout=pipe, stderr=pipe, text=True, cwd=folder)


def ended(child):
    out, errors = child.communicate()
    assert child.returncode == 0, errors
    return out.split()


def run(folder, **more):
    return ended(begun(folder, **more))


def kept(folder):
    return sorted((folder / "source/__pycache__").glob("kernel.eighth*"))


def test_a_second_run_finds_what_the_first_compiled(folder):
    assert run(folder) == ["False", "True"]
    assert run(folder) == ["True", "True"]
    assert [path.suffix for path in kept(folder)] == [".nbc", ".nbi"]


@pytest.mark.parametrize("ending", [".nbc", ".nbi"])
@pytest.mark.parametrize(
    "damage", [lambda data: data[: len(data) // 2], lambda _: b"", lambda data: data[:-40] + b"\0" * 40], ids=range(3)
)
def test_damaged_or_cut_code_is_compiled_anew(folder, ending, damage):
    run(folder)
    (path,) = (path for path in kept(folder) if path.suffix == ending)
    path.write_bytes(damage(path.read_bytes()))
    assert run(folder)[1] == "True"
    assert run(folder) == ["True", "True"]


def test_code_of_other_sources_is_never_taken_and_goes(folder):
    run(folder)
    (old,) = (path for path in kept(folder) if path.suffix == ".nbc")
    (folder / "source/kernel.py").write_text(KERNEL.replace("x / 8", "x / 4 / 2"))
    assert run(folder) == ["False", "True"]
    assert old not in kept(folder)


def test_two_first_runs_at_once_both_end_well(folder):
    children = [begun(folder) for _ in range(2)]
    assert [ended(child)[1] for child in children] == ["True", "True"]
    assert run(folder) == ["True", "True"]


@pytest.mark.skipif(os.name == "nt", reason="rights as Unix has them")
def test_where_neither_source_nor_home_can_be_written_a_temporary_folder_serves_later_runs_too(folder):
    # a file in the way of each folder: it stops the super-user too, who may write anywhere
    (folder / "source/__pycache__").write_text("")
    (folder / "home").write_text("")
    (folder / "tmp").mkdir()
    home = str(folder / "home")
    elsewhere = {"HOME": home, "XDG_CACHE_HOME": home, "TMPDIR": str(folder / "tmp")}
    found = run(folder, **elsewhere)
    assert found == ["False", "True", str(folder / "tmp" / f"brimline-kernels-{os.getuid()}")]
    assert (folder / "tmp" / f"brimline-kernels-{os.getuid()}").stat().st_mode & 0o077 == 0
    assert run(folder, **elsewhere)[0] == "True"


@pytest.mark.skipif(os.name == "nt", reason="rights as Unix has them")
def test_a_temporary_folder_that_others_could_write_is_not_used(folder):
    (folder / "source/__pycache__").write_text("")
    (folder / "home").write_text("")
    planted = folder / "tmp" / f"brimline-kernels-{os.getuid()}"
    planted.mkdir(parents=True)
    planted.chmod(0o777)
    home = str(folder / "home")
    found = run(folder, HOME=home, XDG_CACHE_HOME=home, TMPDIR=str(folder / "tmp"))
    assert found[2] != str(planted)
    assert list((folder / "tmp").iterdir()) == [planted]
