"""Slips that other numbers of a scene tell: each is told, and the scene with the right number is not.

The right scenes are plain ones whose numbers fit; sizes are common practice.
"""

import pytest

from geometry.notes import Severity
from scenes.cautions.box_slips import slip_notes
from scenes.cautions.contradictions import box_contradictions, lens_contradictions
from scenes.cautions.doubtful_numbers import doubtful_box_notes, doubtful_notes
from scenes.rig.rod_height import rod_notes
from scenes.scene_file.parse import parse_scene
from scenes.states.state import pixel_grid

HEAD = 'brimline = 1\n[camera]\nformat = "36x24"\n'
PLAIN = """[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 136
front_to_sensor_mm = 150
close_focus_mm = 400
pupil_behind_front_mm = 40
"""
ZOOM = """[[lens]]
name = "zoom"
focal_mm = 24
f_number = 2.8
front_diameter_mm = 114
front_to_sensor_mm = 200
[[lens.state]]
focal_mm = 24
pupil_behind_front_mm = 60
[[lens.state]]
focal_mm = 70
pupil_behind_front_mm = 80
"""
ANAMORPHIC = """[[lens]]
name = "50 ana 2x"
focal_mm = 50
squeeze = 2
f_number = 2.3
front_diameter_mm = 114
front_to_sensor_mm = 230
pupil_behind_front_mm = { horizontal = 71, vertical = 142 }
"""
BREATHING = """[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 136
front_to_sensor_mm = 150
close_focus_mm = 400
pupil_behind_front_mm = 40
[[lens.state]]
focus_mm = "infinity"
front_travel_mm = 0
half_field_deg = 35.8
[[lens.state]]
focus_mm = 400
front_travel_mm = 3.5
half_field_deg = 35.8
"""
BOX = "[box]\n[box.hood]\nat_mm = 20\ndepth_mm = 50\nrear_mm = [170, 140]\nfront_mm = [260, 190]\n"
GUIDE = '[[camera.guide]]\nname = "common {} 2.39"\naspect = 2.39\noffset_mm = {}\n'
SAFE = '[[camera.guide]]\nname = "90 % safe"\naspect = 1.5\nscale = {}\n'


def told(text, severity):
    """What is told of the lenses and the camera of a scene, before any light."""
    scene = parse_scene(text, source="s.toml")
    grid = pixel_grid(scene.camera)
    notes = {note for lens in scene.lens for note in (*lens_contradictions(scene, lens, grid), *doubtful_notes(scene, lens))}
    return {note.text for note in notes if note.severity is severity}


# What is written for what in which lens, the key that confirms it, and words of the note.
FAULTS = {
    "a lens whose focal length lies outside those of its rows": (
        ZOOM,
        "focal_mm = 24\npupil",
        "focal_mm = 42\npupil",
        "focal_mm",
        "focal_mm = 24 of the lens speaks against its state rows, focal_mm = 42 to 70",
    ),
    "a prime whose rows stand for another focal length": (
        BREATHING.replace('"25"', '"prime"').replace("[[lens.state]]", "[[lens.state]]\nfocal_mm = 25"),
        "focal_mm = 25\nf_number",
        "focal_mm = 52\nf_number",
        "focal_mm",
        "focal_mm = 52 of the lens speaks against its state rows, focal_mm = 25",
    ),
    "a squeezed pupil at a fraction of what the squeeze can make it": (
        ANAMORPHIC,
        "horizontal = 71",
        "horizontal = 17",
        "pupil_behind_front_mm",
        "no nearer than 35.5 mm",
    ),
    "a front that comes out ten times as far as written": (
        BREATHING,
        "front_travel_mm = 3.5",
        "front_travel_mm = 35",
        "front_travel_mm",
        "moved as a whole would come out 1.7 mm; is a point missing? It would be 3.5",
    ),
    "a widest stop slower than the name": (
        PLAIN.replace('"25"', '"25 f1.4"').replace("2.0", "1.4"),
        "f_number = 1.4",
        "f_number = 4",
        "f_number",
        'f_number = 4, the widest stop, speaks against the name "25 f1.4"',
    ),
    "an f-number above its T number": (
        PLAIN.replace('"25"', '"25mm T2.1"'),
        "f_number = 2.0",
        "f_number = 2.8",
        "f_number",
        "an f-number is never above its T number",
    ),
}  # fmt: skip
CAUTIONS = {
    "a squeezed pupil nearer than the squeeze can make it": (ANAMORPHIC, "horizontal = 71", "horizontal = 25", "than 35.5 mm"),
    "a front that comes out far": (BREATHING, "front_travel_mm = 3.5", "front_travel_mm = 17", "It would be 1.7"),
    "a T number as f-number": (
        PLAIN.replace("= 2.0", "= 1.8").replace('"25"', '"25 T2.0"'),
        "f_number = 1.8",
        "f_number = 2.0",
        "the f-number is lower and the pupil larger",
    ),
    "a field that narrows more than moving the lens makes it": (
        BREATHING,
        "400\nfront_travel_mm = 3.5\nhalf_field_deg = 35.8",
        "400\nfront_travel_mm = 3.5\nhalf_field_deg = 31",
        "half_field_deg = 31 at focus 400 mm is narrower than 35.8 at infinity",
    ),
    "a nearest focus of a hundred focal lengths": (PLAIN, "close_focus_mm = 400", "close_focus_mm = 2400", "240 would be usual"),
}  # fmt: skip


def changed(lens, right, wrong):
    assert lens.count(right) == 1, right
    return HEAD + lens.replace(right, wrong) + BOX


@pytest.mark.parametrize(("lens", "right", "wrong", "key", "words"), FAULTS.values(), ids=FAULTS.keys())
def test_a_slip_that_another_number_contradicts_is_a_fault_until_confirmed(lens, right, wrong, key, words):
    assert told(HEAD + lens + BOX, Severity.FAULT) == set()
    slipped = changed(lens, right, wrong)
    (fault,) = told(slipped, Severity.FAULT)
    assert words in fault
    assert told(slipped.replace("[[lens]]\n", f'[[lens]]\nconfirmed = ["{key}"]\n'), Severity.FAULT) == set()


@pytest.mark.parametrize(("lens", "right", "wrong", "words"), CAUTIONS.values(), ids=CAUTIONS.keys())
def test_a_slip_that_may_be_meant_is_a_caution(lens, right, wrong, words):
    assert told(HEAD + lens + BOX, Severity.CAUTION) == set()
    slipped = changed(lens, right, wrong)
    assert told(slipped, Severity.FAULT) == set()
    (caution,) = told(slipped, Severity.CAUTION)
    assert words in caution


@pytest.mark.parametrize(("focal_mm", "close_mm", "told_of"), [
    (35, 3400, True), (50, 4500, True), (85, 8000, True),
    (50, 1000, False), (135, 1500, False), (300, 4000, False), (600, 6000, False), (1000, 20000, False),
])  # fmt: skip
def test_a_nearest_focus_ten_times_too_far_is_told_and_that_of_long_lenses_is_not(focal_mm, close_mm, told_of):
    lens = PLAIN.replace("25", str(focal_mm)).replace("_mm = 400", f"_mm = {close_mm}").replace("2.0", "11")
    texts = told(HEAD + lens.replace("to_sensor_mm = 150", f"to_sensor_mm = {max(150, focal_mm)}") + BOX, Severity.CAUTION)
    assert any("nothing nearer is looked at; is a point missing" in text for text in texts) == told_of


@pytest.mark.parametrize(("asked", "words"), [
    ("[28]", "It would be 2.8"), ("[1.2]", "f/1.2 of [check] is not looked at"),
    ("[11]", ""), ("[22]", ""), ("[2.0, 28]", ""), ("[1.9]", ""),
])  # fmt: skip
def test_stops_asked_for_that_no_lens_opens_to_or_far_closed_are_told(asked, words):
    texts = told(f"{HEAD}{PLAIN}{BOX}[check]\nf_numbers = {asked}\n", Severity.CAUTION)
    assert [words in text for text in texts] == ([True] if words else [])


@pytest.mark.parametrize(("guide", "words"), [
    (GUIDE.format("top", "[0, -4.4]"), "offset_mm = [0, -4.4] speaks against the name"),
    (GUIDE.format("bottom", "[0, 4.4]"), "offset_mm = [0, 4.4] speaks against the name"),
    (GUIDE.format("left", "[0.5, 0]"), "offset_mm = [0.5, 0] speaks against the name"),
    (SAFE.format(0.45), "scale = 0.45 speaks against the name"),
    (GUIDE.format("top", "[0, 4.4]"), ""), (GUIDE.format("top", "[0, 0]"), ""), (GUIDE.format("top bottom", "[0, -1]"), ""),
    (SAFE.format(0.9), ""), (SAFE.format(0.9).replace("90 %", "10 % crop"), ""),
])  # fmt: skip
def test_a_guide_that_lies_or_measures_otherwise_than_its_name_is_a_fault(guide, words):
    texts = told(HEAD + guide + PLAIN + BOX, Severity.FAULT)
    assert [words in text for text in texts] == ([True] if words else [])


@pytest.mark.parametrize("name", ["25 f2x4", "25 ft2", "25 T", "25 f2", "25 T2.1"])
def test_a_name_that_tells_no_slower_stop_speaks_against_none(name):
    faults = told(HEAD + PLAIN.replace('"25"', f'"{name}"').replace("2.0", "1.4") + BOX, Severity.FAULT)
    assert faults == set()


RODS = 'mount = "rods-15"\nrod_drop_mm = {}\noffset_mm = [0, {}]\n'


@pytest.mark.parametrize(("drop_mm", "up_mm", "severity", "words"), [
    (97, -12, Severity.FACT, "rods 85 mm below the axis instead of 97 mm, or a riser, would"),  # 85 for light rods: common practice
    (73, 12, Severity.FACT, "rods 85 mm below the axis instead of 73 mm would bring it back"),
    (97, 12, Severity.FAULT, "12 mm above the lens axis; that does not follow from rod_drop_mm = 97, which puts it 12 mm below"),
    (97, -2, Severity.CAUTION, "2 mm below the lens axis; that does not follow from rod_drop_mm = 97"),
    (97, 0, Severity.CAUTION, "on the lens axis; that does not follow from rod_drop_mm = 97"),
])  # fmt: skip
def test_a_box_that_stands_elsewhere_than_its_rods_put_it_is_told(drop_mm, up_mm, severity, words):
    box = parse_scene(HEAD + PLAIN + BOX.replace("[box]\n", "[box]\n" + RODS.format(drop_mm, up_mm)), source="s.toml").box
    (note,) = (*box_contradictions(box), *rod_notes(box))
    assert note.severity is severity
    assert words in note.text


def test_a_box_where_its_rods_put_it_is_not_told_of():
    box = parse_scene(HEAD + PLAIN + BOX.replace("[box]\n", "[box]\n" + RODS.format(85, 0)), source="s.toml").box
    assert (*box_contradictions(box), *rod_notes(box)) == ()


TRAY = '[[box.stage]]\nname = "tray"\nat_mm = 8\ndepth_mm = 8\nopening_mm = [150, 120]\n'
MASK = '[[box.mask]]\nname = "mask"\nat_mm = 38\nopening_mm = [150, 120]\n'
HOOD = "[box.hood]\nat_mm = 48\ndepth_mm = 60\nrear_mm = [190, 140]\nfront_mm = [300, 210]\n"
FLAG = (
    '[[box.flag]]\nside = "top"\nangle_deg = 40\nlength_mm = 110\nwidth_mm = 260\n'
    "extension = { length_mm = 70, angle_deg = -20 }\nhinge_mm = 105\nat_mm = 108\n"
)
PLATE = "[[box.back]]\nwidth_mm = 180\nheight_mm = 130\nbore_mm = 120\n"
FULL = TRAY + MASK + HOOD + FLAG
SMALL_HOOD = "[box.hood]\nat_mm = 4\ndepth_mm = 40\nrear_mm = [106, 80]\nfront_mm = [110, 78]\n"


def box_cautions(parts):
    scene = parse_scene(HEAD + PLAIN + "[box]\n" + parts, source="s.toml")
    box, lens = scene.box, scene.lens[0]
    return {(note.part, note.text) for note in (*slip_notes(box, lens), *doubtful_box_notes(box, ()))}


@pytest.mark.parametrize(("parts", "right", "wrong", "part", "words"), [
    (FULL, "at_mm = 38", "at_mm = 3.8", "mask", "at_mm = 3.8 puts it behind the front of the trays at 16 mm"),
    (MASK + HOOD, "at_mm = 38", "at_mm = 3.8", "mask", "far behind the hood, at_mm = 48: written in cm? it would be 38 mm"),
    (FULL.replace(MASK, ""), "at_mm = 48", "at_mm = 4.8", "hood", "behind the front of the trays at 16 mm"),
    (FULL.replace("= 60", "= 150"), "depth_mm = 150", "depth_mm = 15", "hood", "depth_mm = 15 lets its walls flare 75 deg"),
    (FULL.replace("length_mm = 110", "length_mm = 190"), "length_mm = 190", "length_mm = 19", "top flag", "would be 190 mm"),
    (FULL.replace("{ length_mm = 70", "{ length_mm = 100"), "length_mm = 100", "length_mm = 10", "top flag", "it would be 100 mm"),
    (SMALL_HOOD + FLAG.replace("105", "39").replace("108", "44"), "hinge_mm = 39", "hinge_mm = 78", "top flag",
     "hinge_mm = 78 is the whole height of front_mm of the hood"),
    (PLATE + FLAG.replace("105", "65"), "hinge_mm = 65", "hinge_mm = 130", "top flag", "the whole height of the back plate"),
    (FULL, "hinge_mm = 105", "hinge_mm = 115", "top flag", "hang it 8.5 mm off the hood and all else of the box"),
    (FULL, "at_mm = 108", "at_mm = 88", "top flag", "hinge_mm = 105 and at_mm = 88 hang it"),
    (MASK + HOOD + FLAG, "hinge_mm = 105", "hinge_mm = 125", "top flag", "hang it 18.5 mm off the hood"),
    (PLATE + FLAG.replace("105", "90").replace("top", "left"), "hinge_mm = 90", "hinge_mm = 180", "left flag", "half of it"),
])  # fmt: skip
def test_a_part_out_of_proportion_or_off_the_rest_of_the_box_is_told(parts, right, wrong, part, words):
    """A hinge 115 mm off the middle is 10 mm off the inside of a hood of 210 mm, whose wall takes 1.5 mm of that."""
    assert parts.count(right) == 1
    assert not [note for note in box_cautions(parts) if note[0] == part]
    told_of = [text for name, text in box_cautions(parts.replace(right, wrong)) if name == part]
    assert any(words in text for text in told_of), told_of


@pytest.mark.parametrize("parts", [
    FULL.replace("at_mm = 38", "at_mm = 4"), FULL.replace("at_mm = 8", "at_mm = 10.5").replace("at_mm = 38", "at_mm = 4.5"),
    FULL.replace("length_mm = 110", "length_mm = 40"), PLATE + MASK.replace("38", "4.6"),
])  # fmt: skip
def test_a_part_that_stands_well_in_its_box_is_not_told(parts):
    assert box_cautions(parts) == set()
