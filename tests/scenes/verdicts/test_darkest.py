"""Which of several black places is told: the one that reaches furthest in, on maps of any width."""

import pytest

from scenes.runtime.engines import engine_of
from scenes.scene_file.parse import parse_scene
from scenes.states.state import states_of
from scenes.verdicts.check import run_check

SCENE = """
brimline = 1
[camera]
width_mm = 36.0
height_mm = 24.0
[[lens]]
name = "18"
focal_mm = 18
f_number = 2.8
front_diameter_mm = 110
front_to_sensor_mm = 150
pupil_behind_front_mm = 40
[box]
mount = "rods-15"
ahead_mm = 2
offset_mm = {offset}
[[box.mask]]
at_mm = 28
opening_mm = {opening}
corner_mm = {corner}
[check]
f_numbers = [2.8]
focus_mm = ["infinity"]
"""
WIDTHS = (60, 90, 120, 240)


def told(offset, opening, corner, width):
    (state,) = states_of(parse_scene(SCENE.format(offset=offset, opening=opening, corner=corner), source="s.toml"))
    worst = run_check([state], engine_of("coverage"), columns=width).states[0].blamed.worst
    return worst.where, round(worst.x_mm, 6), round(worst.y_mm, 6)


# By similar triangles: the pupil's rim of 3.2 mm and an opening of half width b, 70 mm ahead of the pupil, leave black what lies
# beyond 18 (b + 3.2) / 70 mm of the picture, left and right alike where the box is not moved: of like ones the left is told.
@pytest.mark.parametrize(("offset", "opening", "corner"), [([0, 0], [90, 62], 0), ([0.05, 0.02], [90, 62], 0)])
def test_of_edges_as_black_as_each_other_the_one_told_hangs_on_no_map_width(offset, opening, corner):
    assert {told(offset, opening, corner, width)[0] for width in WIDTHS} == {"left"}


@pytest.mark.parametrize(("offset", "opening", "corner"), [([0, 0], [92, 61], 30), ([0.15, 0.1], [112, 92], 46)])
def test_of_a_black_corner_and_a_black_edge_the_place_told_hangs_on_no_map_width(offset, opening, corner):
    assert len({told(offset, opening, corner, width) for width in WIDTHS}) == 1


def test_the_edge_that_black_reaches_further_in_from_is_told():
    """A box moved 2 mm right hides the left further in."""
    assert {told([2, 0], [90, 62], 0, width)[0] for width in WIDTHS} == {"left"}
    assert {told([-2, 0], [90, 62], 0, width)[0] for width in WIDTHS} == {"right"}
