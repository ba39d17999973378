"""How often a run looks for cycles among objects."""

import gc

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
