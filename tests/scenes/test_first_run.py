"""The very first run on a machine."""

from raytrace.coverage import ahead
from scenes import first_run


def test_the_very_first_run_says_why_it_waits_and_compiles_once(monkeypatch):
    said, compiled = [], []
    monkeypatch.setattr(ahead, "are_compiled", lambda: False)
    monkeypatch.setattr(ahead, "compile_ahead", lambda: compiled.append(1))
    monkeypatch.setattr(first_run, "tell", said.append)
    first_run.prepare.cache_clear()
    first_run.prepare()
    first_run.prepare()
    first_run.prepare.cache_clear()
    assert said == [first_run.FIRST_RUN]
    assert compiled == [1]


def test_later_runs_say_nothing(monkeypatch):
    said = []
    monkeypatch.setattr(ahead, "are_compiled", lambda: True)
    monkeypatch.setattr(first_run, "tell", said.append)
    first_run.prepare.cache_clear()
    first_run.prepare()
    assert said == []
