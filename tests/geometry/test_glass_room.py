"""Glass sizes against turning the plate step by step, and against plain distances."""

import numpy as np
import pytest
import shapely

from geometry.glass_room import room_any_turn_mm, room_mm, turned_size_mm, upright_size_mm
from geometry.outline import Circle, RoundedRectangle

LOPSIDED = shapely.box(-40.0, -22.0, 50.0, 30.0)


def test_a_lopsided_beam_needs_twice_its_farther_side():
    assert upright_size_mm(LOPSIDED) == pytest.approx((100.0, 60.0))
    assert turned_size_mm(LOPSIDED) == pytest.approx(2 * np.hypot(50, 30))


@pytest.mark.parametrize("outline", [RoundedRectangle(143.51, 101.6), RoundedRectangle(110.0, 130.0), Circle(69.0), Circle(50.0)])
def test_the_worst_turn_is_the_worst_of_all_turns(outline):
    rooms = [room_mm(outline, LOPSIDED, turn) for turn in np.arange(0.0, 360.0, 0.05)]
    assert min(rooms) == pytest.approx(room_any_turn_mm(outline, LOPSIDED), abs=0.01)


def test_upright_room_is_the_plain_distance_to_the_nearest_side():
    assert room_mm(RoundedRectangle(112.0, 64.0), LOPSIDED) == pytest.approx(2.0)
    assert room_mm(RoundedRectangle(96.0, 64.0), LOPSIDED) == pytest.approx(-2.0)


def test_turned_clockwise_the_plates_right_end_goes_down():
    # x runs to the operator's left; the beam reaches low on the right: (-60, -20) in the plane.
    low_right = shapely.Polygon([(0, 0), (-60, -20), (-50, -20), (10, 0)])
    long_plate = RoundedRectangle(140.0, 30.0)
    turn = np.degrees(np.arctan2(20, 60))
    assert room_mm(long_plate, low_right, turn) > 5.0
    assert room_mm(long_plate, low_right, -turn) < -5.0
