"""Rooms of random boxes against thousands of rays, traced through the glass and tried against every triangle of each part.

Brute force is never too small; where its nearest ray is a hair off it is too large, so rooms may not exceed it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from raytrace.judge.judgement import judge
from raytrace.optics.camera import Guide
from tests.raytrace.coverage.random_boxes import random_scene
from tests.raytrace.judge.brute_force import brute_room

NEAR_MM = 25.0  # parts farther away are told by one hull
GENEROUS_MM = 1e-3
FEW, MANY = range(500, 506), (*range(507, 511), 513, *range(515, 525))  # those left out take minutes of brute force each


def scene_and_guide(seed):
    rng = np.random.default_rng(seed)
    scene = random_scene(rng)
    lens = replace(scene.lens, projection="rectilinear")
    share = rng.uniform(0.03, 0.25, 2)
    return scene.box, lens, Guide(name="g", half_width_mm=scene.width_mm * share[0], half_height_mm=scene.height_mm * share[1])


def differences(seed):
    """How far (P,) each near part's room is below brute force [mm]; parts that touch in both ways are left out."""
    box, lens, guide = scene_and_guide(seed)
    got = judge([lens], guide, box, margin=False)
    found = []
    for part, told in zip(box.parts, got.parts, strict=True):
        if told.beyond_focus or told.room_mm > NEAR_MM:
            continue
        brute = brute_room(lens, guide, box, part, fields=11, angles=20)
        if told.room_mm > 0 or brute > 0:
            found.append(brute - max(told.room_mm, 0.0))
    return np.array(found), lens


@pytest.mark.parametrize("seed", FEW)
def test_no_room_is_larger_than_the_nearest_of_thousands_of_rays(seed):
    below, _ = differences(seed)
    assert (below > -GENEROUS_MM).all()


@pytest.mark.slow
@pytest.mark.parametrize("seed", MANY)
def test_no_room_is_larger_than_the_nearest_of_thousands_of_rays_in_many_boxes(seed):
    below, lens = differences(seed)
    assert (below > -GENEROUS_MM).all()
    if np.isinf(lens.front_radius_mm):  # stand-ins for a front ring lose more
        assert (below < 1.0).all()
