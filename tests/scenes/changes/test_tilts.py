"""A tilt that is tried is the tilt of the box that is judged."""

import numpy as np
import pytest

from scenes.changes.tilts import BOX_KEY, Refit
from scenes.scene_file.parse import parse_scene
from scenes.states.state import states_of

SCENE = """brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "20"
focal_mm = 20
f_number = 4
front_diameter_mm = 80
pupil_behind_front_mm = 40
box = {{ {own} }}
[box]
[box.back]
width_mm = 300
height_mm = 260
bore_mm = 200
thickness_mm = 4
"""


@pytest.mark.parametrize("own", ["tilt_deg = 2", "ahead_mm = 6", "offset_mm = [0, 3]"])
def test_a_tilt_of_the_whole_box_is_judged_where_a_lens_has_a_place_of_its_own_for_the_box(own):
    (state,) = states_of(parse_scene(SCENE.format(own=own), source="tilted.toml"))
    fit = Refit(state).fit((BOX_KEY,), 10.0)
    assert fit.box is not None
    plate = fit.box.parts[0].body.inner[0].pose
    # Of a plate turned about x by t the normal is (0, +-sin t, cos t), by the definition of a turn.
    assert plate.rotation[2, 2] == pytest.approx(np.cos(np.radians(10.0)))
    assert abs(plate.rotation[1, 2]) == pytest.approx(np.sin(np.radians(10.0)))
    before = state.box.parts[0].body.inner[0].pose
    assert plate.origin_mm == pytest.approx(before.origin_mm)  # it turns about the middle of the back plate
