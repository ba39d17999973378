"""Rooms and margins where similar triangles give the answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometry import parts as make
from geometry.body import Block, Kind, Part
from geometry.frame import pose
from geometry.outline import Circle, inside_distance
from raytrace.box import Box, Glass
from raytrace.judge.judgement import judge
from raytrace.optics.camera import Guide
from raytrace.optics.lens import FixedPupil, LensState

DEPTH, RADIUS, FOCAL = 40.0, 6.0, 24.0
GUIDE = Guide(name="frame", half_width_mm=18.0, half_height_mm=12.0)
TAN = 18.0 / FOCAL


def lens(depth_mm=DEPTH, **more):
    pupil = FixedPupil(behind_front_mm=(depth_mm, depth_mm), half_size_mm=(RADIUS, RADIUS))
    state = {"object_z_mm": np.inf, "focus_mm": np.inf, **more}
    return LensState(name="plain", focal_mm=FOCAL, f_number=2.0, field_focal_mm=FOCAL, pupil=pupil, **state)


def mask(half_width_mm, at_mm=59.0, **more):
    outline = make.opening(size_mm=(2 * half_width_mm, 400.0))
    return make.mask(pose(), at_mm=at_mm, thickness_mm=1.0, opening=outline, **more)


def side_gap_mm(half_width_mm, z_mm, depth_mm=DEPTH):
    """How far an edge stands off the beam's side in its own plane: x = (z + depth) tan + r, by similar triangles."""
    return half_width_mm - ((z_mm + depth_mm) * TAN + RADIUS)


def board(x_mm, y_mm, z_mm):
    (x0, x1), (y0, y1), (z0, z1) = x_mm, y_mm, z_mm
    corners = np.array([[x, y, z] for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)], dtype=np.float64)
    return Part(name="board", kind=Kind.FLAG, body=Block(corners))


def test_room_of_an_opening_is_the_distance_in_space_square_to_the_beams_side():
    got = judge([lens()], GUIDE, Box(parts=(mask(90.0),)), margin=False)
    want = side_gap_mm(90.0, 60.0) / np.hypot(1.0, TAN)
    assert want - 0.02 < got.room_mm <= want + 1e-6
    x, _, z = got.parts[0].point_mm
    assert abs(x) == pytest.approx(90.0, abs=1e-3)
    assert z == pytest.approx(60.0, abs=1e-6)
    assert abs(got.parts[0].picture_mm[0]) == pytest.approx(18.0, abs=1e-6)


def test_depth_of_an_opening_is_how_far_the_beam_reaches_past_its_edge():
    got = judge([lens()], GUIDE, Box(parts=(mask(75.0),)))
    assert got.room_mm == pytest.approx(side_gap_mm(75.0, 60.0), abs=0.02)
    assert got.room_mm <= side_gap_mm(75.0, 60.0) + 1e-6
    assert got.margin_percent < 0


@pytest.mark.parametrize("half_width_mm", [83.0, 90.0, 78.0])
def test_margin_is_the_scale_at_which_the_side_meets_the_edge(half_width_mm):
    got = judge([lens()], GUIDE, Box(parts=(mask(half_width_mm),)))
    want = 100 * ((half_width_mm - RADIUS) / ((60.0 + DEPTH) * TAN) - 1)
    assert want - 0.05 < got.margin_percent <= want
    assert (got.margin_percent > 0) == (got.room_mm > 0)


def test_a_flag_much_narrower_than_the_beam_ends_the_margin_where_it_is_met():
    flag = board((82.0, 84.0), (20.0, 21.0), (60.0, 60.5))
    got = judge([lens()], GUIDE, Box(parts=(flag,)))
    want = 100 * ((82.0 - RADIUS) / (100.5 * TAN) - 1)
    assert want - 0.05 < got.margin_percent <= want
    assert got.margin_part == 0


def test_depth_of_a_board_is_the_least_move_across_the_axis():
    got = judge([lens()], GUIDE, Box(parts=(board((70.0, 200.0), (-90.0, 90.0), (59.0, 60.0)),)), margin=False)
    assert got.room_mm == pytest.approx(70.0 - (100.0 * TAN + RADIUS), abs=0.02)


def test_the_place_of_a_board_deep_in_the_beam_lies_on_the_board():
    """All rays of the right edge pass it as deeply, most of them above it and below."""
    got = judge([lens()], GUIDE, Box(parts=(board((60.0, 200.0), (-9.0, 15.0), (59.0, 60.0)),)), margin=False)
    assert got.room_mm < -10.0
    x, y, z = got.parts[0].point_mm
    assert 60.0 - 0.5 <= x <= 200.0
    assert -9.0 <= y <= 15.0
    assert 59.0 <= z <= 60.0


def test_everything_between_two_pupil_depths_counts():
    depths = [lens(30.0), lens(40.0), lens(50.0)]
    got = judge(depths, GUIDE, Box(parts=(mask(95.0),)), margin=False)
    least, most = (side_gap_mm(95.0, 60.0, d) / np.hypot(1.0, TAN) for d in (50.0, 30.0))
    assert got.parts[0].range_mm == pytest.approx((least, most), abs=0.02)


def test_the_waist_between_the_two_pupils_of_one_lens_is_not_filled():
    """Horizontal pupil 20 mm behind the front, vertical 45: between them the beam is narrower than a hull of both sides."""
    pupil = FixedPupil(behind_front_mm=(20.0, 45.0), half_size_mm=(RADIUS, RADIUS))
    got = judge(
        [replace(lens(), pupil=pupil)], GUIDE, Box(parts=(mask(40.0, at_mm=9.0), board((-9.0, 9.0), (150.0, 200.0), (70.0, 71.0))))
    )
    want = side_gap_mm(40.0, 10.0, 20.0) / np.hypot(1.0, TAN)
    assert want - 0.02 < got.parts[0].room_mm <= want + 1e-6


@pytest.mark.parametrize("behind_mm", [38.0, 42.0, 60.0])
def test_a_part_that_reaches_behind_the_pupils_leaves_others_their_room(behind_mm):
    """A flag folded back beside the lens: the waists at 36, 40 and 44 mm then lie among the parts, and none is filled."""
    folded = board((150.0, 151.0), (-40.0, 40.0), (-behind_mm, 40.0))
    got = judge([lens(36.0), lens(40.0), lens(44.0)], GUIDE, Box(parts=(mask(95.0), folded)), margin=False)
    want = side_gap_mm(95.0, 60.0, 44.0) / np.hypot(1.0, TAN)
    assert want - 0.02 < got.parts[0].room_mm <= want + 1e-6


def test_a_plate_brings_the_edge_out_by_less_than_its_shift():
    """Source: plate shift T sin t (1 - cos t / sqrt(n^2 - sin^2 t)) (docs/physics.md, "Glass"): the beam beyond is narrower."""
    slab = make.filter_slab(pose(), at_mm=20.0, depth_mm=8.0, outline=Circle(200.0), thickness_mm=4.0)
    bare = judge([lens()], GUIDE, Box(parts=(mask(90.0),)), margin=False)
    through = judge([lens()], GUIDE, Box(parts=(mask(90.0),), glasses=(Glass(slab=slab, index=1.5168),)), margin=False)
    sine = TAN / np.hypot(1.0, TAN)
    shift = 4.0 * sine * (1 - np.sqrt(1 - sine**2) / np.sqrt(1.5168**2 - sine**2))
    assert through.room_mm - bare.room_mm == pytest.approx(shift, abs=0.02)


def test_light_past_the_edge_of_a_filter_counts_as_well():
    slab = make.filter_slab(pose(), at_mm=20.0, depth_mm=8.0, outline=Circle(40.0), thickness_mm=4.0)
    bare = judge([lens()], GUIDE, Box(parts=(mask(90.0),)), margin=False)
    both = judge([lens()], GUIDE, Box(parts=(mask(90.0),), glasses=(Glass(slab=slab, index=1.5168),)), margin=False)
    assert both.room_mm == pytest.approx(bare.room_mm, abs=0.02)


def test_where_a_distorted_picture_folds_the_margin_ends():
    folding = lens(distortion=(-0.3, 0.0), half_diagonal_mm=float(np.hypot(18.0, 12.0)))
    got = judge([folding], Guide(name="g", half_width_mm=11.0, half_height_mm=7.3), Box(parts=(mask(400.0),)))
    assert got.margin_ends_at_field
    assert got.margin_part is None
    assert got.margin_percent > 0


@pytest.mark.parametrize("tilt_deg", [0.0, 4.0, -7.0])
def test_depth_of_a_leaning_opening_is_how_far_rays_pass_its_edge_in_its_plane(tilt_deg):
    """Corner rays of a plain lens, x = u + t (z + depth), met with the planes of both faces.

    A move across the axis is cos(tilt) +- t sin(tilt) of the way in the plane: a tenth at most here.
    """
    outline = make.opening(size_mm=(150.0, 120.0), corner_mm=30.0)
    leaning = make.mask(pose(), at_mm=59.0, thickness_mm=1.0, opening=outline, tilt_deg=tilt_deg)
    turn = np.linspace(0, 2 * np.pi, 721)
    start = np.column_stack([RADIUS * np.cos(turn), RADIUS * np.sin(turn), np.full_like(turn, -DEPTH)])
    past = np.inf
    for corner in GUIDE.corners_mm():
        way = np.array([-corner[0] / FOCAL, corner[1] / FOCAL, 1.0])
        for loop in leaning.body.inner:
            o, d = loop.pose.points_to_part(start), loop.pose.vectors_to_part(way)
            at = o + ((loop.z_mm - o[:, 2]) / d[2])[:, None] * d
            past = min(past, float(inside_distance(outline, at[:, :2]).min()))
    got = judge([lens()], GUIDE, Box(parts=(leaning,)), margin=False)
    assert past < -1
    assert got.room_mm == pytest.approx(past, rel=0.1, abs=0.05)


def test_each_part_has_its_own_margin_with_the_sign_of_its_room():
    got = judge([lens()], GUIDE, Box(parts=(mask(90.0), mask(75.0, at_mm=39.0), mask(75.0))), every_margin=True)
    want = [100 * ((w - RADIUS) / ((z + DEPTH) * TAN) - 1) for w, z in ((90.0, 60.0), (75.0, 40.0), (75.0, 60.0))]
    assert [part.margin_percent for part in got.parts] == pytest.approx(want, abs=0.05)
    assert [part.margin_percent > 0 for part in got.parts] == [part.room_mm > 0 for part in got.parts]
    assert got.margin_percent == pytest.approx(min(want), abs=0.05)
