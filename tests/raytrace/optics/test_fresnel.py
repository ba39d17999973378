"""Plates of glass against Fresnel's formulas, a vector trace and the transfer-matrix package tmm."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.errors import GeometryError
from raytrace.optics.fresnel import (
    Plate,
    density_to_stops,
    face_reflectance,
    internal_transmittance_of_density,
    loss_stops,
    path_factor,
    plate_axial_shift_mm,
    plate_shift_mm,
    plate_sp,
    plate_tangential_shift_mm,
    plate_transmission,
    stack_transmission,
    transmission_at_thickness,
    unpolarised_reflectance,
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


@pytest.mark.parametrize(("deg", "s", "p", "mean", "plate"), FRESNEL)
def test_bare_glass_reflects_and_passes(deg, s, p, mean, plate):
    t = np.radians(deg)
    found = face_reflectance(t, BK7)
    assert (found[0], found[1]) == (pytest.approx(s, abs=5e-11), pytest.approx(p, abs=5e-11))
    assert unpolarised_reflectance(t, BK7) == pytest.approx(mean, abs=5e-11)
    assert plate_transmission(t, Plate(index=BK7)) == pytest.approx(plate, abs=5e-10)


def test_no_p_light_is_reflected_at_brewsters_angle():
    s, p = face_reflectance(np.arctan(BK7), BK7)  # tan t = n, Brewster
    assert p == pytest.approx(0.0, abs=1e-30)
    assert s == pytest.approx(0.155286959921, abs=1e-12)


def test_soda_lime_at_normal_incidence():
    # R = ((n - 1) / (n + 1))^2 and P = 2 n / (n^2 + 1)
    assert unpolarised_reflectance(0.0, 1.523) == pytest.approx(0.042970348576, abs=1e-12)
    assert plate_transmission(0.0, Plate(index=1.523)) == pytest.approx(2 * 1.523 / (1.523**2 + 1), abs=1e-14)


@pytest.mark.parametrize(("count", "expected"), [(2, 0.850280341), (3, 0.791061605), (4, 0.739554495)])
def test_a_pile_of_clear_plates(count, expected):
    # Stokes' pile of plates, (1 - R) / (1 + (2 N - 1) R)
    assert stack_transmission(0.0, [Plate(index=BK7)] * count) == pytest.approx(expected, abs=5e-10)


def test_a_pile_at_an_angle_follows_stokes_for_each_polarisation():
    t = np.radians([20.0, 50.0, 65.0])
    each = [(1 - r) / (1 + 5 * r) for r in face_reflectance(t, BK7)]
    np.testing.assert_allclose(stack_transmission(t, [Plate(index=BK7)] * 3), np.mean(each, axis=0), rtol=1e-13)


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
    loss = loss_stops(plate_transmission(np.radians([0, 15, 30, 45, 60]), plate))
    np.testing.assert_allclose(loss[1:] - loss[0], extra, atol=5e-9)


def test_density_06_agrees_with_the_transfer_matrix_package():
    plate = Plate(index=BK7, internal_transmittance=internal_transmittance_of_density(0.6, BK7))
    # tmm 0.2.0, inc_tmm with a complex index
    found = plate_transmission(np.radians([45, 60]), plate)
    np.testing.assert_allclose(found, [0.2080195480, 0.1719549658], atol=5e-11)


def test_path_inside_the_glass_grows_as_snell_says():
    found = path_factor(np.radians([15, 30, 45, 60]), BK7)  # 1 / cos(asin(sin t / n))
    np.testing.assert_allclose(found, [1.014883962, 1.059202836, 1.130341777, 1.218055041], atol=5e-10)


def test_density_in_stops():
    # D / log10 2: a density of 0.30 is not exactly one stop
    found = density_to_stops([0.3, 0.6, 0.9, 1.2, 1.8, 2.1])
    expected = [0.9965784, 1.9931569, 2.9897353, 3.9863137, 5.9794706, 6.9760490]
    np.testing.assert_allclose(found, expected, atol=5e-8)


def test_filter_glass_of_another_thickness():
    # Worked example of a filter-glass data book: T 0.598 at 1.0 mm, P 0.911 -> 0.361 at 2.2 mm
    assert transmission_at_thickness(0.598, 0.911, 1.0, 2.2) == pytest.approx(0.360844884, abs=5e-10)


def test_a_density_thinner_than_clear_glass_is_refused_in_one_sentence():
    with pytest.raises(GeometryError) as caught:
        internal_transmittance_of_density(0.02, BK7)
    assert str(caught.value) == (
        "density: the faces of this glass alone have a density of 0.03665, got 0.02; "
        'use kind = "clear" or give a reflectance for its coating'
    )


def test_a_stated_reflectance_replaces_fresnel():
    plate = Plate(index=BK7, reflectance=0.005)  # (1 - R) / (1 + R) by hand
    np.testing.assert_allclose(plate_transmission(np.radians([0.0, 40.0]), plate), 0.995 / 1.005, rtol=1e-14)


# Smith, Modern Optical Engineering (from memory), in numpy for T = 4, n = 1.5168; 5, 10 and 15 deg also by a 3D vector
# Snell trace through a tilted slab (0.119277566053, 0.240632073724, 0.366180741153).
SHIFTS = [
    (0, 0, 1.362869198, 1.362869198),
    (5, 0.119277566, 1.368556590, 1.379894601),
    (10, 0.240632074, 1.385744883, 1.430902672),
    (15, 0.366180741, 1.414813740, 1.515653464),
    (20, 0.498118015, 1.456399644, 1.633626525),
    (30, 0.790484489, 1.580968978, 1.964547504),
    (40, 1.137519891, 1.769666798, 2.404686993),
    (45, 1.337997566, 1.892214304, 2.653470055),
    (50, 1.559671449, 2.036006478, 2.910676657),
    (60, 2.073191002, 2.393914766, 3.404279665),
]


@pytest.mark.parametrize(("deg", "sideways", "axial", "tangential"), SHIFTS)
def test_a_plate_shifts_a_ray(deg, sideways, axial, tangential):
    t = np.radians(deg)
    assert plate_shift_mm(4.0, BK7, t) == pytest.approx(sideways, abs=5e-10)
    assert plate_axial_shift_mm(4.0, BK7, t) == pytest.approx(axial, abs=5e-10)
    assert plate_tangential_shift_mm(4.0, BK7, t) == pytest.approx(tangential, abs=5e-10)


def test_soda_lime_shifts_a_ray():
    t = np.radians([0, 10, 20, 30, 45, 60])  # same source, T = 4, n = 1.523
    sideways = [0, 0.242504499, 0.501848053, 0.796004485, 1.345736625, 2.081567187]
    axial = [1.373604728, 1.396527751, 1.467305546, 1.592008970, 1.903158987, 2.403586751]
    np.testing.assert_allclose(plate_shift_mm(4.0, 1.523, t), sideways, atol=5e-10)
    np.testing.assert_allclose(plate_axial_shift_mm(4.0, 1.523, t), axial, atol=5e-10)


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
