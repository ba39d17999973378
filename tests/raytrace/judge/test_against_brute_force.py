"""Rooms of random boxes against thousands of rays, traced through the glass and tried against every triangle of each part.

Brute force is never too small; where its nearest ray is a hair off it is too large, so rooms may not exceed it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometry.body import Tube
from geometry.meshes import trace_mesh
from raytrace.judge.judgement import judge
from raytrace.optics.camera import Guide
from tests.raytrace.coverage.random_boxes import random_scene
from tests.raytrace.judge.brute_force import brute_room

NEAR_MM = 25.0  # parts farther away are told by one hull
GENEROUS_MM = 1e-3
FEW, MANY = (
    (502, 504, 505),
    (500, 501, 503, *range(507, 511), 513, *range(515, 525)),
)  # those left out take minutes of brute force each


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


def ends_mm(part):
    """Where a part begins and ends along the axis; of one that leaves no way round it, its opening."""
    if not isinstance(part.body, Tube):
        z = trace_mesh(part, sagitta_mm=0.1).vertices[:, 2]
    else:
        z = np.concatenate([points[:, 2] for loop in (*part.body.inner, *part.body.outer) for points in loop.points_mm(0.1)])
    return z.min(), z.max()


@pytest.mark.parametrize("seed", [522, 538])
def test_the_place_where_a_part_stops_light_lies_between_its_ends(seed):
    """A leg of the beam that begins at a leaning glass, or past the part, may be the one that asks for the longest move."""
    box, lens, guide = scene_and_guide(seed)
    for part, told in zip(box.parts, judge([lens], guide, box, margin=False).parts, strict=True):
        if told.room_mm <= 0.0 and not told.beyond_focus:
            low, high = ends_mm(part)
            assert low - 0.1 <= told.point_mm[2] <= high + 0.1, part.name


@pytest.mark.slow
@pytest.mark.parametrize("seed", MANY)
def test_no_room_is_larger_than_the_nearest_of_thousands_of_rays_in_many_boxes(seed):
    below, lens = differences(seed)
    assert (below > -GENEROUS_MM).all()
    if np.isinf(lens.front_radius_mm):  # stand-ins for a front ring lose more
        assert (below < 1.0).all()
