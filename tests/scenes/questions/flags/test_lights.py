"""Lights against the flags of small scenes: the printed window put back into the box and measured with its own rays."""

import json
import re

import numpy as np
import pytest
from click.testing import CliRunner

from raytrace.stray.direct import lit_share
from scenes.changes.flag_angles import flag_states
from scenes.changes.flag_collisions import FlagCollisions
from scenes.changes.flag_cuts import FlaglessBoxes, lights_in_states, sides_of
from scenes.changes.flag_summaries import summaries
from scenes.questions.flags import changes as flag_changes
from scenes.questions.flags.changes import ChangeSearch, deeper
from scenes.questions.flags.command import command
from scenes.questions.flags.lights import light_answers, rounded_down
from scenes.runtime.page import WIDTH
from scenes.states.load import load_scene, plans_of
from scenes.states.stray import setup_of, stray_lights

# Lopsided: the box sits low and right, the flags differ, the light stands high on the left.
SCENE = """
brimline = 1
title = "hood and two flags"
[camera]
width_mm = 24.0
height_mm = 13.5
pixels = [320, 180]
[[lens]]
name = "35"
focal_mm = 35
f_number = 2.8
front_diameter_mm = 80
front_glass_mm = 70
pupil_behind_front_mm = 30
[box]
mount = "clamp"
ahead_mm = 2
offset_mm = [1.0, -2.0]
back = {{ width_mm = 160, height_mm = 140, bore_mm = 82 }}
seal = {{ kind = "donut" }}
[box.hood]
at_mm = 6
depth_mm = 50
rear_mm = [130, 90]
front_mm = [180, 120]
[[box.flag]]
side = "top"
angle_deg = {top}
length_mm = 140
width_mm = 260
extension = {{ length_mm = 50, angle_deg = -10 }}
[[box.flag]]
side = "left"
angle_deg = {left}
length_mm = 150
width_mm = 260
[[light]]
name = "lamp"
azimuth_deg = {azimuth}
elevation_deg = {elevation}
width_deg = 2.0
"""


@pytest.fixture
def scene(tmp_path):
    def written(top=60, left=60, azimuth=-6, elevation=38):
        path = tmp_path / "scene.toml"
        path.write_text(SCENE.format(top=top, left=left, azimuth=azimuth, elevation=elevation))
        return path

    return written


def answer_of(path, *, asked=False):
    loaded = load_scene(path)
    states = [state for one in flag_states(plans_of(loaded)) for state in one.flags]
    flags, flagless = summaries(states), FlaglessBoxes()
    start = {flag.name: flag.clear_deg for flag in flags}
    by_state = list(lights_in_states(flagless, stray_lights(loaded.scene), plans_of(loaded), (), start))
    collisions = FlagCollisions(plans_of(loaded))
    return light_answers(loaded.scene, by_state, flags, *([collisions.met] if asked else []))[0]


def flags_of(path):
    loaded = load_scene(path)
    return summaries([state for one in flag_states(plans_of(loaded)) for state in one.flags])


def lit(path):
    """Share of the lens front that the light reaches, by rays through the box as the file sets it."""
    loaded, rng = load_scene(path), np.random.default_rng(2)
    plan = plans_of(loaded)[0]
    setup = setup_of(plan, plan.variants[0], plan.fitted, target="lens", rng=rng)
    return lit_share(setup.target, setup.world, stray_lights(loaded.scene)[0], rng=rng, log2_rays=14)


def test_inside_the_printed_window_the_light_is_off_and_beyond_it_comes_on(scene):
    answer = answer_of(scene())
    top = next(window for window in answer.windows if window.flag.side == "top")
    assert top.opens
    assert lit(scene(top=top.cut_deg, left=180)) == 0.0
    assert lit(scene(top=max(top.clear_deg, -30), left=180)) == 0.0
    assert lit(scene(top=top.cut_deg + 4, left=180)) > 0.0


def test_without_its_extension_a_flag_must_come_in_farther_for_a_light(scene):
    top = next(window for window in answer_of(scene()).windows if window.flag.side == "top")
    assert top.bare_cut_deg < top.cut_deg


def test_a_light_high_on_the_left_is_kept_off_by_top_and_left_flags_together(scene):
    place = {"azimuth": -40, "elevation": 24}
    answer = answer_of(scene(**place))
    (pair,) = answer.pairs
    assert (pair.first.side, pair.second.side) == ("top", "left")
    assert lit(scene(top=pair.first_deg, left=pair.second_deg, **place)) == 0.0
    assert lit(scene(top=pair.first_deg + 8, left=pair.second_deg + 8, **place)) > 0.0


def test_two_flags_that_would_do_it_but_meet_are_said_to_and_not_advised(scene):
    # Folded back the top flag passes the left one, which it crosses where both come forward: each reaches past the other's hinge.
    place = {"azimuth": -40, "elevation": 24, "top": 150, "left": 60}
    assert not [note for note in plans_of(load_scene(scene(**place)))[0].notes if "overlaps" in note.text]
    (pair,) = answer_of(scene(**place), asked=True).pairs
    assert pair.room_deg > 0
    assert pair.met == "top flag meets left flag (35)"
    assert not pair.opens
    set_so = place | {"top": pair.first_deg, "left": pair.second_deg}
    assert [note for note in plans_of(load_scene(scene(**set_so)))[0].notes if "overlaps" in note.text]
    told = " ".join(CliRunner().invoke(command, [str(scene(**place))], standalone_mode=False).output.split())
    assert "but so top flag meets left flag (35)" in told
    assert "-> set top flag to" not in told


def test_a_light_in_the_picture_and_one_that_the_box_keeps_off_ask_nothing_of_flags(scene):
    inside = answer_of(scene(azimuth=2, elevation=3))
    assert len(inside.in_picture) == 1
    assert not inside.windows
    behind = answer_of(scene(azimuth=170, elevation=20))
    assert not behind.reaches
    assert not behind.windows


def test_sides_are_those_that_the_operator_sees(scene):
    loaded = load_scene(scene(azimuth=-40, elevation=24))
    assert sides_of(stray_lights(loaded.scene)[0]) == ("left", "top")


def test_cuts_are_rounded_to_the_closed_side():
    assert rounded_down(41.39) == 41.3
    assert rounded_down(-5.51) == -5.6
    assert rounded_down(-30.2) == -np.inf


def test_table_and_json_tell_the_same_window(scene):
    path = scene()
    table = CliRunner().invoke(command, [str(path)], standalone_mode=False).output
    data = json.loads(CliRunner().invoke(command, [str(path), "--json"], standalone_mode=False).output)
    assert max(map(len, table.splitlines())) <= WIDTH
    top = data["lights"][0]["flags"][0]
    row = next(line for line in table[table.index("lamp,") :].splitlines() if line.strip().startswith(top["flag"]))
    assert f"{top['clear_deg']:.1f}" in row.split()
    assert f"{top['cut_deg']:.1f}" in row.split()


@pytest.mark.slow
def test_the_cheapest_change_put_into_the_scene_keeps_off_what_no_setting_did(scene):
    path = scene(elevation=24)
    text = path.read_text().replace("extension = { length_mm = 50, angle_deg = -10 }", "")
    short = text.replace("length_mm = 140", "length_mm = 60")
    path.write_text(short)
    assert answer_of(path).is_open
    loaded = load_scene(path)
    first = ChangeSearch(plans_of(loaded)).least_for_all([(stray_lights(loaded.scene)[0], ())])[0].found[0]
    millimetres = float(re.search(r"give the top flag (\d+) mm of extension", first.change)[1])
    low, high = first.window_deg
    extended = f"length_mm = 60\nextension = {{ length_mm = {millimetres}, angle_deg = 0 }}"
    for angle in (low, high):
        path.write_text(short.replace("length_mm = 60", extended).replace("angle_deg = 60", f"angle_deg = {angle}", 1))
        assert lit(path) == 0.0
        assert flags_of(path)[0].clear_deg <= angle


def test_a_deeper_hood_carries_its_walls_straight_on(scene):
    box = load_scene(scene()).scene.box
    hood = deeper(25).apply(box).hood[0]
    assert hood.depth_mm == 75
    assert hood.front_mm == pytest.approx((180 + 50 / 50 * 25, 120 + 30 / 50 * 25))  # slopes of the walls: similar triangles


def test_where_no_change_does_it_the_answer_says_how_far_each_was_tried(scene, monkeypatch):
    # flags of 20 mm reach nowhere near the edge of the lamp's light, nor do they with 60 mm more
    monkeypatch.setattr(flag_changes, "LONGER_MM", (60,))
    monkeypatch.setattr(flag_changes, "WIDER_MM", (5, 10))
    monkeypatch.setattr(flag_changes, "DEEPER_MM", (1,))
    path = scene(elevation=24)
    path.write_text(path.read_text().replace("length_mm = 140", "length_mm = 20").replace("length_mm = 150", "length_mm = 20"))
    asked = [str(path), "--changes"]
    text = " ".join(CliRunner().invoke(command, asked, standalone_mode=False).output.split())
    tried = json.loads(CliRunner().invoke(command, [*asked, "--json"], standalone_mode=False).output)["lights"][0]["changes_tried"]
    assert tried[0] == "extensions of up to 60 mm on the top flag"
    wider = [words for words in tried if words.endswith("wider by up to 10 mm")]
    assert [words.removesuffix(" wider by up to 10 mm") for words in wider] == [
        "the top flag",
        "the left flag",
        "the top flag and the left flag",
    ]
    assert tried[-1] == "the hood deeper by up to 1 mm, its walls carried straight on"
    assert f"no change tried does it: {'; '.join(tried)}" in text
