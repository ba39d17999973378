"""Lenses between their states: what was judged is told, whatever else about it cannot be worked out."""

from scenes.runtime.engines import engine_of
from scenes.scene_file.parse import parse_scene
from scenes.states import unconfirmed
from scenes.states.between import between_states
from scenes.states.clear_rule import Word
from scenes.states.load import load_scene
from scenes.states.state import states_of
from scenes.verdicts.check import run_check

CLEAR = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "35"
focal_mm = 35
f_number = 2.8
close_focus_mm = 1000
front_diameter_mm = 80
pupil_behind_front_mm = 30
[box]
ahead_mm = 5
[[box.mask]]
at_mm = 10
opening_mm = [150, 120]
"""


def test_a_lens_whose_slips_cannot_be_worked_out_is_clear_as_long_as_its_pupil_is_as_stated(tmp_path, monkeypatch):
    def refuse(_):
        raise MemoryError

    path = tmp_path / "clear.toml"
    path.write_text(CLEAR)
    monkeypatch.setattr(unconfirmed, "clear_while", refuse)
    (judged,) = between_states(states_of(load_scene(path).scene))
    assert judged.clear
    assert judged.clear_while.words == "as long as its pupil is no deeper than stated"


# The margin of this one is 2.03 %: a frame is clear from 2 % on, and a range is shown by a little more.
BY_A_HAIR = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "21"
focal_mm = 21
f_number = 2.8
front_diameter_mm = 114
pupil_walk = [[0, 40, 1, 1], [15, 39.5, 0.99, 1], [30, 38.5, 0.96, 0.99], [40, 37.3, 0.9, 0.98], [47, 26.5, 0.86, 0.97]]
[box]
ahead_mm = 4
[[box.mask]]
at_mm = 28
opening_diameter_mm = 140
"""


def test_a_state_that_is_clear_by_a_hair_is_so_in_its_lenss_range():
    states = states_of(parse_scene(BY_A_HAIR, source="s.toml"))
    checked = run_check(states, engine_of("coverage"), columns=96)
    assert [state.word for state in checked.states] == [Word.CLEAR]
    (judged,) = between_states(states, checked.called_clear)
    assert judged.words == "clear at infinity"
    (unasked,) = between_states(states)
    assert not unasked.clear


def test_a_state_that_is_called_dark_is_so_in_its_lenss_range(tmp_path):
    path = tmp_path / "clear.toml"
    path.write_text(CLEAR)
    states = states_of(load_scene(path).scene)
    (judged,) = between_states(states, {state.key: False for state in states})
    assert judged.words.startswith("not clear")
