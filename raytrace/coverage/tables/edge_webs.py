"""Webs: edges that bound layers of triangles. Along any line across the view the number of layers changes only where it meets one.

An edge between two faces that lie on opposite sides of it changes nothing; a fold changes it by two, a boundary by one. So a closed
or open mesh, however its faces are turned, is told by the edges where the number may change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

NO_FACE = -1


@dataclass(frozen=True, slots=True)
class Web:
    """`edges` (E, 4): points A, B and third corners of up to two faces (NO_FACE); `turn` (E,) for plane outlines, else 0."""

    edges: Ints
    turn: NDArray[np.int8]

    @classmethod
    def none(cls) -> Web:
        """No edges."""
        return cls(np.zeros((0, 4), dtype=np.int64), np.zeros(0, dtype=np.int8))

    def rows(self) -> Ints:
        """Points and turn side by side (E, 5)."""
        return np.column_stack([self.edges, self.turn])

    def shifted(self, first: int) -> Web:
        """The web with its points counted from `first`."""
        return Web(np.where(self.edges == NO_FACE, NO_FACE, self.edges + first), self.turn)


def polygon_web(counts: Sequence[int]) -> Web:
    """Web of plane closed loops of so many points each, outer ones turning left and holes right: one layer inside."""
    first, edges = 0, []
    for count in counts:
        a = np.arange(count)
        edges.append(np.column_stack([first + a, first + (a + 1) % count, np.full((count, 2), NO_FACE)]))
        first += count
    joined = np.concatenate(edges)
    return Web(joined, np.ones(len(joined), dtype=np.int8))


def surface_web(vertices_mm: NDArray[np.float64], faces: Ints) -> Web:
    """Web of a triangle mesh: one row per edge and pair of its faces. Corners at the very same place count as one."""
    _, merged = np.unique(vertices_mm.round(9), axis=0, return_inverse=True)
    first_of = np.zeros(merged.max() + 1, dtype=np.int64)
    first_of[merged[::-1]] = np.arange(len(merged))[::-1]
    faces = first_of[merged.reshape(-1)[faces]]
    faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    sides = np.concatenate([faces[:, [0, 1, 2]], faces[:, [1, 2, 0]], faces[:, [2, 0, 1]]])
    ends = np.sort(sides[:, :2], axis=1)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    ends, third = ends[order], sides[order, 2]
    rows = _paired(ends, third)
    return Web(rows, np.zeros(len(rows), dtype=np.int8))


def _paired(ends: Ints, third: Ints) -> Ints:
    """Rows (A, B, C1, C2) of sorted edges: faces on one edge are taken two by two, an odd one stays alone."""
    fresh = np.ones(len(ends), dtype=np.bool_)
    fresh[1:] = np.any(ends[1:] != ends[:-1], axis=1)
    start = np.maximum.accumulate(np.where(fresh, np.arange(len(ends)), 0))
    even = (np.arange(len(ends)) - start) % 2 == 0
    rows = np.flatnonzero(even)
    mate = np.minimum(rows + 1, len(ends) - 1)
    paired = (rows + 1 < len(ends)) & ~even[mate]
    return np.column_stack([ends[rows], third[rows], np.where(paired, third[mate], NO_FACE)])
