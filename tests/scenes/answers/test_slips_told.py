"""A number that looks like a slip is told beside whatever rests on it, by every question: docs/physics.md."""

import json

import pytest

from scenes.registry import questions
from scenes.states.judgement import judge_state, slips
from tests.scenes.answers.test_faults_told import OPTIONS, OWN_TESTS, SLOW, SOUND, show
from tests.scenes.test_cli import run

SHORT_FLAG = SOUND.replace("length_mm = 60", "length_mm = 6")  # a flag of 60 mm, written in cm
WORDS = "length_mm = 6 is too short for a flag of width_mm = 200: written in cm? it would be 60 mm"


def one_line(text):
    return " ".join(text.split())


@pytest.mark.parametrize(
    "question", [pytest.param(name, marks=[pytest.mark.slow] * (name in SLOW)) for name in questions() if name not in OWN_TESTS]
)
def test_every_question_tells_a_number_that_looks_like_a_slip_before_what_rests_on_it(tmp_path, question):
    reply = show(tmp_path, SHORT_FLAG).ask(question, **OPTIONS.get(question, {}))
    assert WORDS in reply.json["cautions"][0]
    assert one_line(reply.text).startswith(f"caution: top flag: {WORDS}")
    assert "what follows rests on it" in one_line(reply.text)


def test_check_has_it_in_its_page_its_json_and_beside_the_one_line_of_a_quiet_run(tmp_path, capsys):
    path = tmp_path / "scene.toml"
    path.write_text(SHORT_FLAG)
    _, out, err = run(capsys, "check", path, "-q")
    assert out.count("\n") == 1
    assert WORDS in err
    _, out, err = run(capsys, "check", path)
    assert WORDS in one_line(out)
    assert WORDS not in one_line(err)
    _, out, _ = run(capsys, "check", path, "--json")
    assert WORDS in json.loads(out)["cautions"][0]


def test_a_number_that_may_be_meant_leaves_clear_and_status_as_they_are(tmp_path):
    sound, slipped = show(tmp_path, SOUND), show(tmp_path, SHORT_FLAG)
    assert judge_state(sound.states[0]).clear
    assert judge_state(slipped.states[0]).clear
    assert slipped.beam(at_mm=20).exit_status == sound.beam(at_mm=20).exit_status == 0


def test_a_box_tried_in_place_of_the_scenes_own_is_told_its_own_numbers(tmp_path):
    state = show(tmp_path, SOUND).states[0]
    (flag,) = state.fitted.flag
    tried = state.with_box(state.fitted.model_copy(update={"flag": (flag.model_copy(update={"length_mm": 6.0}),)}))
    assert slips(state) == ()
    assert [WORDS in note.text for note in slips(tried)] == [True]
    assert slips(tried.with_box(state.fitted)) == ()


def test_a_scene_without_odd_numbers_is_told_none(tmp_path):
    reply = show(tmp_path, SOUND).beam(at_mm=20)
    assert reply.text.startswith("Beam")
    assert not [line for line in reply.json["cautions"] if line.startswith("caution:")]
