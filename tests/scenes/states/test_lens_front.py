"""A lens whose light does not get out of its own front: reaches at the front rim by similar triangles."""

import math

import pytest

from geometry.notes import Severity
from scenes.questions.widest.lens_family import Measures, Rule
from scenes.questions.widest.report import Fate, Wanted, widest_report
from scenes.runtime.engines import engine_of
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import Resources
from scenes.states.judgement import judge_state
from scenes.states.load import Loaded
from scenes.states.state import states_of
from scenes.verdicts.check import run_check
from scenes.verdicts.test_plan import plan_lines

SCENE = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "24"
focal_mm = {focal}
f_number = 2.0
front_diameter_mm = {front}
front_to_sensor_mm = 150
pupil_behind_front_mm = 38
{glass}
[box]
[[box.mask]]
at_mm = 20
thickness_mm = 1
opening_mm = [400, 400]
outer_mm = [600, 600]
[check]
focus_mm = [{focus}]
"""
CORNER_MM = math.hypot(18.0, 12.0)
MIDDLE_MM = 38.0 * CORNER_MM / 24.0  # the corner's chief ray at the front rim, the pupil 38 mm behind it: 34.25
WHOLE_MM = MIDDLE_MM + 24.0 / 2.0 / 2.0  # and the pencil about it, as wide as the pupil: 40.25


def scene_of(*, focal=24.0, front=114.0, glass=None, focus='"infinity"'):
    stated = "" if glass is None else f"front_glass_mm = {glass}"
    return parse_scene(SCENE.format(focal=focal, front=front, glass=stated, focus=focus), source="s.toml")


def words(**changes):
    (plan,) = states_of(scene_of(**changes))
    return [note.text for note in plan.notes if note.severity is Severity.CAUTION and "own front" in note.text]


def test_a_beam_wider_than_the_barrel_is_told_with_what_may_be_wrong():
    (text,) = words(front=78)
    assert f"the beam reaches {WHOLE_MM:.1f} mm from the axis at the front rim, front_diameter_mm / 2 is 39 mm" in text
    assert "that front, the pupil or the field is wrong, or its front cuts the beam: measure, or give front_glass_mm" in text


def test_a_beam_that_gets_out_of_the_barrel_is_not_told():
    assert words(front=81) == []


def test_front_glass_may_cut_a_pencil_but_not_its_middle():
    assert words(glass=70) == []
    (text,) = words(glass=67)
    assert f"the middle of the light of its picture's corners reaches {MIDDLE_MM:.1f} mm from the axis at the front rim" in text
    assert "front_glass_mm / 2 is 33.5 mm" in text


def test_where_the_field_is_a_guess_the_caution_says_so():
    (text,) = words(front=70, focus=400)
    assert "the field (at this focus a guess, which half_field_deg replaces) is wrong" in text


def test_the_test_plan_asks_to_measure_it():
    check = run_check(states_of(scene_of(front=78)), engine_of("coverage"), columns=48)
    plan = " ".join(" ".join(plan_lines(check, "")).split())
    assert "[ ] 24: its own front is too small" in plan


@pytest.mark.parametrize("front", [78.0, 100.0])
def test_the_widest_lens_and_the_check_agree_where_a_front_is_too_small(front):
    loaded = Loaded(scene=scene_of(front=front), resources=Resources(), file_name="s.toml", sha256="")
    report = widest_report(loaded, Wanted(measures=Measures(pupil=Rule.HELD)))
    ((_, limit),) = report.own_front
    assert limit.fate is Fate.FOUND
    assert words(focal=limit.focal_mm, front=front) == []
    assert len(words(focal=limit.focal_mm - 0.3, front=front)) == 1


COMES_OUT = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "50"
focal_mm = 50
f_number = 2.8
front_diameter_mm = 110
front_to_sensor_mm = 150
pupil_behind_front_mm = 30
[[lens.state]]
focus_mm = "infinity"
front_travel_mm = 0
[[lens.state]]
focus_mm = 800
front_travel_mm = {travel}
[box]
mount = "rods-15"
ahead_mm = 2
[[box.stage]]
name = "tray"
at_mm = 1
depth_mm = 8
opening_mm = [100, 80]
outer_mm = [160, 140]
[check]
focus_mm = ["infinity", 800]
"""


def test_a_front_that_comes_out_into_a_tray_is_a_fault_at_that_focus_and_there_alone():
    """The box on its rods stays: of 3 mm between rim and tray a travel of 4 mm leaves 1 mm too few, one of 2 mm 1 mm to spare."""
    for travel_mm, is_clear in ((4, False), (2, True)):
        far, near = states_of(parse_scene(COMES_OUT.format(travel=travel_mm), source="s.toml"))
        faults = [note.text for note in near.notes if note.severity is Severity.FAULT]
        assert judge_state(far).clear
        assert judge_state(near).clear is is_clear
        assert any("overlaps front ring by up to 1.0 mm along the axis" in text for text in faults) is not is_clear
