"""The coverage way against the reference way, ray for area, on boxes drawn at random."""

import numpy as np
import pytest

from raytrace.coverage.engine import coverage_shares
from raytrace.reference import reference_shares
from tests.raytrace.coverage.random_boxes import random_scene
from tests.raytrace.made import pencils, show_box

POINTS = 16
LEAST_BARE = 0.05  # of the pupil: with less the reference has too few rays to tell


def drawn(seed):
    """Shares by both ways of some points of a scene, where the lens itself lets enough through."""
    rng = np.random.default_rng(seed)
    scene = random_scene(rng)
    points = rng.uniform(-0.5, 0.5, (POINTS, 2)) * [scene.width_mm, scene.height_mm]
    pencil = scene.pencils(points)
    area = coverage_shares(pencil, scene.box)
    rays = reference_shares(pencil, scene.box, log2_rays=10, rng=np.random.default_rng(1))
    return area, rays, area.lens > LEAST_BARE * pencil.falloff


def assert_agree(seeds):
    differences, worst = [], 0.0
    for seed in seeds:
        area, rays, enough = drawn(seed)
        error = (area.clear_share - rays.clear_share)[enough]
        # 16 runs: 6 standard errors, and what 1024 rays cannot see at all (an edge takes some 1 / 1024^0.75 of them, times 3).
        allowed = np.maximum(6 * rays.stderr[enough], 0.017)
        assert np.all(np.abs(error) < allowed), f"scene {seed}: off by {np.abs(error).max():.4f}"
        assert np.all((area.clear_share < 1.0)[enough] | (rays.clear_share[enough] > 0.998)), f"scene {seed}: called clear"
        differences.append(error)
        worst = max(worst, float(np.abs(error).max(initial=0.0)))
    assert abs(np.concatenate(differences).mean()) < 0.001
    assert worst > 0.0


def test_random_boxes_agree_with_the_reference():
    assert_agree(range(25))


@pytest.mark.slow
def test_five_hundred_random_boxes_agree_with_the_reference():
    assert_agree(range(1000, 1500))


def test_a_box_of_every_kind_agrees_and_names_the_same_parts():
    pencil = pencils(np.random.default_rng(5).uniform(-1.1, 1.1, (80, 2)))
    area = coverage_shares(pencil, show_box())
    rays = reference_shares(pencil, show_box(), log2_rays=11, rng=np.random.default_rng(6))
    assert np.abs(area.clear_share - rays.clear_share).max() < 0.01
    assert np.abs(area.alone - rays.alone).max() < 0.03
    assert np.mean(area.blocked_by == rays.blocked_by) > 0.9
