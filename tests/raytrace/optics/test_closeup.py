"""Close-up lenses and cylinder pairs against thin-lens arithmetic."""

import numpy as np
import pytest

from geometry.errors import GeometryError
from raytrace.optics.closeup import (
    bent_slopes,
    combined_focal_mm,
    cylinder_pair_pupil_mm,
    focal_of_power_mm,
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
    assert focal_of_power_mm(total_power_dioptre([1, 2])) == pytest.approx(333.333333, abs=5e-7)
    assert spaced_power_dioptre(1, 2, 10.0) == pytest.approx(2.98, abs=1e-14)
    assert focal_of_power_mm(2.98) == pytest.approx(335.570470, abs=5e-7)


def test_no_power_changes_nothing():
    assert focal_of_power_mm(0.0) == np.inf
    assert sharp_distance_mm(0.0, 1500.0, 20.0) == pytest.approx(1480.0)


@pytest.mark.parametrize(
    ("power", "gap", "focal", "back"),
    [(1, 0, 47.619047619, 47.619047619), (1, 30, 49.019607843, 47.549019608), (2, 30, 48.076923077, None)],
)
def test_a_50_mm_lens_gets_shorter(power, gap, focal, back):
    found = combined_focal_mm(power, 50.0, gap)  # 1/F = P1 + P2 - d P1 P2, plain arithmetic
    assert found[0] == pytest.approx(focal, abs=5e-10)
    assert back is None or found[1] == pytest.approx(back, abs=5e-10)


def test_a_parallel_skew_beam_meets_at_the_focal_plane():
    position, slope = np.array([[10.0, 0.0], [-4.0, 25.0], [0.0, 0.0]]), np.array([0.1, -0.2])
    at_focus = position + 500.0 * bent_slopes(position, slope, 2.0)  # 1000 / 2 mm, where slope x f says
    np.testing.assert_allclose(at_focus, np.tile(500.0 * slope, (3, 1)), atol=1e-12)


@pytest.mark.parametrize(
    ("squeeze", "rear", "behind", "squeezed", "plain"),
    [(2, 200, 60, 65, 160), (1.5, 150, 40, 51.111111111, 90)],
)
def test_a_cylinder_pair_shows_two_pupil_depths(squeeze, rear, behind, squeezed, plain):
    # step-by-step thin-lens imaging of the pupil through both elements
    found = cylinder_pair_pupil_mm(squeeze, rear, behind)
    assert found == (pytest.approx(squeezed, abs=5e-10), pytest.approx(plain, abs=5e-10))


def image_mm(distance, focal):
    """Depth of a virtual image behind a thin lens of something `distance` behind it: 1/s' = 1/s - 1/f."""
    return 1 / (1 / distance - 1 / focal)


def test_the_squeezed_depth_is_what_two_thin_lenses_image():
    gap, front, rear, behind = 100.0, -100.0, 200.0, 60.0
    expected = image_mm(image_mm(behind, rear) + gap, front)
    assert cylinder_pair_pupil_mm(2.0, rear, behind)[0] == pytest.approx(expected, abs=1e-10)


def test_impossible_focus_is_refused_in_one_sentence():
    with pytest.raises(GeometryError) as caught:
        sharp_distance_mm(-1.0, np.inf)
    assert str(caught.value) == (
        "power_dioptre: a power of -1 leaves nothing sharp in front of a lens focused at inf mm; "
        "focus nearer or use less negative power"
    )
    with pytest.raises(GeometryError, match="must be focused beyond the close-up lens 30 mm ahead of it, got 20"):
        sharp_distance_mm(1.0, 20.0, 30.0)
