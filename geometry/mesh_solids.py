"""An imported mesh as solids to hold against other parts: its bodies joined, its open faces as thin sheets."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Surface
from geometry.mesh_bodies import connected_numbers, joined_faces
from geometry.mesh_pieces import Piece, pieces_of

if TYPE_CHECKING:
    import trimesh

SHEET_MM = 0.08  # thickness that open faces are given: on a face of a part they share half of it, which is contact still
MOST_SHEETS = 5_000  # open faces; a scan has more, and takes minutes
MOST_PLANES = 500  # of open faces that are held by themselves: more are those of a round surface
FLAT_MM = 1e-4  # a closed piece thinner than this holds no material
WITHIN_SHARE = 0.999  # of a body's volume that lies in another: all but rounding
WITHIN_MM = 1e-3  # closer to the outside of another there is no wall
KNOWN_SOLID = "known solid"  # in what a library's mesh holds about itself
KEPT = 64  # meshes kept in a process


SHEET_FACES = np.array([[0, 2, 1], [3, 4, 5], [0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4], [2, 0, 3], [2, 3, 5]])


@dataclass(frozen=True, slots=True)
class Held:
    """What of a mesh can be held against others, as solids; how many open faces are held as sheets, and how many are not held."""

    solids: tuple[trimesh.Trimesh, ...]
    sheets: int = 0
    left_out: int = 0


_held: OrderedDict[tuple[bytes, bytes], Held] = OrderedDict()


def held_of(surface: Surface) -> Held:
    """A mesh as solids; worked out once for one of the same numbers."""
    key = surface.vertices_mm.tobytes(), surface.faces.tobytes()
    found = _held.get(key)
    if found is None:
        found = _held[key] = _made(surface)
        for solid in found.solids:
            solid.metadata[KNOWN_SOLID] = True
        if len(_held) > KEPT:
            _held.popitem(last=False)
    return found


def _made(surface: Surface) -> Held:
    import trimesh

    joined, places = joined_faces(surface.vertices_mm, surface.faces)
    plain = trimesh.Trimesh(places, joined, process=False)
    if plain.is_volume and not connected_numbers(joined).any():
        return Held((plain,))
    pieces = pieces_of(surface)
    closed = [piece for piece in pieces if piece.closed]
    solids, others = _parted(closed)
    solid = _joined(_without_hollows(solids))
    held = (solid,) if solid is not None else ()
    open_faces = np.concatenate([np.zeros((0, 3, 3)), *(piece.triangles_mm for piece in pieces if not piece.closed), *others])
    open_faces = open_faces[_areas_mm2(open_faces) > 0.0]
    if len(open_faces) > MOST_SHEETS:
        return Held(held, left_out=len(open_faces))
    return Held((*held, *_sheets(open_faces)), sheets=len(open_faces))


def _sheets(triangles_mm: FloatArray) -> list[trimesh.Trimesh]:
    """Open faces as thin plates, those of one plane together: one that lies on another part must not hide one that stands in it."""
    if not len(triangles_mm):
        return []
    a, b, c = (triangles_mm[:, k] for k in range(3))
    normals = np.cross(b - a, c - a)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    levels = np.column_stack([np.round(normals, 4), np.round(np.einsum("ij,ij->i", normals, a), 2)]) + 0.0
    planes = np.unique(levels, axis=0, return_inverse=True)[1].reshape(-1)
    if planes.max() >= MOST_PLANES:
        planes = np.zeros(len(triangles_mm), dtype=np.int64)
    groups = (triangles_mm[planes == plane] for plane in range(int(planes.max()) + 1))
    return [mesh for group in groups if (mesh := _joined([_sheet(triangle) for triangle in group])) is not None]


def _parted(closed: Sequence[Piece]) -> tuple[list[tuple[Piece, trimesh.Trimesh]], list[FloatArray]]:
    """Closed pieces that are solids, and the triangles of those that are none, as of a sheet that lies on itself."""
    solids, others = [], []
    for piece in closed:
        mesh = _mesh(piece.triangles_mm)
        if _is_solid(mesh):
            solids.append((piece, mesh))
        else:
            others.append(piece.triangles_mm)
    return solids, others


def _mesh(triangles_mm: FloatArray) -> trimesh.Trimesh:
    import trimesh

    points, number = np.unique(triangles_mm.reshape(-1, 3), axis=0, return_inverse=True)
    return trimesh.Trimesh(points, number.reshape(-1, 3), process=False)


def _is_solid(mesh: trimesh.Trimesh) -> bool:
    """Whether a mesh holds material, and the library that cuts solids takes it for as much."""
    volume = _volume_mm3(mesh)
    taken = _joined([mesh])
    return volume > FLAT_MM * float(mesh.area) / 2.0 and taken is not None and _volume_mm3(taken) >= WITHIN_SHARE * volume


def _volume_mm3(mesh: trimesh.Trimesh) -> float:
    with np.errstate(divide="ignore", invalid="ignore"):  # what encloses nothing has no middle to tell
        return float(mesh.volume)


def _without_hollows(solids: Sequence[tuple[Piece, trimesh.Trimesh]]) -> list[trimesh.Trimesh]:
    """Solids to be joined: those that lie wholly within another, and face the other way than it in the file, are cut out of it."""
    ordered = sorted(solids, key=lambda of: -_volume_mm3(of[1]))
    bounds = np.array([mesh.bounds for _, mesh in ordered]).reshape(-1, 2, 3)
    kept: list[trimesh.Trimesh] = []
    for place, (piece, mesh) in enumerate(ordered):
        low, high = bounds[place]
        around = ((bounds[:place, 0] < low - WITHIN_MM) & (bounds[:place, 1] > high + WITHIN_MM)).all(axis=1)
        outermost = next((ordered[k][0] for k in np.flatnonzero(around) if _lies_in(mesh, ordered[k][1])), None)
        if outermost is not None and {piece.turned, outermost.turned} == {True, False}:
            kept = [_cut(other, mesh) for other in kept]
        else:
            kept.append(mesh)
    return [mesh for mesh in kept if len(mesh.faces)]


def _lies_in(mesh: trimesh.Trimesh, other: trimesh.Trimesh) -> bool:
    import trimesh

    shared = trimesh.boolean.intersection([mesh, other], engine="manifold", check_volume=False)
    return _volume_mm3(shared) >= WITHIN_SHARE * _volume_mm3(mesh)


def _cut(mesh: trimesh.Trimesh, hollow: trimesh.Trimesh) -> trimesh.Trimesh:
    import trimesh

    if np.any(mesh.bounds[0] > hollow.bounds[1]) or np.any(hollow.bounds[0] > mesh.bounds[1]):
        return mesh
    return trimesh.boolean.difference([mesh, hollow], engine="manifold", check_volume=False)


def _joined(meshes: Sequence[trimesh.Trimesh]) -> trimesh.Trimesh | None:
    """All solids as one; None of nothing."""
    import trimesh

    joined = trimesh.boolean.union(list(meshes), engine="manifold", check_volume=False) if meshes else None
    return joined if joined is not None and len(joined.faces) else None


def _areas_mm2(triangles_mm: FloatArray) -> FloatArray:
    a, b, c = (triangles_mm[:, k] for k in range(3))
    return np.asarray(np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2.0)


def _sheet(triangle_mm: FloatArray) -> trimesh.Trimesh:
    """A triangle (3, 3) as a thin plate, half of it on either side."""
    import trimesh

    a, b, c = triangle_mm
    normal = np.cross(b - a, c - a)
    aside = normal / np.linalg.norm(normal) * SHEET_MM / 2.0
    return trimesh.Trimesh(np.concatenate([triangle_mm - aside, triangle_mm + aside]), SHEET_FACES, process=False)
