"""A half field with a wrong digit makes a frame clear that is dark: it is told by focal length, format and the rows beside it.

Rows are invented; focal lengths of patents as told beside them, and what is engraved on lenses made to them.
"""

import math

import pytest

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene

INFINITY = '"infinity"'


def told(rows, focal_mm=20, more="", camera='format = "36x24"'):
    """What is told of half fields, rows of (focal length, focus, half field)."""
    listed = "".join(
        f"[[lens.state]]\nfocal_mm = {focal}\nfocus_mm = {focus}\npupil_behind_front_mm = 40\nhalf_field_deg = {deg}\n"
        for focal, focus, deg in rows
    )
    lens = f'[[lens]]\nname = "a"\nfocal_mm = {focal_mm}\nf_number = 3\nfront_diameter_mm = 114\nfront_to_sensor_mm = 180\n{more}'
    scene = parse_scene(f"brimline = 1\n[camera]\n{camera}\n{lens}{listed}[box]\nahead_mm = 2\n", source="s.toml")
    return [note.text for note in doubtful_notes(scene, scene.lens[0]) if note.text.startswith("half_field_deg")]


ZOOM = [(17, INFINITY, 46.6), (17, 600, 47.2), (24, INFINITY, 36.9), (24, 600, 37.5), (35, INFINITY, 27.2), (35, 600, 27.7)]


@pytest.mark.parametrize(("deg", "is_told"), [(44.1, True), (44.6, True), (45.6, False), (46.6, False), (47.6, False)])
def test_a_field_at_infinity_narrower_than_focal_length_and_format_have_it_is_told(deg, is_told):
    texts = told([(17, INFINITY, deg), *ZOOM[1:]], 17)
    assert [text.startswith(f"half_field_deg = {deg} at infinity is ") for text in texts] == [True] * is_told
    assert all("focal_mm = 17 and the picture's width say 46.6 deg" in text for text in texts)


@pytest.mark.parametrize(
    ("engraved_mm", "design_mm"),
    [(14, 14.4), (24, 24.7), (50, 51.1), (16, 16.48), (35, 36), (70, 72.13), (24, 23.8), (70, 67.89), (120, 116.5)],
    ids=[
        "US 7,359,125",
        "WO 2022/259649",
        "US 2019/0265441",
        "16-35",
        "35-85",
        "70-200",
        "US 7,359,125 long",
        "24-70 long",
        "24-120 long",
    ],
)
def test_the_fields_of_patents_by_what_is_engraved_on_the_lens_get_no_word(engraved_mm, design_mm):
    deg = math.degrees(math.atan(18 / design_mm))
    assert told([(engraved_mm, INFINITY, f"{deg:.2f}")], engraved_mm) == []


PRIME = [45.7, 45.6, 45.3]
TWO = [(32.1, 14.9), (33.0, 15.3), (36.5, 17.1)]


@pytest.mark.parametrize(
    ("degs", "words"),
    [
        ((45.7, 47.9, 45.3), "half_field_deg = 47.9 at focus 1200 mm is out of line with the rows beside it, 45.7, 45.3"),
        ((45.7, 45.6, 43.3), "half_field_deg = 43.3 at focus 400 mm is out of line with the rows beside it, 45.7, 45.6"),
        ((41, 43, 47), None),
        ((45.7, 44.8, 43.9), None),
        (PRIME, None),
    ],
)
def test_a_field_that_leaves_the_run_of_the_others_over_focus_is_told(degs, words):
    texts = told(
        [(20, focus, deg) for focus, deg in zip((INFINITY, 1200, 400), degs, strict=True)], more='projection = "equidistant"\n'
    )
    assert [words in text for text in texts] == [True] * bool(words) if words else texts == []


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ([*TWO[:2], (31.5, 17.1)], "half_field_deg = 31.5 horizontal, 17.1 vertical at focus 900 mm is out of line"),
        ([(32.1, 14.9), (32.3, 15.8), (32.6, 14.8)], "half_field_deg = 15.8 vertical at focus 1800 mm is out of line"),
        ([(32.1, 14.9), (32.3, 15.8), (32.6, 18.4)], None),
        (TWO, None),
    ],
)
def test_the_two_fields_of_an_anamorphic_lens_are_held_against_each_other_over_focus(pairs, words):
    rows = [
        (35, focus, f"{{ horizontal = {across}, vertical = {upright} }}")
        for focus, (across, upright) in zip((INFINITY, 1800, 900), pairs, strict=True)
    ]
    camera = "width_mm = 21.9\nheight_mm = 18.6\npixels = [2190, 1860]"
    texts = told(rows, 35, more="squeeze = 2\n", camera=camera)
    assert [words in text for text in texts] == [True] if words else texts == []


@pytest.mark.parametrize(("across", "is_told"), [(29.47, False), (28.2, False), (27.5, True)])
def test_a_squeezed_field_narrower_than_focal_length_squeeze_and_picture_have_it_is_told(across, is_told):
    """Half of 22.6 mm, twice squeezed, over 40 mm: the tangent of 29.47 deg."""
    camera = "width_mm = 22.6\nheight_mm = 18.9\npixels = [2260, 1890]"
    rows = [(40, INFINITY, f"{{ horizontal = {across}, vertical = 13.29 }}")]
    texts = told(rows, 40, more="squeeze = 2\n", camera=camera)
    assert any("focal_mm = 40 and the picture's width say 29.5 deg" in text for text in texts) == is_told


@pytest.mark.parametrize(("upright", "is_told"), [(30.96, False), (30, False), (27.9, True), (34, True)])
def test_two_fields_of_a_spherical_lens_that_no_picture_of_this_shape_has_are_told(upright, is_told):
    texts = told([(20, INFINITY, f"{{ horizontal = 41.99, vertical = {upright} }}")], more="distortion = [0, 0]\nconfirmed = []\n")
    assert (
        any(
            "speaks against the picture, 36 x 24 mm" in text or "is narrower than focal length and picture" in text
            for text in texts
        )
        == is_told
    )


@pytest.mark.parametrize(("near", "is_told"), [(34, True), (35.2, False), (36.1, False), (41, False)])
def test_a_wide_field_that_narrows_close_up_by_more_than_wide_lenses_do_is_told(near, is_told):
    camera = 'format = "super-35-3perf"'
    texts = told([(17, INFINITY, 36.1), (17, 600, near)], 17, camera=camera)
    assert any(f"half_field_deg = {near} at focus 600 mm is narrower than 36.1" in text for text in texts) == is_told


def test_fields_that_were_measured_again_get_no_word():
    assert told([(17, INFINITY, 44.1), *ZOOM[1:]], 17, more='confirmed = ["half_field_deg"]\n') == []


@pytest.mark.parametrize(
    ("focal_mm", "distortion", "is_told"), [(20, 0.04, True), (20, 0.02, False), (20, -0.04, False), (85, 0.04, False)]
)
def test_pincushion_of_a_wide_lens_is_told_as_a_turned_sign(focal_mm, distortion, is_told):
    lens = f'name = "a"\nfocal_mm = {focal_mm}\nf_number = 3\nfront_diameter_mm = 114\npupil_behind_front_mm = 40\n'
    text = f'brimline = 1\n[camera]\nformat = "36x24"\n[[lens]]\n{lens}distortion = [{distortion}, 0.002]\n[box]\nahead_mm = 2\n'
    scene = parse_scene(text, source="s.toml")
    found = [note.text for note in doubtful_notes(scene, scene.lens[0]) if "is a sign turned?" in note.text]
    assert [f"distortion = [{distortion}, 0.002] is pincushion of 4.2 %" in words for words in found] == [True] * is_told
