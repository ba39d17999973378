"""How much work a map is told to be, by outlines whose sides are counted in closed form."""

import numpy as np
import pytest

from geometry.outline import Circle
from raytrace.box import Box
from raytrace.coverage.picture import SAGITTA_SHARE
from raytrace.coverage.work import ENTRY_SIDES, sides_per_pixel
from raytrace.optics.camera import PixelGrid
from tests.raytrace.made import holed, pencils

HOLE_MM = 30.0


def sides(radius_mm, holes=1):
    """Of the pupils of one picture, each halved by the edge of a round hole (its middle on the edge)."""
    grid = PixelGrid(columns=32, rows=24, width_mm=2.0, height_mm=1.5)
    box = Box(parts=tuple(holed(10.0 + k, Circle(HOLE_MM), right_mm=HOLE_MM) for k in range(holes)))

    def pencils_at(points_mm):
        return pencils(np.zeros((len(points_mm), 2)), behind_mm=0.0, radius_mm=radius_mm)

    return sides_per_pixel(pencils_at, grid, box)


@pytest.mark.parametrize("radius_mm", [0.2, 3.0])
def test_sides_are_as_many_as_the_map_itself_has_for_pupils_of_any_size(radius_mm):
    # An arc of radius R and length c rises by c^2 / (8 R) over its chord; its tangent at s from a point passes that by s^2 / (2 R).
    # Source: sagitta of a circle, for small angles (from memory). A side counts if its line cuts the pupil.
    side_mm = np.sqrt(8 * HOLE_MM * SAGITTA_SHARE * radius_mm / np.sqrt(2.0))
    assert sides(radius_mm) - ENTRY_SIDES == pytest.approx(2 * np.sqrt(2 * HOLE_MM * radius_mm) / side_mm, rel=0.3)


def test_each_shape_that_cuts_counts_by_itself():
    assert sides(3.0, holes=4) == pytest.approx(4 * sides(3.0), rel=0.2)
