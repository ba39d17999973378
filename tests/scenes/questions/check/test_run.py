"""What a run says of its folder, and in how many processes it works."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from scenes.answers.options import Wanted
from scenes.questions.check import run
from scenes.questions.check.run import Asked, Done, state_failed, workers_for, written_words
from scenes.runtime import worker_pool
from scenes.runtime.worker_pool import WorkerDied
from scenes.states.clear_rule import Limits
from scenes.verdicts.check import CheckResult
from tests.scenes.check_made import plan
from tests.scenes.questions.check.test_results_json import FAILED, state

OUT = Path("out")
SCENE_FILE = Path(__file__).parents[4] / "scenes" / "data" / "example.toml"
PICTURED = replace(state(), files=("18/map.npz", "18/map.png"))
PLAIN = replace(state(), files=("18/map.npz",))


@pytest.mark.parametrize(
    ("states", "failed", "words"),
    [
        ((PICTURED,), (), "Pictures, maps and results.json are in out"),
        ((PLAIN,), (), "Maps and results.json, no pictures, are in out"),
        (
            (PICTURED,),
            FAILED,
            "Pictures, maps and results.json are in out; there are none for the 1 state that could not be computed",
        ),
        ((), FAILED, "No state could be computed, so no maps and no pictures were written; out/results.json says why."),
    ],
)
def test_the_closing_line_tells_what_was_written(states, failed, words):
    check = CheckResult(states=states, failed=failed, limits=Limits(visible_loss_stops=0.1))
    assert written_words([Done(check=check, results={}, trouble=())], OUT) == words


@pytest.mark.parametrize(
    ("asked", "states", "workers"),
    [
        (Asked(threads=2), 40, 1),
        (Asked(threads=1), 40, 0),  # one core asked for
        (Asked(threads=8), 7, 0),  # too few to be worth a second process
        (Asked(threads=8), 8, 1),
        (Asked(threads=8, parts=True), 2, 0),
        (Asked(threads=8, parts=True), 4, 1),
        (Asked(threads=8, device="gpu"), 40, 0),
        (Asked(threads=256), 400, worker_pool.MOST_PROCESSES - 1),
    ],
)
def test_workers_are_as_many_as_pay(monkeypatch, asked, states, workers):
    monkeypatch.setattr(worker_pool, "memory_bytes", lambda: 1e15)
    assert workers_for(asked, [plan()] * states) == workers


@pytest.mark.parametrize(("gigabytes", "workers"), [(2, 0), (4, 1), (1, 0)])
def test_workers_are_no_more_than_the_memory_holds(monkeypatch, gigabytes, workers):
    monkeypatch.setattr(worker_pool, "memory_bytes", lambda: gigabytes * 1.1e9)
    assert workers_for(Asked(threads=8), [plan()] * 40) == workers


def test_a_state_that_costs_its_process_is_told_in_a_sentence():
    failed = state_failed(plan(), WorkerDied(-9), Limits(visible_loss_stops=0.1)).check.failed[0]
    assert failed.key == plan().key
    assert "status -9" in failed.why
    assert "--pixels" in failed.why


def test_faults_of_the_scenes_own_numbers_are_told_before_anything_is_traced(monkeypatch, tmp_path, capsys):
    text = Path("scenes/demo/demo-36x24.toml").read_text(encoding="utf-8")
    path = tmp_path / "typo.toml"
    path.write_text(text.replace('name = "18"\nfocal_mm = 18', 'name = "18"\nfocal_mm = 21.5'), encoding="utf-8")
    shutil.copytree("scenes/demo/glass", tmp_path / "glass")
    traced = []
    monkeypatch.setattr(run, "run_jobs", lambda *_: traced.append(capsys.readouterr().err) or [])
    monkeypatch.setattr(run, "answered", lambda *_: 1)
    assert run.check_file(path, Wanted(lenses=("18",)), None, Asked()) == 1
    (before,) = traced
    assert 'fault: 18: focal_mm = 21.5 speaks against the name "18"' in before


@pytest.mark.parametrize("later", ["# nothing new\n", "broken = [", None])
def test_an_answer_of_a_file_that_has_changed_in_the_meantime_says_so(monkeypatch, tmp_path, capsys, later):
    """As a scene that is still being saved, or goes on being worked on, while a long run reads and judges it."""
    path = tmp_path / "s.toml"
    shutil.copy(SCENE_FILE, path)

    def meanwhile(*_):
        path.unlink() if later is None else path.write_text(path.read_text() + later)
        return []

    monkeypatch.setattr(run, "run_jobs", meanwhile)
    monkeypatch.setattr(run, "answered", lambda *_: 0)
    run.check_file(path, Wanted(), None, Asked())
    assert (
        "the scene file has changed since it was read: this answer is of the file as it was; run again" in capsys.readouterr().err
    )


def test_an_answer_of_a_file_that_stands_as_it_was_says_nothing_of_it(monkeypatch, capsys):
    monkeypatch.setattr(run, "run_jobs", lambda *_: [])
    monkeypatch.setattr(run, "answered", lambda *_: 0)
    run.check_file(SCENE_FILE, Wanted(), None, Asked())
    assert "has changed" not in capsys.readouterr().err
