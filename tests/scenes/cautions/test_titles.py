"""What a title, or a name, tells of squeezes, stops, nearest focus and parts against the scene's numbers.

Titles are as crews write them (common practice); scene and numbers are invented.
"""

import pytest

from geometry.notes import Severity
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import Resources
from scenes.states.state import states_of


def lens(name, squeeze, focal=50):
    depth = "{ horizontal = 45, vertical = 100 }" if squeeze > 1 else "60"
    return f"""
[[lens]]
name = "{name}"
focal_mm = {focal}
f_number = 2.0
squeeze = {squeeze}
front_diameter_mm = 114
front_to_sensor_mm = 220
pupil_behind_front_mm = {depth}
close_focus_mm = 600
"""


BOX = """
[box]
ahead_mm = 4
[box.back]
width_mm = 215
height_mm = 185
bore_mm = 144
[box.seal]
kind = "donut"
[[box.stage]]
at_mm = 8
depth_mm = 8
opening_mm = [150, 120]
[box.hood]
at_mm = 22
depth_mm = 55
rear_mm = [190, 132]
front_mm = [300, 158]
[[box.flag]]
name = "top flag"
side = "top"
angle_deg = 30
length_mm = 110
width_mm = 310
[check]
f_numbers = [2.8, 5.6]
"""
SPHERICAL, TWICE = (("50", 1), ("75", 1)), (("50", 2), ("75", 2), ("100", 2))


def told(title, lenses, guide="", size="width_mm = 25\nheight_mm = 20", severity=Severity.CAUTION, check=""):
    """Every sentence, with how many there are of it: one for each part that it is told of."""
    text = f'brimline = 1\ntitle = "{title}"\n[camera]\n{size}\n{guide}{"".join(lens(*one) for one in lenses)}{BOX}{check}'
    states = states_of(parse_scene(text, source="s.toml"), Resources())
    return {(note.part, note.text) for state in states for note in state.notes if note.severity is severity}


def of_title(title, lenses=SPHERICAL, check=""):
    return {one for one in told(title, lenses, check=check) if "title" in one[1]}


@pytest.mark.parametrize(
    ("title", "lenses", "words"),
    [
        ("Quay, 2x anamorphic", SPHERICAL, 'squeeze = 1 of "50" and "75" speaks against the scene\'s title'),
        ("Quay, anamorphic", SPHERICAL, 'squeeze = 1 of "50" and "75" speaks'),
        ("Quay, 1.33x", SPHERICAL, 'squeeze = 1 of "50" and "75" speaks'),
        ("Quay, 2:1 squeeze", SPHERICAL, 'squeeze = 1 of "50" and "75" speaks'),
        ("Quay, squeeze 1.8", TWICE, 'squeeze = 2 of "50", "75" and "100" speaks'),
        ("Quay, 1.8x anamorphic", TWICE, 'squeeze = 2 of "50", "75" and "100" speaks'),
        ("Quay, 2x", (("50", 2), ("75", 1.8)), None),  # two cameras, or takes
        ("Quay, 2x ana", (("50", 2), ("75", 1.8), ("100", 2)), 'squeeze = 1.8 of "75" speaks'),
        ("Quay, 2x anamorphic", (("50", 2), ("75", 1), ("100", 2)), 'squeeze = 1 of "75" speaks'),
        ("Quay, spherical set", TWICE, 'squeeze = 2 of "50", "75" and "100" speaks'),
        ("Quay, non-anamorphic", TWICE, 'squeeze = 2 of "50", "75" and "100" speaks'),
        ("Quay at T2", SPHERICAL, "f_numbers = [2.8, 5.6] of [check] leaves out the stop of the scene's title"),
        ("Quay, wide open, f/2.0", SPHERICAL, "f_numbers = [2.8, 5.6] of [check] leaves out the stop"),
        ("Quay, wide open", SPHERICAL, "f_numbers = [2.8, 5.6] of [check] is not wide open, as the scene's title"),
        ("Macro inserts at 0.35 m", SPHERICAL, "tells of focus at 350 mm, but nothing nearer than 600 mm is looked at"),
        ("Quay, close focus 0.35 m", SPHERICAL, "tells of focus at 350 mm, but nothing nearer than 600 mm is looked at"),
        ("Quay, hood 120 deep", SPHERICAL, "depth_mm = 55 speaks against the scene's title"),
        ("Quay, tray at 42, take 3", SPHERICAL, "at_mm = 8 speaks against the scene's title"),
        ("Quay, eyebrow 150 long", SPHERICAL, "length_mm = 110 speaks against the scene's title"),
        ("Quay, ring 78 mm dia", SPHERICAL, "round 114 mm and in a bore of 144 mm speak against the scene's title"),
    ],
)
def test_a_title_that_tells_another_number_than_the_scene_is_told_once(title, lenses, words):
    found = of_title(title, lenses)
    assert len(found) == (words is not None)
    assert all(words in text for _, text in found)


@pytest.mark.parametrize(
    ("title", "lenses"),
    [
        ("Quay, 2x anamorphic", TWICE),
        ("Quay, anamorphic", TWICE),
        ("Quay, 2x anamorphic and spherical", (("50", 2), ("75", 1))),
        ("Mixed set, 2x anamorphic", (("50", 2), ("75", 1), ("100", 2))),
        ("Quay, anamorphic", (("50 anamorphic", 2), ("75", 1))),
        ("Quay, spherical", (("50 ana 2x", 2), ("75", 1))),
        ("Quay, 2x cameras", SPHERICAL),
        ("Quay, 1.5x crop", SPHERICAL),
        ("Quay, 1.4x extender", SPHERICAL),
        ("Quay, 24 fps, 2x speed", SPHERICAL),
        ("Quay, spherical", SPHERICAL),
        ("Quay, 2.39:1 anamorphic extraction", SPHERICAL),
        ("Quay, day 2:1", SPHERICAL),
        ("Quay at T2.8", SPHERICAL),
        ("Quay at T2.8/4", SPHERICAL),
        ("Quay at f/1.4", SPHERICAL),  # no lens opens to it
        ("Quay, close focus 0.6 m", SPHERICAL),
        ("Quay, lamp at 3 m", SPHERICAL),
        ("Quay, closer at 0.3 m", SPHERICAL),
        ("Macro inserts", SPHERICAL),
        ("Quay, hood 55 deep, top flag 110 long", SPHERICAL),
        ("Quay, tray at 8", SPHERICAL),
        ("Quay, hood v2 2026-11-21 at 17:30", SPHERICAL),
        ("4 flags, 2 trays, 1 hood", SPHERICAL),
        ("Take 120, hood on", SPHERICAL),
        ("Flag test EXT 14, stage 6 at 42", SPHERICAL),
        ("Quay plates, plate 40 wide", SPHERICAL),
    ],
)
def test_titles_that_fit_or_tell_something_else_get_no_word(title, lenses):
    assert of_title(title, lenses) == set()


@pytest.mark.parametrize(
    ("title", "is_told"),
    [
        ("Quay, French flag", True),
        ("Quay with eyebrow", True),
        ("Quay, no French flag", False),
        ("Quay, top flag off", False),
        ("False flag", False),
    ],
)
def test_a_flag_that_only_the_title_has_is_told(title, is_told):
    text = f'brimline = 1\ntitle = "{title}"\n[camera]\nformat = "36x24"\n{lens("50", 1)}{BOX}'
    bare = text[: text.index("[[box.flag]]")] + text[text.index("[check]") :]
    found = {note.text for state in states_of(parse_scene(bare, source="s.toml"), Resources()) for note in state.notes}
    assert any(f'has no flag, but the scene\'s title "{title}" speaks of one' in one for one in found) == is_told
    assert not any("has no flag" in one[1] for one in of_title(title))


def test_a_lens_called_spherical_with_a_squeeze_is_a_fault():
    found = told("Quay", (("50 spherical", 2), ("75", 2)), severity=Severity.FAULT)
    assert any('squeeze = 2, that of an anamorphic lens, speaks against the name "50 spherical"' in text for _, text in found)


@pytest.mark.parametrize(("name", "squeeze", "is_told"), [("50 squeeze 2", 1.8, True), ("50 squeeze 1.8", 1.8, False)])
def test_a_squeeze_in_words_in_the_name_of_a_lens_is_held_against_its_own(name, squeeze, is_told):
    found = told("Quay", ((name, squeeze),), severity=Severity.FAULT)
    assert any(f'squeeze = 1.8 speaks against the name "{name}"' in text for _, text in found) == is_told


def test_one_guide_after_the_desqueeze_is_told_once_for_all_lenses_of_a_set():
    """2.39 x 2 is 4.78, wider than any picture; 2.39 / 2 is 1.195."""
    guide = '[[camera.guide]]\nname = "scope"\naspect = 2.39\n'
    found = [one for one in told("Quay", TWICE, guide, severity=Severity.FAULT) if "desqueezed" in one[1]]
    ((part, text),) = found
    assert part == "camera"
    assert 'squeeze = 2 of "50", "75" and "100" makes aspect = 2.39 of the guide "scope" 4.78 desqueezed' in text


@pytest.mark.parametrize(
    ("title", "words"),
    [
        ("Macro inserts at 0.6 m", "tells of focus at 600 mm, but nothing nearer than 3000 mm is looked at"),
        ("Close-ups, hands", "focus_mm of [check] looks at nothing nearer than 3000 mm, but the scene's title"),
        ("Quay", None),
    ],
)
def test_close_work_in_a_title_that_only_far_focus_is_looked_at_for_is_told(title, words):
    found = [text for _, text in of_title(title, SPHERICAL, check="focus_mm = [3000]\n")]
    assert [words in text for text in found] == [True] * (words is not None)
