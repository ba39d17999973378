"""The beam in several planes at once against similar triangles, and the ways to fill the trays."""

import math

import numpy as np
import pytest

from geometry.body import Slab
from geometry.errors import GeometryError
from geometry.frame import pose
from geometry.outline import RoundedRectangle
from raytrace.beam.planes import fillings, sections_in, with_glasses
from raytrace.box import Box, Glass
from raytrace.optics.camera import PixelGrid, whole_frame
from raytrace.optics.lens import FixedPupil, LensState

GUIDE = whole_frame(PixelGrid(width_mm=36, height_mm=24, columns=12, rows=8, offset_mm=(1.0, 0.0)))
DEPTH_MM, FOCAL_MM, RADIUS_MM = 40.0, 20.0, 2.5
LENS = LensState(
    name="20",
    focal_mm=FOCAL_MM,
    f_number=4.0,
    focus_mm=np.inf,
    field_focal_mm=FOCAL_MM,
    object_z_mm=np.inf,
    pupil=FixedPupil(behind_front_mm=(DEPTH_MM, DEPTH_MM), half_size_mm=(RADIUS_MM, RADIUS_MM)),
)
NO_BOX = Box(parts=())


def plate(ahead_mm, name="plate"):
    slab = Slab(name=name, pose=pose(ahead_mm=ahead_mm), outline=RoundedRectangle(300, 300), thickness_mm=4.0)
    return Glass(slab=slab, index=1.5168)


def right_mm(section):
    return -section.bounds[0]  # the plane's x runs to the operator's left


def test_two_planes_give_the_reach_of_the_farther_one_where_the_beam_widens():
    section = sections_in([LENS], [GUIDE], NO_BOX, [pose(ahead_mm=20), pose(ahead_mm=26)])
    assert right_mm(section) == pytest.approx((26 + DEPTH_MM) * 19 / FOCAL_MM + RADIUS_MM, abs=0.02)
    assert section.bounds[2] == pytest.approx((26 + DEPTH_MM) * 17 / FOCAL_MM + RADIUS_MM, abs=0.02)


def test_a_plate_taken_out_lets_the_beam_reach_farther_by_its_shift():
    with_plate, planes = Box(parts=(), glasses=(plate(10),)), [pose(ahead_mm=30)]
    fitted, empty = (sections_in([LENS], [GUIDE], box, planes) for box in (with_plate, with_glasses(with_plate, ())))
    # The shift of the right edge's middle ray: dz tan t, dz = T (1 - cos t / sqrt(n^2 - sin^2 t)) (Smith, Modern Optical
    # Engineering); it belongs to the ray at the height of the axis, which is the beam's rightmost.
    t = math.atan(19 / FOCAL_MM)
    shift = 4.0 * (1 - math.cos(t) / math.sqrt(1.5168**2 - math.sin(t) ** 2)) * math.tan(t)
    assert right_mm(empty) == pytest.approx(70 * 19 / FOCAL_MM + RADIUS_MM, abs=0.02)
    assert right_mm(empty) - right_mm(fitted) == pytest.approx(shift, abs=0.1)


def test_a_plane_along_the_beam_is_refused():
    with pytest.raises(GeometryError, match="tilt it less"):
        sections_in([LENS], [GUIDE], NO_BOX, [pose(ahead_mm=30, tilt_deg=70)])


@pytest.mark.parametrize(("count", "ways"), [(0, 1), (1, 2), (2, 4), (3, 8), (4, 1 + 4 + 1)])
def test_few_filters_are_tried_in_every_choice_all_of_them_first(count, ways):
    glasses = [plate(10.0 * k, f"plate {k}") for k in range(count)]
    found = fillings(glasses)
    assert found[0] == tuple(glasses)
    assert len({tuple(glass.name for glass in choice) for choice in found}) == ways == len(found)
    assert () in found
