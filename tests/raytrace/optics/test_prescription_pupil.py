"""Entrance pupils of published lenses against three other programs, and outlines against plain geometry."""

import json
from pathlib import Path

import numpy as np
import pytest

from geometry.errors import GeometryError
from raytrace.optics.chief_rays import largest_field_rad
from raytrace.optics.prescription import Prescription, Surface, first_order, trace
from raytrace.optics.prescription_pupil import pupil_outline, pupil_table, stop_semi_diameter_mm

TABLES = json.loads((Path(__file__).parents[2] / "data" / "published_prescriptions.json").read_text("utf-8"))


def published(name, scale=1.0):
    surfaces = tuple(
        Surface(
            radius_mm=np.inf if row["R"] is None else row["R"],
            thickness_mm=row["t"],
            index=row["nd"],
            semi_diameter_mm=row["semi_diameter"] or np.inf,
        )
        for row in TABLES[name]["rows"]
    )
    return Prescription(surfaces, TABLES[name]["stop_row_1based"] - 1, TABLES[name]["source"]).scaled(scale)


GAUSS = published("US4448497_ex1_double_gauss_f1.4", 0.5)
RETROFOCUS = published("US4099850_retrofocus_f3.5", 0.28)
SYMMETRIC = published("US583336_ex2_double_gauss_f4.5")
TRIPLET = published("triplet_rayoptics_docs")
WIDE = published("reverse_telephoto_60deg")

# An independent tracer; z_c agrees with optiland 0.6.3 and rayoptics 0.9.8 (robust aiming) to 1e-6, areas with optiland.
# field, y0, z_c, z_T, y_T, m_T, m_S, upper and lower stop edge ray at V1, area with rims, area of the stop alone
GAUSS_ROWS = [  # US 4,448,497 ex. 1 x 0.5
    (0, 0, 24.977674, 24.977674, 0, 1.428366, 1.428366, 17.964734, -17.964734, 1.00000, 1.01201),
    (5, -2.195426, 25.093834, 25.328116, 0.020497, 1.426324, 1.429497, 16.009335, -20.006148, 0.94524, 1.01164),
    (10, -4.489653, 25.462086, 26.465329, 0.176899, 1.420490, 1.432952, 14.016760, -22.254834, 0.86278, 1.01045),
    (15, -7.007256, 26.151435, 28.705287, 0.684302, 1.411994, 1.438966, 11.828630, -24.875631, 0.73415, 1.00855),
    (20, -9.944018, 27.320964, 32.865180, 2.017929, 1.404092, 1.448103, 9.238159, -28.171197, 0.55017, 1.00806),
    (23, -12.052930, 28.394923, 37.138040, 3.711233, 1.403472, 1.455621, 7.388094, -30.740787, 0.41670, 1.01214),
]
RETROFOCUS_ROWS = [  # US 4,099,850 x 0.28
    (0, 0, 21.062049, 21.062049, 0, 0.679604, 0.679604, 4.001859, -4.001859, 1, 1),
    (10, -3.719481, 21.094223, 21.162535, 0.012045, 0.681433, 0.683653, 0.305895, -7.843501, 1.00864, 1.00864),
    (20, -7.725780, 21.226405, 21.625854, 0.145388, 0.689526, 0.696495, -3.516499, -12.160963, 1.03931, 1.03993),
    (30, -12.476987, 21.610775, 23.162443, 0.895856, 0.715039, 0.720750, -7.829426, -17.568596, 0.90784, 1.11713),
    (35, -15.425785, 22.030304, 25.004514, 2.082564, 0.744422, 0.739092, -10.378838, -21.118491, 0.58248, 1.19478),
    (37.7, -17.300108, 22.383725, 26.661034, 3.305881, 0.770111, 0.751519, -11.945582, -23.470141, 0.34222, 1.25920),
]


@pytest.mark.parametrize(("lens", "rows"), [(GAUSS, GAUSS_ROWS), (RETROFOCUS, RETROFOCUS_ROWS)])
def test_entrance_pupils_agree_with_three_programs(lens, rows):
    field, *columns = np.array(rows).T
    found = pupil_table(lens, None, np.radians(field), n_angles=512)
    names = ("chief_mm", "crossing_mm", "tangential_mm", "tangential_height_mm", "tangential_scale", "sagittal_scale")
    for name, expected in zip(names, columns, strict=False):
        np.testing.assert_allclose(getattr(found, name), expected, atol=6e-7, err_msg=name)
    np.testing.assert_allclose(found.stop_edge_mm.T, columns[6:8], atol=6e-7)
    np.testing.assert_allclose(found.relative_area, columns[8], atol=5e-4)  # a 2400 x 2400 grid of rays, good to that
    np.testing.assert_allclose(found.relative_stop_area, columns[9], atol=5e-4)


def test_symmetric_double_gauss_agrees_with_three_programs():
    # US 583,336 ex. 2 at 10, 17 and 24 deg; same programs
    found = pupil_table(SYMMETRIC, None, np.radians([10, 17, 24]), n_angles=512)
    np.testing.assert_allclose(found.crossing_mm, [7.859263, 8.011611, 8.302079], atol=6e-7)
    np.testing.assert_allclose(found.tangential_mm, [8.004167, 8.489819, 9.492370], atol=6e-7)
    np.testing.assert_allclose(found.tangential_scale, [1.280670, 1.261637, 1.233979], atol=6e-7)
    np.testing.assert_allclose(found.sagittal_scale, [1.294083, 1.300093, 1.309541], atol=6e-7)
    np.testing.assert_allclose(found.relative_area, [0.97883, 0.84774, 0.59216], atol=5e-4)
    np.testing.assert_allclose(found.relative_stop_area, [0.99531, 0.98605, 0.97026], atol=5e-4)


def test_pupil_of_a_wide_reverse_telephoto_moves_back():
    # optiland 0.6.3 sample lens: z_c / EFL at 10, 20, 30 deg
    found = pupil_table(WIDE, 4.0, np.radians([10, 20, 30])).crossing_mm / first_order(WIDE).focal_mm
    np.testing.assert_allclose(found, [0.6734455, 0.6760002, 0.6820141], atol=6e-8)


@pytest.mark.parametrize(
    ("lens", "ahead_mm", "field_deg", "expected"),
    [
        (GAUSS, 100, 20, 64.568220),
        (GAUSS, 100, 23, 73.188269),
        (RETROFOCUS, 80, 30, 63.756618),
        (RETROFOCUS, 80, 35, 77.135094),
    ],
)
def test_real_rays_need_the_opening_that_an_independent_tracer_found(lens, ahead_mm, field_deg, expected):
    # stop-edge rays of the same patents, no rims, at a plane ahead of V1; the object lies at negative y
    low = pupil_outline(lens, None, np.radians(field_deg)).stop_edge_mm[1]
    assert -(low - ahead_mm * np.tan(np.radians(field_deg))) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("lens", "f_number", "field_deg"), [(GAUSS, 1.41, 15), (RETROFOCUS, 3.5, 33), (TRIPLET, 4.0, 18), (GAUSS, 4.0, 22)]
)
def test_area_of_an_outline_agrees_with_counted_rays(lens, f_number, field_deg):
    outline = pupil_outline(lens, f_number, np.radians(field_deg), n_angles=256)
    side = 1.05 * outline.radii_mm.max()
    grid = side * (2 * (np.arange(500) + 0.5) / 500 - 1)
    x, y = (g.ravel() for g in np.meshgrid(grid, grid))
    origin = np.stack([x, y + outline.centre_mm[1], np.zeros_like(x)], axis=1)
    t = np.radians(field_deg)
    rays = trace(lens, origin, np.tile([0.0, np.sin(t), np.cos(t)], (len(x), 1)))
    stop = np.hypot(*rays.stop_point.T) / stop_semi_diameter_mm(lens, f_number)
    passed = ~rays.failed & (stop <= 1) & (rays.rim_share <= 1)
    counted = passed.mean() * (2 * side) ** 2
    assert np.pi * np.mean(outline.radii_mm**2) == pytest.approx(counted, rel=2e-3)


def test_light_that_glass_reflects_totally_is_outside_the_outline():
    t, f_number = np.radians(20.0), 0.7  # a stop far wider than this lens without known rims can fill
    outline = pupil_outline(WIDE, f_number, t)
    spokes = (outline.points_mm - outline.centre_mm)[:, None, :] * np.linspace(0.02, 0.999, 50)[:, None]
    across = (outline.centre_mm + spokes).reshape(-1, 2)
    origin = np.column_stack([across, np.zeros(len(across))])
    assert not trace(WIDE, origin, np.tile([0.0, np.sin(t), np.cos(t)], (len(origin), 1))).failed.any()


@pytest.mark.parametrize("n_angles", [64, 63])
def test_outlines_are_the_same_left_and_right(n_angles):
    points = pupil_outline(GAUSS, 2.0, np.radians(17.0), n_angles=n_angles).points_mm
    mirrored = points * [-1, 1]
    if n_angles == 64:  # spokes come in mirrored pairs
        np.testing.assert_allclose(np.sort(points[:, 1]), np.sort(mirrored[:, 1]), atol=1e-7)
        np.testing.assert_allclose(points[32], mirrored[0], atol=1e-7)
    assert np.ptp(points[:, 0]) == pytest.approx(2 * points[:, 0].max(), rel=2e-3)


def test_the_object_side_of_the_pupil_is_cut_by_the_rear_and_the_far_side_by_the_front():
    # cat's eye: with the object at negative y, the lower edge of the beam at V1 meets the front rim
    clear = pupil_outline(GAUSS, 1.41, np.radians(20.0))
    points, stop = clear.points_mm, clear.stop_edge_mm
    assert points[:, 1].min() > stop[1] + 1.0
    assert (clear.radii_mm <= clear.stop_radii_mm + 1e-6).all()


def test_f_number_sets_the_paraxial_pupil():
    # EPD = EFL / N: 49.899990782 / 8 / 2 / 1.428366 on the stop
    assert stop_semi_diameter_mm(GAUSS, 8.0) * 1.428366462552 == pytest.approx(49.899990782 / 16, abs=1e-9)
    assert stop_semi_diameter_mm(GAUSS, None) == pytest.approx(12.4)


def test_a_small_stop_is_cut_by_no_rim():
    found = pupil_table(RETROFOCUS, 16.0, np.radians([0, 20, 30]))
    np.testing.assert_allclose(found.relative_area, found.relative_stop_area, rtol=1e-7)
    assert found.axial_radius_mm == pytest.approx(28.001232564 / 32, rel=2e-3)  # pupil aberration: 1e-3


def bare_stop(z_p, rho):
    """A stop of radius rho, z_p behind an empty V1 plane, and a lens behind it that the entering light does not see."""
    flat = Surface(radius_mm=np.inf, thickness_mm=z_p, index=1.0)
    stop = Surface(radius_mm=np.inf, thickness_mm=1.0, index=1.0, semi_diameter_mm=rho)
    glass = Surface(radius_mm=60.0, thickness_mm=5.0, index=1.5), Surface(radius_mm=-60.0, thickness_mm=0.0, index=1.0)
    return Prescription((flat, stop, *glass), 1)


@pytest.mark.parametrize(("distance", "height", "clear"), [(2000, 500, 47.38), (1000, 300, 53.76)])
def test_light_from_a_near_point_converges_on_a_bare_stop(distance, height, clear):
    # similar triangles, z_p 25, rho 12, plane 120 ahead of V1: y d / s + rho (1 - d / s), d = 145
    found = pupil_outline(bare_stop(25.0, 12.0), None, np.arctan2(height, distance), distance - 25.0)
    assert found.centre_mm[1] == pytest.approx(-height * 25 / distance, abs=1e-7)
    np.testing.assert_allclose(found.radii_mm, 12 * (1 - 25 / distance), atol=1e-7)
    lower = found.centre_mm[1] - found.radii_mm[48]
    share = 120 / (distance - 25)
    assert -(lower + share * (-height - lower)) == pytest.approx(clear, abs=1e-6)


def test_a_bare_stop_has_a_pupil_that_does_not_walk():
    found = pupil_table(bare_stop(25.0, 12.0), None, np.radians([0, 30, 60]))
    np.testing.assert_allclose(found.crossing_mm, 25.0, atol=1e-9)
    np.testing.assert_allclose(found.tangential_mm, 25.0, atol=1e-8)
    np.testing.assert_allclose(found.tangential_scale, np.cos(np.radians([0, 30, 60])), atol=1e-9)
    np.testing.assert_allclose(found.sagittal_scale, 1.0, atol=1e-9)


def test_a_far_point_is_almost_infinity():
    far, near = (pupil_outline(RETROFOCUS, 3.5, np.radians(25.0), d) for d in (np.inf, 1e7))
    np.testing.assert_allclose(far.points_mm, near.points_mm, atol=1e-4)
    assert near.chief_rad == pytest.approx(far.chief_rad, abs=1e-6)


def test_rims_that_stop_everything_leave_an_empty_outline():
    front = Surface(radius_mm=np.inf, thickness_mm=50.0, index=1.0, semi_diameter_mm=10.0)
    lens = bare_stop(25.0, 2.0)
    lens = Prescription((front, *lens.surfaces), 2)  # at 45 deg the beam crosses the front plane 75 mm off the axis
    found = pupil_outline(lens, None, np.radians(45.0))
    assert not found.radii_mm.any()
    assert found.relative_area == 0.0
    assert np.isfinite(found.centre_mm).all()


def test_fields_the_glass_cannot_see_are_refused_in_one_sentence():
    limit = np.degrees(largest_field_rad(GAUSS))
    with pytest.raises(GeometryError) as caught:
        pupil_outline(GAUSS, 2.0, np.radians(60.0))
    assert str(caught.value) == (
        f"prescription: fields must lie between 0 and {limit:.4g} deg, beyond which no ray reaches the centre of the "
        "stop, got 60; use a smaller picture or check the table"
    )


def test_a_stop_of_unknown_size_needs_an_f_number():
    with pytest.raises(GeometryError, match="so an f-number must be given"):
        pupil_outline(WIDE, None, 0.1)
