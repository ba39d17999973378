"""Projections, distortion and squeeze against closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.errors import GeometryError
from raytrace.optics.projection import (
    PROJECTIONS,
    check_distortion,
    distort_radius,
    distortion_fold,
    field_angle_rad,
    image_radius_mm,
    picture_point,
    slopes,
    undistort_radius,
)

# Standard projection formulas (Ray, Applied Photographic Optics; from memory), evaluated in plain numpy for f = 15 mm.
RADII_F15 = {
    "rectilinear": {10: 2.644904711, 30: 8.660254038, 60: 25.980762114, 90: np.inf},
    "equidistant": {10: 2.617993878, 30: 7.853981634, 60: 15.707963268, 90: 23.561944902},
    "equisolid": {10: 2.614672282, 30: 7.764571353, 60: 15.0, 90: 21.213203436},
    "stereographic": {10: 2.624659906, 30: 8.038475773, 60: 17.320508076, 90: 30.0},
    "orthographic": {10: 2.604722665, 30: 7.5, 60: 12.990381057, 90: 15.0},
}
ANGLES_F15 = {
    "rectilinear": (33.69006753, 50.19442891),
    "equidistant": (38.19718634, 68.75493542),
    "equisolid": (38.94244127, 73.73979529),
    "stereographic": (36.86989765, 61.92751306),
    "orthographic": (41.81031490, None),
}


@pytest.mark.parametrize("projection", PROJECTIONS)
def test_image_radius_of_each_projection(projection):
    table = RADII_F15[projection]
    found = image_radius_mm(np.radians(list(table)), 15.0, projection)
    np.testing.assert_allclose(found, list(table.values()), atol=5e-10)


@pytest.mark.parametrize("projection", PROJECTIONS)
def test_field_angle_of_each_projection(projection):
    theta, reached = field_angle_rad([10.0, 18.0], 15.0, projection)
    for angle, is_reached, expected in zip(np.degrees(theta), reached, ANGLES_F15[projection], strict=True):
        assert is_reached == (expected is not None)
        assert expected is None or angle == pytest.approx(expected, abs=5e-9)


def test_distortion_of_the_half_diagonal_polynomial():
    # r (1 + k1 r^2 + k2 r^4) by hand: 0.5 (1 - 0.0125 + 0.000625), 1 - 0.05 + 0.01, 1 + 0.03
    assert distort_radius(0.5, (-0.05, 0.01)) == pytest.approx(0.4940625, abs=1e-15)
    assert distort_radius(1.0, (-0.05, 0.01)) == pytest.approx(0.96, abs=1e-15)
    assert distort_radius(1.0, (0.03, 0.0)) == pytest.approx(1.03, abs=1e-15)


@given(k1=st.floats(-0.25, 0.4), k2=st.floats(-0.03, 0.1), r=st.floats(0.0, 1.0))
def test_distortion_round_trips(k1, k2, r):
    found = undistort_radius(distort_radius([r, 1.0], (k1, k2)), (k1, k2))
    np.testing.assert_allclose(found, [r, 1.0], atol=1e-12)


def test_distortion_that_folds_the_picture_is_refused_in_one_sentence():
    # slope 1 + 3 k1 r^2 = 0 at r^2 = 1/1.5; there r (1 - 0.5/1.5) = 0.5443
    with pytest.raises(GeometryError) as caught:
        check_distortion((-0.5, 0.0))
    assert str(caught.value) == (
        "distortion = [-0.5, 0]: the distorted radius must keep growing out to 1 half diagonals of the format, "
        "but it turns back at 0.5443; use coefficients fitted with r = 1 at the half diagonal"
    )


def test_fold_of_a_distortion_with_both_coefficients():
    # 1 - 1.5 u + 0.5 u^2 = (1 - u)(1 - u/2): turns back at r = 1, where r (1 - 0.5 + 0.1) = 0.6
    assert distortion_fold((-0.5, 0.1)) == (pytest.approx(1.0), pytest.approx(0.6))
    assert distortion_fold((-0.5, 0.12)) == (np.inf, np.inf)  # 2.25 - 2.4 under the root: no turn


def test_squeeze_widens_the_horizontal_slope_only():
    found = slopes(10.0, -4.0, "rectilinear", 50.0, squeeze=2.0)
    assert (found.tan_right, found.tan_up) == (pytest.approx(0.4), pytest.approx(-0.08))


@pytest.mark.parametrize(
    ("focal", "squeeze", "width", "height", "horizontal", "vertical"),
    [  # 2 atan(S w / 2 f) and 2 atan(h / 2 f), plain trigonometry
        (50, 2, 21.95, 18.60, 47.40294861, 21.07321589),
        (40, 1.8, 36, 24, 78.01494510, 33.39848847),
        (75, 1.33, 24.89, 13.9, 24.89038977, 10.58857846),
    ],
)
def test_full_fields_of_squeezed_lenses(focal, squeeze, width, height, horizontal, vertical):
    corner = slopes(width / 2, height / 2, "rectilinear", focal, squeeze)
    assert np.degrees(2 * np.arctan(corner.tan_right)) == pytest.approx(horizontal, abs=5e-9)
    assert np.degrees(2 * np.arctan(corner.tan_up)) == pytest.approx(vertical, abs=5e-9)


def test_fields_no_slope_can_hold_are_marked_and_finite():
    found = slopes([0.0, 14.9, 15.1, 40.0], 0.0, "orthographic", 15.0)
    assert found.valid.tolist() == [True, True, False, False]  # asin(14.9/15) = 83.4 deg; beyond f no ray
    assert np.isfinite(found.tan_right).all()


def test_equidistant_field_beyond_89_deg_is_marked():
    at = 10.0 * np.radians([88.9, 89.1, 95.0])
    assert slopes(at, 0.0, "equidistant", 10.0).valid.tolist() == [True, False, False]


@given(
    x=st.floats(-18, 18),
    y=st.floats(-12, 12),
    projection=st.sampled_from(PROJECTIONS),
    squeeze=st.sampled_from([1.0, 1.33, 2.0]),
)
def test_picture_points_round_trip_through_slopes(x, y, projection, squeeze):
    how = {"distortion": (-0.06, 0.01), "half_diagonal_mm": 21.6}
    found = slopes(x, y, projection, 60.0, squeeze, **how)
    back = picture_point(found.tan_right, found.tan_up, projection, 60.0, squeeze, **how)
    np.testing.assert_allclose(back, [x, y], atol=1e-9)


def test_barrel_distortion_makes_a_corner_look_further_out():
    plain = slopes(18.0, 12.0, "rectilinear", 24.0)
    barrel = slopes(18.0, 12.0, "rectilinear", 24.0, distortion=(-0.05, 0.0), half_diagonal_mm=21.63)
    assert barrel.tan_right > plain.tan_right * 1.04  # 5 % less radius at the corner: at least as much more slope
