"""Blurs of highlights: what an edge leaves of a disc, and to which side."""

import numpy as np
import pytest

from geometry.outline import Circle
from raytrace.bokeh import _may_stop, highlight_blurs
from raytrace.box import Box
from raytrace.optics.lens import FixedPupil, LensState, pencils_for
from tests.raytrace.made import block, holed, plate_of_glass


def lens(**more):
    pupil = FixedPupil(behind_front_mm=(40.0, 40.0), half_size_mm=(10.0, 10.0))
    plain = {"name": "50", "focal_mm": 50.0, "f_number": 2.5, "focus_mm": np.inf, "field_focal_mm": 50.0, "object_z_mm": np.inf}
    return LensState(**{**plain, "pupil": pupil, **more})


AXIS = np.zeros((1, 2))
# At negative x, the operator's right, up to the axis.
RIGHT_HALF = Box(parts=(block((-200, -200, 50), (0, 200, 52)),))


def test_an_edge_on_the_right_through_the_axis_takes_half_and_leans_the_light_to_the_left():
    # Centre of area of a half disc: 4 r / (3 pi), any handbook of mechanics.
    blurs = highlight_blurs(lens(), AXIS, RIGHT_HALF, highlight_z_mm=np.inf)
    assert blurs.lost_share[0] == pytest.approx(0.5, abs=0.01)
    assert blurs.lean[0] == pytest.approx([-4 / (3 * np.pi), 0.0], abs=0.01)
    assert blurs.blamed().tolist() == [0]


def test_a_highlight_behind_a_part_that_ends_before_it_is_whole():
    # The part stands 50 mm ahead; a highlight 40 mm ahead is nearer than it.
    assert highlight_blurs(lens(), AXIS, RIGHT_HALF, highlight_z_mm=40.0).lost_share[0] == 0.0


def test_the_section_that_a_near_highlight_sees_follows_similar_triangles():
    # An edge d right of the axis at z, seen from a point at L on the axis, meets the pupil plane at d (L + p) / (L - z): with
    # d = 4, L = 160, z = 60, p = 40 that is 8 mm of a radius of 10; the segment beyond it by any handbook of mathematics.
    box = Box(parts=(block((-200, -200, 60), (-4, 200, 60.01)),))
    h = 0.8
    segment = (np.arccos(h) - h * np.sqrt(1 - h * h)) / np.pi
    assert highlight_blurs(lens(), AXIS, box, highlight_z_mm=160.0).lost_share[0] == pytest.approx(segment, abs=0.006)


def test_more_box_never_leaves_more_of_a_highlight():
    top = block((-200, 3, 70), (200, 200, 72))
    points = np.array([[-12.0, 5.0], [0.0, 8.0], [15.0, -6.0]])
    one = highlight_blurs(lens(), points, RIGHT_HALF, highlight_z_mm=900.0).lost_share
    both = highlight_blurs(lens(), points, Box(parts=(*RIGHT_HALF.parts, top)), highlight_z_mm=900.0).lost_share
    assert np.all(both >= one)
    assert np.any(both > one)


@pytest.mark.parametrize("seed", range(6))
def test_parts_that_are_passed_over_stop_no_ray(seed, monkeypatch):
    rng = np.random.default_rng(seed)
    edge = rng.uniform(4.0, 30.0)
    parts = (
        holed(45.0, Circle(rng.uniform(10.0, 60.0)), depth_mm=10.0),
        holed(60.0, Circle(60.0)),
        block((-edge - 90, -9, 70), (-edge, 9, 75)),
    )
    box = Box(parts=parts, glasses=(plate_of_glass(30.0, tilt_deg=8.0),))
    points = np.array([[0.0, 0.0], [12.0, 8.0], [-14.0, 9.0], [14.0, -2.0], [6.0, 0.0]])
    quick = highlight_blurs(lens(), points, box, highlight_z_mm=900.0).stopped_by
    over = _may_stop(pencils_for(lens(object_z_mm=900.0), points[:1]), box)
    assert not over[1]  # the wide hole
    monkeypatch.setattr("raytrace.bokeh._may_stop", lambda _, box: [True] * len(box.parts))
    assert np.array_equal(quick, highlight_blurs(lens(), points, box, highlight_z_mm=900.0).stopped_by)
