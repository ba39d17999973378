"""The coverage way against the reference way on boxes drawn at random: every part kind, pupil, focus, squeeze, tilt and glass."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from raytrace.camera import PixelGrid
from raytrace.coverage.engine import coverage_shares
from raytrace.coverage.picture import coverage_map
from raytrace.reference import reference_shares

LOG2_RAYS = 11
POINTS = 20
FLOOR = 0.012  # what 2048 stratified rays may be off at several edges at once: 6 x 0.002


def load(name):
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


random_scene = load("random_boxes").random_scene


def both_ways(seed):
    rng = np.random.default_rng(seed)
    scene = random_scene(rng)
    points = rng.uniform(-0.5, 0.5, (POINTS, 2)) * [scene.width_mm, scene.height_mm]
    pencils = scene.pencils(points)
    area = coverage_shares(pencils, scene.box, threads=1, with_alone=False)
    return area, reference_shares(pencils, scene.box, log2_rays=LOG2_RAYS, rng=np.random.default_rng(0))


def differences(seeds):
    return np.concatenate([check(seed) for seed in seeds])


def check(seed):
    area, rays = both_ways(seed)
    difference = area.clear_share - rays.clear_share
    assert np.all(np.abs(difference) <= np.maximum(6 * rays.stderr, FLOOR)), f"scene {seed}: off by {np.abs(difference).max():.4f}"
    return difference


def test_areas_agree_with_rays_on_random_boxes():
    found = differences(range(8))
    assert abs(found.mean()) < 0.001
    assert len(found) == 8 * POINTS


@pytest.mark.slow
def test_areas_agree_with_rays_on_many_random_boxes():
    found = differences(range(100, 200))
    assert abs(found.mean()) < 0.001


def small_map(threads, seed=3):
    scene = random_scene(np.random.default_rng(seed))
    grid = PixelGrid(width_mm=scene.width_mm, height_mm=scene.height_mm, columns=160, rows=96)
    return scene, grid, coverage_map(scene.pencils, grid, scene.box, threads=threads)


def test_a_map_has_the_same_bytes_on_one_and_two_threads():
    (_, _, one), (_, _, two) = small_map(1), small_map(2)
    for name in ("clear_share", "glass", "lens", "blocked_by"):
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes()


def test_a_map_says_at_each_pixel_what_the_single_pencil_says():
    for seed in (3, 5, 8):
        scene, grid, map_ = small_map(2, seed)
        points = coverage_shares(scene.pencils(grid.points_mm), scene.box, with_alone=False).clear_share
        alone = points.reshape(grid.rows, grid.columns)
        bound = sum(b.size for b in map_.made.bounds if b.unit == "share")
        assert np.abs(map_.clear_share - alone).max() <= max(bound, 0.004)
