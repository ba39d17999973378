"""Barrel, front ring and rods stand where the lens and the mount are."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geometry.errors import GeometryError
from geometry.fixtures import RodSpec, barrel, front_ring, rods
from geometry.meshes import part_mesh

LIGHT_RODS = RodSpec(name="rods-15", diameter_mm=15, spacing_mm=60, drop_mm=85)  # common practice


def test_the_front_ring_ends_at_the_front_rim():
    bounds = part_mesh(front_ring(outside_mm=114, glass_mm=96)).bounds
    assert_allclose(bounds[:, 2], [-2, 0])
    assert_allclose(bounds[:, 0], [-57, 57])


def test_the_barrel_stands_behind_the_front_ring():
    assert_allclose(part_mesh(barrel(outside_mm=114, length_mm=90)).bounds[:, 2], [-90, -2])


def test_the_right_rod_runs_at_minus_x_below_the_lens():
    left, right = rods(LIGHT_RODS, rear_mm=-200, front_mm=30)
    assert (left.name, right.name) == ("left rod", "right rod")
    bounds = part_mesh(right).bounds
    assert_allclose(bounds, [[-37.5, -92.5, -200], [-22.5, -77.5, 30]], atol=0.05)  # -30 -+ 7.5 across, -85 -+ 7.5 down
    assert part_mesh(left).bounds[0, 0] > 0


def test_a_rod_weighs_what_a_cylinder_does():
    left, _ = rods(LIGHT_RODS, rear_mm=0, front_mm=100)
    assert part_mesh(left).volume == pytest.approx(np.pi * 7.5**2 * 100, rel=5e-3)  # pi r^2 l


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: RodSpec(name="r", diameter_mm=19, spacing_mm=15, drop_mm=85), "r: rods must be thinner than they stand apart"),
        (lambda: rods(LIGHT_RODS, rear_mm=10, front_mm=-5), "rods-15: rods must end ahead of where they begin"),
        (lambda: front_ring(outside_mm=96, glass_mm=114), "front ring: the clear glass must be smaller"),
        (lambda: barrel(outside_mm=114, length_mm=1), "barrel: length must be above 2 mm, found 1"),
    ],
)
def test_fixtures_that_cannot_be_are_refused(make, words):
    with pytest.raises(GeometryError, match=words):
        make()
