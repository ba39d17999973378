"""Natural fall-off against closed forms and a numerical integral."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from raytrace.optics.falloff import natural_falloff
from raytrace.optics.projection import PROJECTIONS, image_radius_mm


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
