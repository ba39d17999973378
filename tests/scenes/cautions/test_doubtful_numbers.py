"""Numbers that may be meant and may be slips which turn a dark frame clear: each gets a word, and a plain scene none."""

import re
from pathlib import Path

import pytest
import trimesh

from geometry.notes import Severity
from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene
from scenes.states.load import load_scene, plans_of
from scenes.states.state import states_of

SCENES = Path(__file__).parents[3] / "scenes"
SCENE = """
brimline = 1
[camera]
width_mm = 24
height_mm = 20
[[camera.guide]]
name = "extraction"
aspect = 1.195
[[lens]]
name = "40 ana 2x"
focal_mm = 40
squeeze = 2
f_number = 2.3
front_diameter_mm = 114
front_to_sensor_mm = 210
close_focus_mm = 900
[[lens.state]]
focus_mm = "infinity"
pupil_behind_front_mm = [70, 140]
front_travel_mm = 0
[[lens.state]]
focus_mm = 900
pupil_behind_front_mm = [70, 140]
front_travel_mm = 12
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 114
pupil_behind_front_mm = 46
front_to_sensor_mm = 150
close_focus_mm = 400
[box]
ahead_mm = 4
[[box.back]]
width_mm = 190
height_mm = 160
bore_mm = 130
[[box.stage]]
name = "tray"
at_mm = 8
depth_mm = 8
opening_diameter_mm = 140
[[box.hood]]
at_mm = 30
depth_mm = 60
rear_mm = [190, 140]
front_mm = [290, 220]
[[box.flag]]
side = "right"
angle_deg = 50
length_mm = 110
width_mm = 200
hinge_mm = 150
at_mm = 92
[check]
f_numbers = [2.0]
focus_mm = ["infinity"]
"""
FAULTS = {
    "squeeze left out of an anamorphic lens": ("squeeze = 2\n", "", "squeeze", 'squeeze = 1 speaks against the name "40 ana 2x"'),
    "squeeze of another lens": ("squeeze = 2\n", "squeeze = 1.3\n", "squeeze", 'squeeze = 1.3 speaks against the name "40 ana 2x"'),
    "front travel with the wrong sign": ("travel_mm = 12", "travel_mm = -12", "front_travel_mm", "infinity and -12 at 900"),
}  # fmt: skip
CAUTIONS = {
    "stop of a slower lens": ("f_number = 2.0", "f_number = 4", "f/2 of [check] is not looked at"),
    "nearest focus without its point": ("close_focus_mm = 400", "close_focus_mm = 4000", "400 would be usual"),
    "guide after the desqueeze, of the spherical lens": ("aspect = 1.195", "aspect = 2.39", "give a guide for such lenses too"),
    "guide turned over": ("aspect = 1.195", "aspect = 0.418", "2.39 if it was turned over"),
    "guide with its point one place off": ("aspect = 1.195", "aspect = 1.195\nscale = 0.095", "leaves out most of the picture"),
    "hinge as the width between hinges": ("hinge_mm = 150", "hinge_mm = 300", "hinged 155 mm off the hood's front edge"),
    "hinge from the hood": ("at_mm = 92", "at_mm = 2", "hinged 88 mm off the hood's front edge"),
    "diameter twice": ("opening_diameter_mm = 140", "opening_diameter_mm = 280", "larger than the box around it"),
    "hood that names one lens of two": ("[[box.hood]]", '[[box.hood]]\nlenses = ["40 ana 2x"]', "has no hood"),
}  # fmt: skip


def told(text, severity):
    return {note.text for plan in states_of(parse_scene(text, source="s.toml")) for note in plan.notes if note.severity is severity}


def changed(right, wrong):
    assert SCENE.count(right) == 1, right
    return SCENE.replace(right, wrong)


@pytest.mark.parametrize(("right", "wrong", "key", "words"), FAULTS.values(), ids=FAULTS.keys())
def test_a_number_that_the_rest_of_the_lens_speaks_against_is_a_fault_until_it_is_confirmed(right, wrong, key, words):
    slipped = changed(right, wrong)
    (fault,) = told(slipped, Severity.FAULT)
    assert words in fault
    assert told(slipped.replace('name = "40 ana 2x"\n', f'name = "40 ana 2x"\nconfirmed = ["{key}"]\n'), Severity.FAULT) == set()


@pytest.mark.parametrize(("right", "wrong", "words"), CAUTIONS.values(), ids=CAUTIONS.keys())
def test_a_number_that_may_be_a_slip_gets_a_caution_that_says_what_it_leaves_out(right, wrong, words):
    before, after = told(SCENE, Severity.CAUTION), told(changed(right, wrong), Severity.CAUTION)
    assert any(words in text for text in after)
    assert not any(words in text for text in before)


ONE_LENS = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.8
front_diameter_mm = 80
pupil_behind_front_mm = 40
[box]
[[box.mask]]
at_mm = 20
opening_mm = [98, 68]
"""


def test_a_widest_stop_that_hardly_any_lens_has_gets_a_caution_where_nothing_else_of_the_scene_speaks_against_it():
    """A lens alone in its scene, or a set whose points a spreadsheet has lost: nothing said that 28 was 2.8."""
    lens = ONE_LENS[ONE_LENS.index("[[lens]]") : ONE_LENS.index("[box]")]
    for text in (ONE_LENS, ONE_LENS.replace("[box]", lens.replace('"25"', '"25 B"') + "[box]")):
        slipped = text.replace("f_number = 2.8", "f_number = 28")
        assert any("is a point missing? It would be 2.8" in words for words in told(slipped, Severity.CAUTION))
        confirmed = slipped.replace("f_number = 28", 'f_number = 28\nconfirmed = ["f_number"]')
        for meant in (confirmed, text, text.replace("f_number = 2.8", "f_number = 8")):
            assert not any("point missing" in words for words in told(meant, Severity.CAUTION))


def test_a_guide_after_the_desqueeze_is_a_fault_where_every_lens_is_anamorphic():
    only = SCENE[: SCENE.index('[[lens]]\nname = "25"')] + SCENE[SCENE.index("[box]") :]
    assert told(only, Severity.FAULT) == set()
    (fault,) = told(only.replace("aspect = 1.195", "aspect = 2.39"), Severity.FAULT)
    assert "aspect is as recorded, 1.195 for 2.39" in fault


@pytest.mark.parametrize("name", ["50-500 2x extender", "24-70 zoom 2x", "anastigmat 40", "60 1.1x", "35 f2x4"])
def test_a_name_that_tells_no_squeeze_is_none(name):
    spherical = re.sub(r'name = "25"\nfocal_mm = 25', f'name = "{name}"\nconfirmed = ["focal_mm"]\nfocal_mm = 25', SCENE)
    assert not any("squeeze" in text for text in told(spherical, Severity.FAULT))


@pytest.mark.parametrize(
    "path", [*(SCENES / "demo").glob("*.toml"), *(SCENES / "data").glob("[es][xt]a*.toml")], ids=lambda path: path.stem
)
def test_what_comes_with_the_program_gets_none_of_these_cautions(path):
    words = [words for *_, words in (*CAUTIONS.values(), *FAULTS.values())]
    texts = [note.text for plan in plans_of(load_scene(path)) for note in plan.notes]
    assert not [text for text in texts if any(word in text for word in words)]


@pytest.mark.parametrize(("shift_mm", "caution"), [((0, 90, 60), False), ((0, 2060, 60), True), ((500, 0, 60), True)])
def test_a_mesh_far_off_the_box_gets_a_caution_for_it_was_drawn_about_another_origin(tmp_path, shift_mm, caution):
    bracket = trimesh.creation.box((60, 40, 20)).apply_translation(shift_mm)
    bracket.export(tmp_path / "bracket.stl")
    solid = '[[box.solid]]\nfile = "bracket.stl"\n'
    (tmp_path / "s.toml").write_text(SCENE.replace("[check]", f"{solid}[check]"), encoding="utf-8")
    texts = [note.text for plan in plans_of(load_scene(tmp_path / "s.toml")) for note in plan.notes]
    assert any("where nothing of the box reaches" in text for text in texts) == caution


def told_of_mesh(tmp_path, mesh, scene=SCENE):
    mesh.export(tmp_path / "bracket.stl")
    text = scene.replace("[check]", '[[box.solid]]\nfile = "bracket.stl"\n[check]')
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    return {note.text for plan in plans_of(load_scene(tmp_path / "s.toml")) for note in plan.notes if note.part == "solid 1"}


def test_a_body_far_off_in_a_file_whose_other_bodies_are_not_gets_the_caution_too(tmp_path):
    near, far = trimesh.creation.box((60, 40, 20)), trimesh.creation.box((60, 4, 4))
    near.apply_translation((0, 90, 60))
    far.apply_translation((0, 2060, 60))
    texts = told_of_mesh(tmp_path, trimesh.util.concatenate([near, far]))
    assert any("a body of its mesh lies 2058 mm off the middle of the box" in text for text in texts)


@pytest.mark.parametrize(("middle_mm", "told_behind"), [(47, False), (-47, True), (0, False)])
def test_a_mesh_behind_the_plate_of_a_box_that_stands_ahead_is_told_for_its_z_may_run_toward_the_camera(
    tmp_path, middle_mm, told_behind
):
    """A bracket 86 mm long bolted to the plate, ahead of it and turned about: the lens front is 6 mm behind the plate."""
    bracket = trimesh.creation.box((60, 40, 86)).apply_translation((0, 90, middle_mm))
    texts = told_of_mesh(tmp_path, bracket, SCENE.replace("ahead_mm = 4", "ahead_mm = 6", 1))
    assert any("wholly behind the rear face of the back plate" in text for text in texts) == told_behind


@pytest.mark.parametrize(("middle_mm", "told_so"), [(60, False), (-120, False), (-940, True)])
def test_a_body_far_behind_the_plate_in_a_file_whose_other_bodies_are_not_gets_a_caution(tmp_path, middle_mm, told_so):
    """Its front ends 938 mm behind the middle of the plate, from which the file counts; the plate is 4 mm thick."""
    near, far = trimesh.creation.box((60, 40, 20)), trimesh.creation.box((60, 4, 4))
    near.apply_translation((0, 120, 60))
    far.apply_translation((0, 90, middle_mm))
    texts = told_of_mesh(tmp_path, trimesh.util.concatenate([near, far]))
    assert any("lies 936 mm behind the back plate" in text for text in texts) == told_so


PRIME = '[[lens]]\nname = "{}"\nfocal_mm = {}\nf_number = {}\nfront_diameter_mm = 114\npupil_behind_front_mm = 46\n'


@pytest.mark.parametrize(("stops", "is_told"), [((1.9, 3.2, 1.9), True), ((1.9, 1.9, 1.9), False), ((1.4, 3.2, 1.9), False)])
def test_a_prime_that_alone_of_its_set_opens_less_than_is_asked_is_told(stops, is_told):
    lenses = "".join(PRIME.format(focal, focal, stop) for focal, stop in zip((18, 24, 32), stops, strict=True))
    text = SCENE[: SCENE.index("[[lens]]")] + lenses + SCENE[SCENE.index("[box]") :].replace("[2.0]", "[2.0, 8]")
    words = "f_number = 3.2 is its widest stop, so f/2 of [check] is not looked at, and the other lenses all open to f/1.9"
    assert any(words in one for one in told(text, Severity.CAUTION)) == is_told
    known = text.replace("f_number = 3.2", 'f_number = 3.2\nconfirmed = ["f_number"]')
    assert not any("f_number = 3.2" in one for one in told(known, Severity.CAUTION))


@pytest.mark.parametrize("stops", [(2.8, 3.5, 2.8), (1.8, 2.8, 1.8), (2, 2.8, 2)])
def test_a_set_whose_lenses_differ_by_a_stop_and_a_third_gets_no_word(stops):
    lenses = "".join(PRIME.format(focal, focal, stop) for focal, stop in zip((35, 55, 100), stops, strict=True))
    text = SCENE[: SCENE.index("[[lens]]")] + lenses + SCENE[SCENE.index("[box]") :].replace("[2.0]", f"[{stops[0]}, 5.6]")
    assert not any("the other lenses all open to" in one for one in told(text, Severity.CAUTION))


LENS = '[[lens]]\nname = "{name}"\nfocal_mm = 40\nsqueeze = {squeeze}\nf_number = {stop}\nfront_diameter_mm = 114\n'
DEPTHS = "pupil_behind_front_mm = {{ horizontal = 70, vertical = {vertical} }}\n"


def of_lenses(lenses, camera):
    scene = parse_scene(f"brimline = 1\n[camera]\n{camera}\n{''.join(lenses)}[box]\nahead_mm = 4\n", source="s.toml")
    return {note.text for lens in scene.lens for note in doubtful_notes(scene, lens)}


@pytest.mark.parametrize(("squeeze", "is_told"), [(2.0, False), (1.5, True)])
def test_a_squeeze_that_the_format_is_not_for_is_told(squeeze, is_told):
    lens = LENS.format(name="a", squeeze=squeeze, stop=2.8) + DEPTHS.format(vertical=70 * squeeze)
    found = of_lenses([lens], 'format = "anamorphic-35-4perf"')
    assert any("is for lenses with a squeeze of 2" in text for text in found) is is_told


@pytest.mark.parametrize(("aspect", "is_told"), [(2.39, False), (2.76, False), (3.29, True)])
def test_a_guide_wider_than_any_picture_is_told(aspect, is_told):
    lens = LENS.format(name="a", squeeze=1, stop=2.8) + "pupil_behind_front_mm = 60\n"
    guide = f'format = "36x24"\n[[camera.guide]]\nname = "extraction"\naspect = {aspect}'
    assert any("is wider than any picture is shown" in text for text in of_lenses([lens], guide)) is is_told


@pytest.mark.parametrize(("stop", "is_told"), [(4.1, True), (1.4, False), (2.0, False)])
def test_a_prime_that_alone_of_its_set_opens_far_less_is_told_though_no_stop_is_asked_for(stop, is_told):
    stops = {"a": 1.4, "b": 1.4, "c": stop}
    lenses = [LENS.format(name=name, squeeze=1, stop=one) + "pupil_behind_front_mm = 60\n" for name, one in stops.items()]
    assert any("the other lenses all open to f/1.4" in text for text in of_lenses(lenses, 'format = "36x24"')) is is_told
