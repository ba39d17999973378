"""Parts that stand in the beam whatever flags do are named, by similar triangles; flags are not blamed for them."""

import pytest

from scenes.answers.answer import answer_text
from scenes.questions.flags.answer import answer
from scenes.states.load import load_scene

SCENE = """
brimline = 1

[camera]
width_mm = 36
height_mm = 24
pixels = [600, 400]

[[lens]]
name = "a"
focal_mm = 24
f_number = 3
front_diameter_mm = 60
pupil_behind_front_mm = 40

[box]

[[box.mask]]
name = "plate"
at_mm = 20
thickness_mm = 1
opening_mm = [{width}, 130]

[box.hood]
at_mm = 30
depth_mm = 20
rear_mm = [300, 300]
front_mm = [300, 300]

[[box.flag]]
side = "top"
angle_deg = 80
length_mm = 60
width_mm = 200

[check]
focus_mm = ["infinity"]
"""
BEAM_MM = 18 / 24 * (21 + 40) + 24 / 6  # half width of the beam at the plate's front face


@pytest.mark.parametrize(("room_mm", "in_beam"), [(-3.0, True), (3.0, False)])
def test_a_mask_in_the_beam_is_named_beside_open_flags_that_are_not_blamed(tmp_path, room_mm, in_beam):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(width=2 * (BEAM_MM + room_mm)))
    found = answer(load_scene(path))
    assert bool(found.rest) == in_beam
    assert ("plate, 3.0 mm (a, infinity, f/3)" in answer_text(found)) == in_beam
    assert found.exit_status == 0  # by the flag, which stands far out
    if in_beam:
        assert found.rest[0].depth_mm == pytest.approx(3.0, abs=0.05)
