"""The mesh way against the plain formulas: same rays, same glass, triangles instead of outlines."""

import numpy as np
import pytest

from geometry.meshes import assembly_mesh
from raytrace.box import NO_PART, Box
from raytrace.embree import embree_shares, first_face, mesh_tracer, triangle_scene
from raytrace.optics.bundle import launch
from raytrace.optics.glass import walk
from raytrace.optics.sampling import sobol_disc
from raytrace.reference import plain_tracer, reference_shares
from tests.raytrace.made import block, edge_above, pencils, plate_of_glass, show_box

GRAZING = 1e-4  # share of rays within 0.01 mm of some edge: chords stray 0.002 mm from round outlines, single precision 0.001


def random_field(count, seed):
    return np.random.default_rng(seed).uniform(-1, 1, (count, 2)) * (0.95, 0.65)


def disagreement(count, log2_rays, object_mm):
    """How many rays through the show box, how many of them stopped, on how many the two ways differ."""
    box, rng = show_box(), np.random.default_rng(21)
    meshes = assembly_mesh(box.parts, for_tracing=True)
    plain, mesh = plain_tracer(box), mesh_tracer(meshes, len(box.parts), alone=True)
    rays = stopped = differ = 0
    for some in np.array_split(random_field(count, 12), max(1, count * 2**log2_rays // 8192)):
        bundle, legs = walk(launch(pencils(some, object_mm=object_mm), sobol_disc(log2_rays, rng)), box.glasses)
        one, other = plain(bundle, legs), mesh(bundle, legs)
        rays += len(bundle)
        stopped += int((one.first_part != NO_PART).sum())
        differ += int(((one.first_part != other.first_part) | (one.passes != other.passes).any(axis=1)).sum())
    return rays, stopped, differ


@pytest.mark.parametrize("object_mm", [np.inf, 160.0, 600.0])
def test_every_ray_meets_the_same_part_first(object_mm):
    rays, stopped, differ = disagreement(256, 8, object_mm)
    assert 0.1 * rays < stopped < 0.9 * rays
    assert differ <= GRAZING * rays


@pytest.mark.slow
def test_a_million_rays_meet_the_same_part_first():
    rays, stopped, differ = disagreement(3907, 8, np.inf)
    assert rays >= 1_000_000
    assert 0.1 * rays < stopped < 0.9 * rays
    assert differ <= GRAZING * rays


def test_shares_agree_with_the_reference():
    slope, box = random_field(300, 3), show_box()
    mesh = embree_shares(pencils(slope), box, rng=np.random.default_rng(9), alone=True)
    plain = reference_shares(pencils(slope), box, rng=np.random.default_rng(9))
    assert np.abs(mesh.clear_share - plain.clear_share).max() <= 1 / 256  # one grazing ray
    assert np.abs(mesh.alone - plain.alone).max() <= 1 / 256
    assert mesh.glass == pytest.approx(plain.glass, abs=1e-3)
    assert len(set(plain.blocked_by)) > 4


def test_straight_edge_takes_the_circle_segment():
    # Segment at h = 0.5 of the radius: (acos h - h sqrt(1 - h^2)) / pi = 0.195501109478.
    box = Box(parts=(edge_above(3.0, 80, depth_mm=1),))
    shares = embree_shares(pencils([0, 0], radius_mm=6.0), box, log2_rays=12, rng=np.random.default_rng(3))
    assert abs(shares.clear_share[0] - (1 - 0.195501109478)) < min(0.007, 5 * np.hypot(shares.stderr[0], 1e-4))
    assert shares.alone.shape == (1, 0)


def test_block_at_the_operators_right_darkens_the_right_of_the_picture():
    flag = block((-200, -300, 60), (-10, 300, 62))  # his right has x < 0, picture right looks along negative x slopes
    shares = embree_shares(pencils([[-0.5, 0], [0.5, 0]]), Box(parts=(flag,)), rng=np.random.default_rng(1))
    assert shares.clear_share.tolist() == [0.0, 1.0]
    assert shares.blocked_by.tolist() == [0, NO_PART]


def test_empty_box_takes_nothing():
    shares = embree_shares(pencils(random_field(5, 1)), Box(parts=()), rng=np.random.default_rng(1))
    assert np.all(shares.clear_share == 1.0)


def test_part_before_the_glass_is_first_though_another_stands_beyond_it():
    near, far = edge_above(5, 20, depth_mm=1, name="near"), edge_above(5, 90, depth_mm=1, name="far")
    for beyond in ((), (far,)):  # the ray's later legs must not take back what an earlier one met
        box = Box(parts=(*beyond, near), glasses=(plate_of_glass(40),))
        shares = embree_shares(pencils([0, 0.6]), box, rng=np.random.default_rng(2))
        assert shares.clear_share.tolist() == [0.0]
        assert [box.part_names[k] for k in shares.blocked_by] == ["near"]


def test_faces_in_the_joints_of_legs_are_met():
    # A sheet lies on a leaning plate's front face, where the leg inside the glass ends and the next begins: rounding to single
    # precision puts half of the joints behind it and half ahead.
    count = 0
    for at_mm in np.linspace(37.1, 230.3, 60):
        glass = plate_of_glass(at_mm, size_mm=(900, 900), tilt_deg=12.3)
        sheet = glass.slab.pose.points_to_frame([[-900.0, -900, 2], [900, -900, 2], [0, 900, 2]])
        _, legs = walk(launch(pencils(random_field(50, 4) * 0.3), np.zeros((1, 2))), [glass])
        face = first_face(triangle_scene(sheet, np.array([[0, 1, 2]])), legs, np.ones(50, dtype=bool))
        assert (face == 0).all()
        count += len(face)
    assert count == 3000
