"""Polygons that stand in for pupil and front ring together hold all their light, glass or not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geometry import parts as make
from geometry.frame import pose
from geometry.outline import Circle
from raytrace.box import Box, Glass
from raytrace.judge.body import legs_of, look
from raytrace.judge.field import Cell
from raytrace.optics.lens import FixedPupil, LensState

DEPTH_MM, RADIUS_MM, FOCAL_MM, OBJECT_MM, RING_MM = 48.0, 0.5, 17.3, 733.0, 53.6
CELL = Cell(left=-0.01, right=0.01, low=-9.8, high=-9.78)  # so small that nothing strays between its points
GLASS = {"at_mm": 8.0, "depth_mm": 8.0, "outline": Circle(4000.0)}


def lens():
    pupil = FixedPupil(behind_front_mm=(DEPTH_MM, DEPTH_MM), half_size_mm=(RADIUS_MM, RADIUS_MM))
    return LensState(
        name="near", focal_mm=FOCAL_MM, f_number=10.5, focus_mm=878.0, field_focal_mm=FOCAL_MM, object_z_mm=OBJECT_MM, pupil=pupil,
        front_radius_mm=RING_MM,
    )  # fmt: skip


def rays(rng, count):
    """Origins and ways of rays of the cell through pupil and front ring, z ahead. Source: similar triangles."""
    picture = np.column_stack([rng.uniform(CELL.left, CELL.right, count), rng.uniform(CELL.low, CELL.high, count)])
    turn, radius = rng.uniform(0, 2 * np.pi, count), RADIUS_MM * np.sqrt(rng.uniform(0, 1, count))
    pupil = np.column_stack([radius * np.cos(turn), radius * np.sin(turn), np.full(count, -DEPTH_MM)])
    aim = picture * [-1, 1] / FOCAL_MM * (OBJECT_MM + DEPTH_MM)
    way = np.column_stack([aim - pupil[:, :2], np.full(count, OBJECT_MM + DEPTH_MM)])
    way /= np.linalg.norm(way, axis=1)[:, None]
    at_front = pupil - pupil[:, 2:] / way[:, 2:] * way
    through = np.hypot(*at_front[:, :2].T) <= RING_MM
    return pupil[through], way[through]


def after_plate(origin, way, thickness_mm, index):
    """A ray moved by a plate across the axis: T (tan inside - tan outside), its way kept. Source: Snell's law."""
    sine = np.hypot(way[:, 0], way[:, 1])
    inside, outside = np.tan(np.arcsin(sine / index)), sine / way[:, 2]
    side = way[:, :2] / sine[:, None]
    moved = origin.copy()
    moved[:, :2] += thickness_mm * (inside - outside)[:, None] * side
    return moved, way


@pytest.mark.parametrize("stand_in", [(1.0, 1.0), (0.0, 0.0), (-6.4, 1.0), (1.0, -4.0), (-3.0, -3.0)])
@pytest.mark.parametrize("index", [1.52, 1.9])
def test_all_light_through_pupil_and_ring_stays_in_the_hull_of_a_stand_ins_corners(stand_in, index):
    slab = make.filter_slab(pose(), thickness_mm=9.0, **GLASS)
    box = Box(parts=(), glasses=(Glass(slab=slab, index=index),))
    beam = replace(look([lens()], box, CELL), stand_ins=(stand_in,), far_z_mm=300.0)
    legs = legs_of(beam, CELL)
    start, end = legs.legs[-1, 0, 2:]
    corners, pad_mm = legs.corners[start:end], float(legs.pads[-1, 0])
    z_mm = corners[0, 2]
    assert np.allclose(corners[:, 2], z_mm)
    origin, way = after_plate(*rays(np.random.default_rng(7), 200_000), 9.0, index)
    at = origin + (z_mm - origin[:, 2:]) / way[:, 2:] * way
    hull = shapely.MultiPoint(corners[:, :2]).convex_hull
    beyond_mm = shapely.distance(hull, shapely.points(at[:, :2])).max()
    assert beyond_mm <= pad_mm + 1e-9
    assert pad_mm < 40.0  # of stand-ins that nobody would take
