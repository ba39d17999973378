"""How far to open a flag, how deep a part stands in the beam: similar triangles and the arc tangent."""

import re

import numpy as np
import pytest

from geometry.frame import pose
from geometry.outline import RoundedRectangle
from geometry.parts import flag
from scenes.questions.check.remedy import Amounts, least_clear
from scenes.questions.check.rooms import part_results
from tests.raytrace.made import holed
from tests.scenes.check_made import FOCAL_MM, PUPIL_MM, RADIUS_MM, beam_right_mm, plan, wall_on_the_right

HINGE_AT_MM, LENGTH_MM = 80.0, 60.0


def words(*parts):
    state = plan(*parts)
    found, _ = part_results(state)
    return Amounts(state, {part.name: part.clearance_mm for part in found}).words(parts[0].name)


def right_flag(angle_deg, hinge_mm):
    made = {"length_mm": LENGTH_MM, "width_mm": 400, "thickness_mm": 1.5, "name": "right flag"}
    return flag(pose(), side="right", angle_deg=angle_deg, hinge_mm=hinge_mm, at_mm=HINGE_AT_MM, **made)


def edge_mm(at_mm):
    """Outermost ray to the right: the pencil of the frame's edge, 18 mm on the image plane, and the pupil's radius."""
    return 18.0 / FOCAL_MM * (PUPIL_MM + at_mm) + RADIUS_MM


def test_a_flag_is_opened_by_the_whole_degrees_that_reach_the_slope_of_the_outermost_ray():
    hinge_mm = edge_mm(HINGE_AT_MM) + 10.0  # outside the beam, so the flag's far edge decides
    least_deg = least_free_deg(hinge_mm, room_mm=2.5)
    assert 20 < least_free_deg(hinge_mm, room_mm=0.0) < least_deg < 60
    assert words(right_flag(10.0, hinge_mm)) == f" by {least_deg - 10} degrees"


def test_a_flag_that_cannot_have_the_room_of_a_fixed_pupil_is_opened_to_where_it_is_out_and_says_so():
    hinge_mm = edge_mm(HINGE_AT_MM) + 1.0  # the hinge itself stands nearer to the beam than 2.5 mm
    least_deg = least_free_deg(hinge_mm, room_mm=0.0)
    told = words(right_flag(10.0, hinge_mm))
    assert told == f" by {least_deg - 10} degrees, with less than the 2.5 mm of room a fixed pupil asks for"


def least_free_deg(hinge_mm, room_mm):
    """The least whole angle at which the flag's far edge is `room_mm` outside the outermost ray, told across the axis."""
    far = np.radians(np.arange(0, 90))
    beyond_mm = hinge_mm + LENGTH_MM * np.sin(far) - edge_mm(HINGE_AT_MM + LENGTH_MM * np.cos(far))
    return int(np.flatnonzero(beyond_mm >= room_mm)[0])


def test_a_flag_whose_hinge_is_in_the_beam_is_told_to_be_hinged_further_out():
    told = words(right_flag(10.0, edge_mm(HINGE_AT_MM) - 20.0))
    (out_mm,) = re.findall(r"and hinge it ([0-9.]+) mm further out", told)
    # the blade's thickness turns past the hinge line; 2.5 mm is the room of a fixed pupil
    assert float(out_mm) == pytest.approx(20.0 + 2.5, abs=1.5)


def test_another_part_is_told_with_how_deep_it_stands_in_the_beam():
    outermost_mm = beam_right_mm(18) + RADIUS_MM
    assert words(wall_on_the_right(outermost_mm - 2.3, kind="mask")) == " (2.3 mm in the beam)"


@pytest.mark.parametrize("gap_mm", [5.0, 0.0])
def test_a_part_out_of_the_beam_has_no_amount(gap_mm):
    assert words(holed(60, RoundedRectangle(2 * (beam_right_mm(18) + RADIUS_MM + gap_mm), 2000))) == ""


@pytest.mark.parametrize("root", [0.2, 3.0, 7.5, 33.4, 119.0])
@pytest.mark.parametrize("bend", [0.2, 1.0, 5.0])
def test_the_least_whole_number_is_found_in_a_few_looks(root, bend):
    looks = []

    def rising(x):
        looks.append(x)
        return x**bend - root**bend

    assert least_clear(rising, rising(0), 120) == np.ceil(root)
    assert len(looks) <= 13  # one at each end, four guesses, seven halvings


def test_a_clearance_that_stays_negative_has_no_answer_and_one_without_end_counts():
    assert least_clear(lambda x: x - 200.0, -200.0, 120) is None
    assert least_clear(lambda x: np.inf if x >= 41 else -2.0, -2.0, 120) == 41
