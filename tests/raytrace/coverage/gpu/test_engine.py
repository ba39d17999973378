"""The graphics kernels against closed forms and against the processor's way, on a device where there is one.

Where there is none the same kernels run compiled for the processor: the same source, the same sums.
"""

import sys
from contextlib import nullcontext

import numpy as np
import pytest
import shapely
from shapely import affinity

from geometry.outline import Circle, Freeform, RoundedRectangle
from raytrace.box import Box
from raytrace.coverage.gpu import engine as gpu
from raytrace.coverage.picture import coverage_map
from raytrace.optics.camera import PixelGrid
from tests.raytrace.coverage.gpu_on_host import COMPILER, kernels_on_host
from tests.raytrace.coverage.random_boxes import random_scene
from tests.raytrace.made import block, edge_above, holed, pencils

GRID = PixelGrid(width_mm=36.0, height_mm=24.0, columns=96, rows=64)
needs_gpu = pytest.mark.skipif(gpu.gpu_trouble() is not None, reason="no graphics processor here")
needs_compiler = pytest.mark.skipif(COMPILER is None, reason="no C++ compiler here")


@pytest.fixture(params=[pytest.param("device", marks=needs_gpu), pytest.param("host", marks=needs_compiler)])
def _kernels(request):
    with kernels_on_host() if request.param == "host" else nullcontext():
        yield


def pencils_at(points_mm):
    return pencils(-points_mm / 24.0 * [1.0, -1.0])


def mapped(*parts, at=pencils_at, grid=GRID):
    said = []
    return gpu.gpu_map(at, grid, Box(parts=parts), say=said.append), said


def assert_agree(map_, other):
    """On the whole, at the worst pixel within the bounds that the map states, and never clear where light is lost."""
    error = np.abs(map_.clear_share - other.clear_share)
    assert error.mean() < 0.001
    assert error.max() < sum(bound.size for bound in map_.made.bounds if bound.unit == "share")
    assert other.clear_share[map_.clear_share == 1.0].min(initial=1.0) > 0.998
    assert np.all((map_.blocked_by >= 0) == (map_.clear_share < 1.0))


def random_map(seed, columns, rows):
    scene = random_scene(np.random.default_rng(seed))
    grid = PixelGrid(width_mm=scene.width_mm, height_mm=scene.height_mm, columns=columns, rows=rows)
    said = []
    map_ = gpu.gpu_map(scene.pencils, grid, scene.box, say=said.append)
    return map_, coverage_map(scene.pencils, grid, scene.box), said


def test_without_cupy_the_sentence_names_the_extra(monkeypatch):
    monkeypatch.setitem(sys.modules, "cupy", None)
    needs = "a graphics processor needs the package CuPy, which is not installed"
    assert gpu.gpu_trouble() == f'{needs}: install brimline with its extra "gpu"'


@pytest.mark.usefixtures("_kernels")
def test_a_straight_edge_leaves_the_segment_of_a_circle():
    map_, said = mapped(edge_above(20.0, 60.0))
    centre = GRID.y_mm / 24.0 * 85.0  # of each row's bundle in the edge's plane, 85 mm ahead of the pupil
    h = np.clip((20.0 - centre) / 4.5, -1, 1)
    share = 1 - (np.arccos(h) - h * np.sqrt(1 - h * h)) / np.pi  # circular segment, any handbook of mathematics
    assert not said
    assert map_.made.device == "gpu"
    assert np.abs(map_.clear_share - share[:, None]).max() < 2e-3


TURNED = ((60.0, (70.0, 44.0), (-4.0, 3.0), 31.0), (40.0, (58.0, 36.0), (5.0, -2.0), -14.0))  # ahead, size, right and up, turn


@pytest.mark.usefixtures("_kernels")
def test_two_openings_across_each_other_leave_what_plane_geometry_says():
    parts = [
        holed(at, RoundedRectangle(*size), right_mm=place[0], up_mm=place[1], turn_deg=turn) for at, size, place, turn in TURNED
    ]
    map_, said = mapped(*parts)
    r, c = np.nonzero((map_.clear_share > 0.02) & (map_.clear_share < 0.98))
    some = np.random.default_rng(3).choice(len(r), 60, replace=False)
    exact = np.array([left_of_disc(GRID.x_mm[j], GRID.y_mm[i]) for i, j in zip(r[some], c[some], strict=True)])
    assert not said
    assert map_.clear_share[r[some], c[some]] == pytest.approx(exact, abs=2e-3)


def left_of_disc(x_mm, y_mm):
    """Share of a fine polygon in place of the pupil that lies in both openings, by Shapely.

    Seen from a pixel an opening moves against the pupil by the slope times its distance; turns are clockwise for the operator.
    """
    angle = np.linspace(0, 2 * np.pi, 721)[:-1]
    disc = rest = shapely.Polygon(4.5 * np.column_stack([np.cos(angle), np.sin(angle)]))
    for at, (wide, tall), place, turn in TURNED:
        opening = affinity.rotate(shapely.box(-wide / 2, -tall / 2, wide / 2, tall / 2), -turn, origin=(0, 0))
        shift = np.array(place) - np.array([x_mm, y_mm]) / 24.0 * (at + 25.0)
        rest = rest.intersection(affinity.translate(opening, *shift))
    return rest.area / disc.area


@pytest.mark.usefixtures("_kernels")
def test_what_stands_dark_behind_an_opening_is_dark():
    """The opening cuts some of the pupils that the block behind it stops whole: whatever cuts first, nothing gets past."""
    map_, _ = mapped(holed(30.0, RoundedRectangle(60, 70), turn_deg=20.0), block((-400, -60, 60), (5, 80, 62)))
    right = GRID.x_mm[None] / 24.0 * 85.0  # where the middle ray meets the block's near plane; the frame's x runs to the left
    up = GRID.y_mm[:, None] / 24.0 * 85.0
    stopped = (-right < 5 - 5.5) & (np.abs(up) < 58 - 5.5)  # pupils of 4.5 mm whole within the block, a millimetre to spare
    assert stopped.sum() > 500
    assert map_.clear_share[stopped].max() == 0.0


@pytest.mark.usefixtures("_kernels")
@pytest.mark.parametrize(
    "parts",
    [
        (holed(30.0, RoundedRectangle(75, 50), up_mm=3.0, right_mm=-4.0), holed(70.0, Circle(62.0), right_mm=5.0)),
        (block((10, 8, 40), (30, 60, 90)), block((-40, -60, 30), (-20, 5, 45)), edge_above(20.0, 60.0, turn_deg=17.0)),
        (holed(40.0, RoundedRectangle(60, 40), depth_mm=8.0, bounded=True, outer=RoundedRectangle(84, 52), up_mm=4.0),),
    ],
)
def test_it_agrees_with_the_processor_on_lopsided_boxes(parts):
    map_, _ = mapped(*parts)
    other = coverage_map(pencils_at, GRID, Box(parts=parts))
    assert np.ptp(other.clear_share) > 0.9
    assert_agree(map_, other)
    assert ((map_.blocked_by >= 0) == (other.blocked_by >= 0))[np.abs(other.clear_share - 1) > 1e-3].all()


# Blocks dark behind openings, blocks cut off at the pupil with corners that coincide, and parts next to the plane of focus.
@pytest.mark.usefixtures("_kernels")
@pytest.mark.parametrize("seed", [195, 229, 334, 352, 389])
def test_it_agrees_with_the_processor_on_random_boxes(seed):
    map_, other, _ = random_map(seed, 96, 64)
    assert map_.made.device == "gpu"
    assert_agree(map_, other)


@needs_gpu
@pytest.mark.slow
def test_it_agrees_with_the_processor_on_five_hundred_random_boxes():
    there = 0
    for seed in range(500):
        map_, other, _ = random_map(seed, 160, 100)
        there += map_.made.device == "gpu"
        assert_agree(map_, other)
    assert there > 300


@pytest.mark.usefixtures("_kernels")
def test_an_outline_that_is_not_convex_goes_to_the_processor_with_a_sentence():
    arrow = Freeform(shapely.Polygon([(-60, -40), (60, -40), (0, -10), (60, 40), (-60, 40)]))
    parts = (holed(40.0, arrow, right_mm=12.0), edge_above(30.0, 60.0))
    map_, said = mapped(*parts)
    assert len(said) == 1
    assert said[0].startswith("left most of the picture to the processor, where")
    assert_agree(map_, coverage_map(pencils_at, GRID, Box(parts=parts)))


@pytest.mark.usefixtures("_kernels")
def test_cells_in_which_the_lens_cuts_its_own_pupil_are_the_processors():
    """A front ring of 20 mm radius at the rim cuts pupils seen along slopes above (20 - 4.5) / 25."""

    def ringed(points_mm):
        return pencils(-points_mm / 24.0 * [1.0, -1.0], ring=(0.0, 20.0))

    parts = (edge_above(20.0, 60.0, turn_deg=17.0),)
    map_, said = mapped(*parts, at=ringed)
    other = coverage_map(ringed, GRID, Box(parts=parts))
    corner = np.s_[:8, :8]
    assert said
    assert np.array_equal(map_.clear_share[corner], other.clear_share[corner])
    assert_agree(map_, other)


@pytest.mark.usefixtures("_kernels")
def test_a_small_picture_is_not_sent_over():
    map_, said = mapped(edge_above(20.0, 60.0), grid=PixelGrid(width_mm=36.0, height_mm=24.0, columns=60, rows=40))
    assert said == ["worked out on the processor, because the picture is small"]
    assert map_.made.device == "cpu"
