"""The next plan: at infinity a box further ahead and a deeper pupil move every shadow alike, so a still up close comes next."""

import tomllib
from dataclasses import replace

import pytest

from scenes.questions.compare.answer import answer
from scenes.questions.compare.next_plan import next_lines, next_notes
from scenes.questions.compare.shoot import read_notes
from scenes.states.load import load_scene
from tests.scenes.questions.compare.made_shoot import SCENE, make_shoot

UNKNOWN = ("box.ahead_mm", "lens[28].pupil_behind_front_mm")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    scene = SCENE.replace('focus_mm = ["infinity"]', 'focus_mm = ["infinity", 600]')
    made = tmp_path_factory.mktemp("next") / "shoot"
    return make_shoot(
        made, true={"box.ahead_mm": 9, "lens[28].pupil_behind_front_mm": 50}, unknown=UNKNOWN, scene=scene, columns=480
    )


@pytest.fixture(scope="module")
def found(folder):
    return answer(load_scene(folder / "scene.toml"), shoot=folder / "shoot.toml")


def test_what_stays_unknown_gets_a_still_up_close_with_the_error_that_it_would_leave(found):
    lines = list(next_lines(found.found))
    assert lines[0] == "Not known: box.ahead_mm and lens[28].pupil_behind_front_mm."
    assert lines[1].startswith("Shoot 1, box on and box off: focus 600 mm, f/2.8. After it: box.ahead_mm ± 0.")
    assert lines[-1] == "Set-ups, labels and what each shot should read: brimline plan SCENE --out plan."
    (row,) = found.data()["next_shots"]
    assert (row["focus_mm"], row["f_number"]) == (600, 2.8)
    assert all(0 < error["standard_error"] < 2 for error in row["errors"])


def test_its_rows_go_into_the_notes_as_they_are(found, folder):
    rows = next_notes(found.found)
    assert 'curve = "?"' in rows
    assert 'code_range = "full"' in rows  # as in the notes that there are
    notes = folder / "more.toml"
    notes.write_text((folder / "shoot.toml").read_text() + rows.replace('"?"', '"srgb"'))
    assert len(tomllib.loads(notes.read_text())["picture"]) == 2
    assert [shot.state.focus_mm for shot in read_notes(load_scene(folder / "scene.toml"), notes).shots] == [float("inf"), 600]


def test_where_nothing_was_left_free_there_is_no_next_plan(found):
    measured = replace(found.found.notes, unknowns=())
    assert list(next_lines(replace(found.found, notes=measured))) == []
