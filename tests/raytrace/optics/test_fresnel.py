"""Plates of glass against Fresnel's formulas, a vector trace and the transfer-matrix package tmm."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.errors import GeometryError
from raytrace.optics.fresnel import (
    Plate,
    face_reflectance,
    internal_transmittance_of_density,
    loss_stops,
    plate_sp,
)

BK7 = 1.5168  # nd of N-BK7, refractiveindex.info (CC0): 1.51680003

# Born & Wolf (from memory), evaluated in numpy; rows 0 to 60 and 75 agree with tmm 0.2.0 interface_R, inc_tmm to 1e-10.
FRESNEL = [
    (0, 0.0421645626, 0.0421645626, 0.0421645626, 0.919082717),
    (15, 0.0461596398, 0.0383350419, 0.0422473408, 0.918957337),
    (30, 0.0606607460, 0.0267827065, 0.0437217263, 0.916724428),
    (45, 0.0959783018, 0.0092118344, 0.0525950681, 0.903299072),
    (60, 0.1823467278, 0.0015700399, 0.0919583839, 0.844208010),
    (70, 0.3065784582, 0.0416899953, 0.1741342268, 0.725336290),
    (75, 0.4065117302, 0.1057760419, 0.2561438860, 0.615321040),
]


def passed(angle_rad, plate):
    """Share of unpolarised light that a plate passes: the mean over s and p."""
    return np.mean(plate_sp(angle_rad, plate)[0], axis=0)


@pytest.mark.parametrize(("deg", "s", "p", "mean", "plate"), FRESNEL)
def test_bare_glass_reflects_and_passes(deg, s, p, mean, plate):
    t = np.radians(deg)
    found = face_reflectance(t, BK7)
    assert (found[0], found[1]) == (pytest.approx(s, abs=5e-11), pytest.approx(p, abs=5e-11))
    assert np.mean(found) == pytest.approx(mean, abs=5e-11)
    assert passed(t, Plate(index=BK7)) == pytest.approx(plate, abs=5e-10)


def test_no_p_light_is_reflected_at_brewsters_angle():
    s, p = face_reflectance(np.arctan(BK7), BK7)  # tan t = n, Brewster
    assert p == pytest.approx(0.0, abs=1e-30)
    assert s == pytest.approx(0.155286959921, abs=1e-12)


def test_soda_lime_at_normal_incidence():
    # R = ((n - 1) / (n + 1))^2 and P = 2 n / (n^2 + 1)
    assert face_reflectance(0.0, 1.523)[0] == pytest.approx(0.042970348576, abs=1e-12)
    assert passed(0.0, Plate(index=1.523)) == pytest.approx(2 * 1.523 / (1.523**2 + 1), abs=1e-14)


# Exact absorbing plate, (1 - R)^2 tau / (1 - R^2 tau^2), in numpy; tmm 0.2.0 with complex index agrees for D 0.6.
DENSITIES = [
    (0.3, 0.5459941178, (0.01322500, 0.05583379, 0.14157304, 0.32651366)),
    (0.6, 0.2737539105, (0.02804938, 0.11488817, 0.27205213, 0.54674046)),
    (1.2, 0.0687724580, (0.05770834, 0.23288634, 0.53195228, 0.98193189)),
    (1.8, 0.0172749965, (0.08737352, 0.35088494, 0.79174477, 1.41656331)),
]


@pytest.mark.parametrize(("density", "tau", "extra"), DENSITIES)
def test_density_in_the_mass_darkens_with_angle(density, tau, extra):
    found = internal_transmittance_of_density(density, BK7)
    assert found == pytest.approx(tau, abs=5e-11)
    plate = Plate(index=BK7, internal_transmittance=found)
    loss = loss_stops(passed(np.radians([0, 15, 30, 45, 60]), plate))
    np.testing.assert_allclose(loss[1:] - loss[0], extra, atol=5e-9)


def test_density_06_agrees_with_the_transfer_matrix_package():
    plate = Plate(index=BK7, internal_transmittance=internal_transmittance_of_density(0.6, BK7))
    # tmm 0.2.0, inc_tmm with a complex index
    found = passed(np.radians([45, 60]), plate)
    np.testing.assert_allclose(found, [0.2080195480, 0.1719549658], atol=5e-11)


def test_a_density_thinner_than_clear_glass_is_refused_in_one_sentence():
    with pytest.raises(GeometryError) as caught:
        internal_transmittance_of_density(0.02, BK7)
    assert str(caught.value) == (
        "density: the faces of this glass alone have a density of 0.03665, got 0.02; "
        'use kind = "clear" or give a reflectance for its coating'
    )


def test_a_stated_reflectance_replaces_fresnel():
    plate = Plate(index=BK7, reflectance=0.005)  # (1 - R) / (1 + R) by hand
    np.testing.assert_allclose(passed(np.radians([0.0, 40.0]), plate), 0.995 / 1.005, rtol=1e-14)


@given(deg=st.floats(0, 89), tau=st.floats(0.001, 1), index=st.floats(1.3, 1.9))
def test_no_plate_makes_light(deg, tau, index):
    transmittance, reflectance = plate_sp(np.radians(deg), Plate(index=index, internal_transmittance=tau))
    for t, r in zip(transmittance, reflectance, strict=True):
        assert 0 <= t <= 1
        assert t + r <= 1 + 1e-12


@given(deg=st.floats(0, 89), index=st.floats(1.3, 1.9))
def test_a_clear_plate_loses_nothing(deg, index):
    transmittance, reflectance = plate_sp(np.radians(deg), Plate(index=index))
    for t, r in zip(transmittance, reflectance, strict=True):
        assert t + r == pytest.approx(1.0, abs=1e-12)
