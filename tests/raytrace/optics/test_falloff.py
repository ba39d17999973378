"""Natural fall-off against closed forms and a numerical integral."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad

from raytrace.optics.falloff import disc_form_factor, exact_falloff, natural_falloff
from raytrace.optics.projection import PROJECTIONS, image_radius_mm

# Foote, Bull. Bur. Stand. 12, 583 (1915), flat pupil: N, field, F; each agrees with a double integral (scipy dblquad)
FOOTE = [
    (1.4, 0, 0.113122171946),
    (1.4, 20, 0.0924598275316),
    (1.4, 30, 0.0698148150290),
    (1.4, 40, 0.0445643969934),
    (1.4, 45, 0.0328368410492),
    (2.8, 0, 0.0309023485785),
    (2.8, 20, 0.0244134333891),
    (2.8, 30, 0.0178258893681),
    (2.8, 40, 0.0110278649507),
    (2.8, 45, 0.00803446540032),
    (5.6, 30, 0.00447745318199),
]
# The same over its axial value, and over cos^4
RELATIVE = [
    (1.4, 20, 0.8173448754, 1.04824326),
    (1.4, 30, 0.6171629649, 1.09717860),
    (1.4, 40, 0.3939492694, 1.14399581),
    (1.4, 45, 0.2902776749, 1.16111070),
    (2.8, 20, 0.7900187045, 1.01319750),
    (2.8, 30, 0.5768457800, 1.02550361),
    (2.8, 40, 0.3568617098, 1.03629663),
    (2.8, 45, 0.2599953004, 1.03998120),
    (5.6, 30, 0.5661291803, 1.00645188),
]


@pytest.mark.parametrize(("f_number", "deg", "expected"), FOOTE)
def test_a_flat_disc_lights_a_point_as_foote_says(f_number, deg, expected):
    assert disc_form_factor(np.radians(deg), 1 / (2 * f_number)) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("f_number", "deg", "expected", "over_cos4"), RELATIVE)
def test_a_fast_lens_falls_off_less_than_cos4(f_number, deg, expected, over_cos4):
    found = exact_falloff(np.radians(deg), f_number)
    assert found == pytest.approx(expected, abs=6e-11)
    assert found / natural_falloff(np.radians(deg), "rectilinear") == pytest.approx(over_cos4, abs=6e-9)


@pytest.mark.parametrize(("deg", "tan_alpha"), [(25.0, 0.4), (10.0, 1.7)])
def test_disc_agrees_with_an_integral_over_the_pupil(deg, tan_alpha):
    offset = np.tan(np.radians(deg))

    def element(phi, r):  # unit distance: cos^2 / (pi d^2) dA
        return r / np.pi / (1 + (r * np.cos(phi) - offset) ** 2 + (r * np.sin(phi)) ** 2) ** 2

    expected = dblquad(element, 0.0, tan_alpha, 0.0, 2 * np.pi, epsabs=1e-11)[0]
    assert disc_form_factor(np.radians(deg), tan_alpha) == pytest.approx(expected, abs=1e-10)


def test_a_tiny_pupil_gives_cos4_to_the_last_digits():
    t = np.radians([20, 30, 40, 45])  # limit of small a; cos^4 t = 0.779728 / 0.5625 / 0.344363 / 0.25
    np.testing.assert_allclose(exact_falloff(t, 5e5), np.cos(t) ** 4, rtol=1e-11)


@pytest.mark.parametrize(
    ("projection", "at_40", "at_60"),
    [  # cos t sin t / (r r') in closed form, plain numpy
        ("rectilinear", 0.344362511, 0.0625),
        ("equidistant", 0.705316598, 0.413496672),
        ("equisolid", 0.766044443, 0.5),
        ("stereographic", 0.597306488, 0.28125),
        ("orthographic", 1.0, 1.0),
    ],
)
def test_each_projection_spreads_its_light(projection, at_40, at_60):
    np.testing.assert_allclose(natural_falloff(np.radians([0, 40, 60]), projection), [1, at_40, at_60], atol=5e-10)


@given(t=st.floats(0.05, 1.5), projection=st.sampled_from(PROJECTIONS))
def test_falloff_is_solid_angle_per_picture_area(t, projection):
    h = 1e-5
    inner, outer = image_radius_mm([t - h, t + h], 1.0, projection)
    solid_angle = np.cos(t - h) - np.cos(t + h)  # of a ring on the sphere, over 2 pi
    ring = (outer**2 - inner**2) / 2
    assert natural_falloff(t, projection) == pytest.approx(np.cos(t) * solid_angle / ring, rel=1e-5)


@pytest.mark.parametrize("projection", PROJECTIONS)
def test_a_flat_pupil_seen_from_behind_gives_no_light(projection):
    assert not natural_falloff(np.radians([90.0, 120.0]), projection).any()
