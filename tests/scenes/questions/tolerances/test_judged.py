"""Builds ask for faults and measure rooms as the judgement does, and the judgement agrees with similar triangles."""

import math

import pytest

from scenes.questions.tolerances.answer import answer as builds
from scenes.questions.widest.answer import answer as widest
from scenes.states.clear_rule import Word
from scenes.states.judgement import judge_state
from scenes.states.load import load_scene
from scenes.states.state import states_of

SCENE = """
brimline = 1

[camera]
width_mm = 36
height_mm = 24
pixels = [600, 400]

[[lens]]
name = "a"
focal_mm = 35
f_number = 2.8
front_diameter_mm = 114
front_to_sensor_mm = 160
close_focus_mm = 300
pupil_walk = [[0, 40, 1, 1], [60, 40, 1, 1]]

[box]
ahead_mm = 4

[box.hood]
at_mm = 10
depth_mm = 60
rear_mm = [160, 120]
front_mm = [220, 170]
{more}
[[tolerance]]
of = "box.ahead_mm"
plus_minus = {off}

[check]
focus_mm = [{focus}]
"""
FLAG = """
[[box.flag]]
side = "top"
angle_deg = 10
length_mm = 110
width_mm = 250
extension = { length_mm = 80, angle_deg = -80 }
"""


@pytest.fixture
def show(tmp_path):
    def loaded(more="", off=0.5, focus="300"):
        path = tmp_path / "scene.toml"
        path.write_text(SCENE.format(more=more, off=off, focus=focus))
        return load_scene(path)

    return loaded


def test_no_build_is_clear_where_a_flag_stands_beyond_the_plane_in_focus(show):
    # The plane in focus stands 300 - 160 = 140 mm ahead of the front; the flag's hinge is 74 mm ahead and it reaches 100 farther.
    found = builds(show(FLAG)).found
    assert found.clear_share == 0.0
    assert found.lenses[0].never


def test_no_lens_is_called_clear_where_a_flag_stands_beyond_the_plane_in_focus(show):
    found = widest(show(FLAG))
    assert math.isinf(found.report.setups[0].clear.clear.focal_mm)
    assert found.fits[0].fits[0].word is not Word.CLEAR
    assert next(fit for fit in found.fits[0].fits if not fit.setup.flagged).word is Word.CLEAR


def test_builds_without_tolerance_are_as_check_judges_the_state(show):
    scene = show(off=0.0001, focus='"infinity"')
    (state,) = states_of(scene.scene)
    judged = judge_state(state)
    found = builds(scene).found.lenses[0]
    assert found.nominal.clearance_mm == pytest.approx(judged.room_mm, abs=1e-3)
    assert found.worst.clearance_mm == pytest.approx(judged.room_mm, abs=0.02)
    assert found.always == judged.clear


def test_the_room_at_a_hoods_front_is_square_to_the_beams_side(show):
    # The beam's upper side runs through (z, y) = (-40, f / 2N) with the slope 12 / 35; the hood's front edge is at (74, 85). The
    # distance of a point from a line in space, not in the plane of the opening (any geometry book).
    found = builds(show(off=0.0001, focus='"infinity"')).found.lenses[0]
    slope = 12 / 35
    radius = 35 / 2.8 / 2 * math.hypot(1, slope)  # the walk's sizes are those square to the middle ray
    beside = (85 - (radius + slope * (74 + 40))) / math.hypot(1, slope)
    rear = (60 - (radius + slope * (14 + 40))) / math.hypot(1, slope)
    assert found.nominal.clearance_mm == pytest.approx(min(beside, rear), abs=0.1)


TRAY = '[[box.stage]]\nname = "tray"\nat_mm = 5\ndepth_mm = 8\nopening_mm = [112, 84]\n'


@pytest.mark.parametrize(("ahead_mm", "share"), [(2.5, 4.5 / 24), (9, 0.0)])
def test_builds_with_a_tray_in_the_barrel_are_not_clear_and_are_counted(tmp_path, ahead_mm, share):
    """The tray stands behind the lens front in 4.5 of the 24 mm between 2.5 - 12 and 2.5 + 12, by the sum of the two places."""
    text = SCENE.replace("ahead_mm = 4", f"ahead_mm = {ahead_mm}").split("[box.hood]", maxsplit=1)[0] + TRAY
    text = text.replace("focal_mm = 35", "focal_mm = 85")
    text += '[[tolerance]]\nof = "box.ahead_mm"\nplus_minus = 12\n[check]\nfocus_mm = ["infinity"]\n'
    path = tmp_path / "scene.toml"
    path.write_text(text, encoding="utf-8")
    found = builds(load_scene(path), count=48)
    (lens,) = found.found.lenses
    unbuilt = lens.unbuilt.count if lens.unbuilt is not None else 0
    assert unbuilt == pytest.approx(48 * share, abs=1.0)
    assert lens.clear_share <= 1 - unbuilt / 48
    words = found.data()["summary"]
    assert (f"{unbuilt} of the 48 builds tried cannot be built" in words) == bool(share)
    assert ("tray" in words) == bool(share)
    assert found.exit_status == (1 if share else 0)
