"""The reference way's own promises: first stopper, alone, limits of the beam, standard error, and what must hold for any box."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.outline import Circle, RoundedRectangle
from raytrace.box import NO_PART, Box, GlassKind
from raytrace.reference import reference_shares
from tests.raytrace.made import block, edge_above, holed, pencils, plate_of_glass, show_box, upward


def trace(pencil, *parts, glasses=(), log2_rays=8, seed=5):
    return reference_shares(pencil, Box(parts=parts, glasses=tuple(glasses)), log2_rays=log2_rays, rng=np.random.default_rng(seed))


def field(columns=9, rows=7, seed=None):
    """Slopes over a picture, denser than any symmetry; or at random."""
    if seed is not None:
        return np.random.default_rng(seed).uniform(-1, 1, (columns * rows, 2)) * (0.95, 0.6)
    x, y = np.meshgrid(np.linspace(-0.9, 0.95, columns), np.linspace(-0.6, 0.55, rows))
    return np.column_stack([x.ravel(), y.ravel()])


def test_empty_box_takes_nothing():
    shares = trace(pencils(field()))
    assert np.all(shares.clear_share == 1.0)
    assert np.all(shares.glass == 1.0)
    assert np.all(shares.lens == 1.0)
    assert np.all(shares.blocked_by == NO_PART)
    assert shares.alone.shape == (63, 0)


def test_block_at_the_operators_right_darkens_the_right_of_the_picture():
    # Frame x runs to the operator's left, so his right has x < 0; picture right looks along negative x slopes.
    flag = block((-200, -300, 60), (-10, 300, 62), name="right flag")
    shares = trace(pencils([[-0.5, 0], [0.5, 0]]), flag)
    assert shares.clear_share.tolist() == [0.0, 1.0]
    assert shares.blocked_by.tolist() == [0, NO_PART]


def test_first_stopper_is_the_part_met_first_going_out():
    far, near = edge_above(5, 90, name="far"), edge_above(5, 40, name="near")
    shares = trace(pencils([0, 0.6]), far, near)
    assert shares.blocked_by.tolist() == [1]
    assert shares.part_names == ("far", "near")
    assert shares.alone == pytest.approx(np.zeros((1, 2)))


def test_alone_is_the_loss_with_only_that_part():
    parts = (edge_above(2, 60), holed(40, Circle(6), right_mm=5), block((-30, -30, 30), (-1, -1, 31)))
    together = trace(pencils([0, 0], radius_mm=6.0), *parts)
    single = [trace(pencils([0, 0], radius_mm=6.0), part).clear_share[0] for part in parts]
    assert together.alone[0] == pytest.approx(single, abs=1e-12)
    assert 0 < together.clear_share[0] < min(single)


def test_blocked_by_is_the_part_that_takes_most():
    # Unit disc: the edge at h = 0.5 takes 0.196 of it, the one at h = -0.2 from below takes more (circle segments).
    little, much = edge_above(3, 60), block((-90, -90, 61), (90, -1.2, 62))
    assert trace(pencils([0, 0], radius_mm=6.0), little, much).blocked_by.tolist() == [1]
    assert trace(pencils([0, 0], radius_mm=6.0), much, little).blocked_by.tolist() == [0]


def test_part_beyond_the_object_plane_blocks_nothing():
    pencil = pencils([0, 0], object_mm=325.0)  # object plane 300 mm ahead of the front rim
    assert trace(pencil, holed(301, Circle(1), right_mm=40)).clear_share.tolist() == [1.0]
    assert trace(pencil, holed(299, Circle(1), right_mm=40)).clear_share.tolist() == [0.0]
    assert trace(pencil, block((-9, -9, 301), (9, 9, 320))).clear_share.tolist() == [1.0]
    assert trace(pencil, block((-9, -9, 290), (9, 9, 320))).clear_share.tolist() == [0.0]


def test_part_behind_the_pupil_blocks_nothing():
    pencil = pencils([0, 0], behind_mm=25.0)
    assert trace(pencil, holed(-26, Circle(1), right_mm=40), block((-9, -9, -60), (9, 9, -26))).clear_share.tolist() == [1.0]
    assert trace(pencil, holed(-24, Circle(1), right_mm=40)).clear_share.tolist() == [0.0]


def test_close_up_lens_brings_the_object_plane_nearer():
    # +2 at 30 mm: sharp 500 mm beyond it; what stands at 540 mm is past the object.
    glass = plate_of_glass(30, kind=GlassKind.CLOSE_UP, power_dioptre=2)
    wall = block((-99, -99, 540), (99, 99, 541))
    assert trace(pencils([0, 0]), wall).clear_share.tolist() == [0.0]
    assert trace(pencils([0, 0]), wall, glasses=[glass]).clear_share.tolist() == [1.0]


def test_part_inside_the_depth_of_a_leaning_plate_is_met_on_the_right_leg():
    # Incidence 20 deg, 13.03157383 inside (Snell), so the axial ray runs 6.968 deg downward in the glass, entered 4 / cos 20 before
    # the plate's middle at z = 20. Two blocks leave it a gap of 0.006 mm there.
    glass = plate_of_glass(20, tilt_deg=20, thickness_mm=8)
    height = -4 / np.cos(np.radians(20)) * np.tan(np.radians(20 - 13.03157383))
    below = block((-9, -90, 19.99), (9, height - 0.003, 20.01))
    above = block((-9, height + 0.003, 19.99), (9, 90, 20.01))
    needle = pencils([0, 0], radius_mm=1e-5)
    assert trace(needle, below, glasses=[glass]).clear_share.tolist() == [1.0]
    assert trace(needle, above, glasses=[glass]).clear_share.tolist() == [1.0]
    assert trace(needle, above).clear_share.tolist() == [0.0]


def test_glass_is_weighed_over_what_gets_through():
    # A hard graduated edge on the axis and a mask that leaves only the half below it: clear glass, 2 n / (n^2 + 1) for n = 1.5168.
    glass = plate_of_glass(20, kind=GlassKind.GRADUATED, density=0.9)
    shares = trace(pencils([0, 0], radius_mm=6.0), edge_above(0, 60), glasses=[glass])
    assert shares.clear_share[0] == pytest.approx(0.5, abs=0.01)
    assert shares.glass[0] == pytest.approx(0.919082717, abs=1e-9)


def test_field_point_without_rays_loses_nothing_to_the_box_and_has_no_lens():
    pencil = pencils([[0, 0], [0, 0]])
    pencil.valid[1] = False
    shares = trace(pencil, edge_above(-500, 60))
    assert shares.clear_share.tolist() == [0.0, 1.0]
    assert shares.lens.tolist() == [1.0, 0.0]
    assert shares.blocked_by.tolist() == [0, NO_PART]


def test_lens_layer_is_falloff_times_what_its_rims_leave():
    pencil = replace(pencils([0, 0], rim_share=np.full(16, 0.5)), falloff=np.array([0.8]))
    assert trace(pencil, log2_rays=12).lens[0] == pytest.approx(0.8 * 0.25, abs=0.002)  # a disc of half the radius


def test_standard_error_is_as_large_as_the_error():
    # Segments in closed form; over 60 edges the error in standard errors has a mean square near 1 (15 degrees of freedom: 15/13).
    # Edges near the middle are left out: there the points' own symmetry makes sample and truth agree beyond chance.
    h = np.concatenate([np.linspace(-0.85, -0.1, 30), np.linspace(0.1, 0.85, 30)])
    truth = 1 - (np.arccos(h) - h * np.sqrt(1 - h * h)) / np.pi
    runs = [trace(pencils([0, 0], radius_mm=6), edge_above(6 * k, 60), log2_rays=9, seed=s) for s, k in enumerate(h)]
    share, stderr = (np.array([getattr(r, name)[0] for r in runs]) for name in ("clear_share", "stderr"))
    assert (stderr > 0).all()
    assert 0.5 < np.mean(((share - truth) / stderr) ** 2) < 2.5


def test_answers_do_not_depend_on_which_points_are_asked_together():
    slope, box = field(seed=4), show_box()
    whole = reference_shares(pencils(slope), box, rng=np.random.default_rng(2))
    last = reference_shares(pencils(slope[40:]), box, rng=np.random.default_rng(2))
    assert np.array_equal(whole.clear_share[40:], last.clear_share)
    assert np.array_equal(whole.glass[40:], last.glass)


def test_too_few_rays_for_a_standard_error_are_refused():
    with pytest.raises(ValueError, match="log2_rays: must be at least 4, got 3"):
        trace(pencils([0, 0]), log2_rays=3)


def test_no_points_give_no_shares():
    shares = trace(pencils(np.zeros((0, 2))), edge_above(5, 60))
    assert (len(shares.clear_share), shares.alone.shape) == (0, (0, 1))


ANY_PART = st.one_of(
    st.builds(
        lambda z, w, h, r, tilt: holed(z, RoundedRectangle(w, h, 2), depth_mm=6, right_mm=r, tilt_deg=tilt),
        st.floats(-10, 150),
        st.floats(20, 200),
        st.floats(20, 200),
        st.floats(-20, 20),
        st.floats(-15, 15),
    ),
    st.builds(
        lambda z, r: holed(z, Circle(r), front=Circle(2 * r), depth_mm=40, bounded=True, outer=RoundedRectangle(5 * r, 5 * r)),
        st.floats(0, 100),
        st.floats(5, 80),
    ),
    st.builds(
        lambda x, y, z: block((x, y, z), (x + 30, y + 12, z + 9)), st.floats(-80, 50), st.floats(-60, 48), st.floats(-20, 200)
    ),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(ANY_PART, min_size=1, max_size=4), st.floats(-0.9, 0.9), st.floats(-0.6, 0.6), st.sampled_from([np.inf, 400.0]))
def test_more_box_never_means_more_light(parts, right, up, object_mm):
    pencil = pencils([[right, up], [-up, right]], object_mm=object_mm)
    glass = plate_of_glass(15, tilt_deg=4)
    steps = [trace(pencil, *parts[:k], glasses=[glass], log2_rays=6).clear_share for k in range(len(parts) + 1)]
    assert np.all(np.diff(steps, axis=0) <= 0)
    assert np.all((np.array(steps) >= 0) & (np.array(steps) <= 1))


def test_light_is_never_made():
    shares = reference_shares(pencils(field(seed=8)), show_box(), rng=np.random.default_rng(1))
    transmission = shares.clear_share * shares.glass
    assert transmission.min() >= 0
    assert transmission.max() <= 1
    assert np.all(shares.clear_share <= shares.alone.min(axis=1))
    assert 0 < np.mean(shares.clear_share < 1) < 1
    assert np.all((shares.blocked_by == NO_PART) == (shares.clear_share == 1))


def test_mirrored_box_gives_the_mirrored_map():
    slope = field(seed=6)
    right, left = (edge_and_hole(sign) for sign in (1, -1))
    one = trace(pencils(slope), *right)
    other = trace(pencils(slope * (-1, 1)), *left)
    assert np.abs(one.clear_share - other.clear_share).max() < 0.05  # pupil points are not mirrored: 256 rays
    assert np.ptp(one.clear_share) > 0.5


def edge_and_hole(sign):
    return holed(40, RoundedRectangle(90, 60, 5), right_mm=sign * 14.0, up_mm=6), holed(70, Circle(60), right_mm=-sign * 5.0)


def test_wider_fields_are_lost_first_in_a_hood():
    hood = holed(10, RoundedRectangle(120, 90), front=RoundedRectangle(150, 110), depth_mm=60)
    shares = trace(pencils(upward(0, 25, 30, 35, 50)), hood)
    assert np.all(np.diff(shares.clear_share) <= 0)
    assert shares.clear_share[[0, -1]].tolist() == [1.0, 0.0]
