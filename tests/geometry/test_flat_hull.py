"""Hulls of flat points, against scipy's (Qhull)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from geometry.flat_hull import hull_corners


@pytest.mark.parametrize("seed", range(20))
def test_a_hull_has_the_corners_that_qhull_finds(seed):
    rng = np.random.default_rng(seed)
    points = np.concatenate([rng.normal(size=(200, 2)) * [90.0, 40.0], 50.0 * _circle(37 + seed)])
    ours = hull_corners(points)
    theirs = ConvexHull(points).vertices
    first = int(np.flatnonzero(theirs == ours[0])[0])
    assert np.roll(theirs, -first).tolist() == ours.tolist()  # both counter-clockwise, wherever they begin


def test_points_on_a_straight_side_are_no_corners():
    across = np.linspace(-5.0, 5.0, 11)
    sides = np.concatenate([np.column_stack([across, np.full(11, y)]) for y in (-2.0, 2.0)])
    assert sorted(map(tuple, sides[hull_corners(sides)])) == [(-5.0, -2.0), (-5.0, 2.0), (5.0, -2.0), (5.0, 2.0)]


def test_points_in_one_line_have_no_hull():
    assert len(hull_corners(np.column_stack([np.arange(9.0), 2.0 * np.arange(9.0)]))) == 0
    assert len(hull_corners(np.ones((5, 2)))) == 0


def _circle(count):
    turn = 2 * np.pi * np.arange(count) / count
    return np.column_stack([np.cos(turn), np.sin(turn)])
