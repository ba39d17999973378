"""Cut-outs against closed forms: parallel curves of a rectangle, and the least growth that lets a round cutter into its corners."""

import math

import numpy as np
import pytest
import shapely

from geometry.cutouts import NOTCH_MM, closed_rings_mm, joined, reach_beyond_mm, tightest
from geometry.errors import GeometryError

WIDTH, HEIGHT = 90.0, 40.0
RECTANGLE = shapely.box(-30.0, -10.0, WIDTH - 30.0, HEIGHT - 10.0)  # lopsided about its origin


def test_a_margin_round_a_rectangle_is_its_parallel_curve():
    found = tightest(RECTANGLE, margin_mm=4.0, corner_mm=3.0)
    assert found.area == pytest.approx(WIDTH * HEIGHT + 2 * 4 * (WIDTH + HEIGHT) + math.pi * 16, abs=1.5)  # Steiner's formula
    assert found.bounds == pytest.approx((-34.0, -14.0, 64.0, 34.0), abs=0.01)


def test_a_cutter_rounder_than_the_margin_grows_the_opening_by_the_least_that_its_corners_need():
    margin, corner = 2.0, 10.0
    # The corner's circle of radius r must reach the margin's circle about the sharp corner: sqrt 2 (r - m - e) = r - m.
    grown = (corner - margin) * (1 - 1 / math.sqrt(2))
    left, _, right, _ = tightest(RECTANGLE, margin, corner).bounds
    assert right - left == pytest.approx(WIDTH + 2 * (margin + grown), abs=0.03)


@pytest.mark.parametrize("corner", [0.0, 2.0, 6.0, 12.0])
def test_the_margin_is_kept_all_round_whatever_the_cutter(corner):
    odd = RECTANGLE.union(shapely.box(0, -30, 20, 45))
    found = tightest(odd, margin_mm=3.0, corner_mm=corner)
    edge = shapely.points(shapely.get_coordinates(found.exterior.segmentize(0.5)))
    assert shapely.distance(edge, odd).min() >= 3.0 - 0.01


@pytest.mark.parametrize("corner", [3.0, 8.0])
def test_the_cutter_reaches_everywhere(corner):
    found = tightest(RECTANGLE, margin_mm=1.0, corner_mm=corner)
    middles = found.buffer(-corner + 0.01, quad_segs=64)  # where the cutter's middle may go
    corners = shapely.points(shapely.get_coordinates(found))
    assert shapely.distance(corners, middles).max() <= corner + 0.05


def test_openings_joined_stay_open_to_the_cutter_of_each():
    wide, tall = tightest(RECTANGLE, 1.0, 5.0), tightest(shapely.box(-20, -40, 10, 50), 1.0, 5.0)
    both = joined([wide, tall])
    assert both.area == pytest.approx(wide.area + tall.area - wide.intersection(tall).area)


def test_how_far_one_shape_reaches_beyond_another():
    assert reach_beyond_mm(RECTANGLE, shapely.box(0, 0, 67, 20)) == pytest.approx(7.0)
    assert reach_beyond_mm(RECTANGLE, shapely.box(0, 0, 60, 20)) == 0.0
    assert reach_beyond_mm(RECTANGLE, shapely.Polygon()) == 0.0


def test_rings_run_counter_clockwise_without_repeating_their_first_point():
    (ring,) = closed_rings_mm(shapely.Polygon(np.array(RECTANGLE.exterior.coords)[::-1]))
    assert len(ring) == 4
    assert shapely.LinearRing(ring).is_ccw


def test_no_beam_cannot_be_held():
    with pytest.raises(GeometryError, match="found no beam, 2 and 3 mm"):
        tightest(shapely.Polygon(), 2.0, 3.0)


def test_a_notch_too_narrow_for_material_is_filled_and_a_wide_one_is_not():
    narrow, wide = (RECTANGLE.difference(shapely.box(0, 10, width, 60)) for width in (0.8 * NOTCH_MM, 6 * NOTCH_MM))
    # The disc that cannot enter a slit of width w sinks into its mouth by r - sqrt(r^2 - w^2 / 4) all the same.
    sunk = NOTCH_MM - math.sqrt(NOTCH_MM**2 - (0.4 * NOTCH_MM) ** 2)
    depth = 30.0 - tightest(narrow, 0.0, 0.0).intersection(shapely.LineString([(4, -20), (4, 60)])).bounds[3]
    assert depth == pytest.approx(sunk, abs=0.02)
    rounded = NOTCH_MM**2 * (1 - math.pi / 4)  # the wide one runs out at the right: material keeps one corner, now round
    assert tightest(wide, 0.0, 0.0).area == pytest.approx(wide.area + rounded, abs=1.5)
