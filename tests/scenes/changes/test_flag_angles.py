"""Flag windows of small scenes: against trigonometry, against the check, and told as table and JSON."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.optimize import brentq

from geometry.flags import boards
from raytrace.box import Box
from raytrace.optics.lens import pencils_for
from raytrace.reference import reference_shares
from scenes.changes.angle_steps import rounded_up
from scenes.changes.flag_angles import flag_states, joint_loss
from scenes.changes.flag_summaries import summaries
from scenes.cli import main
from scenes.questions.flags.command import command
from scenes.runtime.engines import engine_of
from scenes.runtime.page import WIDTH
from scenes.states.clear_rule import Limits as CheckLimits
from scenes.states.load import load_scene, plans_of
from scenes.verdicts.check import check_state

# Lopsided on purpose: the frame lies to the right, the box sits high and left, the flags differ.
SCENE = """
brimline = 1
title = "two flags"

[camera]
width_mm = 36.0
height_mm = 24.0
pixels = [360, 240]
offset_mm = [1.5, 0.0]

[[lens]]
name = "20"
focal_mm = 20
f_number = 2.0
front_diameter_mm = 110
front_to_sensor_mm = 160
pupil_behind_front_mm = {pupil}
close_focus_mm = 600

[box]
mount = "clamp"
ahead_mm = 4
offset_mm = [-2.0, 3.0]
tilt_deg = {tilt}

[[box.flag]]
side = "top"
angle_deg = {top}
length_mm = 100
width_mm = {width}
hinge_mm = 85
at_mm = 40
{extension}

[[box.flag]]
side = "left"
angle_deg = {left}
length_mm = 80
width_mm = 320
hinge_mm = 100
at_mm = 40

{more}

[check]
f_numbers = [{stops}]
focus_mm = [{focus}]
visible_loss_stops = 0.1
"""
FOLDED_DEG = 150
EXTENSION = "extension = { length_mm = 50, angle_deg = -12 }"
PLAIN = {
    "top": 90,
    "left": 90,
    "pupil": 40,
    "tilt": 0,
    "width": 400,
    "extension": "",
    "more": "",
    "stops": "2.0",
    "focus": '"infinity"',
}


@pytest.fixture
def scene(tmp_path):
    def written(**changes):
        path = tmp_path / "scene.toml"
        path.write_text(SCENE.format_map(PLAIN | changes))
        return path

    return written


def flags_of(path):
    loaded = load_scene(path)
    return summaries([state for one in flag_states(plans_of(loaded)) for state in one.flags])


def words_of(path):
    loaded = load_scene(path)
    return [
        check_state(plan, engine_of("coverage"), columns=48, limits=CheckLimits(visible_loss_stops=0.1))[0].word.value
        for plan in plans_of(loaded)
    ]


def tip_angle(length_mm, hinge_mm, at_mm, edge_slope, radius_mm, pupil_mm=40.0):
    """Where the tip of a flag meets the beam's edge y = (z + depth) slope + radius. Source: plane trigonometry."""

    def apart(angle):
        y, z = hinge_mm + length_mm * np.sin(angle), at_mm + length_mm * np.cos(angle)
        return y - (z + pupil_mm) * edge_slope - radius_mm

    return np.degrees(brentq(apart, np.radians(-60), np.radians(85)))


def test_angles_of_single_flags_are_those_of_trigonometry(scene):
    top, left = flags_of(scene())
    # hinges in the frame: 3 mm up and 2 mm to the left of the box's own; the frame's left edge lies 1.5 - 18 = -16.5 mm left
    # as it is; 2 % larger; with the room that a fixed pupil asks for, square to the beam's side, which leans by the picture's slope
    frames = [(1.0, 0.0), (1.02, 0.0), (1.0, 2.5)]
    tops = [tip_angle(100, 88, 44, 12 * k / 20, 5.0 + room * np.hypot(1, 12 / 20)) for k, room in frames]
    lefts = [tip_angle(80, 102, 44, (18 * k - 1.5) / 20, 5.0 + room * np.hypot(1, 16.5 / 20)) for k, room in frames]
    for flag, (touch, *clears) in ((top, tops), (left, lefts)):
        limits, clear = flag.states[0].limits, max(clears)
        assert 0.0 <= limits.touch_deg - touch <= 0.13  # up to the next tenth, and a beam taken 0.02 mm larger
        assert 0.0 <= limits.clear_deg - clear <= 0.13


def test_the_visible_loss_is_that_of_a_straight_edge_across_the_pupil(scene):
    top = flags_of(scene())[0].states[0].limits
    # at a frame's edge the tip hides the segment of the pupil beyond it, d from its middle: 2^-0.1 of the disc is left
    share = 2.0**-0.1
    d = brentq(lambda d: 1 - (np.arccos(d) - d * np.sqrt(1 - d * d)) / np.pi - share, 0.0, 1.0)  # Bronstein: circle segment
    edge = tip_angle(100, 88, 44, 12 / 20, 5 * d)
    assert 0.0 <= top.visible_deg - edge <= 0.25  # the engine's own bound on the safe side, and up to the next tenth


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"extension": EXTENSION},
        {"extension": EXTENSION, "tilt": 5, "stops": "2.0, 5.6", "focus": '"infinity", "close"'},
        {"pupil": "[36, 44]", "width": 90},
    ],
)
def test_at_the_printed_limits_the_check_says_clear_and_two_degrees_in_it_does_not(scene, changes):
    top, left = (flag.clear_deg for flag in flags_of(scene(**changes)))
    away = FOLDED_DEG  # both in at once, the wide ones meet
    assert set(words_of(scene(**changes, top=top, left=away))) == {"clear"}
    assert set(words_of(scene(**changes, top=away, left=left))) == {"clear"}
    assert set(words_of(scene(**changes, top=top - 2, left=away))) != {"clear"}
    assert set(words_of(scene(**changes, top=away, left=left - 2))) != {"clear"}


@pytest.mark.parametrize("tilt", [0, -6])
def test_a_fixed_pupil_holds_flags_off_by_its_room_and_no_more(scene, tilt):
    top = flags_of(scene(tilt=tilt))[0].clear_deg
    room_mm = []
    for angle in (top, top - 0.3):  # 0.3 degrees move the tip by half a millimetre
        loaded = load_scene(scene(tilt=tilt, top=angle, left=90))
        state, _ = check_state(plans_of(loaded)[0], engine_of("coverage"), columns=48, limits=CheckLimits(visible_loss_stops=0.1))
        room_mm.append(state.blamed.room_mm)
    assert room_mm[1] < 2.495 <= room_mm[0]  # told to a hundredth


def test_an_extension_counts_and_leaving_it_off_lets_the_flag_in_farther(scene):
    top = flags_of(scene(extension=EXTENSION))[0]
    alone = flags_of(scene())[0]
    assert top.states[0].bare.clear_deg == alone.states[0].limits.clear_deg
    assert top.states[0].limits.clear_deg > top.states[0].bare.clear_deg


def test_at_the_visible_limit_the_check_finds_at_most_that_loss(scene):
    top = flags_of(scene(extension=EXTENSION))[0].limit("visible_deg")[0]
    loaded = load_scene(scene(extension=EXTENSION, top=top))
    state, _ = check_state(plans_of(loaded)[0], engine_of("coverage"), columns=48, limits=CheckLimits(visible_loss_stops=0.1))
    assert 0.03 < state.blamed.worst.worst_case_stops <= 0.1


def test_a_hinge_in_the_beam_is_said_and_left_out_of_the_rest(scene):
    path = scene(stops="2.0, 5.6")
    path.write_text(path.read_text().replace("hinge_mm = 85", "hinge_mm = 54.2"))
    top = flags_of(path)[0]
    # at the hinge, 84 mm from the pupil, the edge of the frame is at 84 x 0.6 + 5 = 55.4 above the axis, and a fixed pupil asks for
    # 2.5 more; the hinge is at 54.2 + 3, its blade folded back hangs 2 below; the smaller stop's edge is at 84 x 0.6 + 1.8 = 52.2
    assert top.states[0].limits.clear_deg == np.inf
    assert np.isfinite(top.clear_deg)
    # the hinge itself is 57.2 - 55.4 above that edge, square to it 1.8 cos(atan 0.6) = 1.5
    assert "no angle clears 20 (infinity, f/2), where its hinge is 1.5 mm clear of the beam itself" in " ".join(
        told(path).output.split()
    )
    path.write_text(path.read_text().replace("hinge_mm = 54.2", "hinge_mm = 51.0"))
    # at 51 + 3 it is 1.4 below the edge, square to it 1.20, and the beam is taken 0.02 larger: told to the next tenth
    assert "where its hinge stands in the beam, by up to 1.3 mm: hinge it " in " ".join(told(path).output.split())


def test_angles_are_rounded_to_the_open_side():
    assert rounded_up(41.301) == 41.4
    assert rounded_up(41.3) == 41.3
    assert rounded_up(-5.55) == -5.5
    assert rounded_up(-30.4) == -np.inf
    assert rounded_up(179.96) == 180.0


def test_what_flags_take_together_is_no_less_than_the_check_finds(scene):
    loaded = load_scene(scene())
    worked = flag_states(plans_of(loaded))
    flags = summaries([state for one in worked for state in one.flags])
    most, plan = joint_loss(worked, flags)
    top, left = (flag.limit("visible_deg")[0] for flag in flags)
    state, _ = check_state(
        plans_of(load_scene(scene(top=top, left=left)))[0],
        engine_of("coverage"),
        columns=48,
        limits=CheckLimits(visible_loss_stops=0.1),
    )
    assert plan.key == "20_inf_f2"
    assert 0.1 < state.blamed.worst.loss_stops <= most < 0.25  # the corner loses by both


def told(path, *args):
    return CliRunner().invoke(command, [str(path), *args], standalone_mode=False)


def test_the_table_keeps_to_its_width_and_the_json_holds_the_same(scene):
    path = scene(extension=EXTENSION, stops="2.0, 4.0")
    table, data = told(path), json.loads(told(path, "--json").output)
    assert table.return_value == 0
    lines = table.output.splitlines()
    assert max(map(len, lines)) <= WIDTH
    for flag in data["flags"]:
        row = next(line for line in lines[lines.index(next(k for k in lines if k.startswith(flag["flag"]))) :] if "f/2" in line)
        assert f"{flag['states'][0]['clear_deg']:.1f}" in row.split()
    assert data["flags"][0]["all_states"]["decided_by"] == "20_inf_f2"


def test_a_flag_that_darkens_the_frame_gives_status_1_and_says_how_far_to_open_it(scene):
    result = told(scene(top=0))
    assert result.return_value == 1
    top = flags_of(scene(top=0))[0]
    assert f"open it to {top.clear_deg:.1f}" in " ".join(result.output.split())


def test_a_flag_that_darkens_one_state_and_leaves_another_little_room_says_both(scene):
    path = scene(stops="2.0, 5.6")
    wide, small = (state.limits for state in flags_of(path)[0].states)
    angle = (max(small.touch_deg, small.visible_deg) + min(wide.visible_deg, small.clear_deg)) / 2
    said = " ".join(told(scene(stops="2.0, 5.6", top=f"{angle:.2f}")).output.split())
    assert "it darkens 20 (infinity, f/2) and has next to no room with 20 (infinity, f/5.6)" in said


@pytest.mark.slow
def test_the_examples_of_the_page_run(tmp_path, monkeypatch):
    page = (Path(__file__).parents[3] / "docs" / "flags.md").read_text()
    examples = [line.split() for block in re.findall(r"```sh\n(.*?)```", page, re.DOTALL) for line in block.splitlines()]
    monkeypatch.chdir(tmp_path)
    assert len(examples) >= 4
    assert all(words[0] == "brimline" and main(words[1:]) in (0, 1) for words in examples)
    assert list((tmp_path / "flag-pictures").glob("flag-*.png"))


def test_a_flag_that_reaches_to_the_plane_of_focus_is_held_up_by_the_last_of_the_beam(tmp_path):
    # Its tip comes 8 mm past the plane of focus, so it must clear the picture of the guide that stands there.
    text = (Path(__file__).parents[3] / "scenes/data/starter.toml").read_text()
    text = text.replace("# extension = { length_mm = 70, angle_deg = 0 }", "extension = { length_mm = 70, angle_deg = 0 }")
    path = tmp_path / "near.toml"
    path.write_text(text.replace('focus_mm = ["infinity", "close"]', 'focus_mm = ["close"]').replace("[2.0, 5.6]", "[2.0]"))
    loaded = load_scene(path)
    worked = flag_states(plans_of(loaded))[0]
    plan, state = worked.plan, worked.flags[0]
    box = Box(parts=boards(state.flag.hinge, state.flag.bars, state.limits.touch_deg), glasses=plan.box.glasses)
    for lens in plan.variants:
        pencils = pencils_for(lens, plan.guides[0].rim_points_mm(33))
        assert reference_shares(pencils, box, log2_rays=10, rng=np.random.default_rng(1)).clear_share.min() > 0.999


def near_hinge(path, hinge_mm):
    """The top flag with a blade 4 mm thick, hinged so far out."""
    path.write_text(path.read_text().replace("hinge_mm = 85", f"hinge_mm = {hinge_mm}\nthickness_mm = 4"))
    return path


def test_a_hinge_clear_by_less_than_the_blade_is_thick_gets_the_angles_between_which_it_clears(scene):
    # At the hinge, 84 mm from the pupil, the beam's edge is 84 x 0.6 + 5 = 55.4 mm above the axis; the hinge at 56.8 + 3, above the
    # 2.5 mm that a clear frame keeps about a fixed pupil's beam, and by less than the blade's 4 mm.
    top = flags_of(near_hinge(scene(width=190), 56.8))[0]  # not as wide as to meet the left flag
    limits = top.states[0].limits
    assert limits.clear_deg < 90 < limits.most_deg == top.most_deg < 180
    assert 0.0 < limits.hinge.clear_mm <= (59.8 - 55.4) * np.cos(np.arctan(0.6))  # square to the beam's edge
    for angle in (limits.clear_deg, 90, limits.most_deg):
        assert words_of(near_hinge(scene(top=angle, width=190), 56.8)) == ["clear"]
    assert words_of(near_hinge(scene(top=limits.most_deg + 3, width=190), 56.8)) != ["clear"]
    assert words_of(near_hinge(scene(top=180, width=190), 56.8)) != ["clear"]


def test_what_lets_the_blade_fold_back_is_said_and_does(scene):
    path = near_hinge(scene(top=175), 56.8)
    told_once = " ".join(told(path).output.split())
    top = flags_of(path)[0]
    farther = top.states[0].limits.hinge.farther_mm
    assert f"bring it in to {top.most_deg:.1f}" in told_once
    assert (
        f"and the blade 4 mm thick; a thinner blade, or a hinge {farther:.1f} mm farther out, lets it fold right back" in told_once
    )
    assert "hinge in beam" not in told_once
    assert flags_of(near_hinge(scene(), 56.8 + farther))[0].most_deg == 180
    assert words_of(near_hinge(scene(top=180), 56.8 + farther)) == ["clear"]
