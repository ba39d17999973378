"""The numbers that answers end with, to be read back before metal is cut: lengths as the scene states them, angles by hand."""

import json
import math

import pytest
from click.testing import CliRunner

from scenes.cli import brimline
from scenes.show import load
from scenes.states.numbers_told import NUMBERS_HEADING, told_lines
from tests.scenes.questions.design.made import asked_in_many_ways, written

SCENE = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "35"
focal_mm = 35
f_number = 2
front_diameter_mm = 95
front_glass_mm = 84
pupil_behind_front_mm = [28, 31]
front_to_sensor_mm = 140
close_focus_mm = 1000
[[lens]]
name = "50"
focal_mm = 50
f_number = 2
front_diameter_mm = 95
pupil_behind_front_mm = 41
front_to_sensor_mm = 150
close_focus_mm = 1200
box = { ahead_mm = 7 }
[check]
f_numbers = [2.8]
focus_mm = ["infinity"]
[box]
mount = "clamp"
ahead_mm = 5
offset_mm = [3, -2]
back = { width_mm = 240, height_mm = 210, bore_mm = 120 }
[[box.seal]]
kind = "donut"
[[box.stage]]
name = "rear tray"
at_mm = 6
opening_mm = [150, 110]
depth_mm = 8
filter = { width_mm = 165, height_mm = 125, kind = "density", density = 0.6 }
[[box.stage]]
name = "spare tray"
at_mm = 15
opening_mm = [155, 115]
depth_mm = 8
[[box.mask]]
name = "mask of the 35"
at_mm = 24
opening_mm = [150, 105]
thickness_mm = 1.5
lenses = ["35"]
[[box.mask]]
name = "mask of the 50"
at_mm = 24
opening_mm = [140, 100]
lenses = ["50"]
[[box.stage]]
name = "front tray"
at_mm = 26
opening_mm = [160, 120]
depth_mm = 8
filter = { width_mm = 175, height_mm = 135, thickness_mm = 3, kind = "clear" }
[box.hood]
at_mm = 35
depth_mm = 30
rear_mm = [190, 150]
front_mm = [230, 180]
[[box.flag]]
side = "left"
angle_deg = 40
length_mm = 80
width_mm = 175
[[tolerance]]
of = "box.ahead_mm"
plus_minus = 0.5
"""
PLACE = ("box", "5 ahead of the front, 3 right and 2 down of the lens axis")
PLACE_50 = ("box", "7 ahead of the front, 3 right and 2 down of the lens axis")
BACK = [("back plate", "240 x 210, bore 120"), ("seal", "donut, 95 inside, 120 outside")]
REAR_TRAY = ("rear tray", "at 6, 150 x 110, 8 deep, glass 165 x 125, 4 thick, density 0.6")
SPARE_TRAY = ("spare tray", "at 15, 155 x 115, 8 deep")
FRONT_TRAY = ("front tray", "at 26, 160 x 120, 8 deep, glass 175 x 135, 3 thick")
MASK = ("mask of the 35", "at 24, 150 x 105, 1.5 thick")
HOOD = ("hood", "at 35, 190 x 150 to 230 x 180, 30 deep")
FLAG = ("left flag", "at 40 deg, 80 long, 175 wide, hinged at 65, 115 off the middle")  # at the hood's front edge: 35 + 30, 230 / 2
WHOLE_BOX = [PLACE, *BACK, REAR_TRAY, SPARE_TRAY, FRONT_TRAY, MASK, HOOD, FLAG]
SEES = f"sees {2 * math.degrees(math.atan(18 / 35)):.1f} x {2 * math.degrees(math.atan(12 / 35)):.1f} deg"
TOLD = {"masks": {}, "filters": {}, "flags": {}, "widest": {"no_lenses": True}, "tolerances": {"count": 10}}


def show_of(tmp_path, *changes):
    text = SCENE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "scene.toml").write_text(text)
    return load(tmp_path / "scene.toml")


def judged_by(reply):
    """Of each lens what it was judged by: its words, and the rows of the box."""
    rows = reply.json["judged_by"]
    return {row["lens"]: (row["says"], [(one["part"], one["says"]) for one in row["box"]]) for row in rows}


def findings(reply):
    """What an answer says but for the numbers told, what it looked at, and faults of the box."""
    besides = ("judged_by", "states", "scene", "cautions", "exit_status")
    return {key: value for key, value in reply.json.items() if key not in besides}


def test_masks_tell_the_lens_over_its_whole_range_where_the_box_stands_and_what_stands_up_to_the_mask(tmp_path):
    found = judged_by(show_of(tmp_path).masks())
    behind = "pupil 28 to 31 and sensor 140 behind the front"
    assert found["35"] == (
        f"f/2, rectilinear, front 95 across (glass 84), {behind}, {SEES}, focus to 1000",
        [PLACE, REAR_TRAY, MASK],
    )
    assert found["50"][1] == [PLACE_50, REAR_TRAY, ("mask of the 50", "at 24, 140 x 100")]


def test_no_part_that_masks_leave_out_changes_what_is_cut(tmp_path):
    others = [
        ("bore_mm = 120", "bore_mm = 126"), ("[155, 115]", "[150, 111]"), ("[160, 120]", "[157, 118]"), ("thickness_mm = 3,", ""),
        ("[190, 150]", "[186, 147]"), ("angle_deg = 40", "angle_deg = 33"),
    ]  # fmt: skip
    assert findings(show_of(tmp_path).masks()) == findings(show_of(tmp_path, *others).masks())


@pytest.mark.parametrize(
    "change",
    [
        ("ahead_mm = 5", "ahead_mm = 6"), ("density = 0.6", "density = 0.6, thickness_mm = 6"), ("[150, 105]", "[150, 103]"),
        ("thickness_mm = 1.5", "thickness_mm = 2"), ("[28, 31]", "[28, 32]"),
    ],
)  # fmt: skip
def test_each_number_that_masks_tell_changes_them(tmp_path, change):
    assert findings(show_of(tmp_path).masks(lens="35")) != findings(show_of(tmp_path, change).masks(lens="35"))


def test_masks_at_another_place_tell_the_filters_that_stand_nearer_the_lens_than_that(tmp_path):
    assert judged_by(show_of(tmp_path).masks(lens="35", at_mm=70))["35"][1] == [PLACE, REAR_TRAY, FRONT_TRAY]


def test_filters_tell_every_part_but_flags_which_they_leave_out(tmp_path):
    first = show_of(tmp_path).filters()
    assert judged_by(first)["35"][1] == WHOLE_BOX[:-1]
    assert findings(first) == findings(show_of(tmp_path, ("angle_deg = 40", "angle_deg = 5")).filters())


def test_flags_read_back_the_same_numbers_as_a_check_in_the_same_key(tmp_path):
    flags = show_of(tmp_path).flags().json["judged_by"]
    done = CliRunner().invoke(brimline, ["check", str(tmp_path / "scene.toml"), "--json", "--pixels", "16", "--no-range"])
    assert flags == json.loads(done.stdout)["judged_by"]
    assert [(one["part"], one["says"]) for one in flags[0]["box"]] == WHOLE_BOX
    assert flags[0]["says"].startswith("f/2.8 (opens to f/2), ")
    assert flags[0]["says"].endswith("focus to infinity (goes to 1000)")


@pytest.mark.parametrize("name", ["masks", "filters", "flags", "tolerances"])
def test_lenses_that_were_not_asked_about_are_not_told(tmp_path, name):
    assert list(judged_by(getattr(show_of(tmp_path), name)(lens="50", **TOLD[name]))) == ["50"]


def test_the_widest_lens_tells_its_own_family_and_the_scenes_lenses_where_these_are_asked_about(tmp_path):
    show = show_of(tmp_path)
    assert list(judged_by(show.widest())) == ["35", "50"]
    ((lens, (says, box)),) = judged_by(show.widest(no_lenses=True)).items()
    assert (lens, box) == ("35", WHOLE_BOX)
    assert ", front 95 across, pupil 28 to 31 and sensor 140 behind the front, " in says  # its glass cuts nothing off a family


def test_what_is_stated_for_a_family_stands_in_place_of_its_lenss_own_number(tmp_path):
    stated = {"like": "50", "pupil": "44..47", "front": "104", "length": "155"}
    ((says, box),) = judged_by(show_of(tmp_path).widest(no_lenses=True, **stated)).values()
    assert ", front 104 across, pupil 44 to 47 and sensor 155 behind the front, " in says
    assert ("seal", "donut, 104 inside, 120 outside") in box  # a seal without a size of its own closes on the front


def test_of_a_zoom_that_a_family_follows_the_pupils_at_its_shortest_focal_length_alone_are_told(tmp_path):
    rows = "".join(
        f"[[lens.state]]\nfocal_mm = {focal}\nfocus_mm = {focus}\npupil_behind_front_mm = {depth}\nfront_travel_mm = {out}\n"
        for focal, focus, depth, out in ((35, '"infinity"', 30, 0), (35, 1000, 29, 4), (70, '"infinity"', 52, 6), (70, 1000, 50, 9))
    )
    show = show_of(tmp_path, ('[[lens]]\nname = "50"', f'{rows}[[lens]]\nname = "50"'))
    ((says, _),) = judged_by(show.widest(no_lenses=True)).values()
    assert ", front 95 across, pupil 29 to 30 and sensor 140 behind the front, sees " in says


@pytest.mark.parametrize("name", TOLD)
def test_the_page_ends_with_the_numbers_and_then_the_cautions(tmp_path, name):
    answer = getattr(show_of(tmp_path), name)(**TOLD[name]).answer
    page = CliRunner().invoke(brimline, [name, str(tmp_path / "scene.toml"), *words_of(TOLD[name])]).stdout
    told = "\n".join(["", *told_lines(answer.judged_by), ""])
    before, after = page.split(told)
    assert told.splitlines()[1] == NUMBERS_HEADING
    assert before.endswith("\n")
    assert " ".join(after.split()) == " ".join(" ".join(answer.cautions).split())


def words_of(options):
    """Options of the face as a command has them."""
    return ["--no-lenses"] if "no_lenses" in options else ["--builds", "10"] if "count" in options else []


def test_an_answer_that_nothing_is_cut_or_bought_by_has_no_such_key(tmp_path):
    assert "judged_by" not in show_of(tmp_path).beam(at_mm=30).json


def test_a_box_is_made_by_the_numbers_of_every_lens_and_part(tmp_path):
    show = show_of(tmp_path)
    assert judged_by(show.make()) == judged_by(show.flags())


def test_a_design_tells_its_lenses_and_where_the_box_stands_and_no_part_for_these_are_the_answer(tmp_path):
    told = load(written(tmp_path, next(iter(asked_in_many_ways())))).design().json["judged_by"]
    assert told
    assert all("pupil" in lens["says"] and [one["part"] for one in lens["box"]] == ["box"] for lens in told)
