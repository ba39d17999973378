"""How often a run looks for cycles among objects."""

import gc
import subprocess
import sys

import pytest

from scenes.cli import main
from scenes.runtime.garbage import YOUNG_OBJECTS


@pytest.fixture(autouse=True)
def _as_before():
    kept = gc.get_threshold()
    yield
    gc.set_threshold(*kept)


@pytest.mark.parametrize(("young", "wanted"), [(700, YOUNG_OBJECTS), (1_000_000, 1_000_000), (0, 0)])
def test_a_run_looks_seldom_and_never_more_often_than_it_was_told_to(young, wanted):
    gc.set_threshold(young, 10, 10)
    main(["list", "words"])
    assert gc.get_threshold() == (wanted, 10, 10)


def test_no_garbage_is_looked_for_as_a_run_ends():
    words = "import atexit, gc; atexit.register(lambda: print(gc.get_freeze_count() > 0))"  # the first told is the last to run
    run = f"{words}; from scenes.cli import main; main(['--version'])"
    ended = subprocess.run([sys.executable, "-c", run], capture_output=True, text=True, check=True)
    assert ended.stdout.splitlines()[-1] == "True"
