"""Direct light against solid angles of rectangles, and shadows of half planes and flags."""

import numpy as np
import pytest

from geometry.body import Kind, Part, Surface
from geometry.enclosure import flat_surface, joined, ruled
from geometry.frame import light_direction, pose
from geometry.openings import Opening, OpeningKind, Slot
from geometry.walls import enclosure_of, solid_surface
from raytrace.lights import LightPlace
from raytrace.stray.direct import SkyChart, chart_to_direction, direction_to_chart, light_share, sky_of, through_opening, worth_of
from raytrace.stray.target import Target, lens_front_target
from raytrace.stray.world import World
from tests.raytrace.made import block
from tests.raytrace.stray_made import fit, ring_box

import shapely  # isort: skip

FULL_SPHERE = 4 * np.pi


def rng():
    return np.random.default_rng(11)


def point_target(two_sided=False):
    rear = np.tile([0.0, 0.0, -1e-3], (4, 1)) if two_sided else np.zeros((0, 3))
    return Target(
        name="point", points_mm=np.tile([0.0, 0.0, 1e-3], (4, 1)), rear_points_mm=rear, normal=np.array([0.0, 0, 1]), area_mm2=1.0
    )


def opening(shape, at_mm):
    surface = flat_surface(shape, pose(ahead_mm=at_mm))
    return Opening(name="mouth", kind=OpeningKind.MOUTH, part="", area_mm2=shape.area, surface=surface)


def rest():
    return Opening(name="open air", kind=OpeningKind.REST, part="", area_mm2=0.0, surface=joined([]))


def mouth_world():
    """A wide wall 100 mm ahead with a hole of 100 x 70.75 mm."""
    hole = shapely.box(-50, -35.375, 50, 35.375)
    wall = flat_surface(shapely.box(-1e5, -1e5, 1e5, 1e5).difference(hole), pose(ahead_mm=100.0))
    return World((Part(name="wall", kind=Kind.MASK, body=wall),), (opening(hole.buffer(0.05), 100.0), rest()))


MOUTH_SR = 0.598813689822  # 4 atan(ab / (d sqrt(d^2 + a^2 + b^2))), half sides 50 and 35.375 at 100; dblquad agrees


def test_rectangular_mouth_opens_its_solid_angle_on_the_chart():
    sky = sky_of(point_target(), mouth_world(), size=301)
    assert sky.open_sr(np.ones(len(sky.direction), dtype=bool))[0] == pytest.approx(MOUTH_SR, rel=3e-3)


def test_rectangular_mouth_opens_its_solid_angle_by_its_own_points():
    seen = through_opening(point_target(), mouth_world(), 0, rng=rng())
    assert seen.open_sr == pytest.approx(MOUTH_SR, rel=2e-3)


def test_light_through_a_rectangle_is_its_view_factor():
    # Plane element to a rectangle over its corner, four times: A = a/c = .5, B = b/c = .3 gives 0.039085007042 each (Howell C-1);
    # the solid angle weighted with the cosine is pi times the view factor.
    hole = shapely.box(-50, -30, 50, 30)
    world = World((), (opening(hole, 100.0), rest()))
    seen = through_opening(point_target(), world, 0, rng=rng())
    assert seen.irradiance_sr == pytest.approx(4 * np.pi * 0.039085007042, rel=2e-3)


def test_chart_covers_the_whole_sphere_once():
    chart = SkyChart(size=151)
    assert len(chart.directions()) * chart.step**2 == pytest.approx(FULL_SPHERE, rel=2e-3)
    assert direction_to_chart(chart_to_direction(np.array([[0.7, -1.1]]))) == pytest.approx(np.array([[0.7, -1.1]]))


def test_light_at_the_operators_right_lies_right_on_the_chart():
    place = direction_to_chart(light_direction(90.0, 0.0)[None])[0]
    assert place == pytest.approx([np.sqrt(2), 0.0])  # 2 sin 45 deg


def test_glass_with_nothing_round_it_sees_the_whole_sphere():
    sky = sky_of(point_target(two_sided=True), World((), (rest(),)), size=61)
    assert sky.share.min() == 1.0


def flagged():
    """A flag on the operator's right, 40 to 41 mm from the axis, from the rim to 60 mm ahead."""
    flag = block((-41, -500, 0.5), (-40, 500, 60), name="right flag")
    return World((Part(name=flag.name, kind=Kind.FLAG, body=solid_surface(flag)),), (rest(),))


def test_flag_shades_the_part_of_a_disc_that_its_edge_covers():
    # From the right at azimuth a the edge at (40, 60) throws its shadow to right = 40 - 60 tan a: here on the disc's middle line.
    target = lens_front_target(30.0, log2_points=12, rng=rng())
    light = LightPlace(name="sun", direction=light_direction(np.degrees(np.arctan(40 / 60)), 0.0))
    seen = light_share(target, flagged(), light, rng=rng())
    assert seen.share == pytest.approx(0.5, abs=0.01)
    assert seen.stopped_by == "right flag"


def test_light_from_the_left_is_not_cut_by_a_flag_on_the_right():
    target = lens_front_target(30.0, log2_points=10, rng=rng())
    light = LightPlace(name="sun", direction=light_direction(-30.0, 10.0), width_deg=0.5)
    assert light_share(target, flagged(), light, rng=rng()).share == 1.0


def test_nearest_edge_lies_as_far_from_a_light_as_the_flag():
    # From the middle of the disc the flag's edge stands at atan(40 / 60) = 33.7 deg to the right; the light at 30 deg.
    light = LightPlace(name="sun", direction=light_direction(30.0, 0.0))
    seen = light_share(point_target(), flagged(), light, rng=rng())
    assert (seen.share, seen.cut_by) == (1.0, "right flag")
    assert seen.cut_at_deg == 5.0  # the first of the steps beyond 3.7 deg


def test_lamp_at_a_place_lights_only_what_sees_it():
    lamp = LightPlace(name="lamp", direction=np.zeros(3), place_mm=np.array([-400.0, 0.0, 600.0]), size_mm=1.0)
    target = lens_front_target(30.0, log2_points=12, rng=rng())
    # Through the flag's edge (right 40, ahead 60) from (400, 600) to the rim plane: right = 40 - 60 * 360 / 540 = 0.
    assert light_share(target, flagged(), lamp, rng=rng()).share == pytest.approx(0.5, abs=0.01)


def test_worth_of_a_half_plane_is_what_it_hides():
    wall = flat_surface(shapely.box(-1e5, 0, 1e5, 1e5), pose(ahead_mm=10.0))
    world = World((Part(name="board", kind=Kind.FLAG, body=wall),), (rest(),))
    count = len(SkyChart(size=101).directions())
    found = worth_of(point_target(), world, {"board": world.without("board")}, np.ones(count, dtype=bool), 101)
    assert found["board"] == pytest.approx(np.pi, rel=0.02)  # a quarter of the sphere


def test_target_to_light_and_light_to_target_give_one_share():
    # Reciprocity: the same ways run backward, from far outside to the target's points.
    target, world = lens_front_target(30.0, log2_points=10, rng=rng()), flagged()
    toward = light_direction(38.0, 4.0)
    there = (world.escape(target.points_mm, np.tile(toward, (1024, 1))).opening >= 0).mean()
    far = target.points_mm + 2000 * toward
    back = (world.first_wall(far, np.tile(-toward, (1024, 1)), 1999.9) < 0).mean()
    assert 0.1 < there < 0.9
    assert there == pytest.approx(back, abs=2 / 1024)


def test_slot_is_found_and_named_where_it_is():
    box, assembly = ring_box(seal="ring")
    world = World.of(enclosure_of(assembly, fit(box, slots=(Slot(tray="tray", side="top", width_mm=0.6),))))
    target = lens_front_target(45.0, log2_points=8, rng=rng())
    seen = {o.name: through_opening(target, world, k, rng=rng()).open_sr for k, o in enumerate(world.openings)}
    assert seen["tray slot, top, lens side"] > 0
    sky = sky_of(target, world, size=61)
    lit = sky.share[world.opening_names.index("mouth")] > 0
    assert sky.direction[lit, 2].min() > 0  # nothing from behind comes by the mouth
    assert seen["open air"] == 0.0


def test_box_shut_all_round_opens_no_direction():
    corners = np.array([[x, y] for x, y in ((60, 60), (-60, 60), (-60, -60), (60, -60))], dtype=float)
    rear, front = (np.column_stack([corners, np.full(4, z)]) for z in (-20.0, 80.0))
    lids = [flat_surface(shapely.Polygon(corners), pose(ahead_mm=z)) for z in (-20.0, 80.0)]
    world = World((Part(name="can", kind=Kind.SOLID, body=joined([ruled(rear, front), *lids])),), (rest(),))
    target = Target(
        name="t",
        points_mm=np.array([[1.0, 2, 3]]),
        rear_points_mm=np.array([[1.0, 2, 2.9]]),
        normal=np.array([0, 0, 1.0]),
        area_mm2=1,
    )
    assert isinstance(world.walls[0].body, Surface)
    assert sky_of(target, world, size=301).share.sum() == 0.0
