"""Legs of pencils through glass, against single rays that are followed by other code: raytrace.optics.glass."""

import numpy as np
import pytest
import shapely

from geometry.body import Slab
from geometry.frame import pose
from geometry.outline import Circle, Freeform, RoundedRectangle
from raytrace.box import Box, Glass, GlassKind
from raytrace.coverage.pencil_map import optics
from raytrace.optics.bundle import launch
from raytrace.optics.glass import walk
from tests.raytrace.made import pencils

DRAWN = Freeform(shapely.Polygon([(-60, -30), (55, -42), (20, 10), (48, 44), (-50, 38)], [[(-20, -8), (-20, 8), (4, 0)]]))


def slab(outline, at_mm, **leaning):
    return Slab(name="filter", pose=pose(ahead_mm=at_mm, **leaning), outline=outline, thickness_mm=4.0)


GLASSES = {
    "round": Glass(slab=slab(Circle(44), 20, tilt_deg=9, turn_deg=30), index=1.52),
    "rounded": Glass(slab=slab(RoundedRectangle(90, 64, 12), 34, tilt_deg=-14, turn_deg=-8, right_mm=5), index=1.5),
    "drawn": Glass(slab=slab(DRAWN, 26, tilt_deg=6, turn_deg=75, up_mm=3), index=1.6),
    "close-up": Glass(slab=slab(Circle(44), 50, tilt_deg=3, turn_deg=10), index=1.5, kind=GlassKind.CLOSE_UP, power_dioptre=0.8),
}


@pytest.mark.parametrize("names", [("round",), ("rounded",), ("drawn",), ("close-up",), ("round", "rounded", "close-up")])
@pytest.mark.parametrize("object_mm", [np.inf, 900.0])
def test_the_middle_of_a_pencil_runs_as_a_ray_through_the_same_glass_does(names, object_mm):
    glasses = tuple(GLASSES[name] for name in names)
    some = pencils(np.random.default_rng(3).uniform(-0.8, 0.8, (400, 2)), behind_mm=30, radius_mm=6, object_mm=object_mm)
    affine = optics(some, Box(parts=(), glasses=glasses), with_glass=False).affine
    legs = walk(launch(some, np.zeros((1, 2))), glasses)[1][2::2]
    met = [leg.length_mm > 0 for leg in walk(launch(some, np.zeros((1, 2))), glasses)[1][1::2]]
    assert names == ("close-up",) or 0.1 < np.mean(met[0]) < 0.95  # some go past the edge
    for number, leg in enumerate(legs, 1):
        for z in (60.0, 140.0):
            ray = leg.origin[:, :2] + (z - leg.origin[:, 2:]) / leg.direction[:, 2:] * leg.direction[:, :2]
            found = affine[:, number, 2::4] + affine[:, number, 3::4] * z  # of the crossing 0, 0: the pupil's own centre
            assert np.abs(found - ray).max() < 1e-9
