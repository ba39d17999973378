"""Lights of a scene file as directions in the frame; expectations from the frame's definition and plain trigonometry."""

import numpy as np
import pytest

from scenes.rig.lights import light_place, lights_of, suns_of
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.tables.light import Light


def test_a_light_to_the_operators_right_has_negative_x():
    light = light_place(Light(name="lamp", azimuth_deg=30, elevation_deg=10))
    ten, thirty = np.radians([10, 30])
    expected = [-np.cos(ten) * np.sin(thirty), np.sin(ten), np.cos(ten) * np.cos(thirty)]
    assert light.direction == pytest.approx(expected)
    assert light.direction_from(np.array([5.0, 6.0, -40.0])) == pytest.approx(expected)  # far away: the same from anywhere


def test_a_lamp_in_the_set_is_seen_from_where_one_stands():
    lamp = light_place(Light(name="lamp", position_mm=(-2600, 1900, 1500), size_mm=400))
    assert lamp.place_mm == pytest.approx([2600, 1900, 1500])  # 2600 to the operator's left is +x
    pupil = np.array([0.0, 0.0, -100.0])
    assert lamp.direction_from(pupil) == pytest.approx(np.array([2600, 1900, 1600]) / np.sqrt(2600**2 + 1900**2 + 1600**2))
    distance = np.sqrt(2600**2 + 1900**2 + 1600**2)
    assert lamp.distance_from(pupil) == pytest.approx(distance)
    assert lamp.width_from(pupil) == pytest.approx(np.degrees(2 * np.arctan(200 / distance)))


SUN = """
brimline = 1
camera = { format = "36x24" }
lens = [{ name = "18", focal_mm = 18, f_number = 2, front_diameter_mm = 114, pupil_behind_front_mm = 38 }]
[box]
mount = "clamp"
[[light]]
name = "sun"
sun = { latitude_deg = 39.742476, longitude_deg = -105.1786, time = 2003-10-17T12:30:30-07:00, camera_heading_deg = 180 }
[[light]]
name = "midnight"
sun = { latitude_deg = 39.742476, longitude_deg = -105.1786, time = 2003-10-18T00:30:30-07:00, camera_heading_deg = 180 }
"""


def test_the_sun_stands_right_of_a_camera_that_looks_south_after_noon():
    # NREL/TP-560-34302, example: azimuth 194.34024, 39.872046 high: 14.34 deg right of south
    sun, night = lights_of(parse_scene(SUN, source="s.toml"))
    azimuth = np.degrees(np.arctan2(-sun.direction[0], sun.direction[2]))
    assert azimuth == pytest.approx(14.34024, abs=0.02)
    assert np.degrees(np.arcsin(sun.direction[1])) == pytest.approx(39.872046, abs=0.04)  # refraction lifts it by 0.02
    assert sun.width_deg == pytest.approx(2 * 959.63 / 3600 / 0.9965, abs=2e-4)  # distance in mid October, from memory
    assert sun.is_up
    assert not night.is_up


def test_suns_are_listed_by_name():
    assert [name for name, _ in suns_of(parse_scene(SUN, source="s.toml"))] == ["sun", "midnight"]
