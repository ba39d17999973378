"""Lengths of a box in cm are told; boxes that are as they are meant to be, drawn ones and a thousand by chance, are not."""

from pathlib import Path

import pytest

from scenes.cautions.box_slips import slip_notes
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.tables.scene import box_for
from scenes.states.load import load_scene
from tests.scenes.random_boxes import random_scene

ROOT = Path(__file__).parents[3]
SCENE = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 114
front_glass_mm = 100
pupil_behind_front_mm = 40
[box]
ahead_mm = 4
[[box.stage]]
name = "tray"
at_mm = 10
depth_mm = 8
opening_mm = [138, 97]
[box.hood]
at_mm = 20
depth_mm = 70
rear_mm = [170, 120]
front_mm = [250, 170]
[[box.flag]]
side = "top"
angle_deg = 40
length_mm = 110
width_mm = 260
extension = { length_mm = 70, angle_deg = 10 }
"""


def slips(text):
    scene = parse_scene(text, source="s.toml")
    return {(note.part, note.text) for lens in scene.lens for note in slip_notes(box_for(scene, lens), lens)}


@pytest.mark.parametrize(
    ("right", "slip", "part", "told"),
    [
        ("ahead_mm = 4\n", "ahead_mm = 0.4\n", "box", ("ahead_mm = 0.4", "at_mm = 20", "would be 4 mm")),
        ("ahead_mm = 4\n", "ahead_mm = -0.6\n", "box", ("ahead_mm = -0.6", "would be -6 mm")),
        ("length_mm = 110", "length_mm = 11", "top flag", ("length_mm = 11", "width_mm = 260", "would be 110 mm")),
        ("length_mm = 70", "length_mm = 7", "top flag", ("extension.length_mm = 7", "length_mm = 110", "would be 70 mm")),
        ("width_mm = 260", "width_mm = 26", "top flag", ("width_mm = 26", "the 250 mm of the hood's edge", "would be 260 mm")),
        ("depth_mm = 70", "depth_mm = 7", "hood", ("depth_mm = 7", "front_mm = [250, 170]", "would be 70 mm")),
        ("rear_mm = [170, 120]", "rear_mm = [30, 25]", "hood", ("rear_mm = [30, 25]", "front_glass_mm = 100", "be 300 x 250")),
        ("front_mm = [250, 170]", "front_mm = [25, 20]", "hood", ("front_mm = [25, 20]", "rear_mm = [170, 120]")),
        ("front_mm = [250, 170]", "front_mm = [170, 250]", "hood", ("front_mm = [170, 250]", "rear_mm = [170, 120] lies across")),
        ("opening_mm = [138, 97]", 'opening_mm = [143, 97]\nfilter = { size = "4x5.65" }', "tray", ("leaves 0.3 mm of the glass",)),
        ("opening_mm = [138, 97]", "opening_mm = [143.51, 101.6]\nfilter = { size = '4x5.65' }", "tray", ("leaves nothing",)),
        ("opening_mm = [138, 97]", "opening_mm = [138, 97]\nfilter = { size = '4x5.65', thickness_mm = 8 }", "tray",
         ("thickness_mm = 8 is thicker than filters are", "is it the depth of the tray")),
        ("opening_mm = [138, 97]",
         "opening_mm = [138, 97]\nfilter = { size = '4x5.65', kind = 'close-up', power_dioptre = 2.5 }", "tray",
         ("power_dioptre = 2.5 curves it by 6.3 mm to its nearest edge", "filter.thickness_mm = 4")),
        ("opening_mm = [138, 97]",
         "opening_mm = [138, 97]\nfilter = { size = '4x5.65', kind = 'close-up', power_dioptre = 12 }", "tray",
         ("power_dioptre = 12 curves it more than its width allows", "filter.thickness_mm = 4")),
        ("opening_mm = [138, 97]", "opening_diameter_mm = 138\nfilter = { diameter_mm = 138 }", "tray", ("leaves nothing of the",)),
        ("[box]\n", '[box]\nseal = { kind = "donut", inner_mm = 117 }\n', "seal", ("inner_mm = 117", "1.5 mm all round", "= 114")),
        ("[box]\n", '[box]\nseal = { kind = "donut", inner_mm = 149 }\n', "seal", ("inner_mm = 149", "17.5 mm all round", "= 114")),
        ("opening_mm = [138, 97]", "opening_mm = [13.8, 9.7]", "tray", ("opening_mm = [13.8, 9.7]", "would be 138 x 97 mm")),
    ],
)  # fmt: skip
def test_a_length_in_cm_is_told_with_the_number_that_it_speaks_against(right, slip, part, told):
    """Of a plano-convex lens R = (n - 1) / power, and the sagitta at h is R - sqrt(R^2 - h^2) (any textbook): 206.7 and 6.3 mm."""
    assert SCENE.count(right) == 1
    assert slips(SCENE) == set()
    ((named, words),) = slips(SCENE.replace(right, slip))
    assert named == part
    assert all(one in words for one in told)


@pytest.mark.parametrize(("rear", "told"), [("[170, 120]", False), ("[290, 190]", True)])
def test_a_hood_that_narrows_from_a_rear_larger_than_its_plate_is_told(rear, told):
    plate = "back = { width_mm = 220, height_mm = 180, bore_mm = 120 }"
    text = SCENE.replace("ahead_mm = 4", f"ahead_mm = 4\n{plate}").replace("rear_mm = [170, 120]", f"rear_mm = {rear}")
    assert any("are the two swapped?" in words for _, words in slips(text)) == told


def flags_of(top_mm, left_mm):
    """Four flags of these widths."""
    sides = (("top", top_mm), ("bottom", top_mm), ("left", left_mm), ("right", left_mm))
    one = '[[box.flag]]\nside = "{}"\nangle_deg = 65\nlength_mm = 110\nwidth_mm = {}\n'
    return "".join(one.format(side, width) for side, width in sides)


@pytest.mark.parametrize(
    ("top_mm", "left_mm", "words"),
    [
        (170, 170, "its top and bottom flags are 170 mm along it, and the other two fit theirs; is it really so wide?"),
        (250, 120, "its left and right flags are 120 mm along it, and the other two fit theirs; is it really so high?"),
        (250, 170, None),
        (170, 120, None),  # neither fits
    ],
)
def test_a_hood_whose_front_two_of_four_flags_do_not_fit_is_told(top_mm, left_mm, words):
    text = SCENE[: SCENE.index("[[box.flag]]")] + flags_of(top_mm, left_mm)
    found = [told for part, told in slips(text) if part == "hood"]
    assert [words in told for told in found] == [True] * (words is not None)


@pytest.mark.parametrize(("at", "is_told"), [(20, False), (40, False), (82, True)])
def test_a_hood_that_begins_far_ahead_of_all_that_could_hold_it_is_told(at, is_told):
    plate = "back = { width_mm = 240, height_mm = 180, bore_mm = 120 }"
    text = SCENE.replace("ahead_mm = 4", f"ahead_mm = 4\n{plate}").replace("at_mm = 20", f"at_mm = {at}")
    assert any("ahead of all that could hold it" in words for _, words in slips(text)) is is_told


def test_boxes_drawn_by_chance_and_those_of_the_demo_are_not_doubted():
    assert not [found for seed in range(300) if (found := slips(random_scene(seed)))]
    for path in (*(ROOT / "scenes/demo").glob("*.toml"), *(ROOT / "tests/golden/scenes").glob("*.toml")):
        scene = load_scene(path).scene
        assert not [note for lens in scene.lens for note in slip_notes(box_for(scene, lens), lens)], path.name
