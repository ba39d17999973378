"""Clearance against trigonometry, and against the rays: nought is where loss begins."""

import numpy as np
import pytest
import shapely
from scipy.optimize import brentq
from scipy.spatial import ConvexHull

from geometry.body import Block, Kind, Part, Surface
from geometry.flags import flag
from geometry.frame import Side, pose
from geometry.outline import Circle, Freeform, RoundedRectangle
from raytrace.beam.clearance import clearances, frame_margins_percent
from raytrace.beam.frame_margin import scaled
from raytrace.box import Box
from raytrace.optics.bundle import launch
from raytrace.optics.camera import Guide
from raytrace.optics.glass import walk
from raytrace.optics.lens import FixedPupil, LensState, WalkingPupil, pencils_for
from raytrace.reference import plain_tracer
from tests.raytrace.made import block, bracket, holed, leaning_flag, plate_of_glass, show_box


def lens_at(behind_mm=40.0, radius_mm=5.0, **changes):
    given = {
        "name": "plain",
        "focal_mm": 20.0,
        "f_number": 2.0,
        "focus_mm": np.inf,
        "field_focal_mm": 20.0,
        "object_z_mm": np.inf,
        "pupil": FixedPupil(behind_front_mm=(behind_mm, behind_mm), half_size_mm=(radius_mm, radius_mm)),
        "half_diagonal_mm": 20.0,
    }
    return LensState(**(given | changes))


GUIDE = Guide(name="frame", half_width_mm=12.0, half_height_mm=6.0, centre_mm=(1.0, -0.5))


def clearance_of(part, lens, guide=GUIDE, glasses=()):
    return clearances([lens], [guide], Box(parts=(part,), glasses=glasses))[0]


def test_a_mask_is_clear_by_its_half_opening_less_the_beams():
    # Edge of the beam: (z + depth) tan t + radius, closed form of a flat round pupil.
    found = clearance_of(holed(60.0, RoundedRectangle(180, 100)), lens_at())
    left, right, top, bottom = (
        90 - (100 * 11 / 20 + 5),
        90 - (100 * 13 / 20 + 5),
        50 - (100 * 5.5 / 20 + 5),
        50 - (100 * 6.5 / 20 + 5),
    )
    assert min(left, right, top, bottom) == bottom == 12.5
    assert found.clearance_mm == pytest.approx(bottom, abs=0.02)
    assert found.where.startswith("bottom")


@pytest.mark.parametrize(("z_mm", "place"), [(60.0, "60.0 mm ahead of"), (-2.5, "2.5 mm behind"), (-0.04, "0.0 mm ahead of")])
def test_a_place_is_told_ahead_of_the_lens_front_or_behind_it(z_mm, place):
    found = clearance_of(holed(z_mm, RoundedRectangle(180, 100)), lens_at())
    assert found.where.endswith(f", {place} the lens front")


def test_a_thin_walled_hood_in_the_beam_stands_in_it_by_what_its_opening_lacks_not_by_its_wall():
    # The beam reaches 100 * 13 / 20 + 5 = 70 mm to the right, the opening 50; the wall is 1.5 mm thick with open air beyond.
    hood = holed(60.0, RoundedRectangle(100, 200), bounded=True, outer=RoundedRectangle(103, 203))
    assert clearance_of(hood, lens_at()).clearance_mm == pytest.approx(-20.0, abs=0.02)


def test_a_mask_shifted_to_the_operators_left_meets_the_beam_on_his_right():
    found = clearance_of(holed(60.0, RoundedRectangle(150, 200), right_mm=-10.0), lens_at())
    assert found.clearance_mm == pytest.approx(75 - 10 - 70, abs=0.02)
    assert "right" in found.where
    assert found.point_mm[0] == pytest.approx(-70.0, abs=0.02)


def test_a_round_opening_is_clear_by_its_radius_less_the_beams_corner():
    corner = np.hypot(100 * 13 / 20, 100 * 6.5 / 20) + 5
    assert clearance_of(holed(60.0, Circle(90.0)), lens_at()).clearance_mm == pytest.approx(90 - corner, abs=0.02)


@pytest.mark.parametrize("angle_deg", [10.0, 25.0, 50.0])
def test_a_flag_is_clear_by_the_trigonometry_of_its_blade(angle_deg):
    # In the plane z the blade's face stands at hinge + (z - at) tan(angle), the beam's edge at (z + depth) tan t + radius.
    at, hinge, length, rise = 80.0, 60.0, 90.0, 5.5 / 20
    part = flag(pose(), side=Side.TOP, angle_deg=angle_deg, hinge_mm=hinge, at_mm=at, length_mm=length, width_mm=400.0)
    z = np.linspace(at, at + length * np.cos(np.radians(angle_deg)), 4000)
    gap = hinge + (z - at) * np.tan(np.radians(angle_deg)) - ((z + 40) * rise + 5)
    found = clearance_of(part, lens_at())
    assert found.clearance_mm == pytest.approx(gap.min(), abs=0.02)
    assert found.where.startswith("top")


def test_a_mesh_of_a_block_is_as_clear_as_the_block():
    part = leaning_flag()

    faces = ConvexHull(part.body.corners_mm).simplices.astype(np.int64)
    mesh = Part(name="mesh", kind=Kind.SOLID, body=Surface(part.body.corners_mm, faces))
    lens = lens_at(behind_mm=20.0, radius_mm=3.0)
    guide = scaled(GUIDE, 0.75)
    as_block = clearance_of(part, lens, guide).clearance_mm
    assert as_block > 1.0
    assert clearance_of(mesh, lens, guide).clearance_mm == pytest.approx(as_block, abs=0.01)


def test_a_plate_with_a_way_round_it_is_clear_where_the_beam_passes_beside_it():
    plate = holed(60.0, Circle(5.0), bounded=True, outer=RoundedRectangle(20, 20), right_mm=150.0)
    assert clearance_of(plate, lens_at()).clearance_mm == pytest.approx(150 - 10 - 70, abs=0.02)


def test_the_worst_pupil_depth_counts_and_the_range_is_kept():
    part = holed(60.0, RoundedRectangle(180, 100))
    found = clearances([lens_at(36.0), lens_at(44.0)], [GUIDE], Box(parts=(part,)))[0]
    assert found.variant == 1
    assert found.clearance_mm == pytest.approx(50 - (104 * 6.5 / 20 + 5), abs=0.02)
    assert found.range_mm[1] - found.range_mm[0] == pytest.approx(8 * 6.5 / 20, abs=0.02)


def test_the_frame_margin_is_the_growth_that_brings_the_beam_to_the_edge():
    # Frame without offset: the bottom edge touches where 100 k 6 / 20 + 5 = 40.
    guide = Guide(name="frame", half_width_mm=9.0, half_height_mm=6.0)
    part = holed(60.0, RoundedRectangle(300, 80))
    margin = frame_margins_percent([lens_at()], guide, Box(parts=(part, holed(10.0, Circle(400.0)))))
    assert margin[0] == pytest.approx(100 * (35 * 20 / 600 - 1), abs=0.1)
    assert margin[1] == pytest.approx(50.0)


def test_a_frame_that_shows_a_part_has_a_margin_below_nought():
    part = holed(60.0, RoundedRectangle(300, 60))
    guide = Guide(name="frame", half_width_mm=9.0, half_height_mm=6.0)
    assert frame_margins_percent([lens_at()], guide, Box(parts=(part,)))[0] == pytest.approx(100 * (25 * 20 / 600 - 1), abs=0.1)


@pytest.mark.parametrize("grow", [1.02, 1.1, 1.3])
def test_a_wider_guide_never_gains_clearance(grow):
    box = show_box()
    small = clearances([lens_at(30.0, 3.0)], [scaled(GUIDE, 0.6)], box)
    large = clearances([lens_at(30.0, 3.0)], [scaled(GUIDE, 0.6 * grow)], box)
    assert all(b.clearance_mm <= a.clearance_mm + 0.02 for a, b in zip(small, large, strict=True))


def lost_rays(lens, guide, box):
    """How many of the guide's rays any part stops: dense along the guide's edge and the pupil's rim, where loss begins."""
    angle = 2 * np.pi * np.arange(720) / 720
    disc = 0.999999 * np.column_stack([np.cos(angle), np.sin(angle)])
    lost = 0
    points = guide.rim_points_mm(60)
    for some in np.array_split(points, 8):
        bundle, legs = walk(launch(pencils_for(lens, some), disc), box.glasses)
        lost += int(((plain_tracer(box)(bundle, legs).first_part >= 0) & bundle.alive).sum())
    return lost


STAR = shapely.Polygon([(-90, -60), (0, -48), (90, -60), (84, 0), (90, 60), (0, 50), (-90, 60), (-80, 0)])


def made_parts(shift_mm, rng):
    """One part of each kind, moved from outside into the beam by `shift_mm`, and what of them is tested."""
    tilt, turn = rng.uniform(-8, 8), rng.uniform(-10, 10)
    low = block((-30, 60 - shift_mm, 90), (50, 90 - shift_mm, 92.5))
    tip = Block(leaning_flag().body.corners_mm + np.array([shift_mm - 40, 0, 0]))
    mesh = bracket().body
    return (
        holed(44, RoundedRectangle(220, 150, 20), name="mask", depth_mm=1.0, right_mm=shift_mm, tilt_deg=tilt, turn_deg=turn),
        holed(50, Circle(90), front=Circle(120), depth_mm=40, name="tunnel", up_mm=shift_mm),
        holed(60, Freeform(STAR), name="drawn", up_mm=-shift_mm, tilt_deg=tilt),
        low,
        Part(name="flag", kind=Kind.FLAG, body=tip),
        Part(name="mesh", kind=Kind.SOLID, body=Surface(mesh.vertices_mm + np.array([60 - shift_mm, 0, 0]), mesh.faces)),
    )


def random_lens(rng):
    depth, radius = rng.uniform(20, 45), rng.uniform(1, 8)
    pupil = FixedPupil(behind_front_mm=(depth, depth), half_size_mm=(radius, radius))
    if rng.random() < 0.3:
        pupil = FixedPupil(behind_front_mm=(depth, depth + 30), half_size_mm=(radius / 1.8, radius))
    elif rng.random() < 0.5:
        rows = ((0.0, depth, 1.0, 1.0), (20.0, depth + 0.6, 1.01, 1.02), (45.0, depth + 3.0, 1.1, 1.05))
        pupil = WalkingPupil(behind_front_mm=depth, half_size_mm=(radius, radius), rows=rows)
    return lens_at(
        pupil=pupil,
        object_z_mm=rng.choice([np.inf, 260.0, 900.0]),
        projection=rng.choice(["rectilinear", "equidistant", "stereographic"]),
        distortion=(rng.uniform(-0.06, 0.06), 0.0),
    )


def check_where_loss_begins(seed, kinds=range(6)):
    rng = np.random.default_rng(seed)
    lens = random_lens(rng)
    guide = Guide(name="g", half_width_mm=rng.uniform(6, 10), half_height_mm=rng.uniform(3, 6), centre_mm=(rng.uniform(-1, 1), 0.5))
    glasses = (plate_of_glass(18), plate_of_glass(34, tilt_deg=rng.uniform(-8, 8)))[: rng.integers(0, 3)]
    checked = 0
    for k in kinds:
        part_at = lambda shift, k=k: made_parts(shift, np.random.default_rng(seed))[k]  # noqa: E731
        gap = lambda shift, part_at=part_at: clearance_of(part_at(shift), lens, guide, glasses).clearance_mm  # noqa: E731
        if not (gap(-20.0) > 0.1 and gap(55.0) < -0.4):
            continue
        checked += 1
        for target, clear in ((0.05, True), (-0.2, False)):
            shift = brentq(lambda s, gap=gap, target=target: gap(s) - target, -20.0, 55.0, xtol=5e-3)
            lost = lost_rays(lens, guide, Box(parts=(part_at(shift),), glasses=glasses))
            assert (lost == 0) == clear, (seed, k, target, lost)
    return checked


def test_loss_begins_where_clearance_is_nought():
    assert check_where_loss_begins(4, kinds=(1, 4)) == 2


@pytest.mark.slow
def test_loss_begins_where_clearance_is_nought_in_many_scenes():
    assert sum(check_where_loss_begins(seed) for seed in range(10, 17)) >= 18


def test_both_pupil_depths_of_a_squeezing_lens_are_met():
    # x(z) = u + tx (z - zx), y(z) = v + ty (z - zy): (z + 65) tan x + a to the side, (z + 160) tan y + b upward.
    lens = lens_at(pupil=FixedPupil(behind_front_mm=(65.0, 160.0), half_size_mm=(5.0, 10.0)), squeeze=2.0)
    guide = Guide(name="g", half_width_mm=5.0, half_height_mm=3.0)
    side, up = 125 * 2 * 5 / 20 + 5, 220 * 3 / 20 + 10
    assert clearance_of(holed(60.0, RoundedRectangle(2 * side + 6, 400)), lens, guide).clearance_mm == pytest.approx(3, abs=0.02)
    assert clearance_of(holed(60.0, RoundedRectangle(400, 2 * up + 8)), lens, guide).clearance_mm == pytest.approx(4, abs=0.02)
