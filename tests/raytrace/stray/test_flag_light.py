"""How far flags must come in against a light: plane trigonometry, and rays through the same box with the flag in place."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geometry.body import Part, Surface
from geometry.flags import Bars, Hinge, boards
from geometry.frame import Side, light_direction, pose
from geometry.meshes import body_mesh
from geometry.openings import Opening, OpeningKind
from raytrace.lights import LightPlace
from raytrace.stray.direct import lit_share
from raytrace.stray.flag_light import Shield, shading_of
from raytrace.stray.target import FlatTarget, lens_front_target
from raytrace.stray.world import World

RADIUS_MM = 40.0
OPEN_AIR = Opening(
    name="open air",
    kind=OpeningKind.REST,
    part="",
    area_mm2=0.0,
    surface=Surface(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)),
)
TARGET = FlatTarget(name="lens front", pose=pose(ahead_mm=0.001), outline=shapely.Point(0, 0).buffer(RADIUS_MM, quad_segs=64))
# hinges so high that a light from 40 deg never gets in behind them: 80 - 45 tan 40 = 42 mm up in the target's plane
TOP = Hinge(box=pose(), side=Side.TOP, out_mm=80.0, at_mm=45.0)
RIGHT = Hinge(box=pose(), side=Side.RIGHT, out_mm=80.0, at_mm=45.0)


def world(*parts):
    walls = []
    for part in parts:
        mesh = body_mesh(part.body)
        surface = Surface(np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces, dtype=np.int64))
        walls.append(Part(name=part.name, kind=part.kind, body=surface, group="box.flag[1]"))
    return World(tuple(walls), (OPEN_AIR,))


def light(azimuth_deg, elevation_deg, width_deg=0.0):
    return LightPlace(name="sun", direction=light_direction(azimuth_deg, elevation_deg), width_deg=width_deg)


def share(lamp, hinge, bars, angle_deg):
    rng = np.random.default_rng(5)
    target = lens_front_target(RADIUS_MM, log2_points=9, rng=rng)
    return lit_share(target, world(*boards(hinge, bars, angle_deg)), lamp, rng=rng, log2_rays=14)


@pytest.mark.parametrize(("elevation_deg", "length_mm"), [(30.0, 120.0), (20.0, 150.0), (40.0, 100.0)])
def test_one_flag_against_a_far_light_is_plane_trigonometry(elevation_deg, length_mm):
    bars = Bars(length_mm=length_mm, width_mm=2000.0, thickness_mm=1.0)
    found = shading_of(TARGET, light(0.0, elevation_deg), world(), [Shield(hinge=TOP, bars=bars, from_deg=-30.0)]).alone_deg(0)
    # the ray from the target's lowest place grazes the tip: 80 + L sin a = -40 + (45 + L cos a) tan e, so that
    # L sin(a - e) = (45 tan e - 120) cos e. Source: plane trigonometry
    e = np.radians(elevation_deg)
    expected = elevation_deg + np.degrees(np.arcsin((45 * np.tan(e) - 120) * np.cos(e) / length_mm))
    assert expected - 0.15 <= found <= expected + 0.01  # a tenth of a millimetre on the target, and on the safe side


def test_the_light_on_the_right_is_cut_by_the_flag_on_the_right_and_not_by_one_on_the_left():
    bars = Bars(length_mm=140.0, width_mm=2000.0, thickness_mm=1.0)
    left = Hinge(box=pose(), side=Side.LEFT, out_mm=80.0, at_mm=45.0)
    shields = [Shield(hinge=hinge, bars=bars, from_deg=-30.0) for hinge in (RIGHT, left)]
    found = shading_of(TARGET, light(30.0, 0.0), world(), shields)
    assert np.isfinite(found.alone_deg(0))
    assert found.alone_deg(1) == -np.inf


@pytest.mark.parametrize("bend_deg", [0.0, -25.0])
def test_with_the_flag_in_place_no_ray_reaches_a_wide_light_and_opened_three_degrees_some_do(bend_deg):
    bars = Bars(length_mm=90.0, width_mm=400.0, thickness_mm=1.0, extension_mm=60.0, extension_deg=bend_deg)
    lamp = light(12.0, 31.0, width_deg=3.0)
    angle = shading_of(TARGET, lamp, world(), [Shield(hinge=TOP, bars=bars, from_deg=-20.0)]).alone_deg(0)
    assert share(lamp, TOP, bars, angle) == 0.0
    assert share(lamp, TOP, bars, angle + 3.0) > 0.0


def test_a_flag_too_narrow_for_a_light_from_the_side_cannot_cut_it():
    bars = Bars(length_mm=140.0, width_mm=90.0, thickness_mm=1.0)
    found = shading_of(TARGET, light(35.0, 30.0), world(), [Shield(hinge=TOP, bars=bars, from_deg=-20.0)])
    assert found.alone_deg(0) == -np.inf


def test_two_flags_share_a_light_high_on_one_side():
    top = Bars(length_mm=130.0, width_mm=170.0, thickness_mm=1.0)
    right = Bars(length_mm=130.0, width_mm=170.0, thickness_mm=1.0)
    lamp = light(28.0, 26.0)
    shields = [Shield(hinge=TOP, bars=top, from_deg=-10.0), Shield(hinge=RIGHT, bars=right, from_deg=-10.0)]
    found = shading_of(TARGET, lamp, world(), shields, [(0, 1)])
    angles = np.arange(-30.0, 60.0, 1.0)
    second = found.second_deg(0, 1, angles)
    k = int(np.flatnonzero(second > -30.0).max())
    assert found.alone_deg(0) < angles[k]  # together the top flag may be opened wider than alone
    rng = np.random.default_rng(5)
    target = lens_front_target(RADIUS_MM, log2_points=9, rng=rng)
    for wider, lit in ((0.0, False), (6.0, True)):
        box = world(*boards(TOP, top, angles[k] + wider), *boards(RIGHT, right, min(second[k], 90.0) + wider))
        assert (lit_share(target, box, lamp, rng=rng, log2_rays=14) > 0.0) == lit


def test_what_the_box_keeps_off_needs_no_flag():
    wall = boards(
        Hinge(box=pose(), side=Side.TOP, out_mm=-200.0, at_mm=30.0), Bars(length_mm=600, width_mm=800, thickness_mm=1), 90.0
    )
    bars = Bars(length_mm=140.0, width_mm=90.0, thickness_mm=1.0)
    found = shading_of(TARGET, light(0.0, 30.0), world(*wall), [Shield(hinge=TOP, bars=bars, from_deg=0.0)])
    assert found.alone_deg(0) == np.inf


def test_a_shield_not_to_come_farther_in_finds_the_same_cut_or_none():
    bars = Bars(length_mm=120.0, width_mm=2000.0, thickness_mm=1.0)
    # L sin(a - e) = (45 tan e - 120) cos e as above: about -11 deg at 30 deg of elevation
    e = np.radians(30.0)
    cut = 30.0 + np.degrees(np.arcsin((45 * np.tan(e) - 120) * np.cos(e) / 120.0))
    shields = [
        Shield(hinge=TOP, bars=bars, from_deg=cut + more, farther_in=inward)
        for more, inward in ((-5, False), (5, False), (5, True))
    ]
    found = shading_of(TARGET, light(0.0, 30.0), world(), shields)
    assert found.alone_deg(0) == pytest.approx(cut, abs=0.15)
    assert found.alone_deg(1) == -np.inf
    assert found.alone_deg(2) == pytest.approx(cut, abs=0.15)


def test_light_that_gets_by_two_flags_at_all_their_angles_is_told_at_once_and_rays_do_get_by():
    bars = Bars(length_mm=60.0, width_mm=90.0, thickness_mm=1.0)  # too short and too narrow for a light from between them
    shields = [Shield(hinge=hinge, bars=bars, from_deg=10.0) for hinge in (TOP, RIGHT)]
    found = shading_of(TARGET, light(25.0, 25.0), world(), shields, [(0, 1)])
    assert found.widest_deg.shape == (2, 1)
    assert found.shared_deg(shields, 0, 1) == -np.inf
    rng = np.random.default_rng(5)
    target = lens_front_target(RADIUS_MM, log2_points=9, rng=rng)
    for first, second in [(-30.0, -30.0), (-10.0, 10.0), (20.0, -20.0), (60.0, 60.0)]:
        box = world(*boards(TOP, bars, first), *boards(RIGHT, bars, second))
        assert lit_share(target, box, light(25.0, 25.0), rng=rng, log2_rays=12) > 0.0


def test_what_another_target_asks_of_two_flags_may_be_told_and_the_least_of_both_stays():
    bars = Bars(length_mm=160.0, width_mm=420.0, thickness_mm=1.0)
    shields, lamp = [Shield(hinge=hinge, bars=bars, from_deg=10.0) for hinge in (TOP, RIGHT)], light(35.0, 30.0)
    smaller = replace(TARGET, outline=shapely.Point(0, 0).buffer(0.9 * RADIUS_MM, quad_segs=64))
    asked = shading_of(TARGET, lamp, world(), shields, [(0, 1)]).shared_deg(shields, 0, 1)
    alone = shading_of(smaller, lamp, world(), shields, [(0, 1)])
    told = shading_of(smaller, lamp, world(), shields, [(0, 1)], asked_deg=[asked])
    assert np.isfinite(asked)
    assert asked < told.shared_deg(shields, 0, 1) <= alone.shared_deg(shields, 0, 1) + 1e-9
    assert [told.alone_deg(k) for k in (0, 1)] == [alone.alone_deg(k) for k in (0, 1)]
