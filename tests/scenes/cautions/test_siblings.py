"""Things alike but for one number are told: copies of a lens, boxes ahead of lenses of one front, a pair of brackets, rods.

That copies agree, and that a pair stands equally far ahead, is common practice; numbers are invented.
"""

import pytest
import trimesh

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene
from scenes.states.load import load_scene, plans_of

LENS = """
[[lens]]
name = "{name}"
focal_mm = {focal}
f_number = 2
front_diameter_mm = {front}
front_to_sensor_mm = 150
pupil_behind_front_mm = {pupil}
close_focus_mm = 300
distortion = [{k1}, 0.01]
"""


def lens(name, *, focal=21, front=114, pupil=44, k1=-0.12, more=""):
    return LENS.format(name=name, focal=focal, front=front, pupil=pupil, k1=k1) + more


def told(lenses, more="", starts=""):
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{"".join(lenses)}[box]\nahead_mm = 4\n{more}', source="s.toml")
    found = {(note.part, note.text) for one in scene.lens for note in doubtful_notes(scene, one)}
    return sorted(text for _, text in found if starts in text)


def test_a_copy_of_a_lens_with_a_point_in_another_place_is_told():
    (text,) = told([lens("21 A"), lens("21 B", k1=-0.012)], starts="has the numbers of")
    assert text.startswith('has the numbers of "21 A" but for distortion[1] = -0.012, not -0.12: one is wrong')


@pytest.mark.parametrize(
    "other",
    [
        lens("21 B", k1=-0.121),  # measured twice
        lens("24", focal=24),  # another lens
        lens("21 C", front=95, k1=-0.02),  # rehoused, and another make
    ],
)
def test_lenses_that_are_no_copies_or_agree_get_no_word(other):
    assert told([lens("21 A"), other], starts="has the numbers of") == []


@pytest.mark.parametrize(("ahead", "words"), [("2.4", "is a tenth of the 24 mm"), ("240", "is ten times the 24 mm")])
def test_a_box_a_tenth_as_far_ahead_of_one_lens_as_of_the_others_is_told(ahead, words):
    own = [f"[lens.box]\nahead_mm = {value}\n" for value in (ahead, "24", "24.5")]
    lenses = [lens(str(focal), focal=focal, pupil=focal + 20, more=more) for focal, more in zip((25, 32, 40), own, strict=True)]
    (text,) = told(lenses, starts="box.ahead_mm")
    assert words in text
    assert '"32", "40"' in text


@pytest.mark.parametrize("ahead", ["20", "6", "-2.4"])
def test_a_box_elsewhere_before_one_lens_is_not_told_for_a_point(ahead):
    own = [f"[lens.box]\nahead_mm = {value}\n" for value in (ahead, "24", "24")]
    lenses = [lens(str(focal), focal=focal, pupil=focal + 20, more=more) for focal, more in zip((25, 32, 40), own, strict=True)]
    assert told(lenses, starts="a point in the wrong place") == []


def test_rods_longer_than_from_image_plane_to_box_are_told():
    (text,) = told([lens("25", focal=25)], "[make]\nrod_length_mm = 175\n", starts="rod_length_mm")
    assert "would have the clamp 21 mm behind the image plane" in text
    assert told([lens("25", focal=25)], "[make]\nrod_length_mm = 150\n", starts="rod_length_mm") == []


BRACKETS = """
[[box.solid]]
name = "{names[0]}"
file = "part.stl"
at_mm = 50
[[box.solid]]
name = "{names[1]}"
file = "part.stl"
turn_deg = 180
at_mm = {at}
"""


@pytest.mark.parametrize(
    ("names", "at", "is_told"),
    [
        (("left bracket", "right bracket"), 15, True),
        (("left bracket", "right bracket"), 50, False),
        (("left bracket", "right arm"), 15, False),
        (("clamp 1", "clamp 2"), 15, False),
    ],
)
def test_brackets_of_a_pair_that_do_not_stand_equally_far_ahead_are_told(tmp_path, names, at, is_told):
    trimesh.creation.box((10, 10, 30)).apply_translation((-120, 0, 0)).export(tmp_path / "part.stl")
    scene = f'brimline = 1\n[camera]\nformat = "36x24"\n{lens("50", focal=50)}[box]\nahead_mm = 4\n'
    (tmp_path / "s.toml").write_text(scene + BRACKETS.format(names=names, at=at), encoding="utf-8")
    notes = {note.text for plan in plans_of(load_scene(tmp_path / "s.toml")) for note in plan.notes}
    assert any("do not go together as those of a pair" in text for text in notes) is is_told


@pytest.mark.parametrize(("ahead", "is_told"), [(12.2, True), (28, False)])
def test_a_box_that_stands_elsewhere_ahead_of_the_image_plane_with_one_lens_is_told(ahead, is_told):
    rows = [(20, 126, ahead), (25, 134, 20), (35, 124, 30)]
    lenses = [
        lens(str(focal), focal=focal, front=front, pupil=40, more=f"[lens.box]\nahead_mm = {place}\n").replace(
            "front_to_sensor_mm = 150", f"front_to_sensor_mm = {length}"
        )
        for front, (focal, length, place) in zip((114, 95, 80), rows, strict=True)
    ]
    assert bool(told(lenses, starts="as on rods that nobody moves")) is is_told


@pytest.mark.parametrize(("places", "is_told"), [((8, 38, 38), True), ((38, 38, 38), False), ((8, 38, 24), False)])
def test_a_mask_in_another_slot_than_those_of_all_other_lenses_is_told(places, is_told):
    lenses = [lens(str(focal), focal=focal, pupil=focal + 20) for focal in (25, 32, 40)]
    masks = "".join(
        f'[[box.mask]]\nlenses = ["{focal}"]\nat_mm = {place}\nopening_mm = [138, 100]\n'
        for focal, place in zip((25, 32, 40), places, strict=True)
    )
    assert bool(told(lenses, masks, starts="is it in the same slot?")) is is_told
