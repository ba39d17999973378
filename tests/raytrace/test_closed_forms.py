"""The reference way, whole, against areas of circles cut by circles and straight edges, and against plane plates.

Each truth is a closed form evaluated outside the project; both limits hold: 5 standard errors, and 0.007, a hundredth of a stop
near 1, which is what can be seen.
"""

import numpy as np
import pytest

from geometry.outline import Circle, RoundedRectangle
from raytrace.box import Box, GlassKind
from raytrace.reference import reference_shares
from tests.raytrace.made import BK7, block, edge_above, holed, pencils, plate_of_glass, upward


def assert_share(shares, truth):
    assert len(shares.clear_share) == len(np.atleast_1d(truth)) > 0
    error = shares.clear_share - truth
    assert np.abs(error / np.hypot(shares.stderr, 1e-4)).max() < 5.0
    assert np.abs(error).max() < 0.007


def trace(pencil, *parts, glasses=(), seed=7):
    return reference_shares(pencil, Box(parts=parts, glasses=tuple(glasses)), log2_rays=12, rng=np.random.default_rng(seed))


# A = r^2 acos(..) + R^2 acos(..) - kite; MathWorld "Circle-Circle Intersection" (from memory), scipy quad agrees.
@pytest.mark.parametrize(
    ("r", "R", "d", "area"),
    [
        (1, 1, 0.5, 2.152109225030),
        (1, 1, 1, 1.228369698609),
        (1, 1, 1.5, 0.453311753978),
        (1, 1.5, 1, 2.330119473894),
        (10, 14, 8, 250.769654158292),
        (1, 2, 0.9, np.pi),
        (1, 1, 0.8079455065990, np.pi / 2),
    ],
)
def test_round_hole_leaves_the_cats_eye_of_two_circles(r, R, d, area):
    scale = 4.0 / r
    hole = holed(60, Circle(R * scale), right_mm=0.6 * d * scale, up_mm=0.8 * d * scale)
    assert_share(trace(pencils([0, 0], radius_mm=4.0), hole), area / (np.pi * r * r))


# Circle segment: blocked = (acos h - h sqrt(1 - h^2)) / pi, h the edge's distance from the centre in radii.
SEGMENT = [
    (0.9, 0.018693036734),
    (0.75, 0.072146806407),
    (0.5, 0.195501109478),
    (0.25, 0.342518821237),
    (0, 0.5),
    (-0.5, 0.804498890522),
]


def segment(h):
    h = np.clip(h, -1, 1)
    return (np.arccos(h) - h * np.sqrt(1 - h * h)) / np.pi


@pytest.mark.parametrize(("h", "blocked"), SEGMENT)
def test_straight_edge_takes_the_circle_segment(h, blocked):
    assert_share(trace(pencils([0, 0], radius_mm=6.0), edge_above(6.0 * h, 80)), 1 - blocked)


@pytest.mark.parametrize(
    ("loss_stops", "h"),
    # The segment solved for h by root finding.
    [(0.1, 0.7624353405), (0.25, 0.5676377911), (0.5, 0.3314982536), (1, 0.0)],
)
def test_edge_placed_for_a_loss_takes_that_many_stops(loss_stops, h):
    assert_share(trace(pencils([0, 0], radius_mm=6.0), edge_above(6.0 * h, 80)), 2.0**-loss_stops)


@pytest.mark.parametrize(
    ("low", "high", "area"),
    # Unit disc inside a rectangle, scipy quad; the first is exact, its corners lie on the circle.
    [((-0.8, -0.6), (0.8, 0.6), 1.92), ((-9, -9), (0.5, 0.5), 1.992009640888), ((-0.7, -0.2), (0.3, 0.9), 1.078285789866)],
)
def test_rectangular_hole_leaves_the_disc_inside_the_rectangle(low, high, area):
    size, middle = 5.0 * (np.array(high) - low), 5.0 * (np.array(high) + low) / 2
    hole = holed(60, RoundedRectangle(*size), right_mm=-middle[0], up_mm=middle[1])
    assert_share(trace(pencils([0, 0], radius_mm=5.0), hole), area / np.pi)


def test_corner_of_a_block_takes_the_corner_of_the_disc():
    # Unit disc beyond X > 1/2 and Y > 1/2: pi/12 + 1/4 - sqrt(3)/4.
    corner = block((2.5, 2.5, 90), (60, 60, 93))
    assert_share(trace(pencils([0, 0], radius_mm=5.0), corner), 1 - (np.pi / 12 + 0.25 - np.sqrt(3) / 4) / np.pi)


# Flat pupil of radius rho, z_p behind the rim; edge L ahead; object at infinity: section centre (z_p + L) tan t, radius rho.
@pytest.mark.parametrize(
    ("height_mm", "blocked"),
    [(63.199897, 0.0), (60, 0.044821032), (55, 0.175342553), (50, 0.339600416), (45.488153, 0.5), (27.776409, 1.0)],
)
def test_edge_in_front_of_a_distant_beam(height_mm, blocked):
    beam = pencils(upward(20), behind_mm=24.977674, radius_mm=17.711744)
    assert_share(trace(beam, edge_above(height_mm, 100)), 1 - blocked)


@pytest.mark.parametrize(("height_mm", "blocked"), [(74.865138, 0.0), (70.764409, 0.5), (66.663680, 1.0)])
def test_edge_in_front_of_a_narrow_wide_angle_beam(height_mm, blocked):
    # As above: z_p 21.062049, rho 4.100729, L 80, 35 deg.
    beam = pencils(upward(35), behind_mm=21.062049, radius_mm=4.100729)
    assert_share(trace(beam, edge_above(height_mm, 80)), 1 - blocked)


@pytest.mark.parametrize(
    ("object_mm", "y", "height_mm", "blocked"),
    # Object plane s_p from the pupil, object height y: centre y d / s_p, radius rho (1 - d / s_p), d = L + z_p = 145.
    [
        (2000, 500, 47.38, 0.0),
        (2000, 500, 36.25, 0.5),
        (2000, 500, 36.25 + 11.13 / 2, 0.195501109478),
        (1000, 300, 53.76, 0.0),
        (1000, 300, 43.5, 0.5),
        (1000, 300, 43.5 - 10.26 / 2, 0.804498890522),
    ],
)
def test_edge_in_front_of_a_beam_that_converges(object_mm, y, height_mm, blocked):
    beam = pencils([0, y / object_mm], behind_mm=25, radius_mm=12, object_mm=object_mm)
    assert_share(trace(beam, edge_above(height_mm, 120)), 1 - blocked)


# Axial shift of a plate, T [1 - cos t / sqrt(n^2 - sin^2 t)], n = 1.5168, T = 4: vector trace through a slab.
@pytest.mark.parametrize(("deg", "dz_mm"), [(20, 1.456399644), (30, 1.580968978), (45, 1.892214304), (60, 2.393914766)])
def test_glass_narrows_the_beam_beyond_it(deg, dz_mm):
    edge_mm, rho, ahead = 0.4, 4.0, 25 + 80
    centre = (ahead - dz_mm) * np.tan(np.radians(deg))
    beam = pencils(upward(deg), behind_mm=25, radius_mm=rho)
    shares = trace(beam, edge_above(centre + edge_mm, 80), glasses=[plate_of_glass(20, size_mm=(900, 900))])
    assert_share(shares, 1 - segment(edge_mm / rho))


def test_edge_behind_the_glass_meets_the_beam_unshifted():
    beam = pencils(upward(40), behind_mm=25, radius_mm=4.0)
    centre = (25 + 30) * np.tan(np.radians(40))
    shares = trace(beam, edge_above(centre + 1.0, 30), glasses=[plate_of_glass(60, size_mm=(900, 900))])
    assert_share(shares, 1 - segment(0.25))


def test_leaning_glass_shifts_the_beam_by_the_angle_it_meets():
    # 20 deg field; the top leans away from the beam's side by 10 deg: incidence 30 or 10 deg, shift 0.790484489 or 0.240632074 mm
    # square to the ray (vector trace through a tilted slab), so 1 / cos 20 of it in the edge's plane.
    beam = pencils(upward(20), behind_mm=25, radius_mm=4.0)
    centre = (25 + 80) * np.tan(np.radians(20))
    for tilt_deg, shift_mm in ((10, 0.790484489), (-10, 0.240632074)):
        height = centre - shift_mm / np.cos(np.radians(20)) + 1.0
        shares = trace(beam, edge_above(height, 80), glasses=[plate_of_glass(20, tilt_deg=tilt_deg)])
        assert_share(shares, 1 - segment(0.25))


# Loss-free plate, mean of (1 - Rs)/(1 + Rs) and (1 - Rp)/(1 + Rp); tmm 0.2.0 inc_tmm agrees to 1e-10.
PLATE = [(0, 0.919082717), (15, 0.918957337), (30, 0.916724428), (45, 0.903299072), (60, 0.844208010), (75, 0.615321040)]


def test_clear_plate_passes_what_fresnel_says():
    fields, truth = np.array(PLATE).T
    shares = trace(pencils(upward(*fields)), glasses=[plate_of_glass(20, size_mm=(900, 900))])
    assert shares.glass == pytest.approx(truth, abs=1e-9)
    assert shares.clear_share.min() == 1.0


def test_dense_plate_costs_wide_fields_extra():
    # D 0.6 at normal incidence; extra stops at 15/30/45/60 deg by (1-R)^2 tau/(1-R^2 tau^2); tmm with complex index agrees.
    plate = plate_of_glass(20, size_mm=(900, 900), kind=GlassKind.DENSITY, density=0.6)
    shares = trace(pencils(upward(0, 15, 30, 45, 60)), glasses=[plate])
    assert shares.glass[0] == pytest.approx(10**-0.6, rel=1e-9)
    extra = -np.log2(shares.glass[1:] / shares.glass[0])
    assert extra == pytest.approx([0.02804938, 0.11488817, 0.27205213, 0.54674046], abs=1e-8)


def test_plates_in_a_row_multiply_for_s_and_p_apart():
    # Rs 0.0959783018, Rp 0.0092118344 at 45 deg, n = 1.5168 (tmm interface_R); two plates without reflections between them.
    ts, tp = ((1 - r) / (1 + r) for r in (0.0959783018, 0.0092118344))
    shares = trace(pencils(upward(45)), glasses=[plate_of_glass(z, size_mm=(900, 900), index=BK7) for z in (20, 30)])
    assert shares.glass[0] == pytest.approx((ts**2 + tp**2) / 2, abs=1e-9)


def test_hard_graduated_edge_softens_to_the_share_of_the_disc_above_it():
    # Dark above the edge: the part of the beam's section above it, a circle segment, is dimmed 10^-0.9; the rest is clear glass.
    shares = trace(pencils([0, 0], radius_mm=8.0), glasses=[plate_of_glass(20, kind=GlassKind.GRADUATED, density=0.9, edge_mm=2.0)])
    dark = segment(0.25)
    assert shares.glass[0] == pytest.approx(dark * 10**-0.9 + (1 - dark) * 2 * BK7 / (BK7**2 + 1), abs=2e-3)


def test_lens_front_ring_cuts_the_bare_pencil_and_not_the_box():
    # Two circles r 10, R 14, d 8 (scipy quad: 0.798224600735); the ring 25 mm ahead of the pupil sees the beam at 25 tan t = 8.
    beam = pencils([0, 8 / 25], behind_mm=25, radius_mm=10, ring=(0.0, 14.0))
    shares = trace(beam, edge_above(500, 60))
    assert shares.lens[0] == pytest.approx(0.798224600735, abs=0.003)
    assert shares.clear_share[0] == 1.0
