"""Light on the glass against a ray cast of its own: thousands of places of both faces, tens of directions of the light, triangles.

Scenes in which an independent ray tracer found the program wrong, and boxes by chance.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from raytrace.ghosts.paths import pupil_mm
from raytrace.ghosts.seen import light_from, seen_light
from raytrace.stray.flag_light import Shield, shading_of
from raytrace.stray.light_on_glass import Reach, reach_of
from scenes.changes.flag_collisions import with_flag
from scenes.changes.flag_cuts import FlaglessBoxes, sides_of
from scenes.changes.flag_places import places_in, set_flags
from scenes.rig.lights import lights_of
from scenes.states.load import load_scene, plans_of
from scenes.states.names import middle_variant
from scenes.states.state import State
from scenes.states.stray import light_in_frame, setup_of, stray_lights
from tests.scenes.light_cast import Glass, beam_on_glass, lit_share, walls
from tests.scenes.random_boxes import random_scene

# Two stages, a tilted box, flags at top and bottom; the lights stand high.
TILTED = """brimline = 1
[camera]
width_mm = 54.12
height_mm = 25.58
pixels = [1200, 567]
[[lens]]
name = "a"
focal_mm = 32
f_number = 1.8
front_diameter_mm = 114
front_to_sensor_mm = 150
pupil_behind_front_mm = 40.613
close_focus_mm = 350
[box]
ahead_mm = 3.518
tilt_deg = -1.026
back = { width_mm = 260, height_mm = 230, bore_mm = 126 }
seal = { kind = "donut" }
[[box.stage]]
name = "t1"
at_mm = 8
depth_mm = 8
opening_mm = [131.562, 76.149]
corner_mm = 4
filter = { width_mm = 141.56, height_mm = 86.15, thickness_mm = 4 }
[[box.stage]]
name = "t2"
at_mm = 19
depth_mm = 8
opening_mm = [148.704, 83.48]
filter = { width_mm = 158.7, height_mm = 93.48, thickness_mm = 4 }
[box.hood]
at_mm = 33
depth_mm = 76.194
rear_mm = [168.481, 102.366]
front_mm = [302.417, 165.671]
[[box.flag]]
side = "top"
angle_deg = 49.95
length_mm = 109.83
width_mm = 375.37
[[light]]
name = "L3"
azimuth_deg = -12.605
elevation_deg = 51.097
width_deg = 0.53
[[light]]
name = "L30"
azimuth_deg = -11.530
elevation_deg = 52.602
width_deg = 0.53
[check]
focus_mm = [600]
"""
PLAIN = """brimline = 1
[camera]
width_mm = 36
height_mm = 24
pixels = [600, 400]
[[lens]]
name = "a"
focal_mm = 28
f_number = 2.8
front_diameter_mm = 100
pupil_walk = [[0, 40, 1, 1], [60, 40, 1, 1]]
[box]
ahead_mm = 3
back = { width_mm = 190, height_mm = 160, bore_mm = 112 }
seal = { kind = "donut" }
[[box.stage]]
at_mm = 8
depth_mm = 8
opening_mm = [130, 97]
filter = { size = "4x5.65", thickness_mm = 4 }
[box.hood]
at_mm = 18
depth_mm = 40
rear_mm = [150, 110]
front_mm = [190, 140]
[[box.flag]]
side = "top"
angle_deg = 80
length_mm = 110
width_mm = 300
[[box.flag]]
side = "right"
angle_deg = 80
length_mm = 110
width_mm = 180
[[light]]
name = "high"
azimuth_deg = 10
elevation_deg = 52
width_deg = 2
[[light]]
name = "side"
azimuth_deg = 58
elevation_deg = 8
width_deg = 2
[check]
focus_mm = ["infinity"]
"""
LITTLE = """brimline = 1
[camera]
width_mm = 36.7
height_mm = 25.54
pixels = [1200, 835]
[[lens]]
name = "a"
focal_mm = 21
f_number = 1.8
front_diameter_mm = 95
front_to_sensor_mm = 150
pupil_behind_front_mm = 29.956
close_focus_mm = 350
[box]
ahead_mm = 1.471
offset_mm = [0.497, 0.0]
back = { width_mm = 260, height_mm = 230, bore_mm = 107 }
seal = { kind = "donut" }
[[box.stage]]
name = "t1"
at_mm = 8
depth_mm = 8
opening_mm = [111.76, 85.493]
filter = { width_mm = 121.76, height_mm = 95.49, thickness_mm = 4 }
[[box.stage]]
name = "t2"
at_mm = 19
depth_mm = 8
opening_mm = [124.097, 91.984]
filter = { width_mm = 134.1, height_mm = 101.98, thickness_mm = 2 }
[box.hood]
at_mm = 33
depth_mm = 63.927
rear_mm = [155.966, 123.322]
front_mm = [272.929, 204.718]
[[box.flag]]
side = "bottom"
angle_deg = 45.02
length_mm = 62.98
width_mm = 234.42
[[light]]
name = "L14"
position_mm = [574.8, -1134.6, 679.3]
size_mm = 50
[[light]]
name = "L55"
azimuth_deg = 42.75
elevation_deg = -57.461
width_deg = 8
[check]
focus_mm = [600]
"""
NEAR_FRAME = """brimline = 1
[camera]
width_mm = 36
height_mm = 24
pixels = [300, 200]
[[lens]]
name = "a"
focal_mm = 24
f_number = 2.8
front_diameter_mm = 110
front_to_sensor_mm = 150
pupil_behind_front_mm = 45
[box]
ahead_mm = 4
[box.hood]
at_mm = 20
depth_mm = 40
rear_mm = [170, 140]
front_mm = [240, 200]
[[light]]
name = "near"
position_mm = [0, 420, 800]
size_mm = 10
[[light]]
name = "wide soft"
azimuth_deg = 0
elevation_deg = 35
width_deg = 40
[[light]]
name = "just out"
azimuth_deg = 0
elevation_deg = 35
width_deg = 16.6
"""


FIRST_DEG = np.array([-10.0, 0.0, 10.0, 20.0, 30.0, 40.0])


@dataclass(frozen=True)
class Bench:
    """One scene with its box, its target and its beam by rays of this test."""

    plan: State
    flagless: FlaglessBoxes
    glass: Glass

    @classmethod
    def of(cls, path, text):
        path.write_text(text)
        plan = plans_of(load_scene(path))[0]
        return cls(plan, FlaglessBoxes(), beam_on_glass(plan))

    @property
    def box(self):
        return self.plan.fitted

    @property
    def lights(self):
        return stray_lights(self.plan.scene)

    def cast(self, light, box):
        return lit_share(self.glass, walls(box, self.plan), light)

    def alone(self, place, angle_deg):
        box = with_flag(self.box, place, angle_deg)
        return box.model_copy(update={"flag": (box.flag[place],)})

    def cut_deg(self, light, place):
        at = places_in(self.box, self.plan)[place]
        shield = Shield(hinge=at.hinge, bars=at.bars, from_deg=15.0)
        return shading_of(self.flagless.target(self.plan), light, self.flagless.world(self.plan), [shield]).alone_deg(0)

    def reach(self, light):
        rng = np.random.default_rng(1)
        setup = setup_of(self.plan, self.plan.variants[0], self.box, target="glass", rng=rng)
        return reach_of(setup.target.face, light, setup.world, set_flags(self.box, self.plan))


def named(bench, name):
    return next(light for light in bench.lights if light.name == name)


@pytest.mark.parametrize(
    ("text", "name", "place", "tracer_deg"),
    # where an independent ray tracer (straight lines and Snell's law) had the glass dark, in steps of about 0.1
    [(TILTED, "L3", 0, 44.4), (TILTED, "L30", 0, 47.6), (PLAIN, "high", 0, 36.9), (PLAIN, "side", 1, 37.0)],
)
def test_a_flag_keeps_a_light_off_both_faces_up_to_where_rays_say(tmp_path, text, name, place, tracer_deg):
    bench = Bench.of(tmp_path / "scene.toml", text)
    light = named(bench, name)
    angle = bench.cut_deg(light, place)
    assert angle == pytest.approx(tracer_deg, abs=0.2)
    assert bench.cast(light, bench.alone(place, angle)) == 0.0
    assert bench.cast(light, bench.alone(place, angle + 0.5)) > 0.0


@pytest.mark.parametrize("name", ["L14", "L55"])
def test_a_few_hundredths_of_the_glass_in_the_light_is_not_called_none(tmp_path, name):
    bench = Bench.of(tmp_path / "scene.toml", LITTLE)
    light = named(bench, name)
    assert 0.0 < bench.cast(light, bench.box) < 0.05
    assert bench.reach(light) is Reach.SOME


@pytest.mark.parametrize("seed", [*range(3), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(3, 20))])
def test_in_a_box_by_chance_dark_is_dark_and_a_flags_angle_keeps_the_light_off(tmp_path, seed):
    bench = Bench.of(tmp_path / "scene.toml", random_scene(seed))
    for light in bench.lights:
        lit = bench.cast(light, bench.box)
        reach = bench.reach(light)
        assert reach is (Reach.SOME if lit > 0 else reach)
        assert reach is not Reach.UNSURE
        for place in (k for k, flag in enumerate(bench.box.flag) if flag.side in sides_of(light)):
            angle = bench.cut_deg(light, place)
            if np.isfinite(angle):
                assert bench.cast(light, bench.alone(place, angle)) == 0.0


@pytest.mark.parametrize("seed", [1, 8, 11, 17, 18, 19])
def test_two_flags_that_share_a_light_leave_no_gap_between_them(tmp_path, seed):
    bench = Bench.of(tmp_path / "scene.toml", random_scene(seed).replace("width_deg = 8.0", "width_deg = 2.0"))
    places = places_in(bench.box, bench.plan)
    shields = [Shield(hinge=at.hinge, bars=at.bars, from_deg=15.0) for at in places]
    checked = 0
    for light in (one for one in bench.lights if {at.side for at in places} <= set(sides_of(one))):
        target, world = bench.flagless.target(bench.plan), bench.flagless.world(bench.plan)
        second = shading_of(target, light, world, shields, [(0, 1)]).second_deg(0, 1, FIRST_DEG)
        for first, other in zip(FIRST_DEG, second, strict=True):
            if np.isfinite(other):
                box = with_flag(with_flag(bench.box, 0, float(first)), 1, float(other))
                assert bench.cast(light, box) == 0.0
                checked += 1
    assert checked


def test_a_light_is_in_the_picture_by_the_pupil_and_its_width_alike_for_every_question(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_text(NEAR_FRAME)
    loaded = load_scene(path)
    plan = plans_of(loaded)[0]
    lens = middle_variant(plan)
    # half the frame's height: atan(12 / 24) = 26.57 deg up. The near light stands 420 up, 845 ahead of the pupil: 26.43 deg.
    # The wide ones reach down to 35 - 20 and 35 - 8.3 deg.
    expected = {"near": True, "wide soft": True, "just out": False}
    found = {light.name: light_in_frame(lens, plan.grid, light) for light in stray_lights(loaded.scene)}
    ghosts = {
        light.name: seen_light(light_from(light, pupil_mm(lens)), lens, plan.grid).in_picture for light in lights_of(loaded.scene)
    }
    assert found == ghosts == expected


def test_a_light_behind_a_box_that_is_open_nowhere_else_is_dark(tmp_path):
    behind = '[[light]]\nname = "behind"\nazimuth_deg = 170\nelevation_deg = 20\nwidth_deg = 8\n'
    bench = Bench.of(tmp_path / "scene.toml", PLAIN.replace("[check]", f"{behind}[check]"))
    light = named(bench, "behind")
    assert bench.cast(light, bench.box) == 0.0
    assert bench.reach(light) is Reach.NONE


def test_through_a_slot_a_zero_is_not_proven(tmp_path):
    slot = PLAIN.replace("depth_mm = 8\n", 'depth_mm = 8\nslot_mm = 0.6\nslot_sides = ["top"]\n')
    high = '[[light]]\nname = "above"\nazimuth_deg = 60\nelevation_deg = 85\n'
    bench = Bench.of(tmp_path / "scene.toml", slot.replace("[check]", f"{high}[check]"))
    assert bench.reach(named(bench, "above")) is not Reach.NONE
