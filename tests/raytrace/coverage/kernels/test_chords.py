"""Chords across rounded outlines with a board among them, against areas of polygons from the library shapely."""

import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from geometry.outline import RoundedRectangle
from raytrace.box import Box
from raytrace.coverage.engine import coverage_shares
from tests.raytrace.made import block, holed, pencils

RADIUS_MM = 18.0
OPENINGS = {
    8.0: RoundedRectangle(20.0, 60.0, 9.0),
    20.0: RoundedRectangle(60.0, 22.0, 10.9),
    32.0: RoundedRectangle(30.0, 30.0, 14.9),
}
BOARD_XY, BOARD_Z = (-3.0, -40.0, 2.0, 5.0), (44.0, 45.0)


def polygon(outline):
    wide, tall = outline.width_mm / 2 - outline.corner_mm, outline.height_mm / 2 - outline.corner_mm
    return shapely.box(-wide, -tall, wide, tall).buffer(outline.corner_mm, quad_segs=2000)


@pytest.mark.parametrize("slope", [(0.0, 0.0), (0.05, 0.03), (-0.1, 0.06), (0.2, -0.1), (-0.3, -0.2), (0.4, 0.0), (0.0, 0.3)])
def test_rounded_openings_and_a_board_leave_what_polygons_leave(slope):
    pupil = shapely.Point(0.0, 0.0).buffer(RADIUS_MM, quad_segs=5000)
    left = pupil
    for z, outline in OPENINGS.items():
        left = left.intersection(translate(polygon(outline), *(-np.array(slope) * z)))
    swept = [translate(shapely.box(*BOARD_XY), *(-np.array(slope) * z)) for z in BOARD_Z]
    left = left.difference(shapely.union_all(swept).convex_hull)
    board = block(*zip((-3.0, 2.0), (-40.0, 5.0), BOARD_Z, strict=True))
    box = Box(parts=(*(holed(z, outline) for z, outline in OPENINGS.items()), board))
    found = coverage_shares(pencils(slope, behind_mm=0.0, radius_mm=RADIUS_MM), box).clear_share
    assert found == pytest.approx(left.area / pupil.area, abs=1e-3)
