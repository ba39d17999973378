"""Lenses given as tables, from scene to verdict, against a ray trace of its own (tests/raytrace/optics/snell.py).

Tables: US Patents 4,448,497 and 4,099,850; M. Laikin, Lens Design, 4th ed. (2007), p. 108 and 114.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from geometry.errors import GeometryError
from geometry.notes import Severity
from raytrace.ghosts.paths import picture_mm
from raytrace.optics.prescription import Prescription, Surface, first_order
from scenes.questions.widest.lens_family import Measures, assumed, family_of
from scenes.runtime.engines import engine_of
from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.resources import GlassTable, Resources
from scenes.states.clear_rule import Word
from scenes.states.full_range import range_plans
from scenes.states.load import Loaded
from scenes.states.state import pixel_grid, states_of
from scenes.verdicts.check import run_check
from tests.raytrace.optics import snell

WIDE = json.loads((Path(__file__).parents[2] / "data" / "published_wide_lenses.json").read_text("utf-8"))
GAUSS = snell.patent("US4448497_ex1_double_gauss_f1.4", 0.5)
RETROFOCUS = snell.patent("US4099850_retrofocus_f3.5", 0.28)
VERTEX_MM = 4.0

SCENE = """
brimline = 1
[camera]
width_mm = {width}
height_mm = {height}
pixels = [600, 400]
[[lens]]
name = "a"
focal_mm = {focal}
f_number = {stop}
front_diameter_mm = 120
front_to_sensor_mm = {length}
prescription = "a.toml"
{lens}
[box]
mount = "clamp"
{box}
[check]
focus_mm = [{focus}]
"""
MASK = "[[box.mask]]\nat_mm = {}\nthickness_mm = {}\nopening_mm = [{}, {}]"
BEHIND = "ahead_mm = -40\nback = { width_mm = 200, height_mm = 200, thickness_mm = 4, bore_mm = 150 }"


def wide(name, focal_mm):
    """A published wide lens at a focal length, as a Table of `snell`: it gives no rims."""
    rows = tuple(((row["R"] or 0.0), row["t"], row["nd"], np.inf) for row in WIDE[name]["rows"])
    table = snell.Table(rows, WIDE[name]["stop_row_1based"] - 1)
    share = focal_mm / first_order(prescription(table)).focal_mm
    return snell.Table(tuple((r * share, t * share, n, rim) for r, t, n, rim in rows), table.stop)


def prescription(table):
    surfaces = (Surface(radius_mm=r or np.inf, thickness_mm=t, index=n, semi_diameter_mm=rim) for r, t, n, rim in table.rows)
    return Prescription(tuple(surfaces), table.stop)


def scene_of(table, *, stop, box, focus='"infinity"', width=36, height=24, lens="", vertex=VERTEX_MM, **changed):
    own = prescription(table)
    length = vertex - table.vertices[-1] + first_order(own).back_focus_mm
    values = {"focal": first_order(own).focal_mm, "length": length, **changed}
    text = SCENE.format(stop=stop, box=box, focus=focus, width=width, height=height, lens=lens, **values)
    glass = GlassTable(prescription=own, vertex_behind_front_mm=vertex)
    return parse_scene(text, source="s.toml"), Resources(prescriptions={"a.toml": glass})


def plan_of(table, **scene):
    return next(iter(states_of(*scene_of(table, **scene))))


def checked(plan):
    (state,) = run_check([plan], engine_of("coverage"), columns=48).states
    return state


def lost_share(plan, picture_mm):
    (lens,) = plan.variants
    shares = engine_of("coverage").shares(lens, np.array([picture_mm], dtype=np.float64), plan.box, seed=1, fine=True)
    return 1.0 - float(shares.clear_share[0])


@pytest.mark.parametrize("picture", [(18.0, 0.0), (-18.0, 12.0)])
@pytest.mark.parametrize(
    ("table", "stop", "focus", "mask"),
    [
        (GAUSS, 2.8, 450, (99, 1, 95.2, 74)),
        (GAUSS, 2.0, '"infinity"', (60, 1, 88, 66)),
        (RETROFOCUS, 3.5, 300, (60, 1, 100, 76)),
        (RETROFOCUS, 3.5, '"infinity"', (80, 0.5, 141, 93)),
    ],
)
def test_a_mask_takes_from_a_traced_lens_what_counted_rays_lose(table, stop, focus, mask, picture):
    plan = plan_of(table, stop=stop, box=MASK.format(*mask), focus=focus)
    at_mm, thick, wide_mm, high_mm = mask
    opening = at_mm + VERTEX_MM, thick, wide_mm / 2, high_mm / 2
    focal_mm = first_order(prescription(table)).focal_mm
    distance = np.inf if isinstance(focus, str) else focus
    counted = snell.share_lost(table, picture, distance, focal_mm / stop, opening)
    assert lost_share(plan, picture) == pytest.approx(counted, abs=0.004)


def test_the_corner_of_a_100_degree_lens_is_lost_where_f_tan_would_call_it_clear():
    # by f tan 12 mm at 15 mm look 38.7 deg off the axis, by the table 50: at 60 + 4 mm ahead of V1 24 mm farther out and more
    table = wide("laikin_100_deg", 15.0)
    plan = plan_of(table, stop=4.0, box=MASK.format(60, 0.5, 160, 106), width=20, height=13.3)
    corner = plan.guides[0].corners_mm()[1]
    assert snell.share_lost(table, corner, np.inf, 15.0 / 4.0, (64, 0.5, 80, 53)) == 1.0
    assert lost_share(plan, corner) == 1.0
    assert checked(plan).word is Word.IN_FRAME


def test_a_170_degree_lens_is_traced_to_85_degrees():
    table = wide("laikin_170_deg", 8.0)
    plan = plan_of(table, stop=1.8, box=BEHIND, width=16.0, height=10.6)
    (lens,) = plan.variants
    corner = float(np.hypot(8.0, 5.3))
    _, way = snell.chief_to(table, corner, snell.image_of(table, np.inf))
    field_deg = np.degrees(np.arctan2(np.hypot(way[0], way[1]), way[2]))
    assert 80 < field_deg < 86
    assert np.degrees(lens.picture.field_at(corner)) == pytest.approx(field_deg, abs=1e-3)
    assert not any(note.severity is Severity.FAULT for note in plan.notes)


def test_a_frame_beyond_the_picture_of_its_lens_is_never_clear():
    # nothing stands before the lens, but the corners of 36 x 24 mm lie outside the 9.85 mm that the table pictures to 89 deg
    state = checked(plan_of(wide("laikin_170_deg", 8.0), stop=1.8, box=BEHIND))
    fault = next(note for note in state.notes if note.severity is Severity.FAULT)
    assert (
        state.word is not Word.CLEAR
    )  # shading at present: light beyond 89 deg is not followed, so no part can be shown to stand clear
    assert fault.text.startswith("pictures nothing beyond 9.85 mm from the axis (89.0 deg), but a corner to be kept clear")


def test_a_frame_inside_the_picture_with_nothing_before_it_is_clear():
    state = checked(plan_of(RETROFOCUS, stop=3.5, box=BEHIND))
    assert state.word is Word.CLEAR


def test_a_focal_length_of_another_lens_is_refused_with_both_numbers():
    with pytest.raises(GeometryError) as caught:
        plan_of(GAUSS, stop=2.8, box=BEHIND, focal=25)
    assert str(caught.value) == (
        "focal_mm: must be that of the prescription, 49.9 mm, to 2 %, got 25; write focal_mm = 49.9, or multiply the file's "
        "scale by 0.501"
    )


@pytest.mark.parametrize("focal_mm", [49.0, 50.8])
def test_a_focal_length_rounded_as_engraved_is_taken(focal_mm):
    assert plan_of(GAUSS, stop=2.8, box=BEHIND, focal=focal_mm).variants[0].field_focal_mm == pytest.approx(49.9, abs=1e-4)


def test_a_half_field_that_the_table_does_not_see_is_refused():
    # the double Gauss sees 20.06 deg at 18 mm (traced above; f tan: 19.83)
    row = '[[lens.state]]\nfocus_mm = "infinity"\nhalf_field_deg = {}'
    with pytest.raises(GeometryError, match=r"half_field_deg: must be what the prescription sees .* 20\.06 deg, .* got 18;"):
        plan_of(GAUSS, stop=2.8, box=BEHIND, lens=row.format(18))
    assert plan_of(GAUSS, stop=2.8, box=BEHIND, lens=row.format(20))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"lens": 'projection = "equidistant"'}, "projection is not used"),
        ({"lens": "distortion = [-0.1, 0.0]"}, "distortion is not used"),
    ],
)
def test_what_a_table_overrules_is_said(changed, words):
    notes = plan_of(GAUSS, stop=2.8, box=BEHIND, **changed).notes
    assert [note.severity for note in notes if note.text.startswith(words)] == [Severity.CAUTION]


def test_a_lens_longer_than_its_table_may_have_its_pupil_deeper_and_is_a_fault():
    # 90 - 81.88 = 8.12 mm: that much farther ahead the front rim may stand
    notes = plan_of(GAUSS, stop=2.8, box=BEHIND, length=90).notes
    (fault,) = [note for note in notes if note.text.startswith("front_to_sensor_mm = 90 is not what its table says, 81.88 mm")]
    assert (fault.severity, fault.doubts_light) == (Severity.FAULT, True)
    assert "may lie 8.1 mm deeper in the barrel than it says" in fault.text
    confirmed = plan_of(GAUSS, stop=2.8, box=BEHIND, length=90, lens='confirmed = ["front_to_sensor_mm"]').notes
    assert [note.severity for note in confirmed if note.text.startswith("front_to_sensor_mm")] == [Severity.CAUTION]


def test_a_lens_shorter_than_its_table_may_have_a_row_too_many_and_is_a_fault():
    # a row entered twice makes a table longer, and moved its pupil so that a dark frame was called clear
    notes = plan_of(GAUSS, stop=2.8, box=BEHIND, length=75).notes
    (fault,) = [note for note in notes if note.text.startswith("front_to_sensor_mm = 75 is not what its table says, 81.88 mm")]
    assert (fault.severity, fault.doubts_light) == (Severity.FAULT, True)
    assert "a row stands twice" in fault.text


@pytest.mark.parametrize(
    ("row", "share", "fault"), [(3, 0.5, True), (3, 0.95, False), (0, 0.5, True), (9, 0.5, True), (9, 0.95, False)]
)
def test_a_rim_narrower_than_the_light_of_the_widest_stop_is_a_fault(row, share, fault):
    """The height of the edge of the light on the axis at each row, by y and nu of Kingslake & Johnson, ch. 3, added up by hand."""
    radius, thickness, index, _ = map(np.array, zip(*RETROFOCUS.rows, strict=True))
    height, angle, before, heights = 1.0, 0.0, 1.0, []
    for r, t, n in zip(radius, thickness, index, strict=True):
        heights.append(height)
        angle, before = angle - (height * (n - before) / r if r else 0.0), n
        height += t * angle / n
    focal = -1.0 / angle
    rims = [list(one) for one in RETROFOCUS.rows]
    rims[row][3] = share * abs(heights[row]) * focal / (2 * 3.5)
    table = snell.Table(tuple(map(tuple, rims)), RETROFOCUS.stop)
    found = [note for note in plan_of(table, stop=3.5, box=BEHIND).notes if "high on the axis" in note.text]
    assert [(note.severity, note.doubts_light) for note in found] == [(Severity.FAULT, True)] * fault
    assert all(note.text.startswith(f"row {row + 1} ") for note in found)


def test_the_rim_that_takes_most_off_a_corners_light_is_named_and_not_one_that_it_just_touches():
    """US Patent 4,099,850 with its first half diameter of 65 written as 56; the fourth, 40, is the patent's own."""
    rims = [list(one) for one in RETROFOCUS.rows]
    rims[0][3] *= 56 / 65
    table = snell.Table(tuple(map(tuple, rims)), RETROFOCUS.stop)
    found = [note for note in plan_of(table, stop=3.5, box=BEHIND).notes if "the middle of a corner's light" in note.text]
    assert [note.text[:32] for note in found] == ["row 1 of its table has a rim of "]


@pytest.mark.parametrize(("rim_mm", "fault"), [(65.0, False), (22.0, True)])
def test_a_first_rim_that_the_middle_of_a_corners_light_does_not_pass_is_a_fault(rim_mm, fault):
    """The patent's first two rims half as wide as the rows behind them: on the axis all the light passes, from the corners none."""
    rims = [list(one) for one in RETROFOCUS.rows]
    rims[0][3] = rims[1][3] = rim_mm * rims[0][3] / 65.0
    table = snell.Table(tuple(map(tuple, rims)), RETROFOCUS.stop)
    found = [note for note in plan_of(table, stop=3.5, box=BEHIND).notes if "the middle of a corner's light" in note.text]
    assert [(note.severity, note.doubts_light) for note in found] == [(Severity.FAULT, True)] * fault


def test_a_table_that_puts_the_pupil_ahead_of_the_front_rim_is_a_fault():
    depth_mm = first_order(prescription(RETROFOCUS)).entrance_pupil_mm  # behind the first vertex
    for ahead_mm, fault in ((-1.0, False), (1.0, True)):
        notes = plan_of(RETROFOCUS, stop=3.5, box=BEHIND, vertex=-depth_mm - ahead_mm).notes
        found = [note for note in notes if "the entrance pupil is 1.0 mm ahead of the front rim" in note.text]
        assert [(note.severity, note.doubts_light) for note in found] == [(Severity.FAULT, True)] * fault


def test_a_table_whose_first_element_stands_wholly_ahead_of_the_front_rim_is_a_fault():
    radius_mm, *_, rim_mm = RETROFOCUS.rows[0]
    bulge_mm = radius_mm - np.sqrt(radius_mm**2 - rim_mm**2)  # glass may bulge past the rim by the sagitta of its first surface
    for ahead_mm, fault in ((0.0, False), (bulge_mm, False), (bulge_mm + 8.0, True)):
        notes = plan_of(RETROFOCUS, stop=3.5, box=BEHIND, vertex=-ahead_mm).notes
        found = [note for note in notes if "the edge of its first element is 8.0 mm ahead of the front rim" in note.text]
        assert [(note.severity, note.doubts_light) for note in found] == [(Severity.FAULT, True)] * fault


def test_rims_halved_once_too_often_are_a_fault_by_the_widest_stop():
    # US Patent 4,099,850 is a lens of f/3.5; with its transcribed half diameters halved again its stop opens to twice that
    halved = snell.Table(tuple((r, t, n, rim / 2) for r, t, n, rim in RETROFOCUS.rows), RETROFOCUS.stop)
    for table, fault in ((RETROFOCUS, False), (halved, True)):
        found = [note for note in plan_of(table, stop=3.5, box=BEHIND).notes if "halved once too often" in note.text]
        assert [(note.severity, note.doubts_light) for note in found] == [(Severity.FAULT, True)] * fault


def without_stop_row(table, stop):
    """A table that has lost its stop's row: the air before it is that much longer, and `stop` (from 0) is a surface of glass."""
    rows = list(table.rows)
    radius, thickness, index, rim = rows[table.stop - 1]
    rows[table.stop - 1 : table.stop + 1] = [(radius, thickness + rows[table.stop][1], index, rim)]
    return snell.Table(tuple(rows), stop)


@pytest.mark.parametrize("beside", [-1, 0])
def test_a_table_that_has_lost_the_row_of_its_stop_is_a_fault_where_the_pupil_depends_on_it(beside):
    # US Patent 4,448,497, example 1: its stop stands in 14.5 mm of air, and with it on either side the pupil is 10 mm and more off.
    lost = without_stop_row(GAUSS, GAUSS.stop + beside)
    for table, lens, fault in (
        (GAUSS, "", False),
        (lost, "", True),
        (lost, 'confirmed = ["pupil_behind_front_mm"]', False),
    ):
        notes = plan_of(table, stop=2.0, box=BEHIND, lens=lens).notes
        found = [note for note in notes if "no row of its own for the stop" in note.text]
        assert [(note.severity, note.doubts_light) for note in found] == [(Severity.FAULT, True)] * fault


@pytest.mark.parametrize(("stop", "fault"), [(2.8, False), (14, True)])
def test_a_widest_stop_far_slower_than_the_tables_own_is_a_fault(stop, fault):
    # US Patent 4,448,497, example 1, is a lens of f/1.4; its stop as transcribed opens to f/1.3
    notes = plan_of(GAUSS, stop=stop, box=BEHIND).notes  # f/14 gets a caution besides, whatever its table
    found = [note for note in notes if "f_number" in note.text and note.severity is Severity.FAULT]
    assert [note.doubts_light for note in found] == [True] * fault
    assert all(note.text.startswith(f"f_number = {stop}, the widest stop, speaks against its table") for note in found)
    confirmed = plan_of(GAUSS, stop=stop, box=BEHIND, lens='confirmed = ["f_number"]').notes
    assert not any("f_number" in note.text for note in confirmed)


@pytest.mark.parametrize(("stop", "told"), [(1.41, False), (1.5, False), (2.0, True), (5.3, True)])
def test_a_widest_stop_slower_than_its_table_has_it_gets_a_caution(stop, told):
    # US Patent 4,448,497, example 1, is a lens of f/1.4
    notes = plan_of(GAUSS, stop=stop, box=BEHIND).notes
    found = [note for note in notes if "the stop of its table opens to f/1." in note.text]
    assert [(note.severity, note.may_be_slip) for note in found] == [(Severity.CAUTION, True)] * told
    confirmed = plan_of(GAUSS, stop=stop, box=BEHIND, lens='confirmed = ["f_number"]').notes
    assert not any("the stop of its table" in note.text for note in confirmed)


def test_close_focus_of_a_traced_lens_is_no_guess_and_says_how_it_was_focused():
    # f m = 49.9 x 0.1416
    plan = plan_of(GAUSS, stop=2.8, box=BEHIND, focus=450)
    assert plan.field_guess_percent is None
    assert any(note.text.startswith("is focused at 450 mm by moving it as a whole, 7.1 mm") for note in plan.notes)


def test_a_light_lies_in_the_picture_where_its_ray_lands():
    (lens,) = plan_of(RETROFOCUS, stop=3.5, box=BEHIND).variants
    _, way = snell.chief_to(RETROFOCUS, 15.0, snell.image_of(RETROFOCUS, np.inf))
    # the same field to the operator's left: the frame's x runs that way
    direction = np.array([np.hypot(way[0], way[1]), 0.0, way[2]])
    assert picture_mm(lens, direction) == pytest.approx([-15.0, 0.0], abs=1e-4)


def test_a_range_beyond_the_picture_of_a_lens_gets_no_mask():
    scene, resources = scene_of(wide("laikin_170_deg", 8.0), stop=1.8, box=BEHIND)
    with pytest.raises(SceneError, match="pictures nothing beyond 9"):
        range_plans(Loaded(scene=scene, resources=resources, file_name="s.toml", sha256=""), scene.lens[0])


def test_a_family_sees_as_much_wider_than_f_tan_as_the_table_of_its_lens():
    table = wide("laikin_100_deg", 15.0)
    scene, resources = scene_of(table, stop=4.0, box=BEHIND, width=20, height=13.3)
    family = family_of(scene, resources, None, Measures(), pixel_grid(scene.camera))
    _, way = snell.chief_to(table, float(np.hypot(10, 6.65)), snell.image_of(table, np.inf))
    tangent = np.hypot(way[0], way[1]) / way[2]
    assert family.field.wider == pytest.approx(tangent * 15.0 / np.hypot(10, 6.65), rel=1e-4)
    assert any(words.startswith("field: 48.") and words.endswith('as in the "a"\'s table') for words in assumed(family))


def test_light_from_beyond_a_fold_is_a_caution_where_unknown_rims_may_stop_it():
    # a reverse telephoto published without rims: its picture folds at 28.1 mm, and steeper chief rays land near the axis again
    plan = plan_of(snell.patent("reverse_telephoto_60deg", 14.0), stop=4.0, box=BEHIND)
    (note,) = [note for note in plan.notes if note.text.startswith("has a picture that folds back at 28.10 mm")]
    assert note.severity is Severity.CAUTION
    assert note.text.endswith("; the rows without semi_diameter_mm may stop it")
    assert checked(plan).word is Word.CLEAR


def test_a_measured_pupil_that_the_table_has_elsewhere_is_a_fault_until_confirmed():
    own_mm = VERTEX_MM + first_order(prescription(RETROFOCUS)).entrance_pupil_mm
    for stated_mm, told in ((own_mm + 1.0, False), (own_mm + 9.0, True), (own_mm - 9.0, True)):
        stated = f"pupil_behind_front_mm = {stated_mm:.2f}"
        notes = plan_of(RETROFOCUS, stop=3.5, box="", lens=stated).notes
        faults = [note.text for note in notes if note.severity is Severity.FAULT]
        assert [f"{own_mm:.1f} mm behind the front" in text for text in faults] == [True] * told
        assert all(stated in text for text in faults)
        confirmed = plan_of(RETROFOCUS, stop=3.5, box="", lens=f'{stated}\nconfirmed = ["pupil_behind_front_mm"]').notes
        assert not [note for note in confirmed if note.severity is Severity.FAULT]
