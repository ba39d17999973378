"""Outlines: areas in closed form, exact distances, polygons that stay inside."""

from dataclasses import astuple

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geometry.errors import GeometryError
from geometry.outline import (
    SAGITTA_MM,
    Circle,
    Freeform,
    RoundedRectangle,
    area_mm2,
    contains,
    half_size_mm,
    inside_distance,
    is_convex,
    polygon_loops,
    to_shape,
)

repeatable = settings(derandomize=True, deadline=None, max_examples=60)
mm = st.floats(-200, 200)
WINDOW = RoundedRectangle(150, 84, 6)
PORT = Circle(48)
L_SHAPE = shapely.Polygon([(-40, -20), (50, -20), (50, 5), (0, 5), (0, 30), (-40, 30)])
HOLED = Freeform(L_SHAPE.difference(shapely.box(10, -12, 20, -5)))


def shoelace(loop):
    """Signed area of a polygon, positive counter-clockwise (shoelace formula, any geometry textbook)."""
    x, y = loop.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def test_areas_have_closed_forms():
    assert area_mm2(PORT) == pytest.approx(np.pi * 48**2)
    # rectangle less what four square corners lose to quarter discs
    assert area_mm2(WINDOW) == pytest.approx(150 * 84 - 4 * (6**2 - np.pi * 6**2 / 4))
    assert area_mm2(HOLED) == pytest.approx(90 * 50 - 50 * 25 - 10 * 7)  # counted squares


@pytest.mark.parametrize("outline", [PORT, WINDOW, RoundedRectangle(84, 84, 42), RoundedRectangle(60, 30)])
def test_polygons_lie_inside_and_lose_less_than_the_named_sagitta(outline):
    (loop,) = polygon_loops(outline)
    assert np.all(inside_distance(outline, loop) > -1e-9)
    middles = (loop + np.roll(loop, -1, axis=0)) / 2
    assert np.all(inside_distance(outline, middles) <= SAGITTA_MM * (1 + 1e-6))
    perimeter = float(np.linalg.norm(loop - np.roll(loop, -1, axis=0), axis=1).sum())
    assert 0 <= area_mm2(outline) - shoelace(loop) + 1e-9 <= SAGITTA_MM * perimeter


@pytest.mark.parametrize("outline", [PORT, WINDOW, RoundedRectangle(84, 84, 42), RoundedRectangle(60, 30)])
def test_no_point_of_a_polygon_is_repeated(outline):
    (loop,) = polygon_loops(outline)
    assert np.linalg.norm(loop - np.roll(loop, -1, axis=0), axis=1).min() > 1e-6


def test_a_coarser_sagitta_gives_fewer_points():
    assert len(polygon_loops(PORT, 0.1)[0]) < len(polygon_loops(PORT)[0])


def test_outer_rings_run_counter_clockwise_and_holes_clockwise():
    outer, hole = polygon_loops(HOLED)
    assert shoelace(outer) > 0 > shoelace(hole)
    assert shoelace(polygon_loops(WINDOW)[0]) > 0


@pytest.mark.parametrize(
    ("point", "distance"),
    [
        ((0, 0), 42.0),  # nearest: the long side, half the height away
        ((70, 0), 5.0),
        ((80, 0), -5.0),
        ((72, 39), 6 - np.hypot(3, 3)),  # in the corner's square: measured from the corner circle's centre (69, 36)
        ((75, 42), 6 - np.hypot(6, 6)),  # the sharp corner that the radius cuts away
        ((-78, 46), 6 - np.hypot(9, 10)),
    ],
)
def test_distance_to_a_rounded_rectangle_by_hand(point, distance):
    assert inside_distance(WINDOW, point) == pytest.approx(distance)


@given(st.lists(st.tuples(mm, mm), min_size=1, max_size=20))
@repeatable
def test_distances_agree_with_a_general_library(points):
    # shapely's buffer of the inner rectangle, 4096 chords a quarter: within 1e-5 mm of round
    shape = shapely.box(-69, -36, 69, 36).buffer(6, quad_segs=4096)
    p = shapely.points(points)
    signed = np.where(shapely.contains(shape, p), 1, -1) * shapely.distance(shape.boundary, p)
    assert_allclose(inside_distance(WINDOW, points), signed, atol=1e-5)


@given(st.tuples(mm, mm))
@repeatable
def test_a_mirrored_point_is_as_far_from_a_symmetric_outline(point):
    x, y = point
    mirrored = inside_distance(WINDOW, [(x, y), (-x, y), (x, -y)])
    assert_allclose(mirrored, mirrored[0])


def test_the_edge_itself_is_material():
    assert not contains(PORT, [48.0, 0.0])
    assert not contains(WINDOW, [75.0, 3.0])
    assert not contains(HOLED, [50.0, -10.0])


def test_a_freeform_outline_is_lopsided_where_it_was_drawn_so():
    # the notch of the L is at +x, which is the operator's left
    assert contains(HOLED, [[-20, 20], [20, 20], [15, -8]]).tolist() == [True, False, False]


def test_distance_to_a_freeform_outline_by_hand():
    assert_allclose(inside_distance(HOLED, [[-20, 20], [20, 20], [15, -8]]), [10, -15, -3])


def test_two_openings_in_one_outline_both_let_light_through():
    pair = Freeform(shapely.MultiPolygon([shapely.box(-30, -5, -10, 5), shapely.box(12, -5, 30, 5)]))
    assert contains(pair, [[-20, 0], [0, 0], [20, 0]]).tolist() == [True, False, True]
    assert len(polygon_loops(pair)) == 2


def test_only_outlines_without_notches_are_convex():
    assert is_convex(PORT)
    assert is_convex(WINDOW)
    assert is_convex(Freeform(shapely.box(0, 0, 10, 20)))
    assert not is_convex(Freeform(L_SHAPE))
    assert not is_convex(Freeform(shapely.box(-9, -9, 9, 9).difference(shapely.box(-1, -1, 1, 1))))


def test_half_sizes_reach_the_farther_side_of_a_lopsided_outline():
    assert_allclose(half_size_mm(HOLED), [50, 30])
    assert_allclose(half_size_mm(Freeform(shapely.box(-70, -45, 10, 20))), [70, 45])
    assert_allclose(half_size_mm(WINDOW), [75, 42])
    assert_allclose(half_size_mm(PORT), [48, 48])


def test_shapes_for_the_flat_geometry_library_keep_their_area():
    assert to_shape(WINDOW).area == pytest.approx(area_mm2(WINDOW), rel=1e-4)
    assert to_shape(HOLED).area == pytest.approx(area_mm2(HOLED))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Circle(0), "a round opening needs a radius above 0 mm, found 0"),
        (lambda: Circle(float("nan")), "a round opening needs a radius above 0 mm, found nan"),
        (lambda: RoundedRectangle(-1, 20), "an opening needs width and height above 0 mm, found -1 x 20"),
        (lambda: RoundedRectangle(40, 20, 11), "a corner radius must lie between 0 and half the shorter side (10 mm), found 11"),
    ],
)
def test_impossible_outlines_are_refused_in_one_sentence(make, words):
    with pytest.raises(GeometryError) as error:
        make()
    assert str(error.value) == words


def test_an_outline_that_crosses_itself_is_refused():
    with pytest.raises(GeometryError, match="must not cross itself"):
        Freeform(shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]))


@pytest.mark.parametrize("outline", [Circle(40), RoundedRectangle(80, 50, 5)])
def test_a_loop_that_is_kept_cannot_be_changed(outline):
    (loop,) = polygon_loops(outline)
    with pytest.raises(ValueError, match="read-only"):
        loop += 1.0
    assert polygon_loops(type(outline)(*astuple(outline)))[0] is loop
