"""Numbers of a scene that speak against each other: one wrong number each, that would make a dark frame look clear."""

import math
from pathlib import Path

import numpy as np
import pytest

from geometry.notes import Severity
from raytrace.optics.lens import pencils_for
from scenes.cautions.focus_plane import BEYOND
from scenes.runtime.engines import engine_of
from scenes.scene_file.examples import example_text
from scenes.scene_file.parse import parse_scene
from scenes.states.load import load_scene, plans_of
from scenes.states.state import states_of
from scenes.verdicts.check import run_check
from scenes.verdicts.verdict import Word

DEMOS = sorted((Path(__file__).parents[3] / "scenes" / "demo").glob("*.toml"))
SCENE = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
pixels = [6000, 4000]
[[camera.guide]]
name = "wide"
aspect = 1.5
[[lens]]
name = "18"
focal_mm = 18
f_number = 2.8
front_diameter_mm = 114
front_glass_mm = 104
front_to_sensor_mm = 168
close_focus_mm = 450
pupil_behind_front_mm = 38
[[lens]]
name = "60A"
focal_mm = 60
f_number = 2.3
squeeze = 1.8
front_diameter_mm = 136
front_to_sensor_mm = 240
pupil_behind_front_mm = { horizontal = 70, vertical = 130 }
[[lens]]
name = "45-75"
f_number = 2.8
front_diameter_mm = 136
front_to_sensor_mm = 260
[[lens.state]]
focal_mm = 45
pupil_behind_front_mm = 74
[[lens.state]]
focal_mm = 75
pupil_behind_front_mm = 96
[box]
ahead_mm = 4
[[box.stage]]
name = "tray"
at_mm = 6
depth_mm = 6
opening_mm = [300, 240]
filter = { width_mm = 320, height_mm = 260, kind = "density", density = 0.9 }
[check]
f_numbers = [2.8]
focus_mm = ["infinity"]
"""
FIELD_18 = "pupil_behind_front_mm = 38\n[[lens.state]]\nfocus_mm = 'infinity'\nhalf_field_deg = {}"


def doubts(text):
    """(part, text) of every fault that leaves light in doubt, each once."""
    plans = states_of(parse_scene(text, source="s.toml"))
    return list(dict.fromkeys((note.part, note.text) for plan in plans for note in plan.notes if note.doubts_light))


def changed(right, wrong):
    assert SCENE.count(right) == 1, right
    return SCENE.replace(right, wrong)


# One wrong number: what is written for what, the key to confirm, and words of the fault with both keys and their values.
WRONG = {
    "half of the half field": (
        "pupil_behind_front_mm = 38",
        FIELD_18.format(22.5),
        "half_field_deg",
        ["half_field_deg = 22.5 at infinity", "focal_mm = 18 and the picture's width of 36 mm say 45.0 deg", "half of the half"],
    ),
    "full field as half": (
        "pupil_behind_front_mm = 38",
        FIELD_18.format(88),
        "half_field_deg",
        ["half_field_deg = 88 at infinity", "focal_mm = 18", "45.0 deg (is it the full field?)"],
    ),
    "field of another focal length": (
        "pupil_behind_front_mm = 38",
        FIELD_18.format(25),
        "half_field_deg",
        ["half_field_deg = 25", "focal_mm = 18"],
    ),
    "pupil without its sign": ("behind_front_mm = 38", "behind_front_mm = -38", "pupil_behind_front_mm", ["-38", "38 behind it"]),
    "pupil in cm": (
        "behind_front_mm = 38",
        "behind_front_mm = 3.8",
        "pupil_behind_front_mm",
        ["pupil_behind_front_mm = 3.8", "front_diameter_mm = 114", "it would be 38 mm"],
    ),
    "front to mount": (
        "front_to_sensor_mm = 168",
        "front_to_sensor_mm = 30",
        "front_to_sensor_mm",
        ["front_to_sensor_mm = 30", "pupil_behind_front_mm = 38", "behind the sensor"],
    ),
    "stop without its point": ("f_number = 2.3", "f_number = 23", "f_number", ["f_number = 23", "f_number = 2.8"]),
    "checked stop without its point": (
        "f_numbers = [2.8]",
        "f_numbers = [23]",
        "f_number",
        ["f_number = 2.3", "f_numbers = [23]"],
    ),
    "nearest focus of another lens": (
        "close_focus_mm = 450\npupil_behind_front_mm = 38",
        "close_focus_mm = 4500\n[[lens.state]]\nfocus_mm = 450\npupil_behind_front_mm = 38",
        "close_focus_mm",
        ["close_focus_mm = 4500", "focus_mm = 450"],
    ),
    "another focal length than the name": ("focal_mm = 18", "focal_mm = 28", "focal_mm", ["focal_mm = 28", 'the name "18"']),
    "zoom without its wide end": (
        "focal_mm = 45\n",
        "focal_mm = 54\n",
        "focal_mm",
        ["focal_mm = 54", 'the name "45-75"'],
    ),
    "pupils swapped": (
        "{ horizontal = 70, vertical = 130 }",
        "{ horizontal = 130, vertical = 70 }",
        "pupil_behind_front_mm",
        ["horizontal = 130, vertical = 70", "squeeze = 1.8", "swapped"],
    ),
    "squeeze left out": ("squeeze = 1.8\n", "", "squeeze", ["squeeze = 1", "70 horizontal and 130 vertical"]),
    "front glass as a radius": (
        "front_glass_mm = 104",
        "front_glass_mm = 52",
        "front_glass_mm",
        ["front_glass_mm = 52 (is it the radius?)", "pupil_behind_front_mm"],
    ),
    "walk of another lens": (
        "pupil_behind_front_mm = 38",
        "pupil_behind_front_mm = 38\npupil_walk = [[0, 18, 1, 1], [60, 18, 1, 1]]",
        "pupil_walk",
        ["pupil_walk begins at 18 mm", "pupil_behind_front_mm = 38"],
    ),
    "pupil magnification upside down": (
        "pupil_behind_front_mm = 38",
        "pupil_behind_front_mm = 38\npupil_magnification = 0.1",
        "pupil_magnification",
        ["pupil_magnification = 0.1", "front_to_sensor_mm = 168"],
    ),
    "zoom without its long end": (
        "focal_mm = 75\n",
        "focal_mm = 175\n",
        "focal_mm",
        ["focal_mm = 175", 'the name "45-75"'],
    ),
    "pupil narrower than the squeeze makes it": (
        "squeeze = 1.8\n",
        "squeeze = 1.8\npupil_width_factor = 0.2\n",
        "squeeze",
        ["squeeze = 1.8", "pupil_width_factor = 0.2", "squeeze of 5"],
    ),
    "walk that begins with a tenth of the pupil": (
        "pupil_behind_front_mm = 38",
        "pupil_walk = [[0, 38, 0.1, 1], [60, 38, 1, 1]]",
        "pupil_walk",
        ["pupil_walk begins with a size of 0.1", "begins with 1"],
    ),
    "walk with a point in the wrong place": (
        "pupil_behind_front_mm = 38",
        "pupil_walk = [[0, 38, 1, 1], [20, 38.2, 1, 1], [45, 3.85, 1, 1], [60, 39, 1, 1]]",
        "pupil_walk",
        ["pupil_walk = 3.85 mm at 45 deg", "the 38 mm it begins with"],
    ),
    "distortion that is back at nothing in the corner": (
        "pupil_behind_front_mm = 38",
        "pupil_behind_front_mm = 38\ndistortion = [1.0, -1.0]",
        "distortion",
        ["distortion = [1, -1]", "25 % at 0.7 of the way", "rectilinear"],  # r^2 - r^4 is largest, 1/4, at r = 0.707
    ),
    "distortion in the wrong unit": (
        "pupil_behind_front_mm = 38",
        "pupil_behind_front_mm = 38\ndistortion = [0.2, 0.0]",
        "distortion",
        ["distortion = [0.2, 0]", "20 %", "rectilinear"],
    ),
}  # fmt: skip


def test_a_scene_whose_numbers_agree_has_no_fault():
    assert doubts(SCENE) == []


@pytest.mark.parametrize(("right", "wrong", "key", "words"), WRONG.values(), ids=WRONG.keys())
def test_a_number_that_others_speak_against_is_a_fault_that_names_both(right, wrong, key, words):
    ((_, text),) = doubts(changed(right, wrong))
    for word in [*words, f'confirmed = ["{key}"]']:
        assert word in text


@pytest.mark.parametrize(("right", "wrong", "key", "words"), WRONG.values(), ids=WRONG.keys())
def test_a_confirmed_number_counts_as_it_stands_without_a_fault(right, wrong, key, words):
    assert words
    text = changed(right, wrong)
    for name in ("18", "60A", "45-75"):
        text = text.replace(f'name = "{name}"\n', f'name = "{name}"\nconfirmed = ["{key}"]\n')
    assert doubts(text) == []


def test_a_lens_much_shorter_than_its_focal_length_is_a_fault():
    text = SCENE.replace('name = "18"\nfocal_mm = 18', 'name = "400"\nfocal_mm = 400').replace(
        "f_number = 2.8\nfront_diameter_mm = 114", "f_number = 8\nfront_diameter_mm = 114"
    )
    found = [words for part, words in doubts(text) if part == "400"]
    assert any("front_to_sensor_mm = 168 is less than half of focal_mm = 400" in words for words in found)


CAMERAS = {
    "sensor in cm": ("width_mm = 36\nheight_mm = 24\npixels = [6000, 4000]", "width_mm = 3.6\nheight_mm = 2.4", "36 x 24 mm"),
    "photosites of a telephone": ("width_mm = 36\nheight_mm = 24\npixels = [6000, 4000]", "width_mm = 12\nheight_mm = 8\npixels = [15000, 10000]", "pixels = [15000, 10000]"),  # noqa: E501
    "width and height swapped": ("width_mm = 36\nheight_mm = 24\npixels = [6000, 4000]", "width_mm = 24\nheight_mm = 36", "aspect = 1.5"),  # noqa: E501
}  # fmt: skip


@pytest.mark.parametrize(("right", "wrong", "words"), CAMERAS.values(), ids=CAMERAS.keys())
def test_a_camera_that_lenses_or_pixels_or_guides_speak_against_is_a_fault_of_every_state(right, wrong, words):
    text = changed(right, wrong)
    plans = states_of(parse_scene(text, source="s.toml"))
    for plan in plans:
        (note,) = [note for note in plan.notes if note.part == "camera"]
        assert note.severity is Severity.FAULT
        assert words in note.text
    assert not any(part == "camera" for part, _ in doubts(text.replace("[camera]", '[camera]\nconfirmed = ["width_mm"]')))


@pytest.mark.parametrize(
    ("name", "fault"), [("Prime 18", True), ("Series 500, 28", False), ("Prime 28 mm", False), ("Made 1974", False), ("B28", False)]
)
def test_a_focal_length_that_stands_in_a_name_as_a_word_is_held_against_focal_mm(name, fault):
    text = changed('name = "18"\nfocal_mm = 18', f'name = "{name}"\nfocal_mm = 28')
    assert [part for part, words in doubts(text) if f'focal_mm = 28 speaks against the name "{name}"' in words] == [name] * fault


@pytest.mark.parametrize(
    "name", ["28-45", "28 - 45 mm", "28\u201345", "28 to 45", "28mm-45mm", "28 bis 45", "28~45", "28..45", "28\u202645"]
)
@pytest.mark.parametrize(("focals", "fault"), [((28, 45), False), ((28,), True), ((35, 45), True)])
def test_a_zooms_range_is_read_from_its_name_however_it_is_written(name, focals, fault):
    rows = "".join(f"[[lens.state]]\nfocal_mm = {focal}\npupil_behind_front_mm = 60\n" for focal in focals)
    lens = f'[[lens]]\nname = "{name}"\nf_number = 2.8\nfront_diameter_mm = 114\nfront_to_sensor_mm = 200\n{rows}'
    text = f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}[box]\nahead_mm = 2\n'
    assert any(f'speaks against the name "{name}"' in words for _, words in doubts(text)) == fault


@pytest.mark.parametrize(("focal", "own"), [(42, True), (24, False)])
def test_a_zooms_row_that_its_name_and_its_own_focal_length_speak_against_is_what_is_told(focal, own):
    rows = "".join(f"[[lens.state]]\nfocal_mm = {one}\npupil_behind_front_mm = 60\n" for one in (focal, 70))
    lens = f'[[lens]]\nname = "24-70"\nfocal_mm = 24\nf_number = 2.8\nfront_diameter_mm = 114\nfront_to_sensor_mm = 200\n{rows}'
    found = [words for _, words in doubts(f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}[box]\nahead_mm = 2\n')]
    told = 'focal_mm = 42 of a state row speaks against focal_mm = 24 of the lens and its name "24-70"'
    assert [told in words for words in found] == [True] * own


# A 1.8 squeeze records 2.39 as 1.328.
@pytest.mark.parametrize(("aspect", "fault"), [(0.418, True), (1.85, True), (2.39, False), (2.35, False), (1.328, False)])
def test_a_guide_of_another_aspect_than_its_name_is_a_fault(aspect, fault):
    text = changed('name = "wide"\naspect = 1.5', f'name = "2.39:1 extraction"\naspect = {aspect}')
    found = doubts(text)
    assert bool(found) is fault
    assert all(part == "camera" and f"aspect = {aspect:g} speaks against" in words for part, words in found)


def test_a_guide_of_another_aspect_than_its_name_tells_what_a_squeeze_makes_of_it():
    found = doubts(changed('name = "wide"\naspect = 1.5', 'name = "2.39 desqueezed"\naspect = 1.7'))
    assert all("(3.06 desqueezed by squeeze = 1.8)" in words for _, words in found)
    assert found


@pytest.mark.parametrize(
    ("name", "aspect", "fault"),
    [
        ("vertical for phones", 2.5625, True),
        ("vertical for phones", 0.5625, False),
        ("portrait", 1.5, True),
        ("vertical safe area", 1.5, False),
        ("landscape", 0.75, True),
        ("landscape and portrait", 1.2, False),
    ],
)
def test_a_guide_called_upright_that_lies_across_is_a_fault(name, aspect, fault):
    found = doubts(changed('name = "wide"\naspect = 1.5', f'name = "{name}"\naspect = {aspect}'))
    assert [part for part, words in found if "width over height" in words] == ["camera"] * fault


def test_a_density_in_stops_is_a_fault_of_its_filter():
    ((part, text),) = doubts(changed("density = 0.9", "density = 3"))
    assert part == "tray filter"
    assert "density = 3 takes 10 stops; if 3 stops are meant write density = 0.9" in text  # 3 / log10(2) = 9.97
    assert doubts(changed("density = 0.9", 'density = 3, confirmed = ["density"]')) == []
    assert doubts(changed("density = 0.9", "density = 2.1")) == []


@pytest.mark.parametrize("stated", [43.0, 45.0, 47.0])
def test_a_measured_field_within_marking_and_distortion_is_no_contradiction(stated):
    # tan 43 and tan 47 are 7 % either side of 18 / 18: focal lengths are marked to 5 % (ISO 517, from memory), and distortion adds
    text = changed("pupil_behind_front_mm = 38", FIELD_18.format(stated))
    assert doubts(text) == []
    (plan,) = [plan for plan in states_of(parse_scene(text, source="s.toml")) if plan.lens_name == "18"]
    edge = pencils_for(plan.variants[0], np.array([[18.0, 0.0]])).slope[0, 0]
    assert abs(edge) == pytest.approx(math.tan(math.radians(stated)))


@pytest.mark.parametrize(("stated", "counts"), [(25.0, 45.0), (22.5, 45.0), (60.0, 60.0)])
def test_of_a_stated_field_and_one_that_the_focal_length_says_the_wider_counts(stated, counts):
    text = changed("pupil_behind_front_mm = 38", FIELD_18.format(stated))
    plan = states_of(parse_scene(text, source="s.toml"))[0]
    edge = pencils_for(plan.variants[0], np.array([[18.0, 0.0]])).slope[0, 0]
    assert abs(edge) == pytest.approx(math.tan(math.radians(counts)))
    confirmed = text.replace('name = "18"', 'name = "18"\nconfirmed = ["half_field_deg"]')
    plan = states_of(parse_scene(confirmed, source="s.toml"))[0]
    edge = pencils_for(plan.variants[0], np.array([[18.0, 0.0]])).slope[0, 0]
    assert abs(edge) == pytest.approx(math.tan(math.radians(stated)))


def test_a_state_whose_numbers_speak_against_each_other_is_never_clear_and_ends_with_status_1():
    right, wrong = (
        run_check(states_of(parse_scene(text, source="s.toml"))[:1], engine_of("coverage"), columns=48)
        for text in (SCENE, changed("behind_front_mm = 38", "behind_front_mm = -38"))
    )
    assert (right.word, right.exit_status) == (Word.CLEAR, 0)
    assert (wrong.word, wrong.exit_status) == (Word.TIGHT, 1)
    assert wrong.states[0].guides[0].next_step.startswith("first clear up the fault of 18: pupil_behind_front_mm = -38 puts")


def test_the_show_that_is_written_for_newcomers_has_none():
    assert doubts(example_text()) == []


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_the_demos_have_none(path):
    found = [note.text for plan in plans_of(load_scene(path)) for note in plan.notes if note.doubts_light]
    assert [text for text in found if BEYOND not in text] == []  # a plane in focus within the box is no contradiction


def test_a_front_glass_as_a_radius_is_a_fault_close_up_too_where_the_field_is_a_guess():
    text = changed("front_glass_mm = 104", "front_glass_mm = 52").replace('focus_mm = ["infinity"]', "focus_mm = [450]")
    text = text.replace("front_to_sensor_mm = 240", "front_to_sensor_mm = 240\nfront_glass_mm = 130")
    close = [note for plan in states_of(parse_scene(text, source="s.toml"))[:1] for note in plan.notes if note.doubts_light]
    assert [note.text.startswith("front_glass_mm = 52 (is it the radius?)") for note in close] == [True]
