"""The picture of traced lenses against a ray trace of its own (`snell`), optiland's, and published numbers."""

import json
from pathlib import Path

import numpy as np
import pytest

from geometry.errors import GeometryError
from raytrace.optics.prescription import Prescription, Surface, first_order
from raytrace.optics.traced_picture import focus_of, point_through, slopes_through, traced_picture
from tests.raytrace.optics import snell

DATA = Path(__file__).parents[2] / "data"
TABLES = {
    **json.loads((DATA / "published_prescriptions.json").read_text("utf-8")),
    **json.loads((DATA / "published_wide_lenses.json").read_text("utf-8")),
}
GAUSS, RETROFOCUS = ("US4448497_ex1_double_gauss_f1.4", 0.5), ("US4099850_retrofocus_f3.5", 0.28)


def published(name, scale=1.0):
    surfaces = tuple(
        Surface(
            radius_mm=row["R"] or np.inf,
            thickness_mm=row["t"],
            index=row["nd"],
            semi_diameter_mm=row["semi_diameter"] or np.inf,
        )
        for row in TABLES[name]["rows"]
    )
    return Prescription(surfaces, TABLES[name]["stop_row_1based"] - 1).scaled(scale)


def picture_at(name, scale, focus_mm):
    lens = published(name, scale)
    return traced_picture(lens, focus_of(lens, focus_mm))


# M. Laikin, Lens Design, 4th ed. (2007), p. 108 and 114: image height over focal length of real chief rays at the paraxial focus,
# traced by optiland 0.6.3 (its samples, with the glasses' nd and robust aiming; it hits the stop's centre to 2e-6 of it).
@pytest.mark.parametrize(
    ("name", "fields_deg", "heights"),
    [
        ("laikin_100_deg", [10, 20, 35, 50], [0.173932948, 0.344297431, 0.585760911, 0.801413532]),
        ("laikin_170_deg", [10, 30, 60, 80, 85], [0.174016679, 0.510024403, 0.945565414, 1.161690706, 1.202511757]),
    ],
)
def test_wide_lenses_picture_fields_where_another_program_does(name, fields_deg, heights):
    picture, focal_mm = picture_at(name, 1.0, np.inf), first_order(published(name)).focal_mm
    np.testing.assert_allclose(picture.radius_at(np.radians(fields_deg)) / focal_mm, heights, rtol=1.2e-7)
    assert np.degrees(picture.field_at(np.array(heights) * focal_mm)) == pytest.approx(fields_deg, abs=3e-5)


# Distortion at 18 mm, +2.00 % and +1.25 % of the tangent: real chief rays through the same tables by a separate script.
@pytest.mark.parametrize(("lens", "percent"), [(RETROFOCUS, 2.00), (GAUSS, 1.25)])
def test_the_tangent_of_a_published_lens_is_wider_than_f_tan_by_its_distortion(lens, percent):
    tangent = np.tan(picture_at(*lens, np.inf).field_at(18.0))
    assert 100 * (tangent * first_order(published(*lens)).focal_mm / 18.0 - 1) == pytest.approx(percent, abs=0.006)


@pytest.mark.parametrize("lens", [GAUSS, RETROFOCUS])
@pytest.mark.parametrize("focus_mm", [np.inf, 1200.0, 450.0, 260.0])
@pytest.mark.parametrize("height_mm", [3.0, 18.0, 21.6])
def test_picture_points_look_where_vectors_bent_by_snell_do(lens, focus_mm, height_mm):
    table = snell.patent(*lens)
    object_z = snell.object_for(table, focus_mm)
    point, way = snell.chief_to(table, height_mm, snell.image_of(table, object_z))
    pupil_z = -first_order(published(*lens)).entrance_pupil_mm  # agreed with three programs in test_prescription
    away = way if np.isinf(object_z) else snell.at(point[None], way[None], object_z)[0] - [0, 0, pupil_z]
    expected = np.degrees(np.arctan2(np.hypot(away[0], away[1]), away[2]))
    assert np.degrees(picture_at(*lens, focus_mm).field_at(height_mm)) == pytest.approx(expected, abs=2e-5)


# F = 18 mm / tan(field) by the same script, the whole lens moved to focus; it does not tell from where the field is seen, the
# paraxial pupil or the crossing of the real chief ray: half a percent.
@pytest.mark.parametrize(
    ("lens", "focus_mm", "field_focal_mm"),
    [(RETROFOCUS, 300.0, 29.26), (RETROFOCUS, 250.0, 29.83), (GAUSS, 400.0, 55.38), (GAUSS, 300.0, 58.62)],
)
def test_close_focus_narrows_the_field_as_published_lenses_do(lens, focus_mm, field_focal_mm):
    assert 18.0 / np.tan(picture_at(*lens, focus_mm).field_at(18.0)) == pytest.approx(field_focal_mm, rel=1e-2)


@pytest.mark.parametrize("lens", [GAUSS, RETROFOCUS])
def test_a_lens_is_moved_until_its_paraxial_image_is_sharp(lens):
    table, prescription = snell.patent(*lens), published(*lens)
    for focus_mm in (300.0, 700.0, 5000.0):
        focus = focus_of(prescription, focus_mm)
        assert focus.object_mm == pytest.approx(snell.object_for(table, focus_mm), abs=1e-4)
        assert table.vertices[-1] - focus.image_mm == pytest.approx(snell.image_of(table, focus.object_mm), abs=1e-4)
        assert focus.object_mm + focus.image_mm - table.vertices[-1] == pytest.approx(focus_mm, abs=1e-9)


def test_a_focus_nearer_than_a_moved_lens_images_is_refused():
    # 4 f + HH' with f 28.0012 and HH' +23.7 of the patent's lens
    with pytest.raises(GeometryError, match=r"no image nearer than 135\.\d+ mm"):
        focus_of(published(*RETROFOCUS), 130.0)


def test_brightness_is_solid_angle_by_picture_area():
    picture = picture_at(*GAUSS, np.inf)
    radius = np.array([5.0, 17.999, 18.001])
    field = picture.field_at(radius)
    ring = (np.cos(field[1]) - np.cos(field[2])) / (radius[2] ** 2 - radius[1] ** 2) * 2  # of the sphere by that of the picture
    assert picture.brightness_at(picture.field_at(18.0)) == pytest.approx(
        ring * first_order(published(*GAUSS)).focal_mm ** 2, rel=1e-4
    )


def test_beyond_the_picture_of_a_lens_nothing_is_valid():
    picture = picture_at("laikin_170_deg", 40.0, np.inf)
    assert picture.ends == "steep"
    assert np.degrees(picture.end_rad) == pytest.approx(89.0, abs=1e-3)
    field = slopes_through(picture, [0.0, 0.8 * picture.end_mm, 0.0, 1.01 * picture.end_mm], [0.0, 0.0, -picture.end_mm, 0.0])
    assert field.valid.tolist() == [True, True, True, False]
    assert np.isfinite(field.tan_right).all()


def test_a_picture_that_folds_ends_where_it_turns_back():
    # a reverse telephoto without rims: chief rays that leave the stop steeper land nearer to the axis again
    picture = picture_at("reverse_telephoto_60deg", 14.0, np.inf)
    table = snell.patent("reverse_telephoto_60deg", 14.0)
    with np.errstate(invalid="ignore"):
        heights = snell.chief(table, np.tan(np.radians(np.linspace(0, 60, 6001))), snell.image_of(table, np.inf))[0]
    turn = int(np.argmax(np.diff(heights) < 0))
    assert picture.ends == "fold"
    assert picture.end_mm == pytest.approx(heights[turn], abs=1e-3)
    assert np.nanmin(heights[turn:]) < 0.5 * picture.end_mm
    assert picture.back_again_mm < 0.5 * picture.end_mm
    assert not picture.rims_known
    assert (np.diff(picture.radius_mm) > 0).all()
    assert (np.diff(picture.field_rad) > 0).all()


def test_picture_points_and_slopes_are_each_others_inverse():
    picture = picture_at("laikin_100_deg", 20.0, np.inf)
    x, y = np.array([0.0, 3.0, -11.0]), np.array([0.0, 4.0, 7.0])
    field = slopes_through(picture, x, y)
    back = point_through(picture, field.tan_right, field.tan_up)
    np.testing.assert_allclose(np.array(back), [x, y], atol=2e-5)
    assert point_through(picture, 0.0, 1e4)[1] > picture.end_mm
