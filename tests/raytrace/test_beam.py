"""Sections of the beam against closed forms, published lenses and clouds of traced rays."""

from functools import partial

import numpy as np
import pytest

from geometry.frame import pose
from raytrace.beam import beam_section
from raytrace.box import Box
from raytrace.camera import Guide
from raytrace.lens import FixedPupil, LensState, pencils_for


def plain_lens(**changes):
    given = {
        "name": "plain",
        "focal_mm": 20.0,
        "f_number": 2.0,
        "focus_mm": np.inf,
        "field_focal_mm": 20.0,
        "object_z_mm": np.inf,
        "pupil": FixedPupil(behind_front_mm=(25.0, 25.0), half_size_mm=(12.0, 12.0)),
        "half_diagonal_mm": 20.0,
    }
    return LensState(**(given | changes))


def section_of(lens, guide, z_mm, glasses=()):
    return beam_section(partial(pencils_for, lens), guide, Box(parts=(), glasses=glasses), pose(ahead_mm=z_mm))


# A flat disc pupil: the bundle's section is a circle about (z_p + L) tan t, so a half opening of (z_p + L) tan t + rho is clear.
@pytest.mark.parametrize(
    ("depth_mm", "radius_mm", "ahead_mm", "field_deg", "clear_mm"),
    [(24.977674, 17.711744, 100.0, 20.0, 63.199897), (21.062049, 4.100729, 80.0, 35.0, 74.865138)],
)
def test_a_round_pupil_needs_the_half_opening_of_the_closed_form(depth_mm, radius_mm, ahead_mm, field_deg, clear_mm):
    lens = plain_lens(pupil=FixedPupil(behind_front_mm=(depth_mm, depth_mm), half_size_mm=(radius_mm, radius_mm)))
    guide = Guide(name="a", half_width_mm=8.0, half_height_mm=20 * np.tan(np.radians(field_deg)))
    top = section_of(lens, guide, ahead_mm).bounds[3]
    assert clear_mm <= top <= clear_mm + 0.02
