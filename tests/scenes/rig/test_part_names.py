"""Names that crews give parts and guides, against what the scene says of them: each slip is told, the right scene is not."""

import pytest

from geometry.notes import Severity
from scenes.scene_file.parse import parse_scene
from scenes.states.state import states_of

SCENE = """
brimline = 1
[camera]
format = "36x24"
[[camera.guide]]
name = "open gate"
aspect = 1.5
[[camera.guide]]
name = "safe 90 percent"
aspect = 1.5
scale = 0.9
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 94
pupil_behind_front_mm = 40
[[lens]]
name = "25 macro"
focal_mm = 25
f_number = 2.8
front_diameter_mm = 94
pupil_behind_front_mm = 48
[box]
ahead_mm = 4
[box.back]
width_mm = 190
height_mm = 160
bore_mm = 110
[[box.stage]]
name = "rear tray"
at_mm = 8
depth_mm = 8
opening_mm = [150, 120]
[[box.stage]]
name = "front tray"
at_mm = 18
depth_mm = 8
opening_mm = [150, 120]
[[box.mask]]
name = "mask 25 140x100"
at_mm = 28
opening_mm = [140, 100]
lenses = ["25"]
[[box.mask]]
name = "mask 25 macro"
at_mm = 28
opening_mm = [140, 101]
lenses = ["25 macro"]
[box.hood]
at_mm = 32
depth_mm = 60
rear_mm = [170, 120]
front_mm = [250, 170]
[[box.flag]]
name = "right flag 60 deg"
side = "right"
angle_deg = 60
length_mm = 80
width_mm = 170
"""
SLIPS = {
    "list of another lens": ('lenses = ["25"]', 'lenses = ["25 macro"]', "CAUTION", 'has the name of the lens "25", which its'),
    "flag on the other side": ('side = "right"', 'side = "left"', "CAUTION", 'side = "left" speaks against its name'),
    "trays the other way about": (
        "at_mm = 18", "at_mm = 2", "CAUTION", 'at_mm = 2 stands behind "rear tray" at 8; are the two swapped?'
    ),
    "open gate that is not": (
        "aspect = 1.5\n[[camera.guide]]", "aspect = 2.39\n[[camera.guide]]", "FAULT", "100 % of the width and 63 % of the height"
    ),
    "size": ("opening_mm = [140, 100]", "opening_mm = [170, 122]", "CAUTION", "opening_mm = [170, 122] speaks against its name"),
    "angle": ("angle_deg = 60", "angle_deg = 90", "CAUTION", "angle_deg = 90 speaks against its name"),
    "percent": ("scale = 0.9", "scale = 0.59", "FAULT", 'scale = 0.59 speaks against the name of its guide "safe 90 percent"'),
}  # fmt: skip


def told(text, severity):
    states = states_of(parse_scene(text, source="s.toml"))
    return {note.text for state in states for note in state.notes if note.severity is severity}


@pytest.mark.parametrize(("right", "wrong", "severity", "words"), SLIPS.values(), ids=SLIPS.keys())
def test_a_name_that_speaks_against_the_scene_is_told(right, wrong, severity, words):
    """36 / 2.39 mm of 24 mm high is 63 %."""
    assert SCENE.count(right) == 1
    assert not any(words in text for kind in Severity for text in told(SCENE, kind))
    assert any(words in text for text in told(SCENE.replace(right, wrong), Severity[severity]))


def test_names_that_fit_are_not_doubted():
    assert told(SCENE, Severity.FAULT) == set()
    assert not any("its name" in text or "swapped" in text for text in told(SCENE, Severity.CAUTION))


def test_a_lens_copied_from_another_with_its_focal_length_alone_changed_is_told():
    measures = "f_number = 2.0\nfront_to_sensor_mm = 150\nclose_focus_mm = 400\n"
    copied = SCENE.replace("f_number = 2.0\n", measures).replace("f_number = 2.8\n", measures)
    copied = copied.replace('name = "25 macro"\nfocal_mm = 25', 'name = "25 macro"\nfocal_mm = 21')
    assert not any("was it copied" in text for text in told(copied, Severity.CAUTION))
    slipped = copied.replace("pupil_behind_front_mm = 48", "pupil_behind_front_mm = 40")
    assert any('close_focus_mm of "25", at another focal length; was it copied' in text for text in told(slipped, Severity.CAUTION))


def test_a_fisheye_that_keeps_lines_straight_and_an_anamorphic_format_without_a_squeeze_are_told():
    fisheye = SCENE.replace('name = "25 macro"', 'name = "25 fisheye"').replace('"25 macro"', '"25 fisheye"')
    assert any('projection = "rectilinear" speaks against its name' in text for text in told(fisheye, Severity.CAUTION))
    right = fisheye.replace("f_number = 2.8", 'f_number = 2.8\nprojection = "equidistant"')
    assert not any("speaks against its name" in text for text in told(right, Severity.CAUTION))
    format_ = SCENE.replace('format = "36x24"', 'format = "anamorphic-35-4perf"')
    assert any("is for anamorphic lenses, and no lens has a squeeze" in text for text in told(format_, Severity.CAUTION))
