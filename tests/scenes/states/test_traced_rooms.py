"""Rooms beside the light of a lens that is traced from its prescription, against thousands of its rays."""

from __future__ import annotations

from pathlib import Path

import pytest

from raytrace.judge.judgement import judge
from scenes.states.load import load_scene, plans_of
from tests.raytrace.judge.brute_force import brute_room

GLASS = Path(__file__).parents[3] / "scenes" / "demo" / "glass" / "double-gauss-50.toml"
GENEROUS_MM, STRICT_MM = 1e-3, 1.0
SCENE = """
brimline = 1
[camera]
width_mm = 30.0
height_mm = 22.0
[[lens]]
name = "traced"
focal_mm = 50.0
f_number = 1.4
front_diameter_mm = 80
prescription = "{glass}"
[box]
ahead_mm = 4
offset_mm = [1.5, -2.0]
tilt_deg = {tilt}
[[box.stage]]
at_mm = 8
depth_mm = 10
opening_mm = [90, 80]
tilt_deg = {lean}
filter = {{ width_mm = 150, height_mm = 150, thickness_mm = 4 }}
[[box.mask]]
at_mm = 30
thickness_mm = 1
opening_mm = [{opening}]
corner_mm = 5
[[box.flag]]
side = "top"
hinge_mm = 50
at_mm = 40
length_mm = 50
width_mm = 60
angle_deg = 12
[check]
f_numbers = [{stop}]
focus_mm = ["infinity"]
"""


@pytest.mark.parametrize(("stop", "tilt", "lean", "opening"), [(1.4, 0, 0, "76, 66"), (1.4, 3, 9, "78, 70"), (4, -2, -9, "62, 54")])
def test_rooms_of_a_traced_lens_are_not_larger_than_the_nearest_ray_nor_much_smaller(tmp_path, stop, tilt, lean, opening):
    path = tmp_path / "traced.toml"
    path.write_text(SCENE.format(glass=GLASS.as_posix(), stop=stop, tilt=tilt, lean=lean, opening=opening))
    (plan,) = plans_of(load_scene(path))
    (guide,), (lens,) = plan.guides, plan.variants
    got = judge([lens], guide, plan.box, margin=False)
    near = [(part, told.room_mm) for part, told in zip(plan.box.parts, got.parts, strict=True) if told.room_mm < 25.0]
    assert len(near) >= 2
    for part, told_mm in near:
        nearest_mm = brute_room(lens, guide, plan.box, part, fields=13, angles=24)
        assert max(told_mm, 0.0) <= nearest_mm + GENEROUS_MM, part.name
        assert told_mm >= nearest_mm - STRICT_MM, part.name
