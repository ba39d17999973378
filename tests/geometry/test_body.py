"""Bodies: loops stand where their pose puts them, and shapes that cannot be are refused."""

from contextlib import nullcontext

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose

from geometry.body import Block, Kind, Loop, Part, Tube
from geometry.errors import GeometryError
from geometry.frame import pose
from geometry.outline import Circle, Freeform, RoundedRectangle


def test_a_loop_lies_in_its_own_plane_ahead_of_the_parts_centre():
    place = pose(right_mm=12, up_mm=3, ahead_mm=40, tilt_deg=8, turn_deg=25)
    (points,) = Loop(place, RoundedRectangle(80, 50, 5), 3.5).points_mm()
    assert_allclose(place.points_to_part(points)[:, 2], 3.5)


def test_a_loops_points_move_to_the_operators_right_with_its_pose():
    (points,) = Loop(pose(right_mm=100), Circle(10), 0.0).points_mm()
    assert_allclose([points[:, 0].min(), points[:, 0].max()], [-110, -90], atol=0.01)


def test_an_outline_with_a_hole_gives_two_loops():
    frame = shapely.box(-9, -9, 9, 9).difference(shapely.box(-1, -1, 1, 1))
    assert len(Loop(pose(), Freeform(frame)).points_mm()) == 2


def test_a_tube_needs_a_way_through():
    with pytest.raises(GeometryError, match="at least one inner and one outer loop"):
        Tube(inner=(), outer=(Loop(pose(), Circle(5)),), bounded=True)


@pytest.mark.parametrize("corners", [np.zeros((3, 3)), np.zeros((8, 2)), np.zeros(12)])
def test_a_block_needs_four_corners_in_space(corners):
    with pytest.raises(GeometryError, match="at least four corners of three coordinates"):
        Block(corners)


def test_a_block_without_thickness_is_refused():
    flat = np.array([[0, 0, 0], [100, 0, 50], [0, 80, 0], [100, 80, 50]], dtype=float)
    with pytest.raises(GeometryError, match="must have thickness"):
        Block(flat)


def test_a_thin_blade_is_still_a_block():
    corners = np.array([[x, y, z] for x in (0, 260) for y in (0, 0.05) for z in (0, 110)], dtype=float)
    assert Part(name="flag", kind=Kind.FLAG, body=Block(corners)).kind is Kind.FLAG


@pytest.mark.parametrize("thickness_mm", [0.0, 1e-8, 1e-7, 3e-6, 1e-5, 1e-3, 0.02, 1.5])
def test_a_block_is_refused_by_the_spread_of_its_corners_whatever_its_size(thickness_mm):
    # outside: numpy's singular values, of boards of up to 3 m, turned at random
    draw = np.random.default_rng(1)
    for _ in range(40):
        board = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)]) * [*draw.uniform(5, 3000, 2), thickness_mm]
        corners = board @ np.linalg.qr(draw.normal(size=(3, 3)))[0] + draw.uniform(-500, 500, 3)
        flat = np.linalg.svd(corners - corners.mean(axis=0), compute_uv=False)[-1] < 1e-6
        with pytest.raises(GeometryError) if flat else nullcontext():
            Block(corners)
