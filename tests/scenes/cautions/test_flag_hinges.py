"""Flags of a box without a hood that hang on nothing, or in the light, are told; how far off by the sizes in the scene."""

import pytest

from scenes.cautions.doubtful_numbers import doubtful_box_notes
from scenes.scene_file.parse import parse_scene
from scenes.states.state import states_of

SCENE = """
brimline = 1
[camera]
format = "super-16"
[[lens]]
name = "12"
focal_mm = 12
f_number = 2.0
front_diameter_mm = 80
pupil_behind_front_mm = 28
[box]
ahead_mm = -8
back = { width_mm = 130, height_mm = 112, thickness_mm = 6, bore_mm = 82 }
[[box.mask]]
name = "frame"
at_mm = 20
thickness_mm = 2
opening_mm = [84, 58]
outer_mm = [130, 112]
[[box.flag]]
side = "top"
at_mm = 24
hinge_mm = 34
angle_deg = 15
length_mm = 90
width_mm = 130
"""


def told(*pairs):
    text = SCENE
    for right, wrong in pairs:
        assert right in text
        text = text.replace(right, wrong)
    (state, *_) = states_of(parse_scene(text, source="s.toml"))
    return [note.text for note in doubtful_box_notes(state.fitted, state.box.parts) if note.part.endswith("flag")]


@pytest.mark.parametrize("hinge_mm", [34, 56, 60])
def test_a_flag_hinged_on_the_box_or_a_knuckle_off_it_is_not_told(hinge_mm):
    assert told(("hinge_mm = 34", f"hinge_mm = {hinge_mm}")) == []


@pytest.mark.parametrize(("hinge_mm", "off_mm"), [(68, 12), (74, 18), (90, 34), (100, 44)])
def test_a_flag_hinged_outside_of_a_box_without_a_hood_is_told(hinge_mm, off_mm):
    """The plate is 112 mm high, 56 mm on each side of the centre line."""
    (text,) = told(("hinge_mm = 34", f"hinge_mm = {hinge_mm}"))
    assert f"hinge_mm = {hinge_mm}" in text
    assert f"{off_mm} mm outside of the box, which reaches 56 mm from its centre line" in text


def test_the_outermost_of_plate_trays_and_masks_carries_a_flag():
    assert told(("hinge_mm = 34", "hinge_mm = 74"), ("outer_mm = [130, 112]", "outer_mm = [160, 144]")) == []
    no_plate = ("back = { width_mm = 130, height_mm = 112, thickness_mm = 6, bore_mm = 82 }\n", "")
    assert len(told(("hinge_mm = 34", "hinge_mm = 74"), no_plate)) == 1


def test_where_nothing_says_how_large_a_box_is_outside_no_flag_is_off_it():
    no_plate = ("back = { width_mm = 130, height_mm = 112, thickness_mm = 6, bore_mm = 82 }\n", "")
    assert told(("hinge_mm = 34", "hinge_mm = 90"), no_plate, ("outer_mm = [130, 112]\n", "")) == []


@pytest.mark.parametrize(("opening", "is_told"), [("[84, 58]", False), ("[84, 80]", False), ("[120, 104]", True)])
def test_a_flag_that_hangs_in_the_opening_behind_it_is_told(opening, is_told):
    texts = told(("opening_mm = [84, 58]", f"opening_mm = {opening}"))
    words = "hinge_mm = 34 hangs it in the middle of the light: opening_mm = [120, 104] behind it reaches 52 mm"
    assert [words in text for text in texts] == ([True] if is_told else [])
