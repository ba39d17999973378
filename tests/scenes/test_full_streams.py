"""What a run prints goes to a place that can hold no more: its files are there, and one sentence says what is not."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FULL = Path("/dev/full")  # full(4): every write to it finds the disk full
SCENE = (ROOT / "tests/scenes/test_faults.py").read_text(encoding="utf-8").partition('SCENE = """')[2].partition('"""')[0]
pytestmark = pytest.mark.skipif(not FULL.exists(), reason="no /dev/full here")


def run(*words, out=subprocess.PIPE, err=subprocess.PIPE):
    command = [sys.executable, "-m", "scenes.cli", *map(str, words)]
    return subprocess.run(command, cwd=ROOT, stdout=out, stderr=err, text=True, check=False)


@pytest.fixture
def scene(tmp_path):
    (tmp_path / "s.toml").write_text(SCENE.format(title="t"))
    return tmp_path / "s.toml"


@pytest.mark.parametrize("form", [(), ("--json",)])
def test_a_full_standard_output_costs_no_result_and_is_told_by_its_name(scene, form):
    with FULL.open("w") as full:
        done = run("beam", scene, "--at", 60, "--out", scene.parent / "out", *form, out=full)
    assert done.returncode == 2
    (said,) = [line for line in done.stderr.splitlines() if line.startswith("error:")]
    assert "standard output: cannot be written (No space left on device); print to the screen, or free the disk" in said
    assert "Traceback" not in done.stderr
    assert (scene.parent / "out/beam.json").exists()


def test_a_full_standard_error_costs_nothing(scene):
    with FULL.open("w") as full:
        done = run("beam", scene, "--at", 60, "--out", scene.parent / "out", err=full)
        wrong = run("nonsense", err=full)
    assert (done.returncode, wrong.returncode) == (0, 2)
    assert "wrote" in done.stdout
    assert (scene.parent / "out/beam.json").exists()
