"""A plate of glass lets the beam cross a flag nearer the axis (docs/physics.md, Glass): angles at its edge hold with it in."""

import pytest

from scenes.show import load
from scenes.states.judgement import judge_state

SCENE = """
brimline = 1
[camera]
format = "36x24"
pixels = [60, 40]
[[lens]]
name = "20"
focal_mm = 20
f_number = 2.8
front_diameter_mm = 114
front_to_sensor_mm = 150
pupil_behind_front_mm = 40
[box]
[[box.stage]]
name = "tray"
at_mm = 8
depth_mm = 12
opening_mm = [200, 150]
filter = { width_mm = 210, height_mm = 160, thickness_mm = 10 }
[[box.flag]]
name = "top flag"
side = "top"
angle_deg = 70
length_mm = 80
width_mm = 300
hinge_mm = 90
at_mm = 40
"""


@pytest.fixture
def show(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE)
    return load(path)


def test_the_angle_at_which_a_flag_touches_is_said_to_hold_with_the_filters_in(show):
    found = show.flags()
    (flag,) = found.answer.flags
    touch_deg = flag.states[0].limits.touch_deg
    at_touch = judge_state(show.with_values({"box.flag[top flag].angle_deg": touch_deg}).states[0])
    with_glass, without = (
        next(room.room_mm for room in rooms if room.part == "top flag") for rooms in (at_touch.rooms, at_touch.empty_rooms)
    )
    assert with_glass > -0.1
    assert without < -1.0  # of 10 mm of glass at 31 deg: 10 sin 31 (1 - cos 31 / sqrt(1.5168^2 - sin^2 31)), 2.1 mm
    assert any("hold with the filters in the trays" in words for words in found.json["cautions"])


def test_a_box_without_filters_is_told_nothing_of_trays(show):
    bare = show.with_values({"box.stage[tray].filter": None}).flags()
    assert not any("trays" in words for words in bare.json["cautions"])
