"""Lines of views against what is known of a cube, a plate with a hole and one block before another."""

import numpy as np
import pytest

from geometry.frame import Pose
from geometry.polyhedra import plate
from geometry.projected import View, lines_of
from geometry.rings import circle_ring, rectangle_ring

FROM_BEHIND = View(np.array([-1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]))
FROM_RIGHT = View(np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))


def corner_view():
    toward = np.array([2.0, 1.5, 1.0])
    toward /= np.linalg.norm(toward)
    right = np.cross([0.0, 1.0, 0.0], toward)
    right /= np.linalg.norm(right)
    return View(right, np.cross(toward, right))


def cuboid(x, y, z):
    (width, height, depth), middle = zip(*((high - low, (high + low) / 2) for low, high in (x, y, z)), strict=True)
    return plate(rectangle_ring(width, height), [], depth).placed(Pose(np.eye(3), np.array(middle)))


def length(pieces):
    return float(np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1).sum())


def test_of_a_cube_seen_from_a_corner_nine_edges_show_and_three_are_hidden():
    """An edge along an axis is foreshortened by the sine of the angle between that axis and the line of sight."""
    view = corner_view()
    edges = 10 * np.sqrt(1 - view.toward**2)
    lines = lines_of([cuboid((0, 10), (0, 10), (0, 10))], view)
    assert length(lines.seen_mm) == pytest.approx(3 * edges.sum(), abs=0.1)
    assert length(lines.hidden_mm) == pytest.approx(edges.sum(), abs=0.1)


def test_a_hole_shows_as_its_circle_from_ahead_and_as_two_hidden_lines_from_the_side():
    solid = plate(rectangle_ring(100, 80), [circle_ring(20)], 4, sagitta_mm=0.01)
    seen = lines_of([solid], FROM_BEHIND).seen_mm
    on_circle = np.abs(np.linalg.norm(seen, axis=2) - 20).max(axis=1) < 0.05
    assert length(seen[on_circle]) / 2 == pytest.approx(2 * np.pi * 20, rel=1e-3)  # its rear and front edge fall together
    hidden = lines_of([solid], FROM_RIGHT).hidden_mm
    heights = {round(abs(float(y)), 1) for y in hidden[np.abs(hidden[:, 0, 0] - hidden[:, 1, 0]) > 3][:, :, 1].ravel()}
    assert heights == {20.0}


def test_a_block_hides_just_what_lies_behind_it():
    """Behind the nearer block 40 mm high and wide a bar of 100 mm shows its two ends, 30 mm each, on both of its long edges."""
    near, bar = cuboid((-20, 20), (-20, 20), (0, 5)), cuboid((-50, 50), (-5, 5), (20, 25))
    lines = lines_of([near, bar], FROM_BEHIND)
    level = np.abs(lines.seen_mm[:, 0, 1] - lines.seen_mm[:, 1, 1]) < 1e-9
    edge = level & (np.abs(np.abs(lines.seen_mm[:, 0, 1]) - 5) < 1e-6)
    front = length(lines.seen_mm[edge]) / 2  # the bar's rear and front edges fall together on the page
    assert front == pytest.approx(2 * 60, abs=0.5)


def test_right_on_the_page_is_the_operators_right():
    lopsided = plate(rectangle_ring(100, 80), [circle_ring(5, (30, 10))], 4, sagitta_mm=0.01)
    seen = lines_of([lopsided], FROM_BEHIND).seen_mm.reshape(-1, 2)
    hole = seen[np.linalg.norm(seen - np.array([30, 10]), axis=1) < 6]
    assert len(hole) > 20
