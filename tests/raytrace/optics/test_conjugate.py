"""Focus geometry against thin-lens arithmetic."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.errors import GeometryError
from raytrace.optics.conjugate import (
    conjugate,
    magnification_of_focus,
    principal_planes_apart_mm,
)


@pytest.mark.parametrize(("f", "s"), [(50, 1000), (50, 500), (25, 300), (100, 1000)])
def test_focus_from_the_image_plane_gives_the_same_magnification(f, s):
    m = f / (s - f)  # thin lens: object s, image f (1 + m), so the image plane is s + f (1 + m) from the object
    assert magnification_of_focus(f, s + f * (1 + m)) == pytest.approx(m, rel=1e-13)


def test_a_thin_lens_with_its_pupil_at_the_glass_sees_the_textbook_field():
    # p = 1, pupil at the principal plane, 50 from the sensor at infinity: tan(field) = x / (f (1 + m)), Manual of Photography
    # (from memory)
    found = conjugate(50.0, 1000.0 + 50.0 * (1 + 1 / 19), 50.0, 0.0, pupil_magnification=1.0)
    assert found.effective_focal_mm == pytest.approx(52.631578947, abs=5e-10)
    assert found.magnification == pytest.approx(1 / 19)


def test_without_a_pupil_magnification_no_field_is_narrower_than_at_infinity():
    assert conjugate(50.0, 1000.0 + 50.0 * (1 + 1 / 19), 50.0 * (1 + 1 / 19), 0.0).effective_focal_mm == 50.0


# Real chief rays through published tables, the whole lens moved to focus, image height 18 mm, traced by a separate script: US
# Patent 4,099,850 scaled to 28 mm and US Patent 4,448,497 example 1 scaled to 50 mm. c/f, p -> HH', D, F of the rays, f (1 + m/p).
REAL = [
    (28.0, 2.33, 1.944834595, 23.7, 300.0, 29.26, 29.86),
    (28.0, 2.33, 1.944834595, 23.7, 250.0, 29.83, 30.43),
    (50.0, 1.06, 1.323994134, -9.2, 400.0, 55.38, 56.27),
    (50.0, 1.06, 1.323994134, -9.2, 300.0, 58.62, 59.61),
]


@pytest.mark.parametrize(("f", "c_by_f", "p", "apart", "focus", "rays", "formula"), REAL)
def test_with_the_pupil_magnification_real_lenses_see_at_close_focus_what_their_rays_say(f, c_by_f, p, apart, focus, rays, formula):
    c = c_by_f * f
    assert principal_planes_apart_mm(f, c, p) == pytest.approx(apart, abs=0.2)  # c/f is given to three digits
    found = conjugate(f, focus, c, 0.0, pupil_magnification=p).effective_focal_mm
    assert found == pytest.approx(formula, abs=0.03)
    assert found == pytest.approx(rays, rel=0.021)  # most of it the lenses' own distortion, +2.0 and +1.25 %
    assert conjugate(f, focus, c, 0.0).effective_focal_mm < rays  # the safe side without it


def test_a_pupil_magnification_that_no_focus_allows_leaves_the_guess():
    # HH' = 120 - 60 + 30 / 0.1 = 360 would put the object nearer than 4 f to the image
    assert conjugate(30.0, 450.0, 150.0, 30.0, pupil_magnification=0.1) == conjugate(30.0, 450.0, 150.0, 30.0)


def test_infinity_keeps_the_focal_length():
    found = conjugate(18.0, np.inf, 168.0, 38.0)
    assert (found.magnification, found.object_distance_mm, found.effective_focal_mm) == (0.0, np.inf, 18.0)


def test_object_plane_is_measured_from_the_pupil():
    # L = D - (front to sensor - pupil behind front) = 350 - (168 - 38) by hand
    assert conjugate(18.0, 350.0, 168.0, 38.0).object_distance_mm == pytest.approx(220.0)


def test_one_to_one_is_four_focal_lengths_away():
    assert magnification_of_focus(50.0, 200.0) == pytest.approx(1.0)


def test_focus_nearer_than_four_focal_lengths_is_refused_in_one_sentence():
    with pytest.raises(GeometryError) as caught:
        magnification_of_focus(50.0, 199.0)
    assert str(caught.value) == (
        "focus_mm: a focus distance from the image plane must be at least 4 focal lengths (200 mm here), got 199; "
        "give the lens a state with its own half_field_deg at that focus"
    )


def test_focus_inside_the_lens_is_refused():
    with pytest.raises(GeometryError, match="must lie ahead of the lens front"):
        conjugate(18.0, 160.0, 168.0, 38.0)


@given(f=st.floats(5, 300), m=st.floats(1e-4, 1.0))
def test_magnification_solves_its_equation(f, m):
    found = magnification_of_focus(f, f * (2 + m + 1 / m) * (1 + 1e-15))
    assert f * (2 + found + 1 / found) == pytest.approx(f * (2 + m + 1 / m), rel=1e-12)
    assert 0 < found <= 1
