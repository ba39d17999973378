"""Linear algebra keeps to one thread in the program, unless somebody has said else."""

import os

from scenes.runtime.blas import VARIABLES, hold_to_one_thread


def test_threads_are_held_to_one_but_what_somebody_has_set_stays(monkeypatch):
    for name in VARIABLES:
        monkeypatch.setenv(name, "")
        monkeypatch.delenv(name)
    monkeypatch.setenv(VARIABLES[0], "3")
    hold_to_one_thread()
    assert [os.environ[name] for name in VARIABLES] == ["3", *("1" for _ in VARIABLES[1:])]
