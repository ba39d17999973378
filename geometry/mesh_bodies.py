"""Bodies of a mesh, edges without a second face, faces that lie twice in one place; points that coincide are one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.body import Surface


@dataclass(frozen=True, slots=True)
class Bodies:
    """The bodies of a mesh, B of them: for each face (F,) the number of its body, from 0."""

    surface: Surface
    number: NDArray[np.int64]

    def least(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """The least of a value (V, ...) that each point of the mesh has, for each body (B, ...)."""
        of_faces = values[self.surface.faces].min(axis=1)
        found = np.full((int(self.number.max(initial=-1)) + 1, *of_faces.shape[1:]), np.inf)
        np.minimum.at(found, self.number, of_faces)
        return found

    @property
    def bounds_mm(self) -> NDArray[np.float64]:
        """Least and most x, y, z (B, 2, 3) of each body [mm]."""
        points = self.surface.vertices_mm
        return np.stack([self.least(points), -self.least(-points)], axis=1)


def bodies_of(surface: Surface) -> Bodies:
    """A mesh by its bodies."""
    return Bodies(surface, body_numbers(surface.vertices_mm, surface.faces))


def body_numbers(points: NDArray[np.float64], triangles: NDArray[np.int64]) -> NDArray[np.int64]:
    """For each triangle (F,) the number of its body, from 0; a body is all that hangs together by points."""
    return connected_numbers(_joined(points, triangles))


def connected_numbers(joined: NDArray[np.int64]) -> NDArray[np.int64]:
    """The same of triangles (F, 3) by the numbers of places."""
    from scipy.sparse import coo_array  # loaded for scenes with meshes: it takes a tenth of a second
    from scipy.sparse.csgraph import connected_components

    ends, count = np.concatenate([joined[:, [0, 1]], joined[:, [1, 2]]]), int(joined.max()) + 1
    links = coo_array((np.ones(len(ends), dtype=np.int8), (ends[:, 0], ends[:, 1])), shape=(count, count))
    of_places = connected_components(links, directed=False)[1][joined[:, 0]]
    return np.unique(of_places, return_inverse=True)[1].reshape(-1).astype(np.int64)


def open_edges(surface: Surface) -> int:
    """How many edges belong to one face alone; none of a closed surface."""
    corners = _joined(surface.vertices_mm, surface.faces)
    edges = np.sort(np.concatenate([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]]), axis=1)
    return int(np.count_nonzero(np.unique(edges, axis=0, return_counts=True)[1] == 1))


def faces_twice(surface: Surface) -> int:
    """How many faces have the very corners of another."""
    corners = np.sort(_joined(surface.vertices_mm, surface.faces), axis=1)
    return int((np.unique(corners, axis=0, return_counts=True)[1] - 1).sum())


def joined_faces(points: NDArray[np.float64], triangles: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Triangles (F, 3) by the numbers of places, in which points that coincide are one, and these places (P, 3)."""
    places, number = np.unique(points, axis=0, return_inverse=True)
    return np.asarray(number.reshape(-1)[triangles], dtype=np.int64), places


def _joined(points: NDArray[np.float64], triangles: NDArray[np.int64]) -> NDArray[np.int64]:
    return joined_faces(points, triangles)[0]
