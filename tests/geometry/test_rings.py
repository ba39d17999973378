"""Rings against closed forms of areas and lengths of rectangles with round corners, circles and segments."""

import numpy as np
import pytest
import shapely

from geometry.errors import GeometryError
from geometry.outline import Circle, Freeform, RoundedRectangle
from geometry.rings import area_mm2, bounds_mm, chords, circle_ring, length_mm, moved, polygon_ring, rectangle_ring, rings_of


def polygon_area(points):
    return shapely.Polygon(points).area


def test_a_rounded_rectangle_has_its_handbook_area_and_length():
    """100 x 60 with radius 10: w h - (4 - pi) r^2 and 2 (w + h) - (8 - 2 pi) r."""
    ring = rectangle_ring(100, 60, 10)
    assert area_mm2(ring) == pytest.approx(6000 - (4 - np.pi) * 100, rel=1e-12)
    assert length_mm(ring) == pytest.approx(320 - (8 - 2 * np.pi) * 10, rel=1e-12)


@pytest.mark.parametrize("sagitta", [0.002, 0.02, 0.5])
@pytest.mark.parametrize(
    "ring", [circle_ring(65, (3, -4)), rectangle_ring(160, 124, 5), rectangle_ring(50, 50, 25), rectangle_ring(60, 30, 15)]
)
def test_chords_enclose_the_same_area_as_the_arcs(ring, sagitta):
    assert polygon_area(chords(ring, sagitta)) == pytest.approx(area_mm2(ring), rel=1e-12)


@pytest.mark.parametrize(("outline", "reach"), [(Circle(40), 40), (RoundedRectangle(80, 60, 12), 12)])
def test_chords_stray_no_farther_from_the_arc_than_they_are_told(outline, reach):
    points = chords(rings_of(outline)[0], 0.02)
    arcs = (
        shapely.Point(0, 0).buffer(reach, quad_segs=4000)
        if reach == 40
        else shapely.box(-28, -18, 28, 18).buffer(12, quad_segs=4000)
    )
    assert shapely.hausdorff_distance(shapely.Polygon(points).exterior, arcs.exterior) < 0.02


def test_a_half_circle_has_the_bulge_one_and_a_quarter_the_tangent_of_a_sixteenth_turn():
    assert circle_ring(5).bulges.tolist() == [1, 1]
    assert rectangle_ring(40, 30, 5).bulges.max() == pytest.approx(0.414213562, abs=1e-9)  # tan(90/4 deg)


def test_turning_and_moving_keep_area_and_take_the_bounds_along():
    ring = moved(rectangle_ring(100, 60, 10), (7, -3), 90)
    assert bounds_mm(ring) == pytest.approx((-23, -53, 37, 47), abs=1e-9)
    assert area_mm2(ring) == pytest.approx(area_mm2(rectangle_ring(100, 60, 10)))


def test_a_lopsided_outline_is_drawn_as_the_operator_sees_it():
    """A drawing's x runs to the operator's left: what lies there must come out on the left, at negative x."""
    left_of_middle = Freeform(shapely.Polygon([(10, 0), (30, 0), (30, 5), (10, 5)]))
    (ring,) = rings_of(left_of_middle)
    assert ring.points_mm[:, 0].max() == -10


def test_an_island_in_an_opening_is_refused():
    holed = shapely.Polygon([(0, 0), (9, 0), (9, 9), (0, 9)], [[(3, 3), (6, 3), (6, 6), (3, 6)]])
    with pytest.raises(GeometryError, match="the island falls out"):
        rings_of(Freeform(holed))


def test_a_hole_without_a_size_is_refused():
    with pytest.raises(GeometryError, match="above 0 mm, found 0"):
        circle_ring(0.0)


def test_a_clockwise_polygon_counts_as_much_as_an_anticlockwise_one():
    points = np.array([[0, 0], [4, 0], [4, 3]])
    assert area_mm2(polygon_ring(points)) == area_mm2(polygon_ring(points[::-1])) == 6
