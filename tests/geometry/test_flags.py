"""A blade swung about its hinge is the blade made at the wider angle."""

import numpy as np
import pytest

from geometry.flags import flag, leaning_deg, swung
from geometry.frame import Side
from geometry.parts import box_pose

BOX = box_pose(ahead_mm=4, tilt_deg=6, offset_up_mm=2, offset_right_mm=-3, back_thickness_mm=4)


@pytest.mark.parametrize("side", list(Side))
def test_a_flag_opened_by_some_degrees_is_the_flag_made_that_much_wider(side):
    made = {"side": side, "hinge_mm": 85, "at_mm": 118, "length_mm": 110, "width_mm": 240, "thickness_mm": 1.5}
    opened = swung(flag(BOX, angle_deg=20, **made), 17.0)
    assert np.allclose(opened.body.corners_mm, flag(BOX, angle_deg=37, **made).body.corners_mm, atol=1e-9)


@pytest.mark.parametrize("angle_deg", [0.0, 35.0, 90.0, 160.0])
def test_a_flag_leans_by_its_angle_in_a_level_box(angle_deg):
    blade = flag(box_pose(), side="left", angle_deg=angle_deg, hinge_mm=85, at_mm=118, length_mm=110, width_mm=240)
    assert leaning_deg(blade) == pytest.approx(angle_deg, abs=1e-6)
