"""Numbers of one scene that cannot both be right: each is told, with both, and the scene with the right one is not.

The right scenes are invented, with sizes and depths of common practice.
"""

import pytest

from geometry.notes import Severity
from scenes.cautions.doubtful_numbers import doubtful_box_notes
from scenes.scene_file.parse import parse_scene
from scenes.states.judgement import slips
from scenes.states.state import states_of
from tests.scenes.cautions.test_slipped_numbers import BOX, HEAD, PLAIN, ZOOM, told

STEPS = ZOOM.replace("focal_mm = 24\nf_number", "pupil_behind_front_mm = [58, 82]\nf_number").replace(
    "[[lens.state]]\nfocal_mm = 70", "[[lens.state]]\nfocal_mm = 40\npupil_behind_front_mm = 70\n[[lens.state]]\nfocal_mm = 70"
)
WALK = PLAIN.replace(
    "pupil_behind_front_mm = 40\n",
    "pupil_walk = [[0, 40, 1, 1], [15, 40.6, 0.99, 1], [30, 42.3, 0.96, 1.02], [45, 45, 0.9, 1.03]]\n",
)
WALK_AND_ROW = f'{WALK}[[lens.state]]\nfocus_mm = "infinity"\npupil_behind_front_mm = 40\n'
FAULTS = {
    "a row shallower than the lens's own bounds": (
        STEPS,
        "focal_mm = 24\npupil_behind_front_mm = 60",
        "focal_mm = 24\npupil_behind_front_mm = 26",
        "pupil_behind_front_mm",
        ("pupil_behind_front_mm = 58 of the lens", "its state rows, pupil_behind_front_mm = 26"),
    ),
    "a walk that leaves deeper rows aside": (
        WALK_AND_ROW,
        "pupil_behind_front_mm = 40",
        "pupil_behind_front_mm = 72",
        "pupil_walk",
        ("pupil_walk begins at 40 mm", "a state row says pupil_behind_front_mm = 72"),
    ),
}
CAUTIONS = {
    "a lens measured from its mount": (
        PLAIN,
        "front_to_sensor_mm = 150",
        "front_to_sensor_mm = 50",
        ("= 50 and pupil", "10 mm ahead"),
    ),
    "one row of a walk": (WALK, "[30, 42.3,", "[30, 24.3,", ("pupil_walk = 24.3 mm at 30 deg", "40.6 and 45 mm")),
    "one size of a walk": (WALK, "0.96, 1.02]", "0.096, 1.02]", ("tangential size of 0.096 at 30 deg", "It would be 0.96")),
    "one row of a zoom": (
        STEPS,
        "focal_mm = 40\npupil_behind_front_mm = 70",
        "focal_mm = 40\npupil_behind_front_mm = 20",
        ("pupil_behind_front_mm = 20 at focal_mm = 40", "60 at 24 and 80 at 70"),
    ),
}


def changed(lens, right, wrong):
    assert lens.count(right) == 1, right
    return HEAD + lens.replace(right, wrong) + BOX


@pytest.mark.parametrize(("lens", "right", "wrong", "key", "words"), FAULTS.values(), ids=FAULTS.keys())
def test_a_depth_that_another_depth_of_the_lens_contradicts_is_a_fault_until_confirmed(lens, right, wrong, key, words):
    assert told(HEAD + lens + BOX, Severity.FAULT) == set()
    slipped = changed(lens, right, wrong)
    (fault,) = told(slipped, Severity.FAULT)
    assert all(one in fault for one in words)
    assert told(slipped.replace("[[lens]]\n", f'[[lens]]\nconfirmed = ["{key}"]\n'), Severity.FAULT) == set()


@pytest.mark.parametrize(("lens", "right", "wrong", "words"), CAUTIONS.values(), ids=CAUTIONS.keys())
def test_one_row_far_out_of_line_with_those_beside_it_is_a_caution(lens, right, wrong, words):
    assert told(HEAD + lens + BOX, Severity.CAUTION) == set()
    slipped = changed(lens, right, wrong)
    assert told(slipped, Severity.FAULT) == set()
    (caution,) = told(slipped, Severity.CAUTION)
    assert all(one in caution for one in words)


@pytest.mark.parametrize(("name", "aspect", "words"), [
    ("16:9", 0.5625, 'aspect = 0.5625 speaks against the name of its guide "16:9"'),
    ("deliver 4:3", 0.75, "speaks against"), ("safe 4x3", 0.75, "speaks against"), ("extraction 2.39", 1.39, "speaks against"),
    ("16:9", 1.7778, ""), ("9:16", 0.5625, ""), ("2.39:1", 2.39, ""), ("extraction 2.39", 2.39, ""), ("take 3", 1.5, ""),
    ("2.39 in 16:9", 1.7778, ""), ("safe 1.25 x", 1.5, ""), ("A 12:30 set-up", 1.5, ""),
])  # fmt: skip
def test_a_guide_of_another_aspect_than_its_name_tells_anywhere_in_it_is_a_fault(name, aspect, words):
    guide = f'[[camera.guide]]\nname = "{name}"\naspect = {aspect}\n'
    texts = told(HEAD + guide + PLAIN + BOX, Severity.FAULT)
    assert [words in text for text in texts] == ([True] if words else [])


SQUEEZED = (
    '[[lens]]\nname = "{}"\nfocal_mm = {}\nsqueeze = 2\nf_number = 2.8\nfront_diameter_mm = 114\npupil_behind_front_mm = 60\n'
)
FULL = '[[camera.guide]]\nname = "full 2.39"\naspect = 1.195\n'


def test_a_lens_without_the_squeeze_that_the_guides_name_needs_is_told_with_the_one_that_has_it():
    pair = SQUEEZED.format(40, 40) + SQUEEZED.format(75, 75)
    assert told(HEAD + FULL + pair + BOX, Severity.CAUTION) == set()
    slipped = HEAD + FULL + SQUEEZED.format(40, 40) + SQUEEZED.format(75, 75).replace("squeeze = 2\n", "") + BOX
    (caution,) = told(slipped, Severity.CAUTION)
    assert 'squeeze = 1 leaves aspect = 1.195 of the guide "full 2.39" at 1.2' in caution
    assert 'only with squeeze = 2, as "40" has it' in caution
    both = FULL + '[[camera.guide]]\nname = "1.5 spherical"\naspect = 1.5\n'
    assert told(slipped.replace(FULL, both), Severity.CAUTION) == set()


@pytest.mark.parametrize(("stops", "words"), [(2.5, "calls a loss of 82 % of the light invisible"), (0.1, ""), (0.5, "")])
def test_a_visible_loss_that_anybody_sees_is_told(stops, words):
    texts = told(f"{HEAD}{PLAIN}{BOX}[check]\nvisible_loss_stops = {stops}\n", Severity.CAUTION)
    assert [words in text for text in texts] == ([True] if words else [])


@pytest.mark.parametrize(("place", "size", "words"), [
    ("[-2.2, 1.8, 1.2]", 300, "written in m? It would be [-2200, 1800, 1200]"),
    ("[-180, 120, 60]", 300, "written in cm? It would be [-1800, 1200, 600]"),
    ("[-2200, 1800, 1200]", 300, ""), ("[0, 0, 900]", 100, ""), ("[0, 300, 40]", 50, ""), ("[0, 50, -400]", 100, ""),
])  # fmt: skip
def test_a_light_where_the_box_stands_is_told_with_the_unit_that_it_may_be_written_in(place, size, words):
    light = f'[[light]]\nname = "lamp"\nposition_mm = {place}\nsize_mm = {size}\n'
    texts = told(HEAD + PLAIN + BOX + light, Severity.CAUTION)
    assert [words in text for text in texts] == ([True] if words else [])


PLATE = "[[box.back]]\nwidth_mm = 190\nheight_mm = 160\nbore_mm = 140\n"
MASK = '[[box.mask]]\nname = "mask"\nat_mm = 12\nopening_mm = {}\n'


@pytest.mark.parametrize(("opening", "words"), [
    ("[150, 500]", "500 mm is higher than the box around it, 190 x 160 mm"), ("[590, 100]", "is wider than the box around it"),
    ("[300, 250]", "300 x 250 mm is larger than the box around it, 190 x 160 mm"), ("[150, 100]", ""),
    ("[240, 150]", "is wider than the box around it"),
])  # fmt: skip
def test_an_opening_far_larger_than_the_box_around_it_is_told_in_one_direction_too(opening, words):
    box = parse_scene(HEAD + PLAIN + BOX + PLATE + MASK.format(opening), source="s.toml").box
    texts = [note.text for note in doubtful_box_notes(box, ())]
    assert [words in text for text in texts] == ([True] if words else [])


@pytest.mark.parametrize(("more", "is_told"), [("", True), ("pupil_width_factor = 1\n", False)])
def test_one_depth_of_a_lens_that_squeezes_is_told_with_the_squeeze_unless_it_squeezes_behind_its_stop(more, is_told):
    scene = parse_scene(HEAD + SQUEEZED.format(40, 40) + more + BOX, source="s.toml")
    texts = [note.text for note in slips(next(iter(states_of(scene))))]
    assert any("one pupil depth for both directions, 60 mm, with squeeze = 2" in text for text in texts) is is_told


UPRIGHT = """[[lens]]
name = "x"
focal_mm = 50
squeeze = {squeeze}
f_number = 2.8
front_diameter_mm = 114
front_to_sensor_mm = 230
pupil_behind_front_mm = {pupil}
[[lens.state]]
focus_mm = "infinity"
half_field_deg = {{ horizontal = {across}, vertical = 13.5 }}
[[lens.state]]
focus_mm = 1500
half_field_deg = {{ horizontal = {near_across}, vertical = {near} }}
"""
SPHERICAL = {"squeeze": 1, "pupil": 60, "across": 19.8, "near_across": 19.8}
TWICE = {
    "squeeze": 2,
    "pupil": "{ horizontal = 71, vertical = 142 }",
    "across": 35.8,
    "near_across": 31.5,
}  # squeezes less close up


@pytest.mark.parametrize("lens", [SPHERICAL, TWICE], ids=["spherical", "anamorphic"])
@pytest.mark.parametrize(("near", "is_told"), [(13.6, False), (13.3, False), (11.5, True)])
def test_a_field_upright_that_narrows_close_up_is_told_of_an_anamorphic_lens_too(lens, near, is_told):
    texts = told(HEAD + UPRIGHT.format(near=near, **lens) + BOX, Severity.CAUTION)
    assert [f"half_field_deg = {near} at focus 1500 mm is narrower than 13.5 at infinity" in text for text in texts] == [
        True
    ] * is_told


@pytest.mark.parametrize(("value", "told_so"), [(9, True), (0.1, True), (0.4, False), (3.6, False)])
def test_a_pupil_magnification_that_hardly_any_lens_has_gets_a_caution(value, told_so):
    """Common practice: 0.3 (telephoto) to 5 (very wide retrofocus)."""
    lens = PLAIN.replace("f_number = 2", f"pupil_magnification = {value}\nf_number = 2", 1)
    assert f"pupil_magnification = {value}" in lens
    assert any("hardly any lens" in text for text in told(HEAD + lens + BOX, Severity.CAUTION)) == told_so


@pytest.mark.parametrize(("up", "told_so"), [(3, False), (-4.46, False), (-5, True), (-20, True)])
def test_a_guide_shifted_off_the_recorded_area_is_told(up, told_so):
    """36 x 15.06 mm of 36 x 24: it may move by (24 - 15.06) / 2 = 4.47 mm."""
    guide = f'[[camera.guide]]\nname = "scope"\naspect = 2.39\noffset_mm = [0, {up}]\n'
    texts = told(HEAD + guide + PLAIN + BOX, Severity.CAUTION)
    assert any("off the recorded area" in text for text in texts) == told_so


@pytest.mark.parametrize(
    ("length_mm", "magnification", "told_so"), [(168, 0.42, True), (168, 2.4, False), (168, 0.9, False), (70, 0.42, False)]
)
def test_a_long_wide_lens_with_the_smaller_exit_pupil_is_told_as_turned_over(length_mm, magnification, told_so):
    # US 4,099,850 has 1.94, M. Laikin's 100 degree lens (Lens Design, 4th ed.) 7.1, by first order of the tables in tests/data
    lens = f'[[lens]]\nname = "20"\nfocal_mm = 20\nf_number = 2.2\nfront_diameter_mm = 114\nfront_to_sensor_mm = {length_mm}\n'
    text = HEAD + lens + f"pupil_behind_front_mm = 37\npupil_magnification = {magnification}\n" + BOX
    assert any("the other way about it would be 2.38" in words for words in told(text, Severity.CAUTION)) == told_so
