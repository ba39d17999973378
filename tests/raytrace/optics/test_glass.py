"""Rays through filters against plate formulas and Fresnel's values: shift, order, light, edges, close-up power."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.frame import Pose, rotation_about_x, rotation_about_z
from raytrace.box import GlassKind
from raytrace.optics.bundle import launch
from raytrace.optics.glass import density_share, internal_transmittance, refracted, transmittance_sp, walk
from raytrace.optics.sampling import sunflower_disc
from tests.raytrace.made import BK7, pencils, plate_of_glass, upward

CENTRE = np.zeros((1, 2))
DISC = sunflower_disc(300)


def chief_after(glasses, slope, **more):
    """The ray through the pupil's centre before and after the glasses: (bundle, last leg)."""
    bundle, legs = walk(launch(pencils(slope, **more), CENTRE), glasses)
    return bundle, legs[-1]


def shift_mm(bundle, leg):
    """How far the last leg's line lies from the line the ray started on."""
    return np.linalg.norm(np.cross(leg.origin - bundle.origin, bundle.direction), axis=1)


# T sin t [1 - cos t / sqrt(n^2 - sin^2 t)] for T = 4; vector trace through a slab agrees to 1e-9.
SHIFT = [
    (1.5168, 5, 0.119277566),
    (1.5168, 15, 0.366180741),
    (1.5168, 30, 0.790484489),
    (1.5168, 45, 1.337997566),
    (1.5168, 60, 2.073191002),
    (1.523, 20, 0.501848053),
    (1.523, 45, 1.345736625),
]


@pytest.mark.parametrize(("index", "deg", "shift"), SHIFT)
def test_plate_square_to_the_axis_shifts_a_slanted_ray(index, deg, shift):
    bundle, leg = chief_after([plate_of_glass(20, size_mm=(900, 900), index=index)], upward(deg))
    assert shift_mm(bundle, leg) == pytest.approx([shift], abs=1e-9)


@pytest.mark.parametrize(("index", "deg", "shift"), SHIFT)
def test_tilted_and_turned_plate_shifts_the_axial_ray_alike(index, deg, shift):
    bundle, leg = chief_after([plate_of_glass(20, index=index, tilt_deg=deg, turn_deg=37)], [0, 0])
    assert shift_mm(bundle, leg) == pytest.approx([shift], abs=1e-9)


def test_top_leaning_ahead_lowers_the_axial_ray():
    # The normal leans down, so inside the glass the ray bends toward it, downward, and comes out below: y < 0.
    _, leg = chief_after([plate_of_glass(20, tilt_deg=10)], [0, 0])
    assert leg.origin[0, 1] == pytest.approx(-0.240632074, abs=1e-9)  # shift at 10 deg incidence, as above
    assert leg.origin[0, 0] == pytest.approx(0.0, abs=1e-12)


def test_direction_beyond_a_plate_is_unchanged():
    bundle, leg = chief_after([plate_of_glass(20, tilt_deg=12, turn_deg=30)], [[0.3, -0.7]])
    assert leg.direction == pytest.approx(bundle.direction, abs=1e-15)


def test_refraction_keeps_snells_law():
    d = np.array([[np.sin(0.7), 0.0, np.cos(0.7)]])
    inside = refracted(d, BK7)
    assert inside[0, 0] * BK7 == pytest.approx(np.sin(0.7), abs=1e-15)  # n sin t' = sin t
    assert np.linalg.norm(inside) == pytest.approx(1.0, abs=1e-15)


@given(
    slope=st.tuples(*[st.floats(-1.2, 1.2)] * 2),
    tilt_deg=st.floats(-15, 15),
    turn_deg=st.floats(-90, 90),
    thickness_mm=st.floats(0.5, 8),
)
def test_legs_join_without_a_gap(slope, tilt_deg, turn_deg, thickness_mm):
    glasses = [
        plate_of_glass(30, size_mm=(60, 40), thickness_mm=thickness_mm, tilt_deg=tilt_deg, turn_deg=turn_deg),
        plate_of_glass(80, size_mm=(140, 90)),
    ]
    _, legs = walk(launch(pencils(slope), DISC[:40]), glasses)
    assert len(legs) == 5
    for leg, following in pairwise(legs):
        end = leg.origin + leg.length_mm[:, None] * leg.direction
        assert end == pytest.approx(following.origin, abs=1e-9)
        assert following.start_mm == pytest.approx(leg.start_mm + leg.length_mm, abs=1e-12)


def test_ray_past_the_edge_of_the_glass_is_untouched():
    # At z = 18, the rear face, the 40 deg ray is 43 tan 40 = 36.08 mm up; the glass ends at 36 or reaches to 36.2.
    dense = {"kind": GlassKind.DENSITY, "density": 0.6}
    for height_mm, through in ((72.0, False), (72.4, True)):
        bundle, leg = chief_after([plate_of_glass(20, size_mm=(200, height_mm), **dense)], upward(40))
        assert (bundle.weight[0] < 0.5) == through
        assert (shift_mm(bundle, leg)[0] > 1.0) == through


def test_glass_behind_the_start_or_beyond_the_object_plane_does_nothing():
    dense = {"kind": GlassKind.DENSITY, "density": 0.6}
    bundle, _ = chief_after([plate_of_glass(-40, **dense), plate_of_glass(300, **dense)], [0, 0], object_mm=200.0)
    assert bundle.weight[0] == 1.0


def test_plates_that_touch_are_both_met():
    # Faces that lie on one another, worked out from two poses: rounding must not let a ray slip past the second plate.
    met = 0
    for tilt_deg in np.linspace(0.5, 15, 30):
        t = np.radians(tilt_deg)
        pair = [plate_of_glass(z, tilt_deg=tilt_deg) for z in (20, 20 + 4 / np.cos(t))]
        bundle, leg = chief_after(pair, [0, 0])
        both = 8 * np.sin(t) * (1 - np.cos(t) / np.sqrt(BK7**2 - np.sin(t) ** 2))  # displacement of 8 mm of glass
        assert shift_mm(bundle, leg) == pytest.approx([both], abs=1e-9)
        met += 1
    assert met == 30


# Rs, Rp of one face, n = 1.5168; tmm 0.2.0 interface_R agrees to 1e-10.
FACES = {30: (0.0606607460, 0.0267827065), 45: (0.0959783018, 0.0092118344), 60: (0.1823467278, 0.0015700399)}


@pytest.mark.parametrize("deg", FACES)
def test_clear_glass_passes_s_and_p_apart(deg):
    s, p = transmittance_sp(plate_of_glass(20), np.cos(np.radians([deg])), np.zeros(1))
    rs, rp = FACES[deg]
    assert (s[0], p[0]) == (pytest.approx((1 - rs) / (1 + rs), abs=1e-9), pytest.approx((1 - rp) / (1 + rp), abs=1e-9))


def test_plates_leaning_in_one_plane_multiply_s_with_s():
    ts, tp = ((1 - r) / (1 + r) for r in FACES[45])
    bundle, _ = chief_after([plate_of_glass(20, tilt_deg=45), plate_of_glass(900, tilt_deg=-45)], [0, 0])
    assert bundle.weight[0] == pytest.approx((ts**2 + tp**2) / 2, abs=1e-9)


def test_plates_leaning_in_crossed_planes_multiply_s_with_p():
    # What is s to the first plate is p to the second: T = Ts Tp exactly.
    ts, tp = ((1 - r) / (1 + r) for r in FACES[60])
    sideways = posed(rotation_about_z(90) @ rotation_about_x(60))
    bundle, _ = chief_after([plate_of_glass(200, size_mm=(900, 900), tilt_deg=60), sideways], [0, 0])
    assert bundle.weight[0] == pytest.approx(ts * tp, abs=1e-9)


def posed(rotation, ahead_mm=1100.0):
    """A large glass turned any way."""
    glass = plate_of_glass(ahead_mm, size_mm=(900, 900))
    return replace(glass, slab=replace(glass.slab, pose=Pose(rotation, glass.slab.pose.origin_mm)))


def test_polarisation_follows_any_lean():
    # Two plates leaning 60 deg, their planes of incidence turned by b: T = A^2 + B^2 cos 2b with A, B half sum and difference of
    # Ts, Tp, from Malus's law for the polarised share that the first plate leaves.
    ts, tp = ((1 - r) / (1 + r) for r in FACES[60])
    mean, half = (ts + tp) / 2, (ts - tp) / 2
    for turn_deg in (10, 35, 80):
        lean = rotation_about_z(turn_deg) @ rotation_about_x(60)
        bundle, _ = chief_after([plate_of_glass(200, size_mm=(900, 900), tilt_deg=60), posed(lean)], [0, 0])
        assert bundle.weight[0] == pytest.approx(mean**2 + half**2 * np.cos(2 * np.radians(turn_deg)), abs=1e-9)


def test_three_plates_leaning_three_ways_agree_with_coherency_matrices():
    # Unpolarised light C = I/2; each plate J = sqrt(Ts) s s^T + sqrt(Tp) p p^T, square to the axis; intensity tr(J C J^T).
    ts, tp = ((1 - r) / (1 + r) for r in FACES[60])
    turns_deg, coherency = (20, -35, 75), np.eye(2) / 2
    for turn in np.radians(turns_deg):
        s, p = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        jones = np.sqrt(ts) * np.outer(s, s) + np.sqrt(tp) * np.outer(p, p)
        coherency = jones @ coherency @ jones.T
    plates = [posed(rotation_about_z(turn) @ rotation_about_x(60), ahead_mm=900.0 * (k + 1)) for k, turn in enumerate(turns_deg)]
    bundle, _ = chief_after(plates, [0, 0])
    assert bundle.weight[0] == pytest.approx(np.trace(coherency), abs=1e-9)


def test_coated_faces_use_the_stated_reflectance():
    # (1 - R) / (1 + R) at any angle.
    bundle, _ = chief_after([plate_of_glass(20, size_mm=(900, 900), reflectance=0.005)], upward(55))
    assert bundle.weight[0] == pytest.approx(0.995 / 1.005, abs=1e-12)


def test_density_counts_the_faces():
    # tau_0 of D 0.6 total at n = 1.5168: quadratic solved in numpy, tmm with complex index agrees.
    assert internal_transmittance(plate_of_glass(20, kind=GlassKind.DENSITY, density=0.6)) == pytest.approx(0.2737539105, abs=1e-10)
    assert internal_transmittance(plate_of_glass(20)) == 1.0


def test_graduated_density_rises_evenly_over_its_soft_length():
    glass = plate_of_glass(20, kind=GlassKind.GRADUATED, density=0.9, edge_mm=5, soft_mm=20)
    # By definition: nothing 10 mm below the edge, half on it, all 10 mm above.
    assert density_share(glass, np.array([-30.0, -5, 0, 5, 10, 15, 40])) == pytest.approx([0, 0, 0.25, 0.5, 0.75, 1, 1])


def test_hard_graduated_filter_has_two_halves():
    glass = plate_of_glass(20, kind=GlassKind.GRADUATED, density=0.9, edge_mm=5)
    assert density_share(glass, np.array([4.999, 5.001])).tolist() == [0.0, 1.0]


def test_turning_a_graduated_filter_clockwise_takes_its_dark_end_to_the_operators_right():
    glass = plate_of_glass(20, kind=GlassKind.GRADUATED, density=0.9, soft_mm=4, turn_deg=90)
    right = np.array([-0.5, 0.1])  # frame x runs to the operator's left
    bundle, _ = walk(launch(pencils([right, -right]), CENTRE), [glass])
    assert bundle.weight[0] < 0.13  # 10^-0.9 = 0.126
    assert bundle.weight[1] > 0.9


def test_graduated_filter_moved_sideways_keeps_its_edge_on_itself():
    up, down = np.tan(np.radians([12, -12]))
    glass = plate_of_glass(20, kind=GlassKind.GRADUATED, density=0.9, edge_mm=-4.0, right_mm=30)
    bundle, _ = walk(launch(pencils([[0, up], [0, 0], [0, down]]), CENTRE), [glass])
    assert (bundle.weight < 0.13).tolist() == [True, True, False]


@pytest.mark.parametrize(("power_dioptre", "sharp_mm"), [(1, 1000), (2, 500), (0.5, 2000)])
def test_close_up_lens_brings_a_parallel_beam_together_at_its_focal_length(power_dioptre, sharp_mm):
    # 1000 / D mm in front of the close-up lens, any thin-lens text.
    glass = plate_of_glass(30, kind=GlassKind.CLOSE_UP, power_dioptre=power_dioptre, thickness_mm=4)
    bundle, legs = walk(launch(pencils([[0.1, -0.2]], radius_mm=12), DISC), [glass])
    end = legs[-1].origin + legs[-1].length_mm[:, None] * legs[-1].direction
    assert end[:, 2] == pytest.approx(np.full(300, 30 + sharp_mm), abs=1e-6)
    assert end[:, :2] == pytest.approx(np.tile(sharp_mm * np.array([0.1, -0.2]), (300, 1)), abs=1e-6)
    assert bundle.end_z_mm == pytest.approx(np.full(300, 30.0 + sharp_mm))


def test_close_up_powers_add_to_the_focus_of_the_lens():
    # Lens focused 970 mm beyond the close-up lens, +1: 1 / (1/970 + 1/1000).
    glass = plate_of_glass(30, kind=GlassKind.CLOSE_UP, power_dioptre=1)
    bundle, _ = walk(launch(pencils([0, 0], object_mm=1025.0), DISC), [glass])
    assert bundle.end_z_mm == pytest.approx(np.full(300, 30 + 1 / (1 / 970 + 1 / 1000)))


def test_close_up_lens_off_its_axis_bends_about_its_own_centre():
    # dx/dz -= D (x - x_centre) / 1000: a ray on the lens's axis, glass 20 mm to the operator's right (x_centre = -20): -0.002 * 20.
    glass = plate_of_glass(30, kind=GlassKind.CLOSE_UP, power_dioptre=2, right_mm=20)
    _, leg = chief_after([glass], [0, 0])
    assert leg.direction[0, 0] / leg.direction[0, 2] == pytest.approx(-0.04, abs=1e-12)
