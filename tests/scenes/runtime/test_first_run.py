"""The very first run on a machine."""

import subprocess
import sys

import pytest

from raytrace.beam import warm_up as beam_warm_up
from raytrace.coverage import warm_up
from raytrace.judge import warm_up as judge_warm_up
from scenes.cli import main
from scenes.registry import COMMANDS, COMPILED
from scenes.runtime import first_run

JUDGE, BEAM = "raytrace.judge.warm_up:compile_ahead", "raytrace.beam.warm_up:compile_ahead"
TASKS = [("raytrace.coverage.warm_up:compile_listing", JUDGE), ("raytrace.coverage.warm_up:compile_covering",)]


@pytest.fixture(autouse=True)
def _fresh(monkeypatch):
    monkeypatch.setattr(first_run, "_begun", [])
    monkeypatch.setattr(judge_warm_up, "are_compiled", lambda: True)
    monkeypatch.setattr(beam_warm_up, "are_compiled", lambda: True)
    monkeypatch.setattr(first_run.beam_tasks, "kernels_seem_missing", lambda: False)
    kept = (first_run.prepare, first_run.prepare_judge, first_run._say)
    for one in kept:
        one.cache_clear()
    yield
    for one in kept:
        one.cache_clear()


def _sleeper():
    return subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])


def test_the_very_first_run_says_why_it_waits_and_compiles_once(monkeypatch):
    said, compiled = [], []
    monkeypatch.setattr(warm_up, "are_compiled", lambda: False)
    monkeypatch.setattr(warm_up, "compile_ahead", lambda: compiled.append("coverage"))
    monkeypatch.setattr(judge_warm_up, "are_compiled", lambda: False)
    monkeypatch.setattr(judge_warm_up, "compile_ahead", lambda: compiled.append("judge"))
    monkeypatch.setattr(first_run, "tell", said.append)
    first_run.prepare()
    first_run.prepare()
    assert said == [first_run.FIRST_RUN]
    assert compiled == ["judge", "coverage"]


def test_later_runs_say_nothing(monkeypatch):
    said = []
    monkeypatch.setattr(warm_up, "are_compiled", lambda: True)
    monkeypatch.setattr(first_run, "tell", said.append)
    first_run.prepare()
    assert said == []


def test_what_was_begun_early_is_waited_for_with_the_same_word(monkeypatch):
    said, halves = [], []

    def begin(*half):
        halves.append(half)
        return subprocess.Popen([sys.executable, "-c", ""])

    monkeypatch.setattr(first_run, "tasks_seen", lambda: TASKS)
    monkeypatch.setattr(first_run, "begin", begin)
    monkeypatch.setattr(warm_up, "are_compiled", lambda: True)
    monkeypatch.setattr(first_run, "tell", said.append)
    first_run.begin_early()
    children = list(first_run._begun)
    first_run.prepare()
    assert halves == TASKS
    assert said == [first_run.FIRST_RUN]
    assert [child.returncode for child in children] == [0, 0]


def test_the_judge_waits_for_its_own_kernels_alone(monkeypatch):
    said, there = [], [False, True]
    monkeypatch.setattr(judge_warm_up, "are_compiled", lambda: there.pop(0))
    monkeypatch.setattr(judge_warm_up, "compile_ahead", pytest.fail)
    monkeypatch.setattr(first_run, "tell", said.append)
    slow = _sleeper()
    first_run._begun.extend([subprocess.Popen([sys.executable, "-c", ""]), slow])
    first_run.prepare_judge()
    assert said == [first_run.FIRST_RUN]
    assert [child.poll() for child in first_run._begun] == [0, None]
    slow.kill()
    slow.wait()


def test_where_early_processes_leave_nothing_the_program_compiles_itself(monkeypatch):
    said, compiled = [], []
    monkeypatch.setattr(first_run, "tasks_seen", lambda: TASKS)
    monkeypatch.setattr(first_run, "begin", lambda *_: subprocess.Popen([sys.executable, "-c", "raise SystemExit(3)"]))
    monkeypatch.setattr(warm_up, "are_compiled", lambda: False)
    monkeypatch.setattr(warm_up, "compile_ahead", lambda: compiled.append(1))
    monkeypatch.setattr(first_run, "tell", said.append)
    first_run.begin_early()
    first_run.prepare()
    assert said == [first_run.FIRST_RUN]
    assert compiled == [1]


def test_only_what_is_missing_is_begun(monkeypatch):
    monkeypatch.setattr(first_run.judge_tasks, "kernels_seem_missing", lambda: True)
    monkeypatch.setattr(first_run.coverage_tasks, "kernels_seem_missing", lambda: False)
    assert first_run.tasks_seen() == [(JUDGE,)]
    monkeypatch.setattr(first_run.coverage_tasks, "kernels_seem_missing", lambda: True)
    assert first_run.tasks_seen() == TASKS
    monkeypatch.setattr(first_run.beam_tasks, "kernels_seem_missing", lambda: True)
    assert first_run.tasks_seen() == [TASKS[0], (*TASKS[1], BEAM)]
    monkeypatch.setattr(first_run.coverage_tasks, "kernels_seem_missing", lambda: False)
    assert first_run.tasks_seen() == [(JUDGE, BEAM)]


def test_nothing_is_begun_where_code_lies_on_disk(monkeypatch):
    monkeypatch.setattr(first_run, "tasks_seen", list)
    monkeypatch.setattr(first_run, "begin", pytest.fail)
    first_run.begin_early()
    assert first_run._begun == []


def test_a_program_that_ends_early_leaves_no_process_behind(monkeypatch):
    monkeypatch.setattr(first_run, "tasks_seen", lambda: TASKS)
    monkeypatch.setattr(first_run, "begin", lambda *_: _sleeper())
    first_run.begin_early()
    first_run._end()
    assert all(child.returncode for child in first_run._begun)


@pytest.mark.parametrize(("words", "times"), [(["check", "no-such.toml"], 1), (["check", "--help"], 0), (["new", "--help"], 0)])
def test_only_commands_that_need_compiled_code_begin_to_compile(monkeypatch, words, times):
    began = []
    monkeypatch.setattr(first_run, "begin_early", lambda: began.append(1))
    main(words)
    assert len(began) == times


def test_all_commands_that_need_compiled_code_are_commands():
    assert set(COMMANDS) >= COMPILED
