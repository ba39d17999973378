"""The kernels' own geometry against general libraries."""

from __future__ import annotations

import numpy as np
import pytest
from numba.core.caching import NullCache
from scipy.optimize import linprog, minimize
from scipy.spatial import ConvexHull

from raytrace.jit.compiled import compiled
from raytrace.judge.kernels.alike import alike_hull
from raytrace.judge.kernels.gjk import BENCH, NORMAL, apart_mm
from raytrace.judge.kernels.hull import CHAIN, DIRECTIONS, flat_hull
from raytrace.judge.kernels.pupil_sides import SIDE_ROWS, turn_sides


def compiled_anew(function):
    """A kernel of the test's own, not kept on disk: there it would outlive a change of what it calls."""
    kernel = compiled(function, entry=True)
    kernel._cache = NullCache()
    return kernel


@compiled_anew
def hull_of(points, turns, keys, poly, numbers):
    turn_sides(turns)
    return flat_hull(points, 0, turns, keys, poly, numbers)


@compiled_anew
def moved_hull_of(points, sides, keys, numbers):
    return alike_hull(points, 0, sides, keys, numbers)


@compiled_anew
def distance_of(corners, runs, piece, bench, pair):
    return apart_mm(corners, runs, 0, piece, len(piece), np.inf, bench, pair)


def corners_of(xy, sides):
    """Indices of the corners of points (N, 2), once round."""
    numbers, columns = np.zeros((4, 2 * len(xy) + 2), dtype=np.int64), np.column_stack([xy, np.zeros(len(xy))]).T
    scratch = np.zeros((SIDE_ROWS, sides + 1)), np.zeros(len(xy)), np.zeros((DIRECTIONS + 1, 2)), numbers
    return numbers[CHAIN, : hull_of(np.ascontiguousarray(columns)[None], *scratch)]


def corners_of_moved(polygon, places):
    """Corners (n, 2), once round, of a polygon (K, 2) put to places (N, 2), of which the kernel sees the first corners alone."""
    sides, count = len(polygon), len(polygon) * len(places)
    points, numbers = np.full((1, 3, count), np.nan), np.zeros((4, 2 * count + 2), dtype=np.int64)
    points[0, :2, ::sides] = (polygon[0] + places).T
    points[0, :2, :sides] = (polygon + places[0]).T
    points[0, 2, ::sides] = points[0, 2, :sides] = 0.0
    found = numbers[CHAIN, : moved_hull_of(points, sides, np.zeros(count), numbers)]
    return points[0, :2, found]


@pytest.mark.parametrize("points", [50, 4000])
def test_flat_hull_keeps_every_corner_of_points_whose_columns_share_an_x(points):
    """Against qhull: the hull of the corners kept has the area of the hull of all points."""
    rng = np.random.default_rng(points)
    xy = np.round(rng.normal(size=(points, 2)) * [40, 10])
    xy[:, 1] += rng.random(points)
    kept = corners_of(xy, 1)
    assert ConvexHull(xy[kept]).volume == pytest.approx(ConvexHull(xy).volume, rel=1e-9)
    assert len(kept) < points


@pytest.mark.parametrize("bulge", [-2.0, 0.0, 2.0])
def test_polygons_in_a_row_keep_every_corner_once_round_though_each_lies_between_two_others(bulge):
    """Against qhull: two rows of round pupils, straight, bulging or dented, with rounding's noise and copies of their ends."""
    rng, sides, count = np.random.default_rng(3), 48, 30
    turn = 2 * np.pi * (np.arange(sides) + 0.5) / sides
    x = np.linspace(-50.0, 50.0, count)
    rows = [np.column_stack([x, sign * (30.0 + bulge * (1 - (x / 50.0) ** 2))]) for sign in (1, -1)]
    middles = np.concatenate([*rows, rows[0][:1], rows[1][-1:]])
    xy = (middles[:, None] + 9.0 * np.column_stack([np.cos(turn), np.sin(turn)])).reshape(-1, 2)
    xy += rng.normal(size=xy.shape) * 1e-13
    kept = xy[corners_of(xy, sides)]
    assert ConvexHull(kept).volume == pytest.approx(ConvexHull(xy).volume, rel=1e-9)
    step = np.roll(kept, -1, axis=0) - kept
    turned = step[:, 0] * np.roll(step, -1, axis=0)[:, 1] - step[:, 1] * np.roll(step, -1, axis=0)[:, 0]
    assert (turned > 0).all()
    assert len(kept) < 5 * sides


def places_round_an_edge(rng):
    """On the four straight sides of a frame, with rounding's noise."""
    t = np.linspace(-1.0, 1.0, 12)
    sides = [np.column_stack([30.0 * t, np.full(12, 17.0 * sign)]) for sign in (1, -1)]
    sides += [np.column_stack([np.full(12, 30.0 * sign), 17.0 * t]) for sign in (1, -1)]
    return np.concatenate(sides) + rng.normal(size=(48, 2)) * 1e-14


PLACES = {
    "in a row as along an edge of the frame": lambda rng: np.column_stack([np.linspace(-20.0, 20.0, 9), 0.0 * rng.random(9)]),
    "round an edge": places_round_an_edge,
    "anywhere": lambda rng: rng.normal(size=(40, 2)) * [9.0, 4.0],
    "in one": lambda rng: np.tile(rng.normal(size=2), (7, 1)),
}


@pytest.mark.parametrize("size", [12.0, 1e-3, 1e-12, -12.0])
@pytest.mark.parametrize("places", PLACES)
def test_one_shape_put_to_many_places_keeps_every_corner(places, size):
    """Against the farthest of all its points in each of many directions; a polygon that runs the other way round too."""
    rng, turn = np.random.default_rng(5), 2 * np.pi * (np.arange(44) + 0.5) / 44
    polygon = np.column_stack([size * np.cos(turn), abs(size) * 0.4 * np.sin(turn)])
    at = PLACES[places](rng)
    whole, kept = (polygon + at[:, None]).reshape(-1, 2), corners_of_moved(polygon, at)
    looks = np.linspace(0.0, 2 * np.pi, 3600)
    ways = np.stack([np.cos(looks), np.sin(looks)])
    assert (kept @ ways).max(axis=0) == pytest.approx((whole @ ways).max(axis=0), abs=3e-7)
    assert len(kept) <= len(ConvexHull(at).vertices if len(np.unique(at[:, 1])) > 1 else at) + 2 * len(polygon)


@pytest.mark.parametrize("seed", range(12))
def test_what_a_plane_leaves_is_the_distance_of_two_bodies_and_nought_where_they_meet(seed):
    """Against scipy: a quadratic programme where they stand apart, a feasibility test of blends where they may meet."""
    rng = np.random.default_rng(seed)
    before, after = ring(rng, 90, 0.0), ring(rng, 7, 30.0)
    leg = np.concatenate([before, after])
    piece = rng.normal(size=(6, 3)) * 4 + rng.normal(size=3) * 12
    bench, pair = np.zeros((BENCH, 4)), np.zeros((4, 2), dtype=np.int64)
    bench[NORMAL, :3] = piece.mean(axis=0) - leg.mean(axis=0)
    got = distance_of(leg, np.array([[0, len(before), len(before), len(leg)]]), piece, bench, pair)
    if _meet(leg, piece):
        assert got <= 0
    else:
        assert got == pytest.approx(_distance(leg, piece), abs=2e-3)


def ring(rng, points, z):
    """Corners (n, 3) of a flat convex shape at z, once round."""
    turn = np.sort(rng.uniform(0, 2 * np.pi, points))
    xy = np.column_stack([np.cos(turn), np.sin(turn)]) * rng.uniform(3, 8, 2) + rng.normal(size=2) * 3
    return np.column_stack([xy, np.full(points, z)])


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
