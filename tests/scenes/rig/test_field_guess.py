"""What a state at close focus says of its field where no row states it."""

import numpy as np
import pytest

from raytrace.optics.conjugate import conjugate
from raytrace.optics.lens import pencils_for
from scenes.rig.lens import lens_variants
from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene
from scenes.states.notes import field_words
from scenes.states.state import pixel_grid, states_of

SCENE = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "25"
focal_mm = 25
f_number = 2.0
front_diameter_mm = 100
front_to_sensor_mm = {length}
pupil_behind_front_mm = {pupil}
{more}
{rows}
[box]
[check]
focus_mm = ["infinity", {focus}]
"""


def close_state(length, pupil, focus, rows="", more=""):
    scene = parse_scene(SCENE.format(length=length, pupil=pupil, focus=focus, rows=rows, more=more), source="s.toml")
    far, close = states_of(scene)
    assert far.field_guess_percent is None
    assert not any("guess" in note.text for note in far.notes)
    return close


def test_a_thin_lens_with_its_pupil_in_it_sees_less_at_close_focus_by_its_extension():
    # f = 25, object 300 from the lens: m = 1/11, image at 25 (1 + m) = 27.27 (Kingslake, Newton's form); D = 327.27
    close = close_state(60.0, 35.0, 3600 / 11, more="pupil_magnification = 1.0")
    assert close.field_guess_percent == pytest.approx([100 * (25 / (300 / 11) - 1)] * 2)
    assert [note.text for note in close.notes if "guess" in note.text] == [
        "field at 327.273 mm: a guess, 8 % narrower than at infinity; half_field_deg replaces it"
    ]


def test_a_lens_of_which_the_pupil_magnification_is_not_known_is_never_taken_to_see_less_than_at_infinity():
    close = close_state(60.0, 60.0 - 300 / 11, 3600 / 11)
    assert close.field_guess_percent == pytest.approx([0.0, 0.0])
    assert [note.text for note in close.notes if "guess" in note.text] == [
        "field at 327.273 mm: a guess, as wide as at infinity; half_field_deg replaces it"
    ]


def test_the_pupil_magnification_of_a_zoom_runs_between_its_rows():
    # p is 1 at 25 mm and 2 at 35 mm, so 1.5 at 30 mm
    rows = "".join(f"[[lens.state]]\nfocal_mm = {f}\npupil_magnification = {p}\n" for f, p in ((25, 1.0), (35, 2.0)))
    scene = parse_scene(SCENE.format(length=160, pupil=40, focus=500, rows=rows, more=""), source="s.toml")
    grid = pixel_grid(scene.camera)
    (variant,) = lens_variants(scene.lens[0], grid, None, focal_mm=30.0, focus_mm=500.0, f_number=2.0)
    expected = conjugate(30.0, 500.0, 160.0, 40.0, pupil_magnification=1.5).effective_focal_mm
    assert variant.lens.field_focal_mm == pytest.approx(expected)


def test_a_retrofocus_lens_is_taken_to_see_wider_and_of_two_pupils_by_the_wider():
    # the same m = 1/11, the pupil 100 mm nearer to the object: L = 200, m L = 18.18
    close = close_state(160.0, f"[{60.0 - 300 / 11}, {160.0 - 300 / 11}]", 3600 / 11)
    wider = close_state(160.0, 60.0 - 300 / 11, 3600 / 11)
    assert wider.field_guess_percent == pytest.approx([100 * (25 / (200 / 11) - 1)] * 2)
    assert close.field_guess_percent == pytest.approx(wider.field_guess_percent)


def test_a_field_that_a_row_states_is_no_guess():
    close = close_state(160.0, 40.0, 500, rows="[[lens.state]]\nfocus_mm = 500\nhalf_field_deg = 30")
    assert close.field_guess_percent is None
    assert not any("guess" in note.text for note in close.notes)


def test_a_field_stated_at_infinity_alone_does_not_narrow_the_guess_at_close_focus():
    # measured 35.75 deg, a hair less than atan(18 / 25) = 35.754 deg; close up the guess sees wider, and says so
    rows = "[[lens.state]]\nfocus_mm = 'infinity'\nhalf_field_deg = 35.75"
    stated, guessed = (lens_at_close_focus(rows=rows) for rows in (rows, ""))
    assert stated.variants[0].field_focal_mm == pytest.approx(guessed.variants[0].field_focal_mm)
    assert stated.field_guess_percent == pytest.approx(guessed.field_guess_percent, abs=0.1)
    assert any("a guess" in note.text for note in stated.notes)


@pytest.mark.parametrize("half_field_deg", [38, 60])
def test_a_field_stated_wide_at_infinity_grows_close_up_as_the_guess_does(half_field_deg):
    # D = f (2 + m + 1/m), L = 500 - (160 - 40): the guess's tangent grows by f / (m L) from infinity, and the stated one with it
    state = lens_at_close_focus(rows=f"[[lens.state]]\nfocus_mm = 'infinity'\nhalf_field_deg = {half_field_deg}")
    m = (18 - np.sqrt(18**2 - 4)) / 2  # 500 / 25 - 2 = m + 1/m
    grown = 25 / (m * 380)
    assert grown > 1.15
    assert state.variants[0].field_focal_mm == pytest.approx(18 / np.tan(np.radians(half_field_deg)) / grown)
    assert state.field_guess_percent == pytest.approx([100 * (grown - 1)] * 2)


def test_a_field_stated_close_up_alone_keeps_its_share_of_the_guess_at_infinity_but_is_no_narrower():
    # stated a little wider at 500 than the guess there (atan(18 / (m L)) = 40.3 deg): held at infinity it is at least as wide
    rows = "[[lens.state]]\nfocus_mm = 500\nhalf_field_deg = 42"
    far, _ = states_of(parse_scene(SCENE.format(length=160, pupil=40, focus=500, rows=rows, more=""), source="s.toml"))
    assert far.variants[0].field_focal_mm == pytest.approx(18 / np.tan(np.radians(42)))


def test_a_narrow_field_stated_close_up_alone_does_not_narrow_the_field_at_infinity():
    rows = "[[lens.state]]\nfocus_mm = 500\nhalf_field_deg = 30"
    far, close = states_of(parse_scene(SCENE.format(length=160, pupil=40, focus=500, rows=rows, more=""), source="s.toml"))
    assert far.variants[0].field_focal_mm == pytest.approx(25.0)
    assert close.variants[0].field_focal_mm == pytest.approx(18 / np.tan(np.radians(30)))


def lens_at_close_focus(rows=""):
    return states_of(parse_scene(SCENE.format(length=160, pupil=40, focus=500, rows=rows, more=""), source="s.toml"))[1]


@pytest.mark.parametrize("projection", ["rectilinear", "equidistant"])
@pytest.mark.parametrize("distortion", [[0.0, 0.0], [0.08, 0.0], [-0.1, 0.02]])
def test_a_stated_half_field_is_what_the_edge_of_the_width_sees_whatever_the_distortion(projection, distortion):
    # the key is defined as the half field measured there, distortion and all, so the chief ray leaves at exactly that angle
    rows = f"projection = '{projection}'\ndistortion = {distortion}\n[[lens.state]]\nfocus_mm = 500\nhalf_field_deg = 38"
    lens = close_state(160.0, 40.0, 500, rows=rows).variants[0]
    pencils = pencils_for(lens, np.array([[18.0, 0.0], [-18.0, 0.0]]))
    edge = np.tan(np.radians(38))
    assert pencils.slope[:, 0] == pytest.approx([-edge, edge])  # frame x: to the operator's left


def test_a_lens_with_two_pupils_says_how_much_wider_it_sees_across_and_upright():
    # m = 1/11, object plane 3600/11 from the sensor; the pupil across stands 50 nearer to it than the
    # upright one: an object point X off the axis is seen from there at X / (L - 50) instead of X / L.
    upright = 160.0 - 300 / 11 - 100
    close = close_state(160.0, f"{{ horizontal = {upright}, vertical = {upright + 50} }}", 3600 / 11)
    m_l = (3600 / 11 - 160 + upright + 50) / 11
    assert close.field_guess_percent[1] == pytest.approx(100 * (25 / m_l - 1))
    length = 11 * m_l
    assert close.field_guess_percent[0] == pytest.approx(100 * (25 / m_l * length / (length - 50) - 1))
    far = close_state(160.0, f"{{ horizontal = {upright}, vertical = {upright} }}", 3600 / 11)
    assert far.field_guess_percent[0] == pytest.approx(far.field_guess_percent[1])


@pytest.mark.parametrize(
    ("percent", "words"),
    [
        ((8.6, 0.04), "across 9 % wider, upright as wide as at infinity"),
        ((0.3, -4.2), "across as wide, upright 4 % narrower than at infinity"),
        ((-0.2, 0.1), "as wide as at infinity"),
        ((12.0, 12.3), "12 % wider than at infinity"),
    ],
)
def test_both_ways_are_told_where_they_differ_and_nought_is_neither_wider_nor_narrower(percent, words):
    assert field_words("900 mm", percent) == f"field at 900 mm: a guess, {words}; half_field_deg replaces it"


ANAMORPHIC = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[lens]]
name = "50"
focal_mm = 50
f_number = 2.8
squeeze = 2
front_diameter_mm = 114
front_to_sensor_mm = 200
pupil_behind_front_mm = {{ horizontal = 40, vertical = 120 }}
confirmed = ["half_field_deg"]
[[lens.state]]
focus_mm = 500
half_field_deg = {field}
[box]
[check]
focus_mm = [500]
"""


def object_half_mm(field):
    """Half width and half height of what the picture shows in the object plane, 500 - 200 = 300 mm ahead of the front."""
    (plan,) = states_of(parse_scene(ANAMORPHIC.format(field=field), source="s.toml"))
    pencils = pencils_for(plan.variants[0], np.array([[18.0, 0.0], [0.0, 12.0]]))
    at = pencils.at_plane_mm(np.zeros((2, 1, 2)), 300.0)[:, 0]
    return abs(at[0, 0]), abs(at[1, 1])


def test_the_half_field_of_an_anamorphic_lens_is_seen_from_its_horizontal_pupil():
    # 36 deg from the pupil 40 behind the front, 340 from the object plane; upright half as much per mm of picture, by the squeeze
    across, upright = object_half_mm(36)
    assert across == pytest.approx(340 * np.tan(np.radians(36)))
    assert upright == pytest.approx(across / 2 * 12 / 18)


def test_both_half_fields_of_an_anamorphic_lens_are_each_seen_from_their_own_pupil():
    across, upright = object_half_mm("{ horizontal = 36, vertical = 14 }")
    assert across == pytest.approx(340 * np.tan(np.radians(36)))
    assert upright == pytest.approx(420 * np.tan(np.radians(14)))


def test_a_table_of_half_fields_gives_both():
    with pytest.raises(SceneError, match="must give both horizontal and vertical, vertical is missing"):
        object_half_mm("{ horizontal = 36 }")
