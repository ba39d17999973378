"""Parts cut to what lies between the planes where rays begin and end."""

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from raytrace.coverage.tables.clip import block_between


def disc(radius_mm, z_mm, count):
    turn = 2 * np.pi * np.arange(count) / count
    return np.column_stack([radius_mm * np.cos(turn), radius_mm * np.sin(turn), np.full(count, z_mm)])


@pytest.mark.parametrize("count", [6, 400])
def test_a_cut_cone_has_the_volume_of_its_frustum(count):
    # Frustum of a pyramid on an n-gon: h / 3 (A1 + A2 + sqrt(A1 A2)); Abramowitz and Stegun, 3.2 (from memory).
    whole = np.concatenate([disc(50.0, 0.0, count), disc(10.0, 40.0, count)])
    cut = block_between(whole, (10.0, np.inf))
    area = [0.5 * count * np.sin(2 * np.pi / count) * r**2 for r in (40.0, 10.0)]
    assert ConvexHull(cut).volume == pytest.approx(30 / 3 * (area[0] + area[1] + np.sqrt(area[0] * area[1])), rel=1e-9)
    assert cut[:, 2].min() == pytest.approx(10.0)


def test_cutting_a_body_of_many_points_leaves_about_as_many():
    whole = np.concatenate([disc(50.0 + k, 5.0 * k, 400) for k in range(5)])
    assert len(block_between(whole, (7.0, np.inf))) < 2 * len(whole)
