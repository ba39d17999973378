"""The scene's two terms against a numerical inverse of the metadata's. Formula: OpenLensIO 1.0.0, equations 16 and 17."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from raytrace.optics.projection import undistort_radius
from scenes.lens_data.distortion import fitted, undistorted_mm, widening
from scenes.lens_data.reading import Picture, Polynomial

HALF = 21.633
PICTURE = Picture(width_mm=36.0, height_mm=24.0)


def u(r, k):
    over = 1 + k[0] * r**2 + k[2] * r**4 + k[4] * r**6
    return r * over / (1 + k[1] * r**2 + k[3] * r**4 + k[5] * r**6)


CASES = [
    (1.2e-4, 0.0, 1e-8, 0.0, 0.0, 0.0),
    (-8e-5, 2e-5, 3e-8, 0.0, 0.0, 0.0),
    (2e-4, 1e-4, 0.0, 2e-8, 1e-11, 1e-12),
]


def polynomial(k, *, undistorts=True, tangential=()):
    return Polynomial(radial=tuple(k), tangential=tuple(tangential), undistorts=undistorts, model="test")


@pytest.mark.parametrize("k", CASES)
def test_an_undistorting_polynomial_is_taken_as_it_stands(k):
    assert undistorted_mm(polynomial(k), 18.0) == pytest.approx(u(18.0, k), rel=1e-12)


@pytest.mark.parametrize("k", CASES)
def test_a_distorting_polynomial_is_inverted(k):
    root = brentq(lambda q: u(q, k) - 18.0, 0.0, 30.0)
    assert undistorted_mm(polynomial(k, undistorts=False), 18.0) == pytest.approx(root, rel=1e-6)


@pytest.mark.parametrize("k", CASES)
@pytest.mark.parametrize("undistorts", [True, False])
def test_the_fitted_terms_put_points_where_the_polynomial_has_them(k, undistorts):
    fit = fitted(polynomial(k, undistorts=undistorts), HALF)
    for share in (0.2, 0.5, 0.83, 1.0):
        r = share * HALF
        plain = u(r, k) if undistorts else brentq(lambda q: u(q, k) - r, 0.0, 30.0)  # noqa: B023 - used at once
        told = float(undistort_radius(np.array([share]), fit.terms)[0]) * HALF
        assert told == pytest.approx(plain, abs=1.5 * fit.residual_share * HALF + 1e-4)


def test_barrel_stays_barrel_whichever_way_it_is_told():
    # barrel: the picture is smaller than without distortion, so the scene's k1 is negative
    assert fitted(polynomial([1e-4]), HALF).terms[0] < 0.0
    assert fitted(polynomial([-1e-4], undistorts=False), HALF).terms[0] < 0.0


@pytest.mark.parametrize("k", [*CASES, (3e-4, 0.0, -4e-7, 0.0, 3e-10, 0.0)])
@pytest.mark.parametrize("other", [(0.0, 0.0), (-0.05, 0.01), (0.03, 0.0)])
def test_a_widened_field_is_nowhere_narrower_than_the_polynomial_s(k, other):
    grown = widening(polynomial(k), other, PICTURE, (0.0, 0.0), 0.0)
    r = np.linspace(0.05, 1.0, 100) * PICTURE.half_diagonal_mm
    scene, edge = (undistort_radius(radii / PICTURE.half_diagonal_mm, other) for radii in (r, np.array([18.0])))
    tangents = scene / edge[0] * u(18.0, k) * grown
    assert (tangents >= u(r, k) * (1 - 1e-6)).all()


def test_without_distortion_nothing_is_widened():
    assert widening(None, (0.0, 0.0), PICTURE, (0.0, 0.0), 0.0) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize(("p", "off", "centre"), [((1e-5, -2e-5), (0.0, 0.0), 0.0), ((), (0.4, 0.9), 0.0), ((), (0.0, 0.0), 1.5)])
def test_tangential_terms_axis_and_centre_off_the_middle_are_held_by_a_wider_field(p, off, centre):
    # Brown-Conrady: x (radial) + 2 p1 x y + p2 (r^2 + 2 x^2), y likewise; about a centre of its own (OpenLensIO 1.5, eq. 16 and 17)
    k = (1e-4, 0.0, 0.0, 0.0, 0.0, 0.0)
    terms = fitted(polynomial(k), HALF).terms
    grown = widening(polynomial(k, tangential=p), terms, PICTURE, off, centre)
    assert grown > 1.0
    edge = float(undistort_radius(np.array([18.0 / HALF]), terms)[0]) * HALF
    for turn in np.radians(np.arange(0, 360, 15)):
        c = centre * np.array([math.cos(turn), math.sin(turn)])
        for x, y in [(s * 18.0, t * 12.0) for s in (-1, 0, 1) for t in (-1, 0, 1)]:
            ax, ay = x + math.copysign(off[0], x) - c[0], y + math.copysign(off[1], y) - c[1]
            r = math.hypot(ax, ay)
            p1, p2 = p or (0.0, 0.0)
            ux = ax * u(r, k) / r + 2 * p1 * ax * ay + p2 * (r**2 + 2 * ax**2) + c[0] if r else c[0]
            uy = ay * u(r, k) / r + 2 * p2 * ax * ay + p1 * (r**2 + 2 * ay**2) + c[1] if r else c[1]
            plain = math.hypot(x, y)
            scene = float(undistort_radius(np.array([plain / HALF]), terms)[0]) * HALF / plain if plain else 1.0
            scale = grown * u(18.0, k) / edge
            if x:
                assert abs(x) * scene * scale >= math.copysign(1, x) * ux - 1e-6
            if y:
                assert abs(y) * scene * scale >= math.copysign(1, y) * uy - 1e-6


def test_terms_that_fold_the_picture_are_no_distortion():
    assert fitted(polynomial([-2e-3]), HALF) is None
    assert fitted(polynomial([0.0, -1 / 15**2]), HALF) is None
    assert math.isnan(widening(polynomial([-2e-3]), (0.0, 0.0), PICTURE, (0.0, 0.0), 0.0))
