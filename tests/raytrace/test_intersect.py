"""Where rays meet tubes, blocks and meshes: closed forms, and trimesh's own triangle search as a second opinion."""

import numpy as np
import pytest
import shapely
import trimesh

from geometry.body import Block, Loop, Surface, Tube
from geometry.frame import pose
from geometry.outline import Circle, Freeform, RoundedRectangle
from raytrace.intersect import half_spaces, stopper, triangle_distance
from raytrace.optics.bundle import Leg
from tests.raytrace.made import block, bracket, holed, leaning_flag


def straight(origin, direction, length_mm=np.inf):
    origin, direction = np.atleast_2d(np.asarray(origin, float)), np.atleast_2d(np.asarray(direction, float))
    direction = direction / np.linalg.norm(direction, axis=1, keepdims=True)
    return (Leg(origin=origin, direction=direction, length_mm=np.full(len(origin), length_mm), start_mm=np.zeros(len(origin))),)


def cut(leg, at_mm):
    """The same ray as two legs that join at a distance."""
    count = len(leg.start_mm)
    first = Leg(origin=leg.origin, direction=leg.direction, length_mm=np.full(count, at_mm), start_mm=leg.start_mm)
    rest = Leg(
        origin=leg.origin + at_mm * leg.direction,
        direction=leg.direction,
        length_mm=leg.length_mm - at_mm,
        start_mm=leg.start_mm + at_mm,
    )
    return first, rest


def random_rays(count, seed=3):
    rng = np.random.default_rng(seed)
    slope = rng.uniform(-1.2, 1.2, (count, 2))
    return straight(
        np.column_stack([rng.uniform(-9, 9, (count, 2)), np.full(count, -30.0)]), np.column_stack([slope, np.ones(count)])
    )


def test_thin_plate_is_met_in_its_plane():
    # (0, 0, -30) along (0, 3, 4): y = 3/4 * 70 = 52.5 at z = 40, outside a hole of radius 50; distance 70 * 5/4.
    hole = stopper(holed(40, Circle(50)).body)
    assert hole(straight([0, 0, -30], [0, 3, 4])) == pytest.approx([87.5], abs=1e-12)
    assert np.isinf(hole(straight([0, 0, -30], [0, 2.8, 4])))


def test_flat_wall_of_a_hood_is_met_where_it_stands():
    # Wall y = 30 + (z - 40) / 2 from z = 40 to 100; ray y = z - 20: they meet at z = 60, y = 40.
    hood = stopper(holed(40, RoundedRectangle(900, 60), front=RoundedRectangle(900, 120), depth_mm=60).body)
    assert hood(straight([0, 0, 20], [0, 1, 1])) == pytest.approx([40 * np.sqrt(2)], abs=1e-9)


def test_round_wall_is_met_between_its_ends():
    tube = stopper(holed(40, Circle(30), depth_mm=60).body)
    found = tube(straight([0, 0, 20], [0, 1, 1]))[0] / np.sqrt(2)  # the wall y = 30 is met 30 mm ahead of the start
    assert found == pytest.approx(30.0, abs=1e-9)


def test_plate_behind_the_start_or_beyond_the_end_stops_nothing():
    pinhole = stopper(holed(40, Circle(1)).body)
    assert np.isinf(pinhole(straight([0, 20, 41], [0, 0, 1])))
    assert np.isinf(pinhole(straight([0, 20, -30], [0, 0, 1], length_mm=69.9)))
    assert np.isfinite(pinhole(straight([0, 20, -30], [0, 0, 1], length_mm=70.1)))


def test_leaning_plate_behind_the_start_stops_nothing():
    pinhole = stopper(holed(40, Circle(1), tilt_deg=20).body)
    assert np.isinf(pinhole(straight([0, 20, 60], [0, 0, 1])))


def test_block_behind_one_of_two_starts_stops_only_the_other():
    both = straight([[0, 0, -30], [0, 0, 80]], np.tile([0.0, 0, 1], (2, 1)))
    assert stopper(block((-5, -5, 40), (5, 5, 44)).body)(both) == pytest.approx([70.0, np.inf])


@pytest.mark.parametrize("slope", [0.0, 2.3e-308, 5e-324, -2.3e-308])
@pytest.mark.parametrize(
    "body", [block((-5, -5, 40), (5, 5, 44)).body, holed(40, Circle(9), bounded=True, outer=RoundedRectangle(60, 60)).body]
)
def test_slopes_too_small_to_divide_by_count_as_straight_ahead(body, slope):
    ahead, almost = (straight([[1, 2, 0], [20, 2, 0]], [[k, k, 1.0]] * 2) for k in (0.0, slope))
    assert np.array_equal(stopper(body)(almost), stopper(body)(ahead))


def test_ray_that_can_never_reach_an_endless_plate_does_not_get_through():
    leaning = stopper(
        holed(40, Circle(50), tilt_deg=45).body
    )  # top toward the scene: a ray 50 deg up runs along behind it for ever
    assert np.isfinite(leaning(straight([0, 0, -30], [0, np.tan(np.radians(50)), 1])))
    assert np.isinf(leaning(straight([0, 0, -30], [0, 0, 1])))


def test_bounded_plate_lets_rays_pass_outside_it():
    body = holed(40, RoundedRectangle(40, 40), depth_mm=2, bounded=True, outer=RoundedRectangle(100, 60)).body
    y = np.array([0.0, 19.9, 20.1, 29.9, 30.1])
    met = stopper(body)(straight(np.column_stack([0 * y, y, 0 * y]), np.tile([0.0, 0, 1], (5, 1))))
    assert np.isinf(met).tolist() == [True, True, False, False, True]
    assert met[2:4] == pytest.approx([40.0, 40.0], abs=1e-9)


def test_bounded_plate_is_met_on_its_outer_side_too():
    # From (0, 60, 0) inward: y = 60 - z reaches the side y = 30 at z = 30, inside a plate from z = 28 to 36.
    body = holed(28, RoundedRectangle(20, 20), depth_mm=8, bounded=True, outer=RoundedRectangle(100, 60)).body
    assert stopper(body)(straight([0, 60, 0], [0, -1, 1])) == pytest.approx([30 * np.sqrt(2)], abs=1e-9)


def test_sheet_without_thickness_still_stops_rays():
    body = holed(40, Circle(10), bounded=True, outer=RoundedRectangle(60, 60)).body
    met = stopper(body)(straight([[0, 5, 0], [0, 20, 0], [0, 40, 0]], np.tile([0.0, 0, 1], (3, 1))))
    assert np.isfinite(met).tolist() == [False, True, False]


def test_drawn_outline_is_followed_into_its_notches():
    notched = Freeform(shapely.box(-30, -20, 30, 20).difference(shapely.box(-5, 0, 5, 20)))
    met = stopper(holed(40, notched).body)(straight([[0, 10, 0], [0, -10, 0], [8, 10, 0]], np.tile([0.0, 0, 1], (3, 1))))
    assert np.isfinite(met).tolist() == [True, False, False]


def test_tilted_plate_is_met_where_it_leans():
    # Top leaning 30 deg toward the scene about z = 40: at height y the plane is at z = 40 + y tan 30; ray at y = 60.
    met = stopper(holed(40, Circle(10), tilt_deg=30).body)(straight([0, 60, 0], [0, 0, 1]))
    assert met == pytest.approx([40 + 60 * np.tan(np.radians(30))], abs=1e-9)


def test_blocks_agree_with_a_triangle_search_of_their_hull():
    flag = leaning_flag().body
    hull = trimesh.convex.convex_hull(flag.corners_mm)
    legs = random_rays(8000)
    tri, ray, where = trimesh.ray.ray_triangle.ray_triangle_id(
        hull.triangles, legs[0].origin, legs[0].direction, multiple_hits=False, triangles_normal=hull.face_normals
    )
    met = stopper(flag)(legs)
    assert 50 < len(tri) < 7950
    assert np.array_equal(np.flatnonzero(np.isfinite(met)), np.sort(ray))
    assert met[ray] == pytest.approx(np.linalg.norm(where - legs[0].origin[ray], axis=1), abs=1e-6)


def test_meshes_agree_with_a_triangle_search():
    ball = trimesh.creation.icosphere(subdivisions=2, radius=25)
    ball.apply_translation([10, -20, 60])
    legs = random_rays(4000)
    _, ray, where = trimesh.ray.ray_triangle.ray_triangle_id(
        ball.triangles, legs[0].origin, legs[0].direction, multiple_hits=False, triangles_normal=ball.face_normals
    )
    met = stopper(Surface(np.asarray(ball.vertices), np.asarray(ball.faces)))(legs)
    assert 100 < len(ray) < 3900
    assert np.array_equal(np.flatnonzero(np.isfinite(met)), np.sort(ray))
    assert met[ray] == pytest.approx(np.linalg.norm(where - legs[0].origin[ray], axis=1), abs=1e-6)


def test_no_ray_slips_between_triangles_that_share_an_edge():
    square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    corners = square[np.array([[0, 1, 2], [0, 2, 3]])]
    k = np.linspace(0.001, 0.999, 999)
    t = triangle_distance(corners, np.column_stack([k, k, 0 * k - 1]), np.tile([0.0, 0, 1], (999, 1)))
    assert np.isfinite(t.min(axis=1)).all()


@pytest.mark.parametrize("body", [leaning_flag().body, bracket().body, holed(40, RoundedRectangle(90, 60, 5), depth_mm=9).body])
@pytest.mark.parametrize("at_mm", [10.0, 95.0, 250.0])
def test_cutting_a_straight_ray_into_legs_changes_nothing(body, at_mm):
    legs = random_rays(2000)
    whole, pieces = stopper(body)(legs), stopper(body)(cut(legs[0], at_mm))
    assert np.isfinite(whole).any()
    assert pieces == pytest.approx(whole, abs=1e-9)


def test_plane_in_the_joint_of_two_legs_is_not_lost():
    hole = stopper(holed(40, Circle(10)).body)
    legs = cut(straight([[0, 20, -30]], [0, 0, 1])[0], 70.0)
    assert hole(legs) == pytest.approx([70.0], abs=1e-9)


def test_half_spaces_of_a_box_are_its_six_faces():
    corners = np.array([[x, y, z] for x in (0, 2.0) for y in (0, 3.0) for z in (1.0, 5.0)])
    facets, span = half_spaces(corners)
    faces = {(-1, 0, 0, 0), (1, 0, 0, -2), (0, -1, 0, 0), (0, 1, 0, -3), (0, 0, -1, 1), (0, 0, 1, -5)}
    assert {tuple(int(v) for v in row.round()) for row in facets} == faces
    assert (len(facets), span) == (6, (1.0, 5.0))


def test_loops_pass_with_all_of_them_and_stop_with_one():
    place = pose(ahead_mm=20)
    loops = tuple(Loop(place, Circle(r), z) for r, z in ((30, 0), (12, 10), (40, 20)))
    waist = stopper(Tube(inner=loops, outer=loops, bounded=False))
    met = waist(straight([[0, 11, 0], [0, 13, 0]], np.tile([0.0, 0, 1], (2, 1))))
    # The wall narrows from 30 to 12 over 10 mm: a ray at 13 meets it 10 * 17/18 mm ahead of the first loop.
    assert met == pytest.approx([np.inf, 20 + 10 * 17 / 18], abs=1e-9)


def test_corners_in_any_order_make_the_same_block():
    corners = leaning_flag().body.corners_mm
    legs = random_rays(500)
    assert np.array_equal(np.isfinite(stopper(Block(corners))(legs)), np.isfinite(stopper(Block(corners[::-1]))(legs)))
