"""A lens whose nearest focus stands only in a state row is looked at there, by every command."""

import pytest

from scenes.scene_file.errors import SceneError
from scenes.show import load
from scenes.states.judgement import judge_state

SCENE = """
brimline = 1
[camera]
format = "36x24"
pixels = [60, 40]
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 136
front_to_sensor_mm = 150
[[lens.state]]
focus_mm = "infinity"
pupil_behind_front_mm = 40
half_field_deg = 35.8
[[lens.state]]
focus_mm = 400
pupil_behind_front_mm = 60
half_field_deg = 40
[box]
ahead_mm = 2
[[box.mask]]
name = "mask"
at_mm = 28
opening_mm = [128, 94]
"""


@pytest.fixture
def show(tmp_path):
    def loaded(text=SCENE):
        path = tmp_path / "scene.toml"
        path.write_text(text)
        return load(path)

    return loaded


def test_a_row_nearer_than_infinity_is_looked_at_without_a_close_focus(show):
    # a frame 36 mm wide at half 40 deg, pupil 60 + 30 mm behind the mask: 90 tan 40 = 75 mm to either side of 64 mm of opening
    states = show().states
    assert [state.focus_mm for state in states] == [float("inf"), 400.0]
    assert [judge_state(state).clear for state in states] == [True, False]
    assert any("nearest state row, 400 mm" in note.text for note in states[0].notes)


def test_the_row_can_be_asked_for_and_masks_and_widest_look_at_it(show):
    assert show().state("25", focus=400).focus_mm == show().state("25", focus="close").focus_mm == 400.0
    assert "nearest state row, 400 mm" in " ".join(show().masks().text.split())
    assert {state.focus_mm for state in show().widest().answer.states} == {float("inf"), 400.0}


def test_a_close_focus_that_is_given_stays_the_nearest(show):
    states = show(SCENE.replace("front_to_sensor_mm = 150", "front_to_sensor_mm = 150\nclose_focus_mm = 380")).states
    assert [state.focus_mm for state in states] == [float("inf"), 380.0]
    assert not any("nearest state row" in note.text for note in states[0].notes)


def test_a_row_focused_inside_the_lens_is_refused(show):
    with pytest.raises(SceneError, match=r"state\[2\]\.focus_mm: must lie in front of the lens, beyond front_to_sensor_mm = 150"):
        show(SCENE.replace("focus_mm = 400", "focus_mm = 40"))
