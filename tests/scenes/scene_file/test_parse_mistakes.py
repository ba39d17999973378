"""Typical mistakes, each with the exact sentence that tells what to do."""

import re
import time

import pytest

from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.tables.prescription import parse_prescription

SCENE = """brimline = 1
[camera]
format = "36x24"
pixels = [6000, 4000]
[[lens]]
name = "18"
focal_mm = 18
f_number = 2.0
front_diameter_mm = 114
front_to_sensor_mm = 168
pupil_behind_front_mm = [34, 42]
close_focus_mm = 350
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 114
front_to_sensor_mm = 150
pupil_behind_front_mm = 44
[box]
ahead_mm = 4
back = { width_mm = 190, height_mm = 160, bore_mm = 130 }
[[box.stage]]
name = "rear tray"
at_mm = 10
depth_mm = 8
opening_mm = [138, 97]
filter = { size = "4x5.65", thickness_mm = 4 }
[[box.mask]]
at_mm = 46
opening_mm = [150, 84]
lenses = ["18"]
[box.hood]
at_mm = 48
depth_mm = 70
rear_mm = [170, 120]
front_mm = [250, 170]
[[box.flag]]
side = "top"
angle_deg = 40
length_mm = 110
width_mm = 260
[check]
focus_mm = ["infinity", 350]
"""

MISTAKES = [
    ("misspelt key", "thickness_mm = 4", "thicknes_mm = 4",
     's.toml:28: box.stage[1 "rear tray"].filter.thicknes_mm: is no key of this table; did you mean "thickness_mm"?'),
    ("key without its unit", "depth_mm = 70", "depth = 70",
     's.toml:35: box.hood.depth: is no key of this table; did you mean "depth_mm"?'),
    ("inches", "front_diameter_mm = 114\nfront_to_sensor_mm = 168", "front_diameter_mm = 4.5\nfront_to_sensor_mm = 168",
     ('s.toml:9: lens[1 "18"].front_diameter_mm: must be 15 to 500 mm, got 4.5; '
     "write 114.3 if that is in inches or 45 if that is in centimetres")),
    ("metres", "width_mm = 190", "width_mm = 0.19",
     "s.toml:22: box.back.width_mm: must be 40 to 1000 mm, got 0.19; write 190 if that is in metres"),
    ("a unit in a text", "focal_mm = 18", 'focal_mm = "18 mm"',
     's.toml:7: lens[1 "18"].focal_mm: must be a plain number in mm, got the text "18 mm"; write 18'),
    ("inches in a text", "depth_mm = 70", "depth_mm = '2.75\"'",
     's.toml:35: box.hood.depth_mm: must be a plain number in mm, got the text "2.75\\""; write 69.85'),
    ("a unit behind a number", "depth_mm = 70", "depth_mm = 70mm",
     ("s.toml:35: is no valid TOML: expected newline or end of document after a statement in column 14; "
     "write the number alone, 70: lengths are in mm, angles in degrees")),
    ("a decimal comma", "ahead_mm = 4", "ahead_mm = 4,5",
     ("s.toml:21: is no valid TOML: expected newline or end of document after a statement in column 13; "
     "write a decimal point, not a comma")),
    ("negative size", "length_mm = 110", "length_mm = -110",
     "s.toml:41: box.flag[1].length_mm: must be 5 to 1000 mm, got -110; write 110, without the minus"),
    ("no such lens", 'lenses = ["18"]', 'lenses = ["l8"]',
     's.toml:32: box.mask[1].lenses: names a lens that is not in this scene, "l8"; did you mean "18"?'),
    ("bounds reversed", "[34, 42]", "[42, 34]",
     's.toml:11: lens[1 "18"].pupil_behind_front_mm: must be [least, most], got [42, 34]; write [34, 42]'),
    ("unknown word", 'side = "top"', 'side = "above"',
     's.toml:39: box.flag[1].side: must be one of top, bottom, left, right, got "above"'),
    ("unknown format", "36x24", "36x42",
     ('s.toml:3: camera.format: "36x42" is no camera format of the catalogue; '
     'give width_mm and height_mm, or did you mean "36x24"?')),
    ("unknown filter size", "4x5.65", "4x5,65",
     ('s.toml:28: box.stage[1 "rear tray"].filter.size: "4x5,65" is no filter size of the catalogue; '
     'give width_mm and height_mm, or did you mean "4x5.65"?')),
    ("two openings", "opening_mm = [138, 97]", "opening_mm = [138, 97]\nopening_diameter_mm = 130",
     ('s.toml:23: box.stage[1 "rear tray"]: must give its opening one way: opening_mm or opening_diameter_mm; '
     "got opening_mm and opening_diameter_mm")),
    ("single brackets twice", "[[lens]]", "[lens]",
     "s.toml:13: lens: stands twice, in lines 5 and 13; tables that come more than once need double brackets, each [[lens]]"),
    ("key twice", "focal_mm = 25", 'focal_mm = 25\nname = "30"',
     ("s.toml:16: lens[2].name: stands twice in one table, in lines 14 and 16; "
     "keep one, or write [[lens]] above line 16 if another begins there")),
    ("key twice in a table that comes once", "ahead_mm = 4", "ahead_mm = 4\nahead_mm = 6",
     "s.toml:22: box.ahead_mm: stands twice, in lines 21 and 22; keep one of them"),
    ("table twice", "[check]", "[box]\noffset_mm = [0, 3]\n[check]",
     "s.toml:43: box: stands twice, in lines 20 and 43; put all of its keys into one of them and take the other away"),
    ("table in two forms", "[check]", "[box.back]\nbore_mm = 120\n[check]",
     "s.toml:43: box.back: stands twice, in lines 22 and 43; put all of its keys into one of them and take the other away"),
    ("an aspect as a ratio", "pixels = [6000, 4000]", 'pixels = [6000, 4000]\n[[camera.guide]]\nname = "scope"\naspect = "2.39:1"',
     's.toml:7: camera.guide[1 "scope"].aspect: must be a plain number, got the text "2.39:1"; write 2.39'),
    ("a bare ratio", "pixels = [6000, 4000]", 'pixels = [6000, 4000]\n[[camera.guide]]\nname = "scope"\naspect = 2.39:1',
     ("s.toml:7: is no valid TOML: expected newline or end of document after a statement in column 14; "
     "write the number alone, 2.39")),
    ("a T-stop", "focal_mm = 25\nf_number = 2.0", 'focal_mm = 25\nf_number = "T2"',
     ('s.toml:16: lens[2 "25"].f_number: must be a plain number, got the text "T2"; write 2.0, '
     "or the f-number where you know it: it is a little smaller than the T-stop")),
    ("an f-number as on the barrel", "focal_mm = 25\nf_number = 2.0", 'focal_mm = 25\nf_number = "f/2"',
     's.toml:16: lens[2 "25"].f_number: must be a plain number, got the text "f/2"; write 2.0'),
    ("a bare f-number as on the barrel", "focal_mm = 25\nf_number = 2.0", "focal_mm = 25\nf_number = f/2.8",
     "s.toml:16: is no valid TOML: invalid value in column 12; write the number alone, 2.8"),
    ("two lengths in a text", "opening_mm = [150, 84]", 'opening_mm = "150 x 84 mm"',
     's.toml:31: box.mask[1].opening_mm: must be an array of 2 numbers in mm, got "150 x 84 mm"; write [150, 84]'),
    ("both lengths in inches", "opening_mm = [150, 84]", "opening_mm = [5.9, 3.3]",
     ("s.toml:31: box.mask[1].opening_mm: must be 5 to 600 mm each, got [5.9, 3.3]; "
     "write [149.86, 83.82] if that is in inches or [59, 33] if that is in centimetres")),
    ("a whole table in inches", "at_mm = 10\ndepth_mm = 8", "at_mm = 0.4\ndepth_mm = 0.3",
     ('s.toml:26: box.stage[1 "rear tray"].depth_mm: must be 0.5 to 200 mm, got 0.3; write 7.62 if that is in inches '
     "or 3 if that is in centimetres; if so, at_mm is 10.16 too")),
    ("one stop alone", "[check]", "[check]\nf_numbers = 2.8",
     "s.toml:44: check.f_numbers: must be an array of numbers, got 2.8; write [2.8]"),
    ("missing lens key", "focal_mm = 25\nf_number = 2.0", "focal_mm = 25",
     's.toml:13: lens[2 "25"].f_number: is missing; add a line such as: f_number = 2.0'),
    ("missing camera", SCENE[SCENE.index("[camera]") : SCENE.index("[[lens]]")], "",
     's.toml: camera: is missing; begin one with the lines `[camera]` and `format = "36x24"`'),
    ("nothing at all", SCENE, "# nothing",
     "s.toml: holds no keys; write a commented scene to start from with `brimline new my-show.toml`"),
    ("bore smaller than the barrel", "bore_mm = 130 }", "bore_mm = 110 }\nseal = { kind = 'ring' }",
     ('s.toml:22: box.back.bore_mm: must be wider than the barrel of lens "18", 114 mm, for a seal between them, got 110; '
     "bore it wider, or say kind = \"none\" in the seal")),
    ("seal inside out", "bore_mm = 130 }", "bore_mm = 130 }\nseal = { kind = 'ring', outer_mm = 100 }",
     ('s.toml:23: box.seal: must be wider outside than inside, with lens "18" got 114 mm inside, 100 outside; '
     "change inner_mm or outer_mm, or leave them out")),
    ("number for a name", 'name = "25"', "name = 25",
     's.toml:14: lens[2].name: must be text in quotes, got 25; write "25"'),
    ("lens named twice", 'name = "25"', 'name = "18"',
     's.toml:14: lens[2 "18"].name: is used twice, got "18"; give each lens its own name'),
    ("focus within the lens", '"infinity", 350', '"infinity", 160',
     ('s.toml:44: check.focus_mm: must lie beyond the front rim, 168 mm from the image plane with lens "18", got 160; '
     "focus counts from the image plane")),
    ("focus nearer than the lens goes", '"infinity", 350', '"infinity", 300',
     ('s.toml:44: check.focus_mm: must not be nearer than close_focus_mm = 350 with lens "18", got 300; '
     '"close" stands for each lens\'s own')),
    ("finite focus without a length", "front_to_sensor_mm = 168\n", "",
     ('s.toml:5: lens[1 "18"].front_to_sensor_mm: is missing; the finite focus 350 in check.focus_mm needs it: '
     "measure from front rim to image plane")),
    ("no pupil", "pupil_behind_front_mm = 44\n", "",
     ('s.toml:13: lens[2 "25"].pupil_behind_front_mm: is missing; give the entrance pupil\'s depth behind the front rim, '
     "[least, most] if only bounds are known, or pupil_walk, or prescription")),
    ("bore larger than the plate", "bore_mm = 130", "bore_mm = 180",
     "s.toml:22: box.back.bore_mm: must be smaller than the plate, 190 x 160 mm, got 180"),
    ("flag without a hood", SCENE[SCENE.index("[box.hood]") : SCENE.index("[[box.flag]]")], "",
     ('s.toml:33: box.flag[1].hinge_mm: is missing; with lens "18" there is no hood whose front edge it could hang on: '
     "give hinge_mm and at_mm, or a [box.hood]")),
    ("glass thicker than its tray", "thickness_mm = 4", "thickness_mm = 12",
     's.toml:28: box.stage[1 "rear tray"].filter.thickness_mm: must fit the tray, depth_mm = 8, got 12'),
    ("yes for a number", "ahead_mm = 4", "ahead_mm = true",
     "s.toml:21: box.ahead_mm: must be a plain number in mm, got true"),
    ("endless number", "ahead_mm = 4", "ahead_mm = inf",
     "s.toml:21: box.ahead_mm: must be a finite number, got inf"),
    ("one number for two", "opening_mm = [150, 84]", "opening_mm = 150",
     "s.toml:31: box.mask[1].opening_mm: must be an array of 2 numbers in mm, got 150"),
    ("pixels swapped", "[6000, 4000]", "[4000, 6000]",
     "s.toml:4: camera.pixels: must be across, then down, square on 36 x 24 mm, got 4000 x 6000; write [4000, 2667]"),
    ("pupil as a value and how far it may be off", "[34, 42]", "[40, 2]",
     ('s.toml:11: lens[1 "18"].pupil_behind_front_mm: must be [least, most], got [40, 2]; write [2, 40], or [38, 42] if 40 +- 2 '
     "is meant")),
    ("pixels of another sensor", "[6000, 4000]", "[6000, 4500]",
     ("s.toml:4: camera.pixels: must be across, then down, square on 36 x 24 mm, got 6000 x 4500; write [6000, 4000], or the "
     "recorded area that has these pixels, such as 36 x 27 mm")),
    ("density without its kind", 'thickness_mm = 4 }', "thickness_mm = 4, density = 0.6 }",
     ('s.toml:28: box.stage[1 "rear tray"].filter.density: belongs to kind "density" or "graduated" or "polariser", '
     'but this filter is "clear"; set kind, or leave density out')),
    ("later version", "brimline = 1", "brimline = 2",
     "s.toml:1: brimline: must be 1, the version of scene file that this program reads, got 2"),
    ("focal length in centimetres", "focal_mm = 25\nf_number = 2.0", "focal_mm = 250\nf_number = 2.0",
     ('s.toml:16: lens[2 "25"].f_number: makes the pupil 125 mm wide (focal_mm / f_number), more than the front\'s 114 mm; '
     "one of the three is wrong")),
]  # fmt: skip


def test_a_scene_in_inches_names_every_length_that_must_be_turned():
    inches = re.sub(
        r"(?m)^((?:at|depth|opening|rear|front|length|width|ahead|front_diameter)_mm = )(.*)$",
        lambda row: row[1] + re.sub(r"[\d.]+", lambda number: f"{float(number[0]) / 25.4:.4g}", row[2]),
        SCENE.replace("ahead_mm = 4", "ahead_mm = 5"),
    )
    with pytest.raises(SceneError) as caught:
        parse_scene(inches, "s.toml")
    told = str(caught.value)
    changed = {key for key, old in re.findall(r"(?m)^(\w+_mm) = (.*)$", inches) if f"{key} = {old}" not in SCENE}
    assert len(changed) >= 7
    assert all(key in told for key in changed)
    assert "s.toml:21: box.ahead_mm: may be in inches like others of this scene; write 5 if so" in told


def test_the_scene_without_mistakes_is_read():
    assert len(parse_scene(SCENE, "s.toml").lens) == 2


@pytest.mark.parametrize(("right", "wrong", "sentence"), [row[1:] for row in MISTAKES], ids=[row[0] for row in MISTAKES])
def test_a_mistake_gives_the_sentence_that_tells_what_to_do(right, wrong, sentence):
    assert right in SCENE
    with pytest.raises(SceneError) as caught:
        parse_scene(SCENE.replace(right, wrong), "s.toml")
    assert str(caught.value) == sentence


def test_a_density_in_stops_is_told_as_optical_density():
    # Neutral filters: 0.3 of optical density to a stop, log10(2) rounded; common practice.
    with pytest.raises(SceneError, match=r"write the optical density, 0\.6: a stop is 0\.3"):
        parse_scene("[box.stage.filter]\ndensity = 2 stops\n", "s.toml")


def test_a_file_of_thousands_of_foreign_keys_is_refused_at_once_and_not_key_by_key():
    began = time.process_time()
    with pytest.raises(SceneError) as caught:
        parse_scene(SCENE + "".join(f"key_{number} = 1\n" for number in range(10_000)), "s.toml")
    assert len(caught.value.complaints) == 100
    assert time.process_time() - began < 4.0


@pytest.mark.parametrize("name", ["25\\u202e", "25\\u001b[31m", "25\\n5"])
def test_a_name_of_unprintable_letters_is_written_out_wherever_a_sentence_tells_it(name):
    """Text that turns right to left, and colours of a terminal: neither may reach one from a file."""
    named = SCENE.replace('name = "25"', f'name = "{name}"', 1).replace('lenses = ["18"]', 'lenses = ["25"]')
    assert named.count(name) == 1
    with pytest.raises(SceneError) as caught:
        parse_scene(named, "s.toml")
    assert all(str(complaint).isprintable() for complaint in caught.value.complaints)
    assert any("not in this scene" in str(complaint) for complaint in caught.value.complaints)


# The Unicode Standard 15.0, section 5.8, table 5-1 (from memory): next line, line separator, paragraph separator.
@pytest.mark.parametrize("end", ["\u0085", "\u2028", "\u2029"])
def test_a_line_end_that_editors_show_and_toml_does_not_know_hides_no_part_behind_a_comment(end):
    flag = ["# as set on the day", "[[box.flag]]", 'side = "top"', "angle_deg = 5", "length_mm = 110", "width_mm = 260"]
    text = f"{SCENE}{end.join(flag)}\n"
    with pytest.raises(SceneError) as caught:
        parse_scene(text, "show.toml")
    (complaint,) = map(str, caught.value.complaints)
    line = text[: text.index(end)].count("\n") + 1
    assert complaint.startswith(f"show.toml:{line}: ")
    assert f"U+{ord(end):04X}" in complaint
    assert "column 20" in complaint


def test_a_prescription_with_such_a_line_end_is_refused_too():
    with pytest.raises(SceneError, match=r"g\.toml:2: holds a line end"):
        parse_prescription('source = "x"\n# row\u2028radius_mm = 4\n', "g.toml")
