"""What a light asks of flags over a lens's whole range: no state between those checked asks more than is told."""

import math

import numpy as np
import pytest

from scenes.changes.flag_cuts import PAIR_ANGLES, FlaglessBoxes, light_in_state, lights_in_states
from scenes.changes.flag_places import flag_places
from scenes.states.full_range import checked_ranges
from scenes.states.load import load_scene, plans_of
from scenes.states.stray import stray_lights

# Two pupils: the beam is wide at infinity and tall close up, so that between the two it reaches out at the corners.
SCENE = """
brimline = 1
[camera]
width_mm = 54
height_mm = 26
pixels = [540, 260]
[[lens]]
name = "squeezed"
focal_mm = 60
f_number = 2.8
squeeze = 1.6
front_diameter_mm = 100
front_to_sensor_mm = 200
pupil_behind_front_mm = {{ horizontal = 40, vertical = 110 }}
close_focus_mm = 700
[box]
mount = "rods-19"
back = {{ width_mm = 220, height_mm = 180, bore_mm = 102 }}
seal = {{ kind = "donut" }}
[[box.stage]]
at_mm = 8
depth_mm = 8
opening_mm = [200, 160]
filter = {{ width_mm = 210, height_mm = 170 }}
[box.hood]
at_mm = 18
depth_mm = 30
rear_mm = [200, 160]
front_mm = [230, 180]
[[box.flag]]
side = "top"
angle_deg = 80
length_mm = 160
width_mm = 500
[[box.flag]]
side = "right"
angle_deg = 80
length_mm = 160
width_mm = 400
[[light]]
name = "lamp"
azimuth_deg = {azimuth}
elevation_deg = {elevation}
width_deg = 0.5
[check]
f_numbers = [2.8]
focus_mm = ["infinity", "close"]
"""


@pytest.mark.parametrize("known", [0, 1])  # at infinity, close up
def test_a_focus_that_is_only_passed_through_asks_as_much_of_a_flag_as_one_that_is_checked(tmp_path, known):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(azimuth=50, elevation=35))
    show = load_scene(path)
    plans, (light,), flagless = plans_of(show), stray_lights(show.scene), FlaglessBoxes()
    passed = [*(plan for one in checked_ranges(plans) for plan in one.plans[::6]), plans[1 - known]]
    start = {place.name: 30.0 for place in flag_places(plans[0])}
    told = list(lights_in_states(flagless, [light], [plans[known]], passed, start))
    for plan in passed:
        seen = light_in_state(light, plan, flagless.target(plan), flagless.world(plan), flag_places(plan), start)
        for name, asked in seen.cut_deg.items():
            assert math.isfinite(asked)
            assert min(one.cut_deg[name] for one in told) <= asked + 0.005
        for pair, curve in seen.second_deg.items():
            least = np.min([one.second_deg[pair] for one in told], axis=0)
            assert shared_room_deg(least, start, pair) <= shared_room_deg(curve, start, pair) + 0.5  # two flags: to half a degree


def shared_room_deg(second_deg, start, pair):
    """The room that two flags leave the frame where both leave the same."""
    return max(np.minimum(PAIR_ANGLES - start[pair[0]], second_deg - start[pair[1]]))
