"""Rods and plates against worked handbook cases: computed with sympy (double integration) and scipy (virtual work)."""

import numpy as np
import pytest

from geometry.cantilever import GRAVITY_M_S2, Rod, plate_drag_n, sag
from geometry.errors import GeometryError

ALUMINIUM = {"modulus_gpa": 69.0, "density_g_cm3": 2.70}
TUBE = Rod(diameter_mm=15, wall_mm=1.5, **ALUMINIUM)


@pytest.mark.parametrize(
    ("diameter", "wall", "area", "second", "kg_m"),
    [
        (15, None, 176.714587, 2485.048876, 0.477129),
        (15, 1.5, 63.617251, 1467.172857, 0.171767),
        (19, None, 283.528737, 6397.117128, 0.765528),
        (19, 2.0, 106.814150, 3912.068252, 0.288398),
    ],
)
def test_sections_are_those_of_the_table(diameter, wall, area, second, kg_m):
    rod = Rod(diameter_mm=diameter, wall_mm=wall, **ALUMINIUM)
    assert (rod.area_mm2, rod.second_moment_mm4) == pytest.approx((area, second), abs=1e-6)
    assert 1000 * rod.weight_n_mm / GRAVITY_M_S2 == pytest.approx(kg_m, abs=1e-6)


@pytest.mark.parametrize(
    ("diameter", "wall", "drop", "degrees", "stress"),
    [(15, None, 0.297876, 0.102402, 7.399238), (15, 1.5, 0.504532, 0.173445, 12.532585), (19, None, 0.115714, 0.039780, 3.640827)],
)
def test_two_kilograms_on_two_rods_of_250_mm(diameter, wall, drop, degrees, stress):
    """F L^3/(3 E I), F L^2/(2 E I), F L D/(2 I) with F = 9.80665 N each."""
    found = sag(Rod(diameter_mm=diameter, wall_mm=wall, **ALUMINIUM), 250, 9.80665, own_weight=False)
    assert (found.drop_mm, np.degrees(found.tilt_rad), found.stress_n_mm2) == pytest.approx((drop, degrees, stress), abs=1e-6)


def test_a_moment_at_the_end_and_the_rods_own_weight_bend_it_as_worked():
    """M L^2/(2 E I), M L/(E I) with M = F 80 mm; w L^4/(8 E I), w L^3/(6 E I)."""
    moment = sag(TUBE, 250, 0.0, 9.80665 * 80, own_weight=False)
    assert (moment.drop_mm, moment.tilt_rad) == pytest.approx((0.242176, 0.001937404), abs=1e-6)
    own = sag(TUBE, 250, 0.0)
    assert (own.drop_mm, own.tilt_rad) == pytest.approx((0.008125, 0.000043331), abs=1e-6)


@pytest.mark.parametrize(("drag", "air", "force"), [(1.17, 1.225, 7.166250), (1.28, 1.225, 7.84), (1.2, 1.2041, 7.2246)])
def test_ten_metres_a_second_on_a_tenth_of_a_square_metre(drag, air, force):
    """rho/2 v^2 Cd A; Cd 1.17 square plate (Aeronautical Engineer's Data Book, p. 95), 1.28 (NASA, shape effects on drag)."""
    assert plate_drag_n(1e5, 10.0, drag, air) == pytest.approx(force, rel=1e-6)


def test_a_wall_thicker_than_the_rod_is_refused():
    with pytest.raises(GeometryError, match=r"between 0 and half its diameter, 7.5 mm, found 8"):
        Rod(diameter_mm=15, wall_mm=8, **ALUMINIUM)
