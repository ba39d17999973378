"""What a clear lens rests on, against the edge of a beam by similar triangles: (z + p) t + r at z ahead of a pupil p deep."""

import math
from dataclasses import replace

import pytest

from raytrace.optics.prescription import Prescription, Surface
from scenes.rig.traced_focus import length_mm, traced_focus
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import GlassTable, Resources
from scenes.states.judgement import judge_state
from scenes.states.state import states_of
from scenes.states.unconfirmed import ClearWhile, Number, clear_while
from tests.raytrace.optics import snell

SCENE = """
brimline = 1
[camera]
width_mm = 36
height_mm = 10
[[lens]]
name = "x"
focal_mm = 36
f_number = 4
{pupil}
front_diameter_mm = 60
[box]
ahead_mm = 0
[[box.mask]]
at_mm = {at}
opening_mm = [{width}, 400]
thickness_mm = 0.5
"""
VERTEX_MM = 4.0
GAUSS = snell.patent("US4448497_ex1_double_gauss_f1.4", 0.5)
ROWS = tuple(Surface(radius_mm=r or math.inf, thickness_mm=t, index=n, semi_diameter_mm=rim) for r, t, n, rim in GAUSS.rows)
GLASS = GlassTable(prescription=Prescription(ROWS, GAUSS.stop), vertex_behind_front_mm=VERTEX_MM)
TRACED = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "a"
focal_mm = 50
f_number = 2.8
front_diameter_mm = 80
prescription = "a.toml"
{length}
[box]
ahead_mm = 2
[[box.mask]]
at_mm = 30
opening_mm = [84, 64]
[check]
focus_mm = ["infinity"]
"""
TANGENT, RADIUS_MM, FACE_MM = 18 / 36, 36 / 4 / 2, 0.5
NEEDED_MM, ROOM_PERCENT = 2.5, 2.0  # of a clear frame with a fixed pupil: docs/physics.md


def rests_on(pupil="pupil_behind_front_mm = 40", at=30, width=120):
    states = states_of(parse_scene(SCENE.format(pupil=pupil, at=at, width=width), "x.toml"))
    return clear_while(states)


def room_mm(depth_mm, at, width, wider=1.0):
    """How far the mask's edge lies off the beam, square to the beam's own edge."""
    tangent = TANGENT * wider
    return (width / 2 - (at + FACE_MM + depth_mm) * tangent - RADIUS_MM) * math.cos(math.atan(tangent))


def test_the_depth_told_is_clear_and_one_a_little_deeper_is_not():
    found = rests_on()
    assert found.number is Number.PUPIL
    deepest_mm = 40 + found.off_by
    assert room_mm(deepest_mm, 30, 120) >= NEEDED_MM
    assert room_mm(deepest_mm + 5, 30, 120) < NEEDED_MM or room_mm(deepest_mm + 5, 30, 120, 1 + ROOM_PERCENT / 100) < 0


def test_a_pupil_swapped_for_one_that_would_darken_lies_beyond_the_depth_told():
    swapped_mm = 85
    assert room_mm(swapped_mm, 30, 120) < 0
    assert 40 + rests_on().off_by < swapped_mm


def test_a_walking_pupil_moves_as_a_whole():
    walk = "pupil_walk = [[0, 40, 1, 1], [40, 40, 1, 1]]"
    found = rests_on(walk)
    assert room_mm(40 + found.off_by, 30, 120, 1 + ROOM_PERCENT / 100) > 0
    assert found.stated_mm == 40


def test_far_ahead_the_field_is_told_rather_than_the_pupil():
    found = rests_on(at=400, width=480)
    assert found.number is Number.FIELD
    assert room_mm(40, 400, 480, 1 + found.off_by / 100) >= NEEDED_MM > room_mm(40, 400, 480, 1 + (found.off_by + 3) / 100)


def test_a_mask_as_large_as_any_slip_needs_says_nothing():
    assert rests_on(width=300) is None


def test_a_depth_at_which_the_front_glass_keeps_the_corners_dark_is_not_told():
    corner, glass_mm = math.hypot(18, 5) / 36, 34.0
    found = rests_on(f"pupil_behind_front_mm = 40\nfront_glass_mm = {glass_mm}")
    told_mm = 40 + found.off_by
    lost_past_mm = (glass_mm / 2 + RADIUS_MM) / corner  # the pencils' middles a whole pupil's radius past the glass
    assert told_mm < lost_past_mm


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (ClearWhile(number=Number.PUPIL, off_by=18.0, stated_mm=43.0), "as long as its pupil is no deeper than 61 mm (43 stated)"),
        (ClearWhile(number=Number.PUPIL, off_by=18.0), "as long as its pupil is no more than 18 mm deeper than stated"),
        (ClearWhile(number=Number.FIELD, off_by=7.0), "as long as it sees no more than 7 % wider than stated"),
        (ClearWhile(number=Number.PUPIL, off_by=0.0, stated_mm=40.7), "as long as its pupil is no deeper than stated"),
        (ClearWhile(number=Number.FIELD, off_by=0.0), "as long as it sees no wider than stated"),
        (ClearWhile(number=Number.PUPIL, off_by=3.0, stated_mm=-8.5), "as long as its pupil is no deeper than -6 mm (-8.5 stated)"),
    ],
)
def test_the_words_name_the_number_and_how_far_it_may_go(found, words):
    assert found.words == words


@pytest.mark.parametrize(("length", "told"), [("", True), ("front_to_sensor_mm = {:.2f}", False)])
def test_a_lens_with_a_table_says_how_deep_in_its_barrel_it_may_lie_where_no_length_holds_that(length, told):
    stated = length.format(VERTEX_MM + length_mm(GLASS, traced_focus(GLASS, math.inf)) - GLASS.vertex_behind_front_mm)
    text = TRACED.format(length=stated)
    found = clear_while(states_of(parse_scene(text, "x.toml"), Resources(prescriptions={"a.toml": GLASS})))
    if not told:
        assert found is None
        return
    assert found.number is Number.VERTEX
    assert (
        found.words
        == f"as long as vertex_behind_front_mm of its table is no more than {VERTEX_MM + found.off_by:.0f} mm (4 stated)"
    )
    for more_mm, stands in ((found.off_by, True), (found.off_by + 5.0, False)):
        deep = replace(GLASS, vertex_behind_front_mm=VERTEX_MM + more_mm)
        states = states_of(parse_scene(text, "x.toml"), Resources(prescriptions={"a.toml": deep}))
        assert all(judge_state(state).clear for state in states) == stands
