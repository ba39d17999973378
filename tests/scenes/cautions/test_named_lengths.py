"""Lengths and places in names of parts, lenses and titles against the numbers of the scene: each slip is told, sound names are not.

Scene, parts and names are invented; how crews write names is common practice. An inch is 25.4 mm, a foot 304.8 mm.
"""

import pytest

from geometry.notes import Severity
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import Resources
from scenes.states.state import states_of

SCENE = """
brimline = 1
title = "Quay"
[camera]
format = "36x24"
[[lens]]
name = "24"
focal_mm = 24
f_number = 2.0
front_diameter_mm = 114
front_glass_mm = 100
front_to_sensor_mm = 160
pupil_behind_front_mm = 40
close_focus_mm = 450
[[lens]]
name = "70"
focal_mm = 70
f_number = 2.0
front_diameter_mm = 114
front_to_sensor_mm = 160
pupil_behind_front_mm = 60
close_focus_mm = 600
[box]
ahead_mm = 4
[box.back]
name = "plate"
width_mm = 215
height_mm = 185
bore_mm = 144
[box.seal]
name = "donut"
kind = "donut"
[[box.stage]]
name = "tray"
at_mm = 8
depth_mm = 6
opening_mm = [150, 120]
filter = { name = "clear", size = "6.6x6.6", thickness_mm = 4 }
[[box.mask]]
name = "mask"
at_mm = 18
opening_mm = [140, 100]
[box.hood]
name = "hood"
at_mm = 22
depth_mm = 55
rear_mm = [190, 132]
front_mm = [300, 158]
[[box.flag]]
name = "eyebrow"
side = "top"
angle_deg = 30
length_mm = 110
width_mm = 310
extension = { length_mm = 70, angle_deg = 10 }
"""


def cautions(text):
    states = states_of(parse_scene(text, source="s.toml"), Resources())
    return {note.text for state in states for note in state.notes if note.severity is Severity.CAUTION}


def told(part, name):
    """Cautions about a part of the scene when it is called so."""
    assert SCENE.count(f'name = "{part}"') == 1
    return cautions(SCENE.replace(f'name = "{part}"', f'name = "{name}"')) - cautions(SCENE)


SLIPS = [
    ("eyebrow", "eyebrow 150 long", "length_mm = 110 speaks against its name, 150 long"),
    ("eyebrow", "eyebrow_150mm", "length_mm = 110 speaks against its name, 150mm"),
    ("eyebrow", "eyebrow 6 in long", "length_mm = 110 speaks against its name, 6 in long"),
    ("eyebrow", "eyebrow 110 long, 210 wide", "width_mm = 310 speaks against its name, 210 wide"),
    ("eyebrow", "eyebrow 310x150", "length_mm = 110 and width_mm = 310 speak against its name, 310 x 150"),
    ("eyebrow", "eyebrow at 45", "angle_deg = 30, hinged at 77, speaks against its name, at 45"),
    ("hood", "hood 120 deep", "depth_mm = 55 speaks against its name, 120 deep"),
    ("hood", "hood, depth 70", "depth_mm = 55 speaks against its name, depth 70"),
    ("hood", "hood 12 cm deep", "depth_mm = 55 speaks against its name, 12 cm deep"),
    ("hood", "hood stands at 38", "at_mm = 22 speaks against its name, at 38"),
    ("hood", "hood 270 wide", "front_mm = [300, 158] speaks against its name, 270 wide"),
    ("hood", "hood 95 mm", "depth_mm = 55 speaks against its name, 95 mm"),
    ("tray", "tray at 42", "at_mm = 8 speaks against its name, at 42"),
    ("tray", "tray 18 deep", "depth_mm = 6 speaks against its name, 18 deep"),
    ("mask", "mask @28mm", "at_mm = 18 speaks against its name, @28mm"),
    ("mask", "mask 120 wide", "opening_mm = [140, 100] speaks against its name, 120 wide"),
    ("mask", "mask 3 thick", "thickness_mm = 1 speaks against its name, 3 thick"),
    ("donut", "donut 95", "round 114 mm and in a bore of 144 mm speak against its name, 95"),
    ("donut", "ring 78 mm", "round 114 mm and in a bore of 144 mm speak against its name, 78 mm"),
    ("donut", "95-136 donut", "round 114 mm and in a bore of 144 mm speak against its name, 95"),
    ("plate", "plate 190x160", "width_mm = 215 and height_mm = 185 speak against its name, 190 x 160"),
    ("plate", "plate, bore 118", "bore_mm = 144 speaks against its name, bore 118"),
    ("eyebrow", "eyebrow, ext 120", "extension.length_mm = 70 speaks against its name, ext 120"),
    ("mask", "mask, corners 12", "corner_mm = 0 speaks against its name, corners 12"),
    ("mask", "mask tilted 10 deg", "tilt_deg = 0 and turn_deg = 0 speak against its name, 10 deg"),
    ("tray", "tray, tilt 10", "tilt_deg = 0 and turn_deg = 0 speak against its name, 10 deg"),
    ("tray", "tray at 10", "at_mm = 8 speaks against its name, at 10"),
    (
        "clear",
        "clear 2 mm",
        'thickness_mm = 4 of glass of 167.6 x 167.6 mm speaks against the name of its filter "clear 2 mm", 2 mm',
    ),
    ("clear", "clear 2 mm thick", 'thickness_mm = 4 speaks against the name of its filter "clear 2 mm thick", 2 mm thick'),
    ("clear", "clear 120x120", "its filter of 167.6 x 167.6 mm is of another size than its name says, 120 x 120 mm"),
]


@pytest.mark.parametrize(("part", "name", "words"), SLIPS, ids=[name for _, name, _ in SLIPS])
def test_a_length_or_place_in_a_name_that_no_number_of_the_part_has_is_told(part, name, words):
    """The hood ends at 22 + 55 mm, where the flag hangs."""
    found = told(part, name)
    assert any(words in text for text in found), found


SOUND = {
    "hood": [
        "hood A",
        "hood 2",
        "hood 55 deep",
        "hood 5.5 cm deep",
        "hood 300x158",
        "hood 303 wide",
        "hood 24-70",
        "24 mm hood",
        "hood for 85 mm",
        "hood rev 120",
        "hood at 22",
        "hood (26 from lens)",
        "hood at 26 mm",
        "hood v2 2026-11-21",
        "hood @ f/5.6",
        "#120 hood",
        "hood on 300 mm bars",
        "hood no. 120",
        "hood, max 120 deep",
        "hood at 10 am",
        "hood T2.8",
    ],
    "eyebrow": [
        "French flag",
        "eyebrow 2",
        "eyebrow 30 deg",
        "eyebrow 110",
        "eyebrow 110 long",
        "eyebrow 180 long",
        "eyebrow 110+70",
        "set 150",
        "flag, carbon 1.5 mm",
        "flag 310 wide",
        "eyebrow 20-40 deg",
        "eyebrow at 30",
        "eyebrow, 3rd click",
        "flag 310x110",
        "eyebrow 70 wide",
        "flag 12 in wide",
        "eyebrow for the 280 wide hood",
        "flag 4x5.65",
        "eyebrow up to 150 long",
        "eyebrow, ext 70",
        "eyebrow, extended",
    ],
    "tray": [
        "tray 1",
        "rear tray at 8",
        "tray 6.6x6.6",
        "tray 6 deep",
        "tray pos 42",
        "tray 12 from lens",
        "100 mm tray",
        "tray 150 wide",
        "tray at 12",
        "stage 1 of 2",
        "tray at 5600K",
        "tray slot 3",
    ],
    "mask": [
        "mask 24",
        "mask 140x100",
        "mask 24 wide",
        "mask at 18",
        "24 mm mask",
        "mask 1 of 3",
        "mask 140 wide",
        "mask 2.39",
        "mask r8",
        "mask at 70",
        "mask 1 mm thick",
        "mask A3",
        "mask, max tilt 10",
        "mask, 2-10 deg tilt",
        "mask r12",
        "mask turned over",
        "mask, 90 deg",
        "mask 35mm film",
    ],
    "donut": [
        "donut 114",
        "donut 144",
        "donut 114/144",
        "donut no 95",
        "donut set 95",
        "donut for 24",
        "donut 100",
        "donut for 114 front",
        "donut 3",
        "donut for 95 thread",
        "foam donut 60 shore",
        "soft donut 114 mm",
        "donut 4.5 in",
    ],
    "plate": ["plate 215x185", "plate 4 mm", "plate, bore 144", "plate for 165x165 trays", "plate 2", "back plate B"],
    "clear": ["clear 4 mm", "clear 165x165", "clear 2", "clear, case 120", "density 0.6", "1/8 white"],
}


@pytest.mark.parametrize(("part", "name"), [(part, name) for part, names in SOUND.items() for name in names])
def test_names_that_fit_or_tell_no_length_get_no_word(part, name):
    assert not {text for text in told(part, name) if "name" in text}


def test_a_part_may_be_called_by_the_film_that_it_is_for():
    text = SCENE.replace('name = "hood"', 'name = "hood 65mm"')
    assert any("its name, 65mm" in one for one in cautions(text))
    assert not any("its name, 65mm" in one for one in cautions(text.replace('"36x24"', '"65-5perf"')))


def test_a_streak_filter_may_be_called_by_the_mm_between_its_lines():
    """Common practice."""
    glass = 'filter = { name = "clear", size = "6.6x6.6"'
    assert glass in SCENE
    streak = SCENE.replace(glass, 'filter = { name = "streak 2 mm", kind = "streak", size = "6.6x6.6"')
    assert not any("the name of its filter" in text for text in cautions(streak))


def test_a_number_that_may_be_a_lens_of_the_scene_is_no_length():
    assert any("95 mm" in text for text in told("hood", "hood 95 mm"))
    lens = SCENE.replace('name = "70"\nfocal_mm = 70', 'name = "95"\nfocal_mm = 95').replace('name = "hood"', 'name = "hood 95 mm"')
    assert not any("its name" in text for text in cautions(lens))


def test_a_part_that_this_lens_goes_without_gets_no_word_there():
    text = SCENE.replace('name = "eyebrow"', 'name = "eyebrow 150 long"\nlenses = ["70"]')
    states = states_of(parse_scene(text, source="s.toml"), Resources())
    assert {state.lens.name for state in states if any("150 long" in note.text for note in state.notes)} == {"70"}


def of_lens(name, focal=24):
    text = SCENE.replace('name = "24"\nfocal_mm = 24', f'name = "{name}"\nfocal_mm = {focal}')
    states = states_of(parse_scene(text, source="s.toml"), Resources())
    notes = [note for state in states for note in state.notes if note.severity is not Severity.FACT]
    return {note.text for note in notes if "the name" in note.text}


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("24 front 95", 'front_diameter_mm = 114 speaks against the name "24 front 95", 95 mm'),
        ("24 (95 mm front)", 'front_diameter_mm = 114 speaks against the name "24 (95 mm front)", 95 mm'),
        ("24 OD 95", 'front_diameter_mm = 114 speaks against the name "24 OD 95", 95 mm'),
        ("Prime front 95", "front_diameter_mm = 114 speaks against the name"),
        ("24 close focus 0.35 m", 'close_focus_mm = 450 speaks against the name "24 close focus 0.35 m", 350 mm'),
        ("24 0,35m", "close_focus_mm = 450 speaks against the name"),
        ("24 CF 14 in", "close_focus_mm = 450 speaks against the name"),
        ("24 MOD 35cm", "close_focus_mm = 450 speaks against the name"),
        ("24 pupil 58", 'pupil_behind_front_mm = 40 speaks against the name "24 pupil 58", 58 mm'),
        ("24 1'2", "close_focus_mm = 450 speaks against the name"),
    ],
)
def test_a_front_or_nearest_focus_in_a_lens_name_that_the_lens_has_not_is_told(name, words):
    found = of_lens(name)
    assert len(found) == 1
    assert words in found.pop()


@pytest.mark.parametrize(
    "name",
    [
        "24 front 114",
        "24 (front glass 100)",
        "24 OD 114",
        "24 close focus 0.45 m",
        "24 0.45m",
        "24 CF 18 in",
        "24 MOD 45cm",
        "24 1'6",
        "24 #95",
        "24 mm front group",
        "24 T2.1 114 front",
        "24 close focus 0.6 m",
        "24 set 95",
        "24 pupil 40",
        "24 pupil 38",
        "24 B",
    ],
)
def test_fronts_and_nearest_focus_of_lens_names_that_fit_get_no_word(name):
    """A nearest focus that is nearer than the name's is looked at: the safe side."""
    assert of_lens(name) == set()
