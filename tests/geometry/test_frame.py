"""The frame's handedness, the signs people meet, and moving points in and out of parts."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geometry.frame import (
    AHEAD,
    OPERATOR_RIGHT,
    OUTWARD,
    UP,
    Pose,
    Side,
    frame_to_right_up,
    light_direction,
    place_in_words,
    pose,
    right_up_to_frame,
    rotation_about_x,
    rotation_about_z,
    where_in_words,
)

ROUNDING_MM = 1e-9  # float64 on coordinates up to a few metres
mm = st.floats(-2000, 2000)
deg = st.floats(-180, 180)
repeatable = settings(derandomize=True, deadline=None, max_examples=60)


def test_the_frame_is_right_handed_with_x_to_the_operators_left():
    # right-handed: x cross y = z (any textbook); seen along +z with y up, x then points to the viewer's left
    assert_allclose(np.cross(-OPERATOR_RIGHT, UP), AHEAD)


@pytest.mark.parametrize(
    ("side", "expected"), [(Side.TOP, (0, 1, 0)), (Side.BOTTOM, (0, -1, 0)), (Side.RIGHT, (-1, 0, 0)), (Side.LEFT, (1, 0, 0))]
)
def test_sides_point_where_the_operator_sees_them(side, expected):
    assert_allclose(OUTWARD[side], expected)


def test_right_in_the_picture_is_minus_x_in_the_frame():
    assert_allclose(right_up_to_frame([3.0, 2.0]), [-3.0, 2.0])


@given(st.tuples(mm, mm))
@repeatable
def test_picture_and_frame_coordinates_round_trip(point):
    assert_allclose(frame_to_right_up(right_up_to_frame(point)), point)


def test_a_positive_tilt_leans_the_top_toward_the_scene():
    x, y, z = pose(tilt_deg=10).points_to_frame([5.0, 40.0, 0.0])
    assert_allclose((x, y, z), (5.0, 40 * np.cos(np.radians(10)), 40 * np.sin(np.radians(10))))  # closed form


def test_a_positive_turn_is_clockwise_as_the_operator_sees_it():
    top_right_goes = frame_to_right_up(pose(turn_deg=30).points_to_frame([0.0, 40.0, 0.0])[:2])
    assert_allclose(top_right_goes, (20.0, 40 * np.cos(np.radians(30))))  # the top swings to the right: 40 sin 30 = 20


def test_a_part_is_turned_before_it_is_tilted():
    # a point at the top, turned a quarter clockwise, lies on the tilt axis: the tilt then leaves it where it is
    assert_allclose(pose(turn_deg=90, tilt_deg=35).points_to_frame([0.0, 40.0, 0.0]), [-40.0, 0.0, 0.0], atol=ROUNDING_MM)


def test_a_part_is_tilted_before_it_is_moved():
    assert_allclose(
        pose(tilt_deg=90, right_mm=7, up_mm=-3, ahead_mm=50).points_to_frame([0, 10, 0]), [-7, -3, 60], atol=ROUNDING_MM
    )


@given(deg, deg)
@repeatable
def test_turns_and_tilts_keep_lengths_and_handedness(tilt, turn):
    rotation = rotation_about_x(tilt) @ rotation_about_z(turn)
    assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(rotation) == pytest.approx(1.0)


@given(st.tuples(mm, mm, mm), st.tuples(mm, mm, mm), deg, deg)
@repeatable
def test_part_and_frame_points_round_trip(origin, point, tilt, turn):
    place = pose(right_mm=origin[0], up_mm=origin[1], ahead_mm=origin[2], tilt_deg=tilt, turn_deg=turn)
    assert_allclose(place.points_to_part(place.points_to_frame(point)), point, atol=ROUNDING_MM)
    assert_allclose(place.vectors_to_frame(place.vectors_to_part(point)), point, atol=ROUNDING_MM)


@given(st.tuples(mm, mm, mm), st.tuples(mm, mm, mm), deg, deg)
@repeatable
def test_vectors_turn_but_do_not_shift(p, q, tilt, turn):
    place = pose(right_mm=11, up_mm=-4, ahead_mm=90, tilt_deg=tilt, turn_deg=turn)
    moved = place.points_to_frame(p) - place.points_to_frame(q)
    assert_allclose(place.vectors_to_frame(np.subtract(p, q)), moved, atol=ROUNDING_MM)


@given(st.tuples(mm, mm, mm), deg, deg)
@repeatable
def test_a_pose_followed_by_another_moves_points_by_both(point, tilt, turn):
    inner, outer = pose(up_mm=8, ahead_mm=20, turn_deg=turn), pose(right_mm=5, ahead_mm=4, tilt_deg=tilt)
    expected = outer.points_to_frame(inner.points_to_frame(point))
    assert_allclose(inner.then(outer).points_to_frame(point), expected, atol=ROUNDING_MM)


def test_many_points_move_at_once():
    place = Pose(rotation_about_z(20), np.array([1.0, 2.0, 3.0]))
    points = np.arange(24.0).reshape(2, 4, 3)
    assert_allclose(place.points_to_frame(points)[1, 2], place.points_to_frame(points[1, 2]))


@pytest.mark.parametrize(
    ("azimuth", "elevation", "expected"),
    [(0, 0, (0, 0, 1)), (90, 0, (-1, 0, 0)), (180, 0, (0, 0, -1)), (-90, 0, (1, 0, 0)), (17, 90, (0, 1, 0))],
)
def test_lights_stand_where_their_angles_say(azimuth, elevation, expected):
    assert_allclose(light_direction(azimuth, elevation), expected, atol=1e-12)


@given(deg, st.floats(-90, 90))
@repeatable
def test_a_lights_elevation_is_its_angle_above_the_horizon(azimuth, elevation):
    direction = light_direction(azimuth, elevation)
    assert np.linalg.norm(direction) == pytest.approx(1.0)
    assert direction[1] == pytest.approx(np.sin(np.radians(elevation)))


@pytest.mark.parametrize(
    ("right", "up", "words"), [(0.9, 0.8, "top right"), (-0.5, 0.0, "left"), (0.1, -1.0, "bottom"), (0.0, 0.1, "centre")]
)
def test_places_in_the_picture_have_the_operators_words(right, up, words):
    assert where_in_words(right, up) == words


def test_a_place_is_told_by_the_operators_sides_and_from_the_lens_front():
    # x points to the operator's left, y up, z to the scene (the contract in docs/nomenclature.md, "frame").
    assert place_in_words((80.0, -60.0, 3.0)) == "80 mm left, 60 mm down and 3 mm ahead of the lens front's centre"
    assert place_in_words((-12.34, 0.0, -5.0)) == "12.3 mm right, 0 mm up and 5 mm behind the lens front's centre"
