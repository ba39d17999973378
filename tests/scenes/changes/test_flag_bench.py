"""One state's flags: what is taken over from a mirrored flag, a wider stop or a likely angle is what is found without."""

import math

import numpy as np
import pytest

from geometry.frame import Side, mirrored_words, pose, where_in_words
from raytrace.beam.beam import lens_beam
from raytrace.stray.flag_window import span, span_of_rays
from scenes.changes.angle_steps import STEP_DEG, least_deg
from scenes.changes.edge_light import Rim
from scenes.changes.flag_bench import FlagBench
from scenes.states.load import load_scene, plans_of

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
close_focus_mm = 600

[box]
mount = "clamp"
ahead_mm = 4
offset_mm = [{right}, 1.0]

[[box.stage]]
name = "tray"
at_mm = 10
depth_mm = 8
opening_mm = [{opening}, 130]
filter = {{ name = "glass", width_mm = 220, height_mm = 180, thickness_mm = 4, index = 1.5168, kind = "clear" }}

[[box.flag]]
side = "left"
angle_deg = 60
length_mm = 90
width_mm = 160
hinge_mm = 95
at_mm = 40

[[box.flag]]
side = "right"
angle_deg = 60
length_mm = 90
width_mm = 160
hinge_mm = 95
at_mm = 40

[check]
f_numbers = [2.0, 5.6]
focus_mm = ["infinity", "close"]
"""


def plans(tmp_path, right=0.0, opening=190):
    path = tmp_path / "scene.toml"
    path.write_text(SCENE.format(right=right, opening=opening))
    return plans_of(load_scene(path))


def test_a_flag_that_mirrors_another_is_told_as_it_is_when_looked_at_itself(tmp_path):
    for plan in plans(tmp_path):
        both, right = FlagBench(plan), FlagBench(plan)
        left_place, right_place = both.places
        left, told = both.limits(left_place, left_place.bars), both.limits(right_place, right_place.bars)
        found = right.limits(right_place, right_place.bars)
        assert (told.clear_deg, told.touch_deg, told.visible_deg, told.most_deg) == (
            found.clear_deg,
            found.touch_deg,
            found.visible_deg,
            found.most_deg,
        )
        assert (left.touch.where, told.touch.where, found.touch.where) == ("left", "right", "right")
        assert told.touch.at_mm == pytest.approx(found.touch.at_mm, abs=0.01)


def test_a_flag_in_a_box_off_to_one_side_is_not_told_by_the_other(tmp_path):
    work = FlagBench(plans(tmp_path, right=3.0)[0])
    left, right = (work.limits(place, place.bars) for place in work.places)
    assert {work.places[0].side, work.places[1].side} == {Side.LEFT, Side.RIGHT}
    assert right.clear_deg < left.clear_deg  # the box stands to the right: the right hinge is farther out


def test_a_closer_stop_is_told_as_it_is_without_what_the_wider_one_tells(tmp_path):
    wide, *closer = plans(tmp_path)[:2]
    work = FlagBench(wide)
    for place in work.places:
        work.limits(place, place.bars)
    for plan in closer:
        told, found = FlagBench(plan, wider=work), FlagBench(plan)
        for place in found.places:
            assert told.limits(place, place.bars) == found.limits(place, place.bars)


@pytest.mark.parametrize("opening", [190, 60])
def test_parts_that_stand_out_of_the_beam_take_no_light_at_its_edges(tmp_path, opening):
    for plan in plans(tmp_path, opening=opening):
        work = FlagBench(plan)
        if work.rest_stands_out:
            assert all(np.all(share == 1.0) for share in Rim(plan).fixed)
        assert work.rest_stands_out == (opening == 190)


def test_the_smallest_angle_is_found_from_whatever_is_likely():
    rng = np.random.default_rng(3)
    for _ in range(50):
        limit, start, likely = rng.uniform(-30.0, 100.0), round(rng.uniform(-30.0, 90.0), 1), round(rng.uniform(-40.0, 190.0), 1)
        found = least_deg(start, lambda tried, limit=limit: max((limit - tried) * 0.5, 0.0), 100.0, likely)
        assert found == pytest.approx(max(start, math.ceil(limit / STEP_DEG) * STEP_DEG), abs=1e-6)
    assert least_deg(20.0, lambda _: 1.0, 100.0, 50.0) == math.inf


def test_what_a_beam_takes_up_within_a_flags_width_is_that_of_its_section(tmp_path):
    plan = plans(tmp_path)[0]
    place = FlagBench(plan).places[0]
    beam = lens_beam(plan.variants[0], plan.guides[0], plan.box, far=pose(ahead_mm=150.0)).endless()
    for depth in (-60.0, 0.0, 45.0):
        plane = place.hinge.plane(depth)
        rays = np.concatenate([xy[there].reshape(-1, 2) for xy, there in (sheet.at_plane(plane) for sheet in beam.sheets)])
        told = span_of_rays(rays, beam.pad_mm, place.hinge, 1000.0)
        assert told == pytest.approx(span(beam.section(plane), place.hinge, 1000.0), abs=5e-4)
        assert span_of_rays(rays, beam.pad_mm, place.hinge, 20.0) is None


@pytest.mark.parametrize(("right", "up"), [(1.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (0.0, 0.0)])
def test_words_for_a_place_in_a_mirror_are_those_of_the_place_opposite(right, up):
    assert mirrored_words(where_in_words(right, up)) == where_in_words(-right, up)
