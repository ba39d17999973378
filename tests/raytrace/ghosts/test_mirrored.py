"""Ghost formulas and paths against worked values from the law of reflection, Fresnel's formulas and the thin-lens law."""

import numpy as np
import pytest

from geometry.frame import pose, right_up_to_frame, rotation_about_x
from raytrace.box import GlassKind
from raytrace.ghosts.mirrored import (
    centred_tilt_deg,
    double_direction,
    ghost_blur_mm,
    ghost_direction,
    near_ghost_direction,
    spreading,
)
from raytrace.ghosts.paths import Light, Mirror, Route, back_share, ghosts_of, mirrors_of, pair_share, picture_mm, pupil_mm
from raytrace.optics.fresnel import Plate, face_reflectance, loss_stops
from raytrace.optics.lens import FixedPupil, LensState
from tests.raytrace.made import BK7, plate_of_glass

AXIS = np.array([0.0, 0.0, 1.0])


def lens(focal_mm=50.0, **more):
    pupil = FixedPupil(behind_front_mm=(40.0, 40.0), half_size_mm=(9.0, 9.0))
    values = {"focus_mm": np.inf, "field_focal_mm": focal_mm, "object_z_mm": np.inf, "f_number": 2.8, "half_diagonal_mm": 21.6}
    return LensState(name="a", focal_mm=focal_mm, pupil=pupil, **(values | more))


def toward(right_mm, up_mm, focal_mm=50.0):
    """Unit direction of a picture point of a rectilinear lens."""
    x, y = right_up_to_frame([right_mm / focal_mm, up_mm / focal_mm])
    return np.array([x, y, 1.0]) / np.sqrt(x * x + y * y + 1)


def in_picture(direction, focal_mm=50.0):
    return right_up_to_frame(direction[:2] / direction[2]) * focal_mm


# Law of reflection written out as vectors, computed independently with numpy; to all digits printed.
@pytest.mark.parametrize(
    ("place", "normal_right_up", "expected"),
    [
        ((6, 4), (0, 0, 1), (-6, -4)),
        ((0, 0), (0, -np.sin(np.radians(5)), np.cos(np.radians(5))), (0, -8.816349035)),
        ((0, 6), (0, -np.sin(np.radians(5)), np.cos(np.radians(5))), (0, -15.136628557)),
        ((6, 4), (0, -np.sin(np.radians(5)), np.cos(np.radians(5))), (-6.179731949, -12.999725219)),
        ((6, 4), (0.0521368, -0.08715574, 0.99482945), (-0.835434808, -12.949857883)),
    ],
)
def test_a_plate_sends_the_ghost_where_the_law_of_reflection_says(place, normal_right_up, expected):
    x, y = right_up_to_frame(normal_right_up[:2])
    ghost = ghost_direction(toward(*place), np.array([x, y, normal_right_up[2]]))
    assert in_picture(ghost) == pytest.approx(expected, abs=2e-6 if normal_right_up[0] else 5e-10)


def test_a_positive_tilt_leans_the_top_out_and_moves_the_ghost_of_a_centred_light_down():
    # design: tilt is positive when the top edge leans toward the scene; -f tan 2t, closed form
    normal = rotation_about_x(5.0) @ AXIS
    assert in_picture(ghost_direction(AXIS, normal)) == pytest.approx((0.0, -8.816349035), abs=5e-10)


@pytest.mark.parametrize(
    ("focal", "tilt", "shift"), [(50, 5, 8.816349035), (50, 10, 18.198511713), (25, 5, 4.408174518), (100, 3, 10.510423527)]
)
def test_a_tilt_moves_the_ghost_by_the_focal_length_times_tan_of_twice_the_tilt(focal, tilt, shift):
    ghost = ghost_direction(AXIS, rotation_about_x(tilt) @ AXIS)
    assert -in_picture(ghost, focal)[1] == pytest.approx(shift, abs=5e-9)  # f tan 2t, numpy


@pytest.mark.parametrize(
    ("focal", "half_height", "tilt"), [(50, 9.335, 5.28768448), (25, 9.335, 10.23781595), (35, 12.445, 9.78696661)]
)
def test_half_the_field_is_the_tilt_that_clears_a_centred_light(focal, half_height, tilt):
    assert centred_tilt_deg(half_height, focal) == pytest.approx(tilt, abs=5e-9)  # atan(h / f) / 2, numpy
    assert -in_picture(ghost_direction(AXIS, rotation_about_x(tilt) @ AXIS), focal)[1] == pytest.approx(half_height, abs=1e-6)


def test_two_plates_turn_the_light_by_twice_the_angle_between_them():
    near, far = rotation_about_x(3.0) @ AXIS, rotation_about_x(4.0) @ AXIS
    turned = double_direction(AXIS, near, far)
    assert abs(in_picture(turned)[1]) == pytest.approx(1.746038475, abs=5e-10)  # f tan 2b, f 50, b 1 deg
    # By hand: mirrored about 3 deg down it comes from 6 deg down, that about 4 deg down from 2 * 4 - 6 = 2 deg down
    assert in_picture(turned)[1] < 0
    assert double_direction(toward(7, -3), near, near) == pytest.approx(toward(7, -3))


def test_the_ghost_of_a_sharp_light_is_blurred_as_the_thin_lens_law_says():
    # 1/s' = 1/f + 1/(s - 2p): v 51.282051282, s' 48.648648649, blur D (v - s') / s', worked with numpy
    assert ghost_blur_mm(50, 2.8, 2000, 100) == pytest.approx(0.966625967, abs=5e-10)
    assert ghost_blur_mm(50, 2.8, np.inf, 100) == 0.0


def test_an_unsharp_light_is_followed_from_image_to_image():
    # By hand: v 51.2820513, v_L 50; mirrored 52.5641026; 1/a = 1/50 - 1/52.5641026; 1/s' = 1/50 + 1/(a - 200)
    v, out = 50 * 2000 / 1950, 1 / (1 / 50 - 1 / (2 * 50 * 2000 / 1950 - 50))
    back = 1 / (1 / 50 + 1 / (out - 200))
    assert ghost_blur_mm(50, 2.8, 2000, 100, np.inf) == pytest.approx(50 / 2.8 * (v - back) / back, abs=1e-9)


def test_at_close_focus_the_ghost_of_an_upright_plate_spreads_out_by_its_distance():
    # Similar triangles: O at (s tan t) off axis, its mirror image 2p - s ahead: tangent ratio s / (s - 2p)
    u = toward(5, 3)
    ghost = near_ghost_direction(u, AXIS, 60.0, 400.0)
    assert in_picture(ghost) == pytest.approx(np.array([-5.0, -3.0]) * 400 / 280)
    beyond = near_ghost_direction(u, AXIS, 120.0, 200.0)  # s - 2p = -40: the light has crossed over before the pupil
    assert in_picture(beyond) == pytest.approx(np.array([5.0, 3.0]) * 200 / 40)
    assert near_ghost_direction(u, rotation_about_x(4.0) @ AXIS, 60.0, np.inf) == pytest.approx(
        ghost_direction(u, rotation_about_x(4.0) @ AXIS)
    )


def mirror(tilt_deg=0.0, ahead_mm=20.0, **plate):
    where = pose(ahead_mm=ahead_mm, tilt_deg=tilt_deg)
    plate = Plate(**({"index": BK7} | plate))
    return Mirror(name=f"filter at {ahead_mm:g}", normal=where.rotation[:, 2], centre_mm=where.origin_mm, plate=plate)


def test_facing_faces_of_two_bare_filters_send_the_square_of_one_reflectance():
    # Bare N-BK7: R 0.0421645626, R^2 1.77785034e-3 = 9.135650 stops, one face 4.567825; coated 0.5 %: 2.5e-5 = 15.287712 stops
    bare = pair_share([mirror(), mirror(ahead_mm=30)], 0, 1, AXIS)[1]
    assert bare == pytest.approx(1.77785034e-3, abs=5e-12)
    assert loss_stops(bare) == pytest.approx(9.135650, abs=5e-7)
    coated = pair_share([mirror(reflectance=0.005), mirror(reflectance=0.005, ahead_mm=30)], 0, 1, AXIS)[1]
    assert loss_stops(coated) == pytest.approx(15.287712, abs=5e-7)
    assert loss_stops(face_reflectance(0.0, BK7)[0]) == pytest.approx(4.567825, abs=5e-7)


def test_both_faces_of_a_filter_mirror_what_a_loss_free_plate_does_not_pass():
    whole, rear = back_share([mirror()], 0, AXIS)
    assert whole == pytest.approx(1 - 0.919082717, abs=5e-10)  # plate transmission of N-BK7, package tmm 0.2.0
    assert rear == pytest.approx(0.0421645626, abs=5e-11)


def test_a_filter_behind_a_density_is_passed_by_its_light_twice_more():
    density = mirror(internal_transmittance=0.2737539105)  # D 0.6, package tmm 0.2.0
    behind = back_share([density, mirror(ahead_mm=30)], 1, AXIS)[0]
    assert behind == pytest.approx(10.0**-1.2 * (1 - 0.919082717), rel=1e-8)
    assert back_share([density, mirror(ahead_mm=30)], 0, AXIS)[0] < back_share([mirror()], 0, AXIS)[0]


def test_a_light_low_on_the_left_ghosts_high_on_the_right():
    glass = plate_of_glass(20)
    (found,) = ghosts_of(lens(), [Light(name="lamp", direction=toward(-8, -3))], [glass], sensor_reflectance=0.05, on_sensor=[True])
    assert found.light_mm == pytest.approx((-8, -3))
    assert found.picture_mm == pytest.approx((8, 3))
    assert found.route is Route.SENSOR
    incidence = np.arctan(np.hypot(8, 3) / 50)
    assert found.incidence_deg == pytest.approx(np.degrees(incidence))
    assert found.nearest_share == pytest.approx(0.05 * float(np.mean(face_reflectance(incidence, BK7))), rel=2e-3)


def test_a_light_off_the_sensor_ghosts_only_between_filters():
    glasses = [plate_of_glass(20), plate_of_glass(32, tilt_deg=2.0)]
    light = Light(name="lamp", direction=toward(-3, 14))
    (found,) = ghosts_of(lens(), [light], glasses, sensor_reflectance=0.05, on_sensor=[False])
    assert found.route is Route.FILTERS
    assert found.picture_mm[1] == pytest.approx(50 * np.tan(np.arctan(14 / 50) - np.radians(4)), rel=2e-3)


def test_the_sun_ghosts_as_wide_as_it_stands_in_the_picture():
    # 50 tan(0.2665 deg) = 0.23257 mm on the axis; half a degree off it the lens draws it wider by under 1 in 1000
    sun = Light(name="sun", direction=toward(1, 0.4), half_width_deg=0.2665)
    (found,) = ghosts_of(lens(), [sun], [plate_of_glass(20)], sensor_reflectance=0.05, on_sensor=[True])
    assert found.radius_mm == pytest.approx(0.23257, rel=2e-3)
    assert found.peak_share == found.share


def test_spread_light_is_weaker_by_the_area_it_spreads_over():
    assert spreading(0.25, 2.0, 0.25, 0.0) == pytest.approx(1 / 16)  # radius 1 against 0.25
    assert spreading(0.25, 0.1, 0.25, 0.0) == 1.0


def test_a_graduated_filter_passes_what_it_passes_where_the_light_goes_through():
    graduated = plate_of_glass(40, kind=GlassKind.GRADUATED, density=0.9, soft_mm=0.0)
    high, low = (mirrors_of([graduated], toward(0, y), pupil_mm(lens()))[0].plate for y in (9, -9))
    assert low.internal_transmittance == 1.0
    assert high.internal_transmittance < 0.2


def test_what_a_lens_cannot_see_has_no_place_in_its_picture():
    assert np.isnan(picture_mm(lens(), [0.1, 0.2, -1.0])).all()
    assert np.isnan(picture_mm(lens(distortion=(-0.3, 0.0)), toward(40, 0))).all()  # beyond where that barrel folds back
