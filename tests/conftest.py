"""What every test gets: a place of its own for finished states, so that none is taken from another test or from a person's runs."""

import pytest
from hypothesis import settings

settings.register_profile("untimed", deadline=None)  # a busy machine is no fault
settings.load_profile("untimed")


@pytest.fixture(autouse=True)
def _own_place_for_finished_states(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("BRIMLINE_CACHE", str(tmp_path_factory.mktemp("kept")))
