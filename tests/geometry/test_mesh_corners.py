"""A corner of a mesh moved by one number is told; bodies that are meant to have two sides, and whole ones, are not.

The bodies are made by a general-purpose library (trimesh: boxes, extrusions, lathes), in mm.
"""

import numpy as np
import pytest
import shapely
import trimesh

from geometry.body import Kind, Part
from geometry.mesh_checks import mesh_notes
from geometry.mesh_corners import moved_corner
from geometry.mesh_import import surface_from_arrays

CHAMFERED = shapely.Polygon([(-80, -50), (80, -50), (80, 40), (70, 50), (-70, 50), (-80, 40)])
BRACKET = shapely.Polygon([(0, 0), (60, 0), (60, 10), (10, 10), (10, 45), (0, 45)])
CUT_PLATE = shapely.Polygon([(-80, -60), (80, -60), (80, 60), (-80, 60)], [[(-50, -30), (50, -30), (50, 30), (-50, 30)]])
ONE_STEP = shapely.Polygon([(-80, -60), (80, -60), (80, 60), (50, 60), (50, 40), (-80, 40)])
MEANT = {
    "chamfered hood": trimesh.creation.extrude_polygon(CHAMFERED, 70),
    "bracket": trimesh.creation.extrude_polygon(BRACKET, 12),
    "plate with a cut-out": trimesh.creation.extrude_polygon(CUT_PLATE, 3),
    "plate with a step": trimesh.creation.extrude_polygon(ONE_STEP, 3),
    "box": trimesh.creation.box((120, 80, 4)),
    "lathe part": trimesh.creation.annulus(50, 60, 30, sections=64),
    "lathe part of odd sections": trimesh.creation.annulus(50, 60, 30, sections=37),
    "cone": trimesh.creation.cone(50, 70, sections=32),
    "ball": trimesh.creation.icosphere(3, 50),
    "leaning pyramid": trimesh.convex.convex_hull([(-40, -40, 0), (40, -40, 0), (40, 40, 0), (-40, 40, 0), (12, 5, 60)]),
}


def place_of(mesh, **moved):
    points = np.array(mesh.vertices)
    for number, shift in moved.items():
        points[int(number.removeprefix("at"))] += shift
    found = moved_corner(surface_from_arrays(points, mesh.faces, unit="mm"))
    return None if found is None else (found.at_mm, found.expected_mm)


@pytest.mark.parametrize("name", MEANT)
def test_a_whole_body_is_not_told(name):
    assert place_of(MEANT[name]) is None


@pytest.mark.parametrize("name", ["chamfered hood", "plate with a cut-out", "box", "lathe part", "bracket"])
@pytest.mark.parametrize("shift", [(0, 25, 0), (25, 0, 0), (0, 0, 20), (4, -3, 0)])
def test_a_corner_that_one_or_two_numbers_move_is_told(name, shift):
    mesh = MEANT[name]
    told = [place_of(mesh, **{f"at{number}": shift}) for number in range(len(mesh.vertices))]
    found = sum(one is not None for one in told)
    assert found >= 0.9 * len(told)


def test_the_corner_that_was_moved_outward_is_named_with_where_it_belongs():
    mesh = MEANT["plate with a cut-out"]
    number = int(np.argmax(np.array(mesh.vertices) @ (1.0, 1.0, 1.0)))
    there, belongs = place_of(mesh, **{f"at{number}": (0, 25, 0)})
    np.testing.assert_allclose(there, (80, 85, 3))
    np.testing.assert_allclose(belongs, (80, 60, 3))


def test_a_corner_that_is_less_than_a_millimetre_off_is_not_told():
    assert place_of(MEANT["box"], at3=(0, 0.6, 0)) is None


@pytest.mark.parametrize("seed", range(20))
def test_bodies_of_no_symmetry_are_not_told(seed):
    points = np.random.default_rng(seed).uniform(-60, 60, (30, 3))
    assert place_of(trimesh.convex.convex_hull(points)) is None


def test_the_notes_of_a_mesh_say_where_the_corner_stands_and_where_it_belongs():
    mesh = MEANT["plate with a cut-out"]
    points = np.array(mesh.vertices)
    points[int(np.argmax(points @ (1.0, 1.0, 1.0)))] += (0, 25, 0)
    part = Part(name="plate", kind=Kind.SOLID, body=surface_from_arrays(points, mesh.faces, unit="mm"))
    (note,) = mesh_notes([part])
    assert "stands 80 mm left, 85 mm up and 3 mm ahead of the lens front's centre" in note.text
    assert "has it 80 mm left, 60 mm up and 3 mm ahead of" in note.text
