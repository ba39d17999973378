"""First-order data and exact rays of published lenses against three other programs."""

import json
from pathlib import Path

import numpy as np
import pytest

from geometry.errors import GeometryError
from raytrace.optics.prescription import NO_SURFACE, Prescription, Surface, first_order, trace, trace_from_stop

TABLES = json.loads((Path(__file__).parents[2] / "data" / "published_prescriptions.json").read_text("utf-8"))
GAUSS = "US4448497_ex1_double_gauss_f1.4"
RETROFOCUS = "US4099850_retrofocus_f3.5"
SYMMETRIC = "US583336_ex2_double_gauss_f4.5"
TRIPLET = "triplet_rayoptics_docs"
WIDE = "reverse_telephoto_60deg"


def published(name, air=1.0):
    """The table of a patent; `air` is the index around and between the glasses."""
    surfaces = tuple(
        Surface(
            radius_mm=np.inf if row["R"] is None else row["R"],
            thickness_mm=row["t"],
            index=air if row["nd"] == 1 else row["nd"],
            semi_diameter_mm=row["semi_diameter"] or np.inf,
        )
        for row in TABLES[name]["rows"]
    )
    return Prescription(surfaces, TABLES[name]["stop_row_1based"] - 1, TABLES[name]["source"], air)


def test_double_gauss_first_order_as_published():
    # rayopt's published output for US 4,448,497 ex. 1 in air of index 1.00028: EFL, EnP, ExP, EPD / 2, to its digits
    found = first_order(published(GAUSS, air=1.00028))
    assert found.focal_mm == pytest.approx(99.8556, abs=1e-3)
    assert found.entrance_pupil_mm == pytest.approx(49.9467, abs=1e-3)
    assert found.exit_pupil_mm == pytest.approx(-58.1709, abs=1e-3)
    assert found.pupil_diameter_mm / 2 == pytest.approx(35.4158, abs=1e-3)


def test_retrofocus_first_order_as_published():
    # rayopt's published output for US 4,099,850 in air of index 1.00028: EFL, EnP, ExP
    found = first_order(published(RETROFOCUS, air=1.00028))
    assert found.focal_mm == pytest.approx(100.1271, abs=2e-3)
    assert found.entrance_pupil_mm == pytest.approx(75.2413, abs=1e-3)
    assert found.exit_pupil_mm == pytest.approx(-60.5034, abs=1e-3)


def test_double_gauss_first_order_agrees_with_three_programs():
    # optiland 0.6.3, rayoptics 0.9.8 and an independent tracer, US 4,448,497 ex. 1 scaled by 0.5
    found = first_order(published(GAUSS).scaled(0.5))
    assert found.focal_mm == pytest.approx(49.899990782, abs=5e-10)
    assert found.back_focus_mm == pytest.approx(36.972501074, abs=5e-10)
    assert found.entrance_pupil_mm == pytest.approx(24.977673630, abs=5e-10)
    assert found.exit_pupil_mm == pytest.approx(-29.094794021, abs=5e-10)
    assert found.front_focus_mm == pytest.approx(-12.711308134, abs=5e-10)
    assert found.pupil_magnification == pytest.approx(1.323994134, abs=5e-10)
    assert found.pupil_diameter_mm == pytest.approx(35.423488271, abs=5e-10)


def test_retrofocus_first_order_agrees_with_three_programs():
    # the same programs, US 4,099,850 scaled by 0.28
    found = first_order(published(RETROFOCUS).scaled(0.28))
    assert found.focal_mm == pytest.approx(28.001232564, abs=5e-10)
    assert found.back_focus_mm == pytest.approx(37.513993052, abs=5e-10)
    assert found.entrance_pupil_mm == pytest.approx(21.062049392, abs=5e-10)
    assert found.exit_pupil_mm == pytest.approx(-16.943772741, abs=5e-10)
    assert found.pupil_magnification == pytest.approx(1.944834595, abs=5e-10)
    assert found.pupil_diameter_mm == pytest.approx(8.201458285, abs=5e-10)


def test_a_lens_symmetric_about_its_stop_has_unit_pupil_magnification():
    # US 583,336 ex. 2: exact symmetry; lengths by rayoptics' own import of the file
    found = first_order(published(SYMMETRIC))
    assert found.pupil_magnification == pytest.approx(1.0, abs=1e-12)
    assert found.entrance_pupil_mm == pytest.approx(-found.exit_pupil_mm, abs=1e-12)
    assert found.front_focus_mm == pytest.approx(-found.back_focus_mm, abs=1e-12)
    assert found.focal_mm == pytest.approx(49.388975847, abs=5e-10)
    assert found.back_focus_mm == pytest.approx(41.600511905, abs=5e-10)
    assert found.entrance_pupil_mm == pytest.approx(7.788463942, abs=5e-10)
    assert found.pupil_diameter_mm == pytest.approx(10.882826518, abs=5e-10)


def test_a_stop_on_curved_glass_keeps_its_pupils():
    # ray-optics documentation, triplet: published EFL 50, EnP 11.68, ExP -10.01; finer digits by an independent tracer
    # whose glass indices carry more places than the ten printed ones
    found = first_order(published(TRIPLET))
    assert found.focal_mm == pytest.approx(50.000989289, abs=2e-8)
    assert found.back_focus_mm == pytest.approx(41.237648954, abs=2e-8)
    assert found.entrance_pupil_mm == pytest.approx(11.679209258, abs=2e-8)
    assert found.exit_pupil_mm == pytest.approx(-10.013489820, abs=2e-8)


def test_a_wide_angle_lens_without_known_rims():
    found = first_order(published(WIDE))  # sample lens of optiland 0.6.3, traced there; glass to eight digits
    assert found.focal_mm == pytest.approx(2.00523554, abs=1e-8)
    assert found.entrance_pupil_mm / found.focal_mm == pytest.approx(0.6727249, abs=5e-8)


def snell(direction, normal, ratio):
    """Vector form of Snell's law, written out independently: tangential part times n/n', the rest along the normal."""
    tangential = ratio * (direction - np.dot(direction, normal) * normal)
    return tangential + np.sqrt(1 - tangential @ tangential) * normal


def test_a_skew_ray_through_one_sphere_obeys_snell():
    lens = Prescription((Surface(radius_mm=40.0, thickness_mm=0.0, index=1.6),), 0)
    start, direction = np.array([3.0, -7.0, -20.0]), np.array([0.1, 0.2, np.sqrt(0.95)])
    rays = trace(lens, start[None], direction[None])
    centre = np.array([0.0, 0.0, 40.0])
    assert np.linalg.norm(rays.position[0] - centre) == pytest.approx(40.0, abs=1e-12)
    np.testing.assert_allclose(np.cross(rays.position[0] - start, direction), 0.0, atol=1e-12)
    expected = snell(direction, (centre - rays.position[0]) / 40.0, 1 / 1.6)
    np.testing.assert_allclose(rays.direction[0], expected, atol=1e-14)


def test_a_plate_shifts_a_traced_ray_as_the_formula_says():
    # Smith, Modern Optical Engineering (from memory): d = 0.790484489 mm at 30 deg, T 4, n 1.5168
    lens = Prescription(
        (Surface(radius_mm=np.inf, thickness_mm=4.0, index=1.5168), Surface(radius_mm=np.inf, thickness_mm=0.0, index=1.0)), 0
    )
    direction = np.array([0.0, 0.5, np.sqrt(0.75)])
    rays = trace(lens, np.zeros((1, 3)), direction[None])
    np.testing.assert_allclose(rays.direction[0], direction, atol=1e-15)
    assert np.linalg.norm(np.cross(rays.position[0], direction)) == pytest.approx(0.790484489, abs=5e-10)


def test_blocked_and_failed_rays_are_told_apart():
    front = Surface(radius_mm=10.0, thickness_mm=2.0, index=1.5, semi_diameter_mm=5.0)
    lens = Prescription((front, Surface(radius_mm=np.inf, thickness_mm=0.0, index=1.0, semi_diameter_mm=4.0)), 1)
    origin = np.array([[0.0, y, -1.0] for y in (0.0, 5.5, 12.0)])
    rays = trace(lens, origin, np.tile([0.0, 0.0, 1.0], (3, 1)))
    assert rays.clipped_by[:2].tolist() == [NO_SURFACE, 0]
    assert rays.failed_at.tolist() == [NO_SURFACE, NO_SURFACE, 0]  # 12 mm off axis: no point on a 10 mm sphere
    assert rays.rim_share[1] == pytest.approx(1.1)


def test_a_steep_ray_past_a_sphere_is_a_failure():
    # 2D: line through (6.5, 0) along (0.6, 0.8) passes |6.5 x 0.8 + 10 x 0.6| = 11.2 from the centre of a 10 mm sphere
    lens = Prescription((Surface(radius_mm=10.0, thickness_mm=0.0, index=1.5),), 0)
    rays = trace(lens, np.array([[0.0, 6.5, 0.0]]), np.array([[0.0, 0.6, 0.8]]))
    assert rays.failed.tolist() == [True]


def test_total_reflection_is_a_failure_at_its_surface():
    lens = Prescription(
        (Surface(radius_mm=np.inf, thickness_mm=1.0, index=1.8), Surface(radius_mm=-2.0, thickness_mm=0.0, index=1.0)), 0
    )
    rays = trace(lens, np.array([[0.0, 1.0, 0.0], [0.0, 1.5, 0.0]]), np.tile([0.0, 0.0, 1.0], (2, 1)))
    assert rays.failed_at.tolist() == [NO_SURFACE, 1]  # sin = 0.5 and 0.75 against 1/1.8 = 0.556


def test_chief_rays_out_of_the_stop_come_back_through_it():
    lens = published(RETROFOCUS).scaled(0.28)
    height, field, failed = trace_from_stop(lens, np.radians([0.0, 5.0, 12.0, 20.0]))
    assert not failed.any()
    assert field[-1] > np.radians(28.0)
    origin = np.stack([np.zeros(4), height, np.zeros(4)], axis=1)
    direction = np.stack([np.zeros(4), np.sin(field), np.cos(field)], axis=1)
    np.testing.assert_allclose(trace(lens, origin, direction).stop_point, 0.0, atol=1e-11)  # light is reversible


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"radius_mm": 0.0}, "prescription surface 1: radius must not be 0; leave it out or give inf for a flat surface"),
        ({"thickness_mm": -1.0}, "prescription surface 1: thickness to the next surface must be 0 or more, got -1"),
        ({"index": 0.9}, "prescription surface 1: refractive index must be 1 to 5, got 0.9; 1 stands for air"),
        (
            {"semi_diameter_mm": 0.0},
            "prescription surface 1: semi-diameter must be more than 0, got 0; leave it out where unknown",
        ),
    ],
)
def test_impossible_surfaces_are_refused_in_one_sentence(change, sentence):
    plain = {"radius_mm": 20.0, "thickness_mm": 1.0, "index": 1.5, "semi_diameter_mm": 5.0}
    with pytest.raises(GeometryError) as caught:
        Prescription((Surface(**(plain | change)),), 0)
    assert str(caught.value) == sentence


def test_a_stop_outside_the_table_is_refused():
    with pytest.raises(GeometryError, match="the stop must be one of its 1 surfaces, got number 3"):
        Prescription((Surface(radius_mm=20.0, thickness_mm=1.0, index=1.5),), 2)


def test_an_afocal_table_is_refused():
    with pytest.raises(GeometryError, match="focal length is infinite"):
        first_order(Prescription((Surface(radius_mm=np.inf, thickness_mm=1.0, index=1.5),), 0))
