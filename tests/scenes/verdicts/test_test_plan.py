"""What a test plan asks for: made-up results, so that the choice and the words are what is tested."""

from dataclasses import replace

import numpy as np
import pytest

from geometry.notes import Note, Severity
from scenes.scene_file.tables.lens import Lens
from scenes.states.clear_rule import Word
from scenes.states.lens_judgement import LensJudgement
from scenes.states.unconfirmed import ClearWhile, Number
from scenes.verdicts.test_plan import plan_lines, shots, wanted_words
from tests.scenes.questions.check.test_results_json import check, clear_state, guide, state, with_little_room


def test_each_lens_is_shot_at_its_tightest_and_at_every_focus_where_it_is_less_than_clear():
    made = check(
        clear_state(key="50_inf_f2", lens="50"),
        clear_state(key="50_at_500_f2", lens="50", focus=500.0),
        state(guide(word=Word.TIGHT, loss=0.02), key="18_inf_f2", lens="18"),
        state(guide(word=Word.IN_FRAME, loss=1.4), key="18_at_350_f2", lens="18", focus=350.0),
    )
    assert [(shot.state.lens_name, shot.state.focus_mm) for shot in shots(made)] == [("18", 350.0), ("18", np.inf), ("50", np.inf)]


def test_the_plan_says_where_to_look_and_what_to_expect():
    text = " ".join(" ".join(plan_lines(check(state(guide(loss=0.5))), "A show")).split())
    assert "look at the bottom left corner; expect 0.25 to 0.50 stop less light, by the left flag, depending on the pupil" in text
    assert "to do: open the left flag" in text
    dark = replace(guide(loss=np.inf), worst=replace(guide(loss=np.inf).worst, range_stops=(np.inf, np.inf)))
    assert "expect no light at all, by the left flag" in " ".join(" ".join(plan_lines(check(state(dark)), "")).split())


def test_a_clear_lens_is_still_confirmed_and_pupils_known_by_bounds_are_measured_first():
    known = clear_state()
    bounds = replace(known, pupils=("pupil 40 mm behind the front", "pupil 44 mm behind the front"))
    text = " ".join(" ".join(plan_lines(check(bounds), "")).split())
    assert "expect no darkening; the frame could grow by 9 % before any shows" in text
    assert "[ ] 18: where its entrance pupil lies, by parallax (pupil_behind_front_mm)" in text
    assert "parallax" not in " ".join(plan_lines(check(known), ""))


@pytest.mark.parametrize(
    ("number", "told"),
    [
        (Number.PUPIL, "by parallax (pupil_behind_front_mm); clear as long as its pupil is no deeper than 61 mm (43 stated)"),
        (Number.FIELD, "left and right (half_field_deg); clear as long as it sees no more than 18 % wider than stated"),
    ],
)
def test_what_a_clear_lens_rests_on_is_measured_first(number, told):
    lens = Lens.model_validate({"name": "18", "focal_mm": 18, "f_number": 2, "front_diameter_mm": 114, "pupil_behind_front_mm": 43})
    rests = ClearWhile(number=number, off_by=18.0, stated_mm=43.0 if number is Number.PUPIL else None)
    made = replace(check(clear_state()), lenses=(LensJudgement(lens=lens, spans=(), clear_while=rests),))
    text = " ".join(" ".join(plan_lines(made, "")).split())
    asked = {Number.PUPIL: "where its entrance pupil lies, ", Number.FIELD: "field of view at infinity, measured "}
    assert f"[ ] 18: {asked[number]}{told}" in text


def test_a_lens_whose_fixed_pupil_has_too_little_room_is_on_the_plan_at_every_such_focus_and_its_walk_is_to_be_measured():
    near = with_little_room(step="confirm it on the test shoot (mask, top), or give the lens its pupil_walk")
    made = check(clear_state(), state(near, key="18_at_350_f2", focus=350.0), state(near, key="18_at_900_f2", focus=900.0))
    assert {shot.state.focus_mm for shot in shots(made)} == {350.0, 900.0}
    text = " ".join(" ".join(plan_lines(made, "")).split())
    assert "[ ] 18: the pupil again, with the lens panned until the target sits at the frame edge (pupil_walk); " in text
    assert "at focus 350 mm, f/2: 1.2 mm of room, 2.5 mm wanted until the pupil is measured off axis" in text
    assert "to do: confirm it on the test shoot (mask, top)" in text


@pytest.mark.parametrize(("room_mm", "told"), [(1.2, "1.2"), (2.47, "2.47"), (-0.3, "0.0")])
def test_room_that_is_not_enough_never_reads_as_enough(room_mm, told):
    short = replace(guide(loss=0.0), room_mm=room_mm, room_needed_mm=2.5)
    assert wanted_words(short) == f"{told} mm of room, 2.5 mm wanted until the pupil is measured off axis"


def test_a_field_that_is_a_guess_at_the_nearest_focus_is_to_be_measured():
    guesses = ((900.0, 11.6), (350.0, 42.4))
    near, nearer = (replace(clear_state(focus=focus), field_guess_percent=(guess, guess)) for focus, guess in guesses)
    text = " ".join(" ".join(plan_lines(check(nearer, near, clear_state()), "")).split())
    told = "[ ] 18: field of view at 350 mm focus, measured left and right (half_field_deg); assumed 42 % wider than at infinity"
    assert told in text
    assert "at 900 mm focus" not in text


def test_faults_are_to_be_changed_before_the_shoot_and_cautions_to_be_looked_at():
    fault, caution = Note("top flag", "meets the hood", Severity.FAULT), Note("rods", "are not in the scene", Severity.CAUTION)
    lines = plan_lines(check(replace(clear_state(), notes=(caution, fault)), clear_state(key="50_inf_f2")), "")
    heads = ("Change before", "Measure first")
    change, measure = (next(i for i, line in enumerate(lines) if line.startswith(head)) for head in heads)
    assert lines[change + 2 : measure] == ["[ ] top flag: meets the hood", ""]
    assert lines[measure + 2] == "[ ] rods: are not in the scene"
    assert not any(line.startswith(heads) for line in plan_lines(check(clear_state()), ""))


def test_the_plan_keeps_to_a_hundred_columns():
    assert max(map(len, plan_lines(check(state(), clear_state()), "x"))) <= 100
