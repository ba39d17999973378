"""Imported meshes come in as mm, and a doubtful unit is asked for."""

import io

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose

from geometry.errors import GeometryError
from geometry.mesh_import import likely_units, surface_from_arrays

FACES = [[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]]


def corner(size):
    return np.array([[0.0, 0, 0], [size, 0, 0], [0, size / 2, 0], [0, 0, size / 3]])


# 1 in = 25.4 mm exactly (international yard and pound agreement, 1959); the others by the SI's prefixes
@pytest.mark.parametrize(("unit", "size_mm"), [("mm", 6.0), ("cm", 60.0), ("m", 6000.0), ("in", 152.4)])
def test_a_stated_unit_is_taken_at_its_word(unit, size_mm):
    assert np.ptp(surface_from_arrays(corner(6), FACES, unit=unit).vertices_mm[:, 0]) == pytest.approx(size_mm)


def test_a_mesh_of_a_plausible_size_is_in_mm():
    assert_allclose(surface_from_arrays(corner(190), FACES).vertices_mm, corner(190))


def test_an_stl_drawn_in_inches_is_noticed_and_asked_about():
    # a plate of 7.5 x 6.3 x 0.16 in, written and read as STL, which carries no unit
    written = io.BytesIO(trimesh.creation.box((7.5, 6.3, 0.16)).export(file_type="stl"))
    mesh = trimesh.load_mesh(written, file_type="stl")
    with pytest.raises(GeometryError) as error:
        surface_from_arrays(mesh.vertices, mesh.faces, name="bracket")
    assert str(error.value) == (
        "bracket: no unit is stated and the mesh is 7.5 units across, which looks like inches (190 mm) or centimetres (75 mm) "
        'rather than millimetres; set unit to one of "in", "cm", "mm"'
    )


def test_a_mesh_in_metres_is_noticed():
    with pytest.raises(GeometryError, match=r'looks like metres \(190 mm\) rather than millimetres; set unit to one of "m", "mm"'):
        surface_from_arrays(corner(0.19), FACES)


@pytest.mark.parametrize("size", [1e-4, 5e4])
def test_a_mesh_of_no_sensible_size_asks_for_the_unit(size):
    with pytest.raises(GeometryError, match="fits no usual unit; set unit to mm, cm, m or in"):
        surface_from_arrays(corner(size), FACES)


@pytest.mark.parametrize(("size", "units"), [(190, ("mm",)), (7.5, ("in", "cm")), (19, ("in", "cm")), (0.3, ("m",))])
def test_likely_units_by_size(size, units):
    assert likely_units(size) == units


def test_faces_without_area_are_dropped():
    assert len(surface_from_arrays(corner(100), [*FACES, [1, 1, 2]]).faces) == 4


@pytest.mark.parametrize(
    ("vertices", "faces", "words"),
    [
        (corner(100), [[0, 1, 2, 3]], "export it as triangles"),
        (corner(100), np.zeros((0, 3)), "at least one triangle"),
        (corner(100)[:, :2], FACES, "points of three coordinates"),
        (corner(100), [[0, 1, 4]], "found indices 0 to 4"),
        (corner(np.nan), FACES, "found nan or inf"),
    ],
)
def test_broken_meshes_are_refused(vertices, faces, words):
    with pytest.raises(GeometryError, match=words):
        surface_from_arrays(vertices, faces, unit="mm")


def test_an_unknown_unit_is_named():
    with pytest.raises(GeometryError, match="unit must be one of mm, cm, m, in, found 'inch'"):
        surface_from_arrays(corner(100), FACES, unit="inch")


def test_a_mesh_whose_triangles_have_collapsed_is_refused():
    with pytest.raises(GeometryError, match="4 of its 4 triangles have no area; export it again"):
        surface_from_arrays(corner(100) * (1, 0, 0), FACES, unit="mm")


@pytest.mark.parametrize(("unit", "size_mm"), [("cm", 600), ("in", 1524), ("m", 60000)])
def test_a_part_in_mm_that_is_called_something_larger_is_refused_for_it_would_grow_out_of_the_light(unit, size_mm):
    with pytest.raises(GeometryError, match=f"makes it {size_mm} mm across, and its 60 units look like millimetres"):
        surface_from_arrays(corner(60), FACES, unit=unit)


def rounded_bodies(decimals):
    """A bracket 200 mm wide and a rod of 4 x 4 x 260 mm, in metres with so many decimals."""
    bracket, rod = trimesh.creation.box((0.2, 0.03, 0.02)), trimesh.creation.box((0.26, 0.004, 0.004))
    rod.apply_translation((0.0, 0.0413, 0.0613))
    both = trimesh.util.concatenate([bracket, rod])
    return np.round(both.vertices, decimals), both.faces


def test_a_body_that_rounding_has_made_a_line_is_not_passed_over():
    points, faces = rounded_bodies(2)  # the rod's corners fall together to two, of which no triangle can be made
    with pytest.raises(GeometryError, match=r"body at .* without area.*more decimals"):
        surface_from_arrays(points, faces, unit="m", name="rod")
    points, faces = rounded_bodies(4)
    assert len(surface_from_arrays(points, faces, unit="m").faces) == 24


def test_a_triangle_without_area_in_a_body_that_has_others_goes():
    faces = [*FACES, [0, 0, 1]]
    assert len(surface_from_arrays(corner(190), faces).faces) == 4
