"""Weight on a clamp. Densities are handbook values from memory; limits are common practice."""

import pytest
from numpy.testing import assert_allclose

from geometry.carrying import clamp_notes, mass_kg
from geometry.fixtures import barrel
from geometry.flags import flag
from geometry.notes import Severity
from geometry.outline import RoundedRectangle
from geometry.parts import back_plate, box_pose, filter_slab

BOX = box_pose(ahead_mm=10)
BLADE = flag(BOX, side="right", angle_deg=0, hinge_mm=60, at_mm=90, length_mm=100, width_mm=200, thickness_mm=2)


def test_a_blade_weighs_its_volume_in_aluminium():
    mass, centre = mass_kg([BLADE])
    assert mass == pytest.approx(10 * 20 * 0.2 * 2.7e-3)  # cm^3 by g/cm^3
    assert_allclose(centre, [-61, 0, 150])  # its inner face at 60, 2 thick, to the right; 10 + 90 + 50 ahead


def test_glass_counts_and_the_barrel_does_not():
    slab = filter_slab(BOX, at_mm=10, depth_mm=8, outline=RoundedRectangle(100, 100), thickness_mm=4)
    mass, centre = mass_kg([barrel(outside_mm=114)], [slab])
    assert mass == pytest.approx(40 * 2.5e-3)
    assert centre[2] == pytest.approx(10 + 14)


def test_nothing_weighs_nothing():
    assert mass_kg([])[0] == 0


def test_a_heavy_box_on_a_clamp_gets_a_caution():
    plate = back_plate(BOX, width_mm=200, height_mm=180, thickness_mm=8, bore_mm=100)
    (note,) = clamp_notes([plate, BLADE])
    assert note.severity is Severity.CAUTION
    assert "carry it on rods, and ask the rental house" in note.text


def test_a_light_box_on_a_clamp_is_told_its_weight_and_pull():
    (note,) = clamp_notes([BLADE])
    assert note.severity is Severity.FACT
    assert "about 0.11 kg and 0.16 N m" in note.text  # 0.108 kg, 0.108 * 9.81 * 0.150 m = 0.159
