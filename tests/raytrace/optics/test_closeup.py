"""Close-up lenses against thin-lens arithmetic."""

import numpy as np
import pytest

from geometry.errors import GeometryError
from raytrace.optics.closeup import (
    bent_slopes,
    sharp_distance_mm,
    spaced_power_dioptre,
    total_power_dioptre,
)


@pytest.mark.parametrize(
    ("power", "at_infinity", "at_2_m", "at_1_m"),
    [  # 1 / (1/s + D/1000), Kingslake, Optics in Photography (from memory)
        (0.5, 2000, 1000, 666.666667),
        (1, 1000, 666.666667, 500),
        (2, 500, 400, 333.333333),
        (3, 333.333333, 285.714286, 250),
    ],
)
def test_sharp_distance_in_contact(power, at_infinity, at_2_m, at_1_m):
    assert sharp_distance_mm(power, np.inf) == pytest.approx(at_infinity, abs=5e-7)
    assert sharp_distance_mm(power, 2000.0) == pytest.approx(at_2_m, abs=5e-7)
    assert sharp_distance_mm(power, 1000.0) == pytest.approx(at_1_m, abs=5e-7)


def test_sharp_distance_with_a_gap():
    # 1 / (1 / (s - q) + D / 1000), plain arithmetic
    assert sharp_distance_mm(1, 2000.0, 30.0) == pytest.approx(663.299663300, abs=5e-10)
    assert sharp_distance_mm(2, 1000.0, 50.0) == pytest.approx(327.586206897, abs=5e-10)


def test_powers_add_in_contact_and_a_little_less_apart():
    # P1 + P2 - d P1 P2: 3 and 2.98
    assert total_power_dioptre([1, 2]) == 3.0
    assert spaced_power_dioptre(1, 2, 10.0) == pytest.approx(2.98, abs=1e-14)


def test_no_power_changes_nothing():
    assert sharp_distance_mm(0.0, 1500.0, 20.0) == pytest.approx(1480.0)


def test_a_parallel_skew_beam_meets_at_the_focal_plane():
    position, slope = np.array([[10.0, 0.0], [-4.0, 25.0], [0.0, 0.0]]), np.array([0.1, -0.2])
    at_focus = position + 500.0 * bent_slopes(position, slope, 2.0)  # 1000 / 2 mm, where slope x f says
    np.testing.assert_allclose(at_focus, np.tile(500.0 * slope, (3, 1)), atol=1e-12)


def test_impossible_focus_is_refused_in_one_sentence():
    with pytest.raises(GeometryError) as caught:
        sharp_distance_mm(-1.0, np.inf)
    assert str(caught.value) == (
        "power_dioptre: a power of -1 leaves nothing sharp in front of a lens focused at inf mm; "
        "focus nearer or use less negative power"
    )
    with pytest.raises(GeometryError, match="must be focused beyond the close-up lens 30 mm ahead of it, got 20"):
        sharp_distance_mm(1.0, 20.0, 30.0)
