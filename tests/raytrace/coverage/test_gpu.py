"""The graphics processor's pictures against closed forms and against the processor's; and what is said where there is none."""

import sys

import numpy as np
import pytest
import shapely

from geometry.outline import Circle, Freeform, RoundedRectangle
from raytrace.box import Box
from raytrace.camera import PixelGrid
from raytrace.coverage import gpu
from raytrace.coverage.picture import coverage_map
from tests.raytrace.made import block, edge_above, holed, pencils

GRID = PixelGrid(width_mm=36.0, height_mm=24.0, columns=128, rows=96)
needs_gpu = pytest.mark.skipif(gpu.gpu_trouble() is not None, reason="no graphics processor here")


def pencils_at(points_mm):
    return pencils(-points_mm / 24.0 * [1.0, -1.0])


def mapped(*parts):
    said = []
    return gpu.gpu_map(pencils_at, GRID, Box(parts=parts), say=said.append), said


def test_without_cupy_the_sentence_names_the_extra(monkeypatch):
    monkeypatch.setitem(sys.modules, "cupy", None)
    needs = "a graphics processor needs the package CuPy, which is not installed"
    assert gpu.gpu_trouble() == f'{needs}: install brimline with its extra "gpu"'


@needs_gpu
def test_a_straight_edge_leaves_the_segment_of_a_circle():
    map_, said = mapped(edge_above(20.0, 60.0))
    centre = GRID.y_mm / 24.0 * 85.0  # of each row's bundle in the edge's plane, 85 mm ahead of the pupil
    h = np.clip((20.0 - centre) / 4.5, -1, 1)
    share = 1 - (np.arccos(h) - h * np.sqrt(1 - h * h)) / np.pi  # circular segment, any handbook of mathematics
    assert not said
    assert np.abs(map_.clear_share - share[:, None]).max() < 2e-3


@needs_gpu
@pytest.mark.parametrize(
    "parts",
    [
        (holed(30.0, RoundedRectangle(75, 50), up_mm=3.0, right_mm=-4.0), holed(70.0, Circle(62.0), right_mm=5.0)),
        (block((10, 8, 40), (30, 60, 90)), block((-40, -60, 30), (-20, 5, 45)), edge_above(20.0, 60.0, turn_deg=17.0)),
        (holed(40.0, RoundedRectangle(60, 40), depth_mm=8.0, bounded=True, outer=RoundedRectangle(84, 52), up_mm=4.0),),
    ],
)
def test_it_agrees_with_the_processor_on_lopsided_boxes(parts):
    map_, said = mapped(*parts)
    other = coverage_map(pencils_at, GRID, Box(parts=parts))
    assert not said
    assert np.ptp(other.clear_share) > 0.9
    assert np.abs(map_.clear_share - other.clear_share).max() < 0.01  # chords of both ways
    assert ((map_.blocked_by >= 0) == (other.blocked_by >= 0))[np.abs(other.clear_share - 1) > 1e-5].all()


@needs_gpu
def test_an_outline_that_is_not_convex_goes_to_the_processor_with_a_sentence():
    arrow = Freeform(shapely.Polygon([(-60, -40), (60, -40), (0, -10), (60, 40), (-60, 40)]))
    map_, said = mapped(holed(40.0, arrow))
    assert said == ["worked out on the processor, because a part is a mesh or has an outline that is not convex"]
    assert np.array_equal(map_.clear_share, coverage_map(pencils_at, GRID, Box(parts=(holed(40.0, arrow),))).clear_share)
