"""Parts near the beam, against the room of every part by itself."""

import pytest

from scenes.states.load import load_scene, plans_of
from scenes.states.rooms import near_in, rooms_of

SCENE = """
brimline = 1

[camera]
width_mm = 36.0
height_mm = 24.0
pixels = [360, 240]

[[lens]]
name = "20"
focal_mm = 20
f_number = 2.0
front_diameter_mm = 110
front_to_sensor_mm = 160
pupil_behind_front_mm = 40

[box]
mount = "clamp"
ahead_mm = 4

[[box.stage]]
name = "wide tray"
at_mm = 10
depth_mm = 8
opening_mm = [190, 130]

[[box.stage]]
name = "low tray"
at_mm = 20
depth_mm = 8
opening_mm = [190, 60]

[[box.stage]]
name = "narrow tray"
at_mm = 30
depth_mm = 8
opening_mm = [100, 130]
"""


@pytest.mark.parametrize(("within_mm", "untouched_mm"), [(1000.0, 0.0), (1000.0, 0.05), (0.05, 0.05), (-30.0, 0.05)])
def test_the_nearest_part_and_all_that_touch_the_beam_are_found(tmp_path, within_mm, untouched_mm):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE)
    (plan, *_) = plans_of(load_scene(path))
    rooms = rooms_of(plan.variants, plan.guides, plan.box)
    every = {part.name: rooms.clearance(part).clearance_mm for part in plan.box.parts}
    found = near_in(plan.variants, plan.guides, plan.box, within_mm=within_mm, untouched_mm=untouched_mm)
    told = {one.part: one.clearance_mm for one in found}
    assert sorted(every, key=every.__getitem__)[:2] == ["narrow tray", "low tray"]  # both stand in the beam
    assert all(told[name] == pytest.approx(every[name], abs=1e-6) for name in told)
    if untouched_mm:
        assert {"low tray", "narrow tray"} <= set(told)
    if within_mm > 0.0:
        assert min(told.values()) == pytest.approx(min(every.values()), abs=1e-6)
    if within_mm < 1000.0:
        assert all(room_mm <= 0.05 for room_mm in told.values())
