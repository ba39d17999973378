"""A flag that stands in the beam by construction is told, with the way to move it."""

import numpy as np
import pytest
import shapely

from geometry.flag_checks import flag_notes
from geometry.parts import box_pose, extension, flag

BOX = box_pose()
TOP = {"side": "top", "hinge_mm": 60, "at_mm": 100, "length_mm": 50, "width_mm": 260}


def beam(half_width_slope, half_height_slope):
    """Sections of a rectangular cone from the origin, lopsided to the operator's left."""
    return [
        (z, shapely.box(-half_width_slope * z, -half_height_slope * z, 1.2 * half_width_slope * z, half_height_slope * z))
        for z in (20.0, 200.0)
    ]


def reach(note):
    return float(note.text.split(" mm inside")[0].rsplit(" ", 1)[1])


def test_a_flag_along_the_axis_reaches_in_by_the_beams_height_at_its_tip():
    (note,) = flag_notes([flag(BOX, angle_deg=0, **TOP)], beam(0.6, 0.5))
    assert reach(note) == pytest.approx(0.5 * 150 - 60, abs=0.06)  # the beam's top at the tip, less the blade's height


def test_a_slanted_flag_must_move_by_the_gap_at_its_tip():
    (note,) = flag_notes([flag(BOX, angle_deg=20, **TOP)], beam(0.6, 0.6))
    tip_z, tip_y = 100 + 50 * np.cos(np.radians(20)), 60 + 50 * np.sin(np.radians(20))
    # the blade's tan 20 = 0.36 is flatter than the beam's 0.6: the gap is largest at the tip, on the blade's face
    assert reach(note) == pytest.approx(0.6 * tip_z - tip_y, abs=0.3)  # its outer corner, 1.5 mm thick, is a little nearer
    assert "move its hinge" in note.text


def test_moving_the_hinge_as_told_clears_the_beam():
    (note,) = flag_notes([flag(BOX, angle_deg=20, **TOP)], beam(0.6, 0.6))
    moved = flag(BOX, angle_deg=20, **{**TOP, "hinge_mm": 60 + reach(note) + 0.1})
    assert flag_notes([moved], beam(0.6, 0.6)) == ()


def test_a_flag_outside_the_beam_needs_no_word():
    assert flag_notes([flag(BOX, angle_deg=40, **TOP)], beam(0.6, 0.5)) == ()


def test_only_the_side_where_the_beam_is_wide_is_told():
    # the beam reaches 0.72 z to the left and 0.6 z to the right; both blades stand at 0.66 z
    blades = [
        flag(BOX, side=side, angle_deg=90, hinge_mm=66, at_mm=100, length_mm=50, width_mm=120, name=side)
        for side in ("left", "right")
    ]
    assert [note.part for note in flag_notes(blades, beam(0.6, 0.5))] == ["left"]


def test_sections_may_come_in_any_order():
    waist = [(z, shapely.box(-half, -half, half, half)) for z, half in ((20.0, 60.0), (200.0, 80.0), (110.0, 20.0))]
    blade = flag(BOX, side="top", angle_deg=0, hinge_mm=45, at_mm=100, length_mm=20, width_mm=100)
    assert flag_notes([blade], waist) == ()  # the beam is under 20 + 60 * 10 / 90 = 27 high there


def test_an_extension_in_the_beam_is_told_by_itself():
    long = extension(
        BOX, side="top", flag_angle_deg=40, flag_length_mm=50, angle_deg=-40, hinge_mm=60, at_mm=100, length_mm=60, width_mm=260
    )
    (note,) = flag_notes([flag(BOX, angle_deg=40, **TOP), long], beam(0.6, 0.6))
    assert note.part == "extension"
