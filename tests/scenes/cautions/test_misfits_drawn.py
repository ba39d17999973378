"""A drawn opening that leaves next to no rim inside its mask's outer_mm gets a word, off the middle or not."""

import ezdxf
import pytest

from scenes.states.judgement import slips
from scenes.states.load import load_scene
from scenes.states.state import states_of

SCENE = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "35"
focal_mm = 35
f_number = 2.8
front_diameter_mm = 95
pupil_behind_front_mm = 40
[box]
ahead_mm = 4
[[box.mask]]
name = "mask"
at_mm = 28
outline = "cut.dxf"
outer_mm = [150, 110]
"""


@pytest.mark.parametrize(
    ("left_mm", "right_mm", "told"),
    [
        (-74, 74, "outer_mm = [150, 110] leaves a rim of 1.0 mm round its drawn opening of 148 x 80 mm"),
        (-60, 73.5, "outer_mm = [150, 110] leaves a rim of 1.5 mm round its drawn opening of 133.5 x 80 mm"),
        (-60, 60, None),
    ],
)
def test_a_thin_rim_round_a_drawn_opening_is_told(tmp_path, left_mm, right_mm, told):
    drawing = ezdxf.new(units=4)
    drawing.modelspace().add_lwpolyline([(left_mm, -40), (right_mm, -40), (right_mm, 40), (left_mm, 40)], close=True)
    drawing.saveas(tmp_path / "cut.dxf")
    (tmp_path / "a.toml").write_text(SCENE)
    found = load_scene(tmp_path / "a.toml")
    state, *_ = states_of(found.scene, found.resources)
    rims = [note.text for note in slips(state) if "leaves a rim" in note.text]
    assert rims == ([f"{told}; measure both"] if told else [])
