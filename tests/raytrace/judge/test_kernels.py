"""The kernels' own geometry against general libraries."""

from __future__ import annotations

import numpy as np
import pytest
from numba.core.caching import NullCache
from scipy.optimize import linprog, minimize
from scipy.spatial import ConvexHull

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.gjk import BENCH, NORMAL, apart_mm
from raytrace.judge.kernels.hull import CHAIN, DIRECTIONS, flat_hull


def compiled_anew(function):
    """A kernel of the test's own, not kept on disk: there it would outlive a change of what it calls."""
    kernel = compiled(function, entry=True)
    kernel._cache = NullCache()
    return kernel


@compiled_anew
def hull_of(points, keys, poly, numbers):
    return flat_hull(points, 0, keys, poly, numbers)


@compiled_anew
def distance_of(corners, runs, piece, bench, pair):
    return apart_mm(corners, runs, 0, piece, len(piece), np.inf, bench, pair)


@pytest.mark.parametrize("points", [50, 4000])
def test_flat_hull_keeps_every_corner_of_points_whose_columns_share_an_x(points):
    """Against qhull: the hull of the corners kept has the area of the hull of all points."""
    rng = np.random.default_rng(points)
    xy = np.round(rng.normal(size=(points, 2)) * [40, 10])
    xy[:, 1] += rng.random(points)
    numbers = np.zeros((4, 2 * points + 2), dtype=np.int64)
    count = hull_of(np.column_stack([xy, np.zeros(points)])[None], np.zeros(points), np.zeros((DIRECTIONS + 1, 3)), numbers)
    kept = numbers[CHAIN, :count]
    assert ConvexHull(xy[kept]).volume == pytest.approx(ConvexHull(xy).volume, rel=1e-9)
    assert len(kept) < points


@pytest.mark.parametrize("seed", range(12))
def test_what_a_plane_leaves_is_the_distance_of_two_bodies_and_nought_where_they_meet(seed):
    """Against scipy: a quadratic programme where they stand apart, a feasibility test of blends where they may meet."""
    rng = np.random.default_rng(seed)
    leg = np.concatenate([rng.normal(size=(9, 3)) * 5, rng.normal(size=(7, 3)) * 5 + [0, 0, 30]])
    piece = rng.normal(size=(6, 3)) * 4 + rng.normal(size=3) * 12
    bench, pair = np.zeros((BENCH, 4)), np.zeros((4, 2), dtype=np.int64)
    bench[NORMAL, :3] = piece.mean(axis=0) - leg.mean(axis=0)
    got = distance_of(leg, np.array([[0, 9, 9, 16]]), piece, bench, pair)
    if _meet(leg, piece):
        assert got <= 0
    else:
        assert got == pytest.approx(_distance(leg, piece), abs=2e-3)


def _meet(a, b):
    rows = np.concatenate([a, -b]).T
    sums = np.array([[1.0] * len(a) + [0.0] * len(b), [0.0] * len(a) + [1.0] * len(b)])
    return linprog(np.zeros(len(a) + len(b)), A_eq=np.vstack([rows, sums]), b_eq=[0, 0, 0, 1, 1]).status == 0


def _distance(a, b):
    def apart(w):
        return float(np.sum((w[: len(a)] @ a - w[len(a) :] @ b) ** 2))

    start = np.concatenate([np.full(len(a), 1 / len(a)), np.full(len(b), 1 / len(b))])
    ones = [{"type": "eq", "fun": lambda w: w[: len(a)].sum() - 1}, {"type": "eq", "fun": lambda w: w[len(a) :].sum() - 1}]
    exact = {"ftol": 1e-14, "maxiter": 500}
    found = minimize(apart, start, bounds=[(0, 1)] * len(start), constraints=ones, method="SLSQP", options=exact)
    return np.sqrt(found.fun)
