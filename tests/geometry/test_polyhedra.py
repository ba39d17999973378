"""Solids against closed forms, and against trimesh as another reader of the same faces."""

import numpy as np
import pytest
import trimesh

from geometry.errors import GeometryError
from geometry.frame import pose
from geometry.polyhedra import centre_mm, hood_shell, plate, triangles, volume_mm3
from geometry.rings import circle_ring, polygon_ring, rectangle_ring
from geometry.unfold import Ends, corners_at, ends_of, outside_corners_mm

LOPSIDED = Ends(rear_mm=(-80, 80, -55, 55), front_mm=(-120, 140, -80, 110), depth_mm=120)


def mesh(solid):
    return trimesh.Trimesh(solid.vertices_mm, triangles(solid), process=False)


def prismatoid(rear, front, depth):
    """h/6 (A + 4 M + B)."""
    middle = (rear[0] + front[0]) / 2 * (rear[1] + front[1]) / 2
    return depth / 6 * (rear[0] * rear[1] + 4 * middle + front[0] * front[1])


def hood(ends, thickness):
    boxes = ends.rear_mm, ends.front_mm
    inner = tuple(corners_at(z, box) for z, box in zip((0.0, ends.depth_mm), boxes, strict=True))
    return hood_shell(inner, outside_corners_mm(ends, thickness))


def test_a_plate_with_holes_has_the_volume_of_the_formula():
    solid = plate(rectangle_ring(190, 160, 6), [circle_ring(65), circle_ring(3, (80, 60)), rectangle_ring(20, 10)][:2], 4)
    assert volume_mm3(solid) == pytest.approx(4 * (190 * 160 - (4 - np.pi) * 36 - np.pi * (65**2 + 9)), rel=1e-12)


@pytest.mark.parametrize(
    "solid",
    [
        plate(rectangle_ring(190, 160, 6), [circle_ring(65), circle_ring(3, (80, 60))], 4),
        plate(rectangle_ring(200, 150), [polygon_ring(np.array([[-50, -30], [60, -20], [0, 40]]))], 1.5).placed(
            pose(tilt_deg=20, up_mm=9)
        ),
        hood(ends_of((120, 120), (180, 180), 100), 2),
        hood(LOPSIDED, 1.5),
    ],
    ids=["back plate", "mask, tilted", "hood", "lopsided hood"],
)
def test_a_solid_is_closed_turned_outward_and_as_heavy_to_trimesh(solid):
    found = mesh(solid)
    assert found.is_watertight
    assert found.is_winding_consistent
    assert found.volume == pytest.approx(volume_mm3(solid), rel=1e-9)
    assert found.volume > 0
    assert found.center_mass == pytest.approx(centre_mm(solid), abs=1e-6)


def test_the_walls_of_a_hood_weigh_what_the_prismatoids_say():
    """120/180/100 inside, 2 mm square to the walls: outside less inside, o = t / cos(tilt) wider on each side."""
    o = 2 / np.cos(np.arctan(30 / 100))
    expected = prismatoid((120 + 2 * o,) * 2, (180 + 2 * o,) * 2, 100) - prismatoid((120, 120), (180, 180), 100)
    assert volume_mm3(hood(ends_of((120, 120), (180, 180), 100), 2)) == pytest.approx(expected, rel=1e-12)


def test_a_hole_on_the_operators_right_lies_at_negative_x():
    solid = plate(rectangle_ring(100, 100), [circle_ring(5, (30, 10))], 2)
    hole = solid.vertices_mm[np.hypot(solid.vertices_mm[:, 0] + 30, solid.vertices_mm[:, 1] - 10) < 6]
    assert len(hole) > 10
    assert centre_mm(solid)[0] > 0


def test_a_plate_without_thickness_is_refused():
    with pytest.raises(GeometryError, match="thickness above 0 mm, found 0"):
        plate(rectangle_ring(10, 10), [], 0.0)
