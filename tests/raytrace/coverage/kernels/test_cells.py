"""Blocks listed in one kernel and covered in another."""

import numpy as np
import pytest

from raytrace.coverage import picture
from raytrace.coverage.kernels import scratch
from raytrace.coverage.picture import coverage_map
from tests.raytrace.coverage.random_boxes import random_scene


@pytest.mark.parametrize("seed", [3, 4, pytest.param(11, marks=pytest.mark.slow)])
def test_a_map_is_the_same_however_few_blocks_are_listed_at_once(monkeypatch, seed):
    scene = random_scene(np.random.default_rng(seed))
    roomy = coverage_map(scene.pencils, scene.grid(90, 60), scene.box)
    assert roomy.clear_share.min() < 0.9
    monkeypatch.setattr(scratch, "EACH", 0)
    tight = coverage_map(scene.pencils, scene.grid(90, 60), scene.box)
    monkeypatch.setattr(picture, "BLOCKS_AT_ONCE", 1)
    single = coverage_map(scene.pencils, scene.grid(90, 60), scene.box)
    for other in (tight, single):
        assert np.array_equal(roomy.clear_share, other.clear_share)
        assert np.array_equal(roomy.blocked_by, other.blocked_by)
