"""What every test gets: a place of its own for finished states, so that none is taken from another test or from a person's runs."""

import pytest


@pytest.fixture(autouse=True)
def _own_place_for_finished_states(tmp_path_factory, monkeypatch):
    monkeypatch.setenv("BRIMLINE_CACHE", str(tmp_path_factory.mktemp("kept")))
