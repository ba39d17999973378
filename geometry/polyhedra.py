"""Solids with flat faces, held face by face: what STEP, STL and 3MF are written from. Volume and balance in closed form."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.errors import GeometryError
from geometry.frame import Pose, right_up_to_frame
from geometry.outline import SAGITTA_MM
from geometry.rings import Ring, chords

Loop = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Polyhedron:
    """A closed solid: vertices (V, 3) [mm]; each face an outer loop of vertex numbers and the loops of its holes.

    Seen from outside an outer loop runs anticlockwise, a hole's clockwise.
    """

    vertices_mm: FloatArray
    faces: tuple[tuple[Loop, ...], ...]

    def placed(self, pose: Pose) -> Polyhedron:
        """The solid where a pose puts it."""
        return Polyhedron(pose.points_to_frame(self.vertices_mm), self.faces)


def plate(outer: Ring, holes: Sequence[Ring], thickness_mm: float, *, sagitta_mm: float = SAGITTA_MM) -> Polyhedron:
    """A plate as the operator sees it (right to the right), as a solid in a part's own coordinates: x to the operator's left.

    The part's middle lies half way through it.
    """
    if not thickness_mm > 0:
        raise GeometryError(f"a plate needs a thickness above 0 mm, found {thickness_mm:g}")
    loops = [right_up_to_frame(chords(outer, sagitta_mm))[::-1], *(right_up_to_frame(chords(h, sagitta_mm)) for h in holes)]
    starts = np.cumsum([0, *map(len, loops)])
    flat = np.concatenate(loops)
    count = len(flat)
    vertices = np.concatenate([np.column_stack([flat, np.full(count, z)]) for z in (-thickness_mm / 2, thickness_mm / 2)])
    fronts = [tuple(range(int(a) + count, int(b) + count)) for a, b in itertools.pairwise(starts)]
    rears = [tuple(range(int(b) - 1, int(a) - 1, -1)) for a, b in itertools.pairwise(starts)]
    sides = [side for a, b in itertools.pairwise(starts) for side in _sides(int(a), int(b), count)]
    return Polyhedron(vertices, (tuple(rears), tuple(fronts), *sides))


def _sides(start: int, end: int, count: int) -> Iterator[tuple[Loop, ...]]:
    """The faces round one loop of a plate: outer loops run anticlockwise seen from ahead, holes clockwise."""
    for k in range(start, end):
        after = k + 1 if k + 1 < end else start
        yield ((k, after, after + count, k + count),)


def hood_shell(inner_mm: Sequence[FloatArray], outer_mm: Sequence[FloatArray]) -> Polyhedron:
    """Four walls open at both ends, from the corners (4, 3) of the inside at rear and front, and those of the outside.

    Corners run anticlockwise seen from ahead; both ends are flat.
    """
    vertices = np.concatenate([*inner_mm, *outer_mm])  # 0-3 inside rear, 4-7 inside front, 8-11 outside rear, 12-15 outside front
    faces: list[tuple[Loop, ...]] = [((11, 10, 9, 8), (0, 1, 2, 3)), ((12, 13, 14, 15), (7, 6, 5, 4))]
    for k in range(4):
        after = (k + 1) % 4
        faces += [((k, k + 4, after + 4, after),), ((k + 8, after + 8, after + 12, k + 12),)]
    return Polyhedron(vertices, tuple(faces))


def volume_mm3(solid: Polyhedron) -> float:
    """Volume [mm3], exact for flat faces: a sixth of the sum of a . (b x c) over the fans of all loops."""
    return sum(float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum()) for a, b, c in _fans(solid)) / 6


def centre_mm(solid: Polyhedron) -> FloatArray:
    """Centre of mass (3,) [mm] of the solid with one density throughout."""
    total, moment = 0.0, np.zeros(3)
    for a, b, c in _fans(solid):
        six = np.einsum("ij,ij->i", a, np.cross(b, c))
        total += float(six.sum())
        moment += ((a + b + c) * six[:, None]).sum(axis=0) / 4
    return moment / total


def _fans(solid: Polyhedron) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    """Triangles of every loop from its own first corner: those of holes count against those of the loop around them."""
    points = solid.vertices_mm
    for face in solid.faces:
        for loop in face:
            p = points[list(loop)]
            yield np.broadcast_to(p[0], (len(p) - 2, 3)), p[1:-1], p[2:]


def triangles(solid: Polyhedron) -> NDArray[np.int64]:
    """Vertex numbers (T, 3) of triangles that fill every face, outward, with no corner that the solid does not have."""
    return np.concatenate([_filled(solid, face) for face in solid.faces])


def _filled(solid: Polyhedron, face: tuple[Loop, ...]) -> NDArray[np.int64]:
    if len(face) == 1 and len(face[0]) == 3:
        return np.array([face[0]], dtype=np.int64)
    if len(face) == 1 and len(face[0]) == 4:
        a, b, c, d = face[0]
        return np.array([[a, b, c], [a, c, d]], dtype=np.int64)
    across, up = _axes(solid.vertices_mm[list(face[0])])
    flat = solid.vertices_mm @ np.column_stack([across, up])
    where = {tuple(flat[k]): k for loop in face for k in loop}
    shape = shapely.Polygon(flat[list(face[0])], [flat[list(loop)] for loop in face[1:]])
    pieces = shapely.get_coordinates(shapely.constrained_delaunay_triangles(shape)).reshape(-1, 4, 2)[:, :3]
    found = np.array([[where[tuple(point)] for point in piece] for piece in pieces], dtype=np.int64)
    p, q, r = (flat[found[:, k]] for k in range(3))
    turn = (q - p)[:, 0] * (r - p)[:, 1] - (q - p)[:, 1] * (r - p)[:, 0]
    found[turn < 0] = found[turn < 0][:, ::-1]
    return found[turn != 0]


def _axes(points_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two axes in the plane of a loop, so that it runs anticlockwise."""
    normal = np.cross(points_mm, np.roll(points_mm, -1, axis=0)).sum(axis=0)
    normal /= np.linalg.norm(normal)
    across = np.cross(np.eye(3)[int(np.argmin(np.abs(normal)))], normal)
    across /= np.linalg.norm(across)
    return across, np.cross(normal, across)
