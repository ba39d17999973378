"""Density's corner loss against the absorbing plate's published form; graduated edges against a step and a circle's segment."""

import numpy as np
import pytest

from geometry.body import Slab
from geometry.frame import pose
from geometry.outline import RoundedRectangle
from raytrace.box import Glass, GlassKind
from raytrace.optics.filter_light import extra_loss_stops, graded_edge, graded_share, reach_mm
from raytrace.optics.lens import FixedPupil, LensState

FOCAL_MM, PUPIL_MM, GLASS_AT_MM = 40.0, 50.0, 30.0
HALF_MM = (18.0, 12.0)


def lens(f_number):
    radius = FOCAL_MM / f_number / 2
    return LensState(
        name="40",
        focal_mm=FOCAL_MM,
        f_number=f_number,
        focus_mm=np.inf,
        field_focal_mm=FOCAL_MM,
        object_z_mm=np.inf,
        pupil=FixedPupil(behind_front_mm=(PUPIL_MM, PUPIL_MM), half_size_mm=(radius, radius)),
    )


def graded(*, density=0.9, edge_mm=0.0, soft_mm=0.0, turn_deg=0.0, kind=GlassKind.GRADUATED):
    place = pose(ahead_mm=GLASS_AT_MM, turn_deg=turn_deg)
    slab = Slab(name="graduated", pose=place, outline=RoundedRectangle(300, 300), thickness_mm=0.01)
    return Glass(slab=slab, index=1.5168, kind=kind, density=density, edge_mm=edge_mm, soft_mm=soft_mm)


def edge(f_number, glass, turn_deg=0.0):
    return graded_edge(lens(f_number), [glass], 0, turn_deg=turn_deg, half_mm=HALF_MM, middle_mm=(0.0, 0.0))


@pytest.mark.parametrize(
    ("density", "angle", "loss"),
    [(0.3, 45, 0.14157304), (0.6, 30, 0.11488817), (0.6, 45, 0.27205213), (0.6, 60, 0.54674046), (1.8, 45, 0.79174477)],
)
def test_a_density_takes_more_at_an_angle(density, angle, loss):
    # T = (1 - R)^2 tau / (1 - R^2 tau^2), tau to the power 1 / cos t'; values by the package tmm 0.2.0, complex index, n = 1.5168
    glass = graded(density=density, kind=GlassKind.DENSITY)
    assert extra_loss_stops(glass, angle) == pytest.approx(loss, abs=1e-6)


def test_a_point_pupil_sees_the_step_itself():
    found = edge(1e5, graded(edge_mm=8.0))
    step_mm = 8.0 * FOCAL_MM / (PUPIL_MM + GLASS_AT_MM)  # similar triangles
    assert found.middle_mm == pytest.approx(step_mm, abs=0.02)
    assert found.soft_mm == pytest.approx(0.0, abs=0.03)


def test_a_point_pupil_sees_a_soft_edge_as_it_is():
    found = edge(1e5, graded(edge_mm=-4.0, soft_mm=12.0))
    scale = FOCAL_MM / (PUPIL_MM + GLASS_AT_MM)
    assert found.middle_mm == pytest.approx(-4.0 * scale, abs=0.02)
    assert found.soft_mm == pytest.approx(0.8 * 12.0 * scale, abs=0.02)  # from a tenth to nine tenths of the stops


def test_an_open_pupil_softens_the_step_to_a_circles_segment():
    glass, radius = graded(density=0.9), FOCAL_MM / 2.0 / 2
    y = np.array([-6.0, -3.0, 0.0, 1.0, 4.0])
    share = graded_share(lens(2.0), np.column_stack([np.zeros(5), y]), [glass], 0, 4096)
    d = np.clip(y / FOCAL_MM * (PUPIL_MM + GLASS_AT_MM) / radius, -1, 1)  # of the footprint's middle above the step
    above = 1 - (np.arccos(d) - d * np.sqrt(1 - d * d)) / np.pi  # circle segment (Bronstein)
    assert share == pytest.approx(1 - above * (1 - 10**-0.9), abs=0.002)


def test_the_edge_gets_harder_as_the_stop_closes():
    runs = [edge(f_number, graded(edge_mm=2.0)).soft_mm for f_number in (2.0, 4.0, 8.0)]
    assert runs[0] / runs[1] == pytest.approx(2.0, rel=0.05)  # the footprint halves
    assert runs[1] / runs[2] == pytest.approx(2.0, rel=0.05)


def test_turned_clockwise_the_dark_end_goes_to_the_right():
    glass, points = graded(turn_deg=90.0), np.array([[10.0, 0.0], [-10.0, 0.0], [0.0, 10.0]])
    right, left, top = graded_share(lens(16.0), points, [glass], 0, 256)
    assert right == pytest.approx(10**-0.9)
    assert left == 1.0
    assert 0.4 < top < 0.7
    assert edge(1e5, graded(turn_deg=90.0, edge_mm=6.0), turn_deg=90.0).middle_mm == pytest.approx(3.0, abs=0.02)


def test_an_edge_out_of_the_picture_is_told_as_none():
    assert edge(8.0, graded(edge_mm=100.0)).middle_mm is None
    assert edge(8.0, graded(edge_mm=-100.0)).middle_mm is None


def test_the_way_up_a_turned_filter_ends_at_the_pictures_edge():
    assert reach_mm(HALF_MM, 0.0) == pytest.approx(12.0)
    assert reach_mm(HALF_MM, 90.0) == pytest.approx(18.0)
    assert reach_mm(HALF_MM, 45.0) == pytest.approx(12.0 * np.sqrt(2))


def test_a_plate_nearer_the_lens_brings_the_edge_farther_out_in_the_picture():
    thick = Slab(name="thick", pose=pose(ahead_mm=10.0), outline=RoundedRectangle(300, 300), thickness_mm=30.0)
    glasses = [Glass(slab=thick, index=1.5168), graded(edge_mm=8.0)]
    found = graded_edge(lens(1e5), glasses, 1, turn_deg=0.0, half_mm=HALF_MM, middle_mm=(0.0, 0.0))
    # The plate draws a ray in by dz tan t, dz = T (1 - cos t / sqrt(n^2 - sin^2 t)) (Smith, Modern Optical Engineering); a ray
    # at tan t reaches 8 mm where tan t (PUPIL_MM + GLASS_AT_MM - dz) = 8, with dz = 10.2948 at 6.547 deg.
    assert found.middle_mm == pytest.approx(8.0 * FOCAL_MM / (PUPIL_MM + GLASS_AT_MM - 10.2948), abs=0.02)
