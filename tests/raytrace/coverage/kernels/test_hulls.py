"""Light beside a part of many points, a round seal or a drawn plate: only points near the pencil are put in order."""

import numpy as np
import pytest
import shapely

from geometry.body import Kind, Loop, Part, Tube
from geometry.frame import pose
from geometry.outline import Circle, Freeform
from raytrace.box import Box
from raytrace.coverage.engine import coverage_shares
from raytrace.coverage.tables.tables import HULL, KIND, POINTS, POINTS_END, box_tables
from tests.raytrace.made import pencils

BEHIND_MM, RADIUS_MM, HOLE_MM = 25.0, 6.0, 20.0
AROUND = np.linspace(0.0, 2 * np.pi, 240, endpoint=False)
RING = np.column_stack([80.0 * np.cos(AROUND), 80.0 * np.sin(AROUND)])


def drawn(*more):
    """A round plate drawn with 240 points and, far beyond it, those given."""
    return Freeform(shapely.MultiPoint([*RING, *more]).convex_hull)


OUTSIDES = {
    "equal rings": (Circle(80), Circle(80)),
    "a donut": (Circle(72), Circle(78), Circle(80), Circle(80), Circle(74)),
    "a plate with a nose": (drawn((-90.0, 150.0)), drawn((-90.0, 150.0))),
    "a plate with two noses": (drawn((250.0, 30.0), (250.0, -30.0)), drawn((250.0, 30.0))),
}


def tube(outsides):
    place, z = pose(ahead_mm=5.0), np.linspace(0.0, 14.0, len(outsides))
    outer = tuple(Loop(place, outline, float(at)) for outline, at in zip(outsides, z, strict=True))
    return Part(name="part", kind=Kind.SEAL, body=Tube(inner=(Loop(place, Circle(HOLE_MM)),), outer=outer, bounded=True))


@pytest.mark.parametrize("name", OUTSIDES)
def test_a_part_takes_what_its_outline_covers_of_a_pencil_beside_it(name):
    """Source: shapely's area of the pupil's disc and the hull of all points of the part, each where the pencil's middle sees it."""
    part, rng = tube(OUTSIDES[name]), np.random.default_rng(5)
    turn, far_mm = rng.uniform(0, 2 * np.pi, 300), rng.uniform(60.0, 130.0, 300)
    slope = np.column_stack([np.cos(turn), np.sin(turn)]) * (far_mm / (BEHIND_MM + 12.0))[:, None]
    got = coverage_shares(pencils(slope, behind_mm=BEHIND_MM, radius_mm=RADIUS_MM), Box(parts=(part,))).clear_share
    disc = shapely.Point(0, 0).buffer(RADIUS_MM, 2048)
    points = np.concatenate([loop.points_mm()[0] for loop in part.body.outer])
    seen = [shapely.MultiPoint(points[:, :2] - way * (points[:, 2:] + BEHIND_MM)).convex_hull for way in slope]
    left = np.array([1.0 - outline.intersection(disc).area / disc.area for outline in seen])
    assert 0.2 < np.mean((left > 0.0) & (left < 1.0)) < 0.95
    assert np.abs(got - left).max() < 2e-5


def test_rings_between_two_equal_ones_add_no_points():
    def points(count):
        tables = box_tables(Box(parts=(tube((Circle(80),) * count),)), start_z_mm=0.0, end_z_mm=np.inf, sagitta_mm=0.002)
        (hull,) = np.flatnonzero(tables.shape[:, KIND] == HULL)
        return tables.shape[hull, POINTS_END] - tables.shape[hull, POINTS]

    assert points(5) == points(2)
