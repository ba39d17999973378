"""Shares of single pencils by area, against closed forms evaluated outside the project; exact means exact: 1e-6 of the pupil."""

from itertools import pairwise

import numpy as np
import pytest

from geometry.body import Kind, Part, Surface
from geometry.outline import Circle, RoundedRectangle
from raytrace.box import NO_PART, Box
from raytrace.coverage.engine import coverage_shares
from raytrace.shares import Shares
from tests.raytrace.coverage.random_boxes import edge_on_tube
from tests.raytrace.made import block, edge_above, holed, pencils, plate_of_glass, show_box, upward

EXACT = 1e-6


def shares(pencil, *parts, glasses=()) -> Shares:
    return coverage_shares(pencil, Box(parts=parts, glasses=tuple(glasses)))


# Circle-circle intersection, r^2 acos(..) + R^2 acos(..) - kite; MathWorld (from memory), scipy quad agrees.
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
    assert shares(pencils([0, 0], radius_mm=4.0), hole).clear_share[0] == pytest.approx(area / (np.pi * r * r), abs=EXACT)


# Circle segment: blocked = (acos h - h sqrt(1 - h^2)) / pi, h the edge's distance from the centre in radii.
SEGMENT = [
    (0.9, 0.018693036734),
    (0.75, 0.072146806407),
    (0.5, 0.195501109478),
    (0.25, 0.342518821237),
    (0, 0.5),
    (-0.5, 0.804498890522),
]


@pytest.mark.parametrize(("h", "blocked"), SEGMENT)
def test_straight_edge_takes_the_circular_segment(h, blocked):
    got = shares(pencils([0, 0], radius_mm=5.0), edge_above(5.0 * h, 40, depth_mm=3))
    assert got.clear_share[0] == pytest.approx(1 - blocked, abs=EXACT)
    assert got.blocked_by[0] == 0


@pytest.mark.parametrize(("h", "blocked"), SEGMENT)
def test_block_takes_what_its_edge_covers(h, blocked):
    flag = block((-300, 5.0 * h, 50), (300, 400, 52))
    assert shares(pencils([0, 0], radius_mm=5.0), flag).clear_share[0] == pytest.approx(1 - blocked, abs=EXACT)


# Areas of the unit disc inside rectangles, scipy quad to 12 digits; the corners of the first lie on the circle itself.
@pytest.mark.parametrize(
    ("x0", "x1", "y0", "y1", "share"),
    [
        (-0.8, 0.8, -0.6, 0.6, 0.611154981473),
        (-40, 0.5, -40, 0.5, 0.634076362068),
        (-0.7, 0.3, -0.2, 0.9, 0.343229027046),
    ],
)
def test_rectangular_hole_leaves_disc_and_rectangle(x0, x1, y0, y1, share):
    hole = RoundedRectangle(4 * (x1 - x0), 4 * (y1 - y0))
    plate = holed(30, hole, right_mm=-4 * (x0 + x1) / 2, up_mm=4 * (y0 + y1) / 2)
    assert shares(pencils([0, 0], radius_mm=4.0), plate).clear_share[0] == pytest.approx(share, abs=EXACT)


def test_block_covers_a_corner_of_the_disc():
    # Corner X > 0.5, Y > 0.5 of the unit disc: pi / 12 + 1 / 4 - sqrt(3) / 4.
    corner = block((2.0, 2.0, 30), (300, 300, 32))
    taken = (np.pi / 12 + 0.25 - np.sqrt(3) / 4) / np.pi
    assert shares(pencils([0, 0], radius_mm=4.0), corner).clear_share[0] == pytest.approx(1 - taken, abs=EXACT)


# A flat edge before a flat pupil at infinity: section of the bundle centred at (z_p + L) tan t, radius rho.
@pytest.mark.parametrize(("height", "blocked"), [(60, 0.044821032), (55, 0.175342553), (50, 0.339600416)])
def test_edge_before_a_flat_pupil_at_twenty_degrees(height, blocked):
    pencil = pencils(upward(20.0), behind_mm=24.977674, radius_mm=17.711744)
    assert shares(pencil, edge_above(height, 100)).clear_share[0] == pytest.approx(1 - blocked, abs=EXACT)


def test_edge_begins_halves_and_ends_the_light_where_the_section_says():
    pencil = pencils(upward(35.0), behind_mm=21.062049, radius_mm=4.100729)
    got = [shares(pencil, edge_above(h, 80)).clear_share[0] for h in (74.865139, 70.764409, 66.663679)]
    assert got == pytest.approx([1.0, 0.5, 0.0], abs=EXACT)


# Finite focus: centre y d / s_p, radius rho (1 - d / s_p), d = L + z_p: clear above 47.38, half at 36.25.
def test_near_object_narrows_the_section():
    pencil = pencils(np.array([[0.0, 500 / 2000]]), behind_mm=25, radius_mm=12, object_mm=2000)
    got = [shares(pencil, edge_above(h, 120)).clear_share[0] for h in (47.381, 36.25, 36.25 - 11.131)]
    assert got == pytest.approx([1.0, 0.5, 0.0], abs=EXACT)


def test_two_parts_that_overlap_are_counted_once_and_each_alone():
    # Both cut the same side: the nearer edge hides the other, but alone each takes its own segment.
    low, high = edge_above(1.0, 30, name="low"), edge_above(2.5, 60, name="high")
    got = shares(pencils([0, 0], radius_mm=5.0), high, low)
    segment = [(np.arccos(h) - h * np.sqrt(1 - h * h)) / np.pi for h in (0.5, 0.2)]
    assert got.alone[0] == pytest.approx([1 - segment[0], 1 - segment[1]], abs=EXACT)
    assert got.clear_share[0] == pytest.approx(1 - segment[1], abs=EXACT)
    assert got.blocked_by[0] == 1


def test_crossed_edges_are_right_within_the_stated_bound():
    # x < 0.5 and y < 0.5 of the unit disc by two plates, 0.634076362068; scipy quad.
    right = holed(50, RoundedRectangle(2000, 4000), right_mm=-998.0)
    got = shares(pencils([0, 0], radius_mm=4.0), edge_above(2.0, 30), right)
    assert got.clear_share[0] == pytest.approx(0.634076362068, abs=got.made.bounds[0].size)


# Degenerate boxes.
def test_empty_box_takes_nothing():
    got = shares(pencils(upward(0.0, 30.0)))
    assert got.clear_share.tolist() == [1.0, 1.0]
    assert got.blocked_by.tolist() == [NO_PART, NO_PART]
    assert got.alone.shape == (2, 0)


def test_dark_box_takes_everything_and_names_the_first_part():
    got = shares(pencils(upward(0.0)), block((-50, -50, 60), (50, 50, 62)), edge_above(-40, 20, name="first"))
    assert got.clear_share[0] == 0.0
    assert got.blocked_by[0] == 1


def test_opening_seen_edge_on_lets_nothing_through():
    assert shares(pencils([0, 0]), edge_on_tube(30.0, 40.0)).clear_share[0] == pytest.approx(0.0, abs=EXACT)


def test_sheet_seen_edge_on_takes_nothing():
    sheet = Part(
        name="sheet",
        kind=Kind.SOLID,
        body=Surface(np.array([[0.0, -50, 20], [0, 50, 20], [0, 0, 90]]), np.array([[0, 1, 2]])),
    )
    assert shares(pencils([0, 0]), sheet).clear_share[0] == pytest.approx(1.0, abs=EXACT)


def test_blade_without_thickness_along_the_rays_takes_its_own_width():
    # A block 2 mm thick before a pupil of 5 mm radius: the strip |y| < 1, 2 (h sqrt(1 - h^2) + asin h) / pi with h = 0.2.
    h = 0.2
    strip = 2 * (h * np.sqrt(1 - h * h) + np.arcsin(h)) / np.pi
    blade = block((-200, -1, 20), (200, 1, 120))
    assert shares(pencils([0, 0], radius_mm=5.0), blade).clear_share[0] == pytest.approx(1 - strip, abs=EXACT)


def test_what_lies_behind_the_pupil_takes_nothing():
    behind = (block((-9, -9, -80), (9, 9, -40), name="far"), holed(-30, Circle(0.5), name="plate"))
    assert shares(pencils([0, 0], behind_mm=25), *behind).clear_share[0] == 1.0


def test_a_part_that_reaches_from_behind_the_pupil_takes_what_lies_ahead():
    bar = block((-300, 0, -200), (300, 300, 100))
    assert shares(pencils([0, 0], behind_mm=25), bar).clear_share[0] == pytest.approx(0.5, abs=EXACT)


def test_what_lies_beyond_the_object_takes_nothing():
    far = block((-90, -90, 520), (90, 90, 560))
    assert shares(pencils([0, 0], behind_mm=25, object_mm=500), far).clear_share[0] == 1.0
    assert shares(pencils([0, 0], behind_mm=25, object_mm=700), far).clear_share[0] == pytest.approx(0.0, abs=EXACT)


def test_plate_at_the_pupil_itself_cuts_it_there():
    # A slit of half the pupil's width at the reference plane: the disc within |x| < 0.5, 1 - 2 x 0.195501109478.
    slit = holed(-25 + 1e-9, RoundedRectangle(5.0, 400))
    assert shares(pencils(upward(25.0), behind_mm=25, radius_mm=5), slit).clear_share[0] == pytest.approx(
        1 - 0.391002218956, abs=EXACT
    )


def test_an_invalid_field_point_has_no_light_and_loses_none():
    pencil = pencils(upward(0.0, 10.0))
    pencil.valid[1] = False
    got = shares(pencil, edge_above(0.0, 40))
    assert got.clear_share.tolist() == pytest.approx([0.5, 1.0], abs=EXACT)
    assert got.lens.tolist() == [1.0, 0.0]
    assert got.blocked_by[1] == NO_PART


def test_front_ring_is_the_lens_and_not_the_box():
    # Ring radius equal to the pupil's, bundle shifted by half a radius: the cat's eye 0.685037642474 is the bare lens.
    pencil = pencils(np.array([[0.0, 2.25 / 25]]), radius_mm=4.5, ring=(0.0, 4.5))
    got = shares(pencil, edge_above(-50, 40, name="all"))
    assert got.lens[0] == pytest.approx(0.685037642474, abs=1e-4)
    assert got.clear_share[0] == 0.0


def test_round_rim_and_edge_share_the_pupil():
    # A rim of 0.6 radii all round and an edge through its middle: half of what the bare lens sends.
    got = shares(pencils([0, 0], rim_share=np.full(64, 0.6)), edge_above(0.0, 40))
    assert got.lens[0] == pytest.approx(0.36, abs=1e-3)
    assert got.clear_share[0] == pytest.approx(0.5, abs=1e-3)


def test_glass_shifts_the_beam_toward_the_axis():
    # T = 4, n = 1.5168 at 45 deg: 1.337997566 square to the ray, / cos 45 across it (Smith, Modern Optical Engineering).
    pencil, glass = pencils(upward(45.0), behind_mm=25, radius_mm=5), plate_of_glass(20)
    half = 25.0 + 60.0 - 1.337997566 / np.cos(np.radians(45.0))
    assert shares(pencil, edge_above(half, 60), glasses=[glass]).clear_share[0] == pytest.approx(0.5, abs=1e-5)
    assert shares(pencil, glasses=[glass]).glass[0] == pytest.approx(0.903299072, abs=1e-6)


def test_more_box_never_means_more_light():
    box = show_box()
    pencil = pencils(np.random.default_rng(3).uniform(-1, 1, (60, 2)))
    light = [coverage_shares(pencil, Box(parts=box.parts[:k])).clear_share for k in range(len(box.parts) + 1)]
    assert all(np.all(after <= before + 1e-3) for before, after in pairwise(light))
    assert light[-1].min() < 0.5 < light[-1].max()


def test_one_thread_and_two_give_the_same():
    pencil = pencils(np.random.default_rng(4).uniform(-1, 1, (9000, 2)))
    one, two = (coverage_shares(pencil, show_box(), with_alone=False, threads=t) for t in (1, 2))
    assert one.clear_share.tobytes() == two.clear_share.tobytes()
    assert one.blocked_by.tobytes() == two.blocked_by.tobytes()


def mesh_bar(low, high, rng):
    """An upright box as an imported mesh: eight corners in any order, two triangles a side along either diagonal."""
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    sides = np.array([(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)])
    around = [np.roll(side, rng.integers(2)) for side in sides]
    faces = np.array([face for a, b, c, d in around for face in ((a, b, c), (a, c, d))])
    order = rng.permutation(8)
    return Part(name="bar", kind=Kind.SOLID, body=Surface(corners[np.argsort(order)], order[faces]))


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("axis", [0, 1])
def test_a_bar_whose_sides_lie_along_the_rays_takes_what_it_takes_beside_them(axis, side):
    """Half-planes cut the disc: what lies between two of them is the difference of two circle segments.

    At the middle of an edge of the frame the rays run in the very planes of the bar's sides, which hide nothing.
    """
    radius, slope, behind = 6.25, 0.72, 40.0
    rng = np.random.default_rng(20261130)
    for _ in range(40):
        low, rear = rng.uniform(-8.0, 4.0), rng.uniform(40.0, 70.0)
        high, front = low + rng.uniform(0.3, 4.0), rear + rng.uniform(0.3, 5.0)
        long = (-rng.uniform(83.0, 160.0), rng.uniform(83.0, 160.0))
        ends = np.array([[long[0], low, rear], [long[1], high, front]])[:, [axis, 1 - axis, 2]]
        direction = np.array([side * slope, 0.0])[[axis, 1 - axis]]
        got = shares(pencils(direction, behind_mm=behind, radius_mm=radius), mesh_bar(*ends, rng)).clear_share[0]
        edges = np.clip(np.array([low, high]) / radius, -1.0, 1.0)
        between = np.diff(edges * np.sqrt(1.0 - edges**2) + np.arcsin(edges))[0] / np.pi
        assert got == pytest.approx(1.0 - between, abs=1e-4)
