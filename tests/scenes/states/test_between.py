"""Lenses between their states: what was judged is told, whatever else about it cannot be worked out."""

from scenes.states import unconfirmed
from scenes.states.between import between_states
from scenes.states.load import load_scene
from scenes.states.state import states_of

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
