"""Bodies of a mesh that touch, lie in each other, twice or inside out are each found, and what closes nothing is named."""

import numpy as np
import pytest
import trimesh

from geometry.body import Surface
from geometry.mesh_pieces import pieces_of
from geometry.mesh_solids import MOST_SHEETS, SHEET_MM, held_of


def cube(at=(0, 0, 0), size=(10, 10, 10), *, turned=False):
    faces = np.asarray(trimesh.creation.box(size).faces)
    return trimesh.creation.box(size).vertices + np.array(at), faces[:, ::-1] if turned else faces


def joined(*bodies, shuffled=False):
    """All in one mesh; its faces in no order where they are shuffled."""
    starts = np.cumsum([0, *(len(points) for points, _ in bodies)])
    faces = np.concatenate([own + start for (_, own), start in zip(bodies, starts, strict=False)])
    order = np.random.default_rng(1).permutation(len(faces)) if shuffled else np.arange(len(faces))
    return Surface(np.concatenate([points for points, _ in bodies]), faces[order])


BESIDE, ABOVE, ACROSS = (10, 0, 0), (0, 10, 0), (10, 10, 0)

# Volumes by hand: a cube of 10 mm has 1000 mm3; two moved by (5, 3, 2) share 5 x 7 x 8; a hollow of 6 mm takes 216.
BODIES = {
    "a face in common": ([cube(), cube(BESIDE)], 2000),
    "an edge of four faces": ([cube(), cube(ACROSS)], 2000),
    "four about one edge": ([cube(), cube(BESIDE), cube(ABOVE), cube(ACROSS)], 4000),
    "one in another": ([cube(), cube((5, 3, 2))], 2000 - 280),
    "one twice": ([cube(), cube()], 1000),
    "one twice, once inside out": ([cube(), cube(turned=True)], 1000),
    "one inside out": ([cube(turned=True)], 1000),
    "a face in common, one inside out": ([cube(), cube(BESIDE, turned=True)], 2000),
    "an edge of four faces, one inside out": ([cube(), cube(ACROSS, turned=True)], 2000),
    "a hollow": ([cube(), cube(size=(6, 6, 6), turned=True)], 784),
    "a hollow, all inside out": ([cube(turned=True), cube(size=(6, 6, 6))], 784),
    "a body drawn within another": ([cube(), cube(size=(6, 6, 6))], 1000),
}


@pytest.mark.parametrize(("bodies", "volume_mm3"), BODIES.values(), ids=BODIES)
def test_bodies_of_one_file_are_held_as_the_room_that_they_take(bodies, volume_mm3):
    held = held_of(joined(*bodies))
    assert (held.sheets, held.left_out) == (0, 0)
    assert sum(float(solid.volume) for solid in held.solids) == pytest.approx(volume_mm3, rel=1e-5)


@pytest.mark.parametrize("name", ["a face in common", "an edge of four faces", "four about one edge"])
def test_bodies_that_touch_are_told_apart_by_the_angles_at_their_edges_where_a_file_has_their_faces_in_no_order(name):
    bodies, volume_mm3 = BODIES[name]
    surface = joined(*bodies, shuffled=True)
    assert [piece.closed for piece in pieces_of(surface)] == [True] * len(bodies)
    held = held_of(surface)
    assert (held.sheets, held.left_out) == (0, 0)
    assert sum(float(solid.volume) for solid in held.solids) == pytest.approx(volume_mm3, rel=1e-5)


def test_a_face_that_looks_the_other_way_than_its_body_is_turned():
    points, faces = cube()
    faces = faces.copy()
    faces[3] = faces[3, ::-1]
    (solid,) = held_of(Surface(points, faces)).solids
    assert float(solid.volume) == pytest.approx(1000, rel=1e-5)


def test_an_open_body_leaves_the_one_that_it_touches_closed():
    both = joined(cube(), cube(BESIDE))
    held = held_of(Surface(both.vertices_mm, both.faces[1:]))
    assert held.sheets == 11
    assert float(held.solids[0].volume) == pytest.approx(1000, rel=1e-5)


def test_a_wall_of_two_bodies_that_is_there_once_closes_one_of_them():
    first, (points, faces) = cube(), cube(BESIDE)
    rest = faces[~(points[faces][:, :, 0] == 5.0).all(axis=1)]
    held = held_of(joined(first, (points, rest)))
    assert held.sheets == 10
    assert float(held.solids[0].volume) == pytest.approx(1000, rel=1e-5)


def test_open_faces_are_held_as_thin_sheets_and_too_many_are_counted():
    points, faces = cube()
    held = held_of(Surface(points, faces[:-1]))
    assert (held.sheets, held.left_out) == (11, 0)
    assert len(held.solids) == 6  # one for each side
    assert max(float(sheet.volume) for sheet in held.solids) == pytest.approx(100 * SHEET_MM, rel=1e-4)
    ball = trimesh.creation.icosphere(5, radius=50.0)
    many = held_of(Surface(np.asarray(ball.vertices), np.asarray(ball.faces)[1:]))
    assert many.left_out == len(ball.faces) - 1 > MOST_SHEETS
