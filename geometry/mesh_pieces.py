"""An imported mesh by its closed bodies, also those that touch along edges or faces, and the faces that close nothing.

A file of bodies that touch has edges of four faces, and faces that lie twice in one place; drawing programs also write bodies
twice, and inside out. Each body is found by the order of the file, in which its faces follow each other; else by the angles at
its edges.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.body import Surface
from geometry.mesh_bodies import connected_numbers, joined_faces

LEAST_CLOSED = 4  # faces of a body
MOST_CROWDED = 200_000  # edges of more than two faces that are gone round one by one
AROUND = 1e-6  # of a turn: faces closer than that round an edge lie on each other


@dataclass(frozen=True, slots=True)
class Piece:
    """Triangles (F, 3, 3) [mm] of a mesh that hang together edge by edge, all seen from outside where they are closed.

    `turned` is whether the file has them the other way round, all of them; None where some are, or where they are not closed.
    """

    triangles_mm: FloatArray
    closed: bool
    turned: bool | None = None


def pieces_of(surface: Surface) -> tuple[Piece, ...]:
    """All bodies of a mesh, and what closes nothing, in the order of the file."""
    joined, places = joined_faces(surface.vertices_mm, surface.faces)
    whole = (joined[:, 0] != joined[:, 1]) & (joined[:, 1] != joined[:, 2]) & (joined[:, 2] != joined[:, 0])
    faces = joined[whole]
    if not len(faces):
        return ()
    return tuple(_pieces(places, faces))


def _pieces(points: FloatArray, faces: NDArray[np.int64]) -> Iterator[Piece]:
    edges, forward = _edges(faces)
    runs = _runs(faces, edges)
    first, second = _neighbours(points, faces, edges, forward, runs)
    number, turned, is_one_sided = _sides(len(faces), first, second, forward)
    met = np.zeros(3 * len(faces), dtype=np.bool_)
    met[first], met[second] = True, True
    is_whole = np.ones(int(number.max()) + 1, dtype=np.bool_)
    is_whole[number[np.flatnonzero(~met) // 3]] = False
    order = np.argsort(number, kind="stable")
    for of_piece in np.split(order, np.flatnonzero(np.diff(number[order])) + 1):
        own, flipped = faces[of_piece], turned[of_piece]
        if is_one_sided[of_piece[0]] or not is_whole[number[of_piece[0]]] or len(own) < LEAST_CLOSED:
            yield Piece(points[own], closed=False)
            continue
        seen = np.where(flipped[:, None], own[:, ::-1], own)
        inside_out = _volume_mm3(points, seen) < 0.0
        state = None if flipped.any() and not flipped.all() else bool(flipped[0] != inside_out)
        yield Piece(points[seen[:, ::-1] if inside_out else seen], closed=True, turned=state)


def _edges(faces: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """For each side of each face (3 F,) the number of its edge, and whether it runs from the lower numbered end to the higher."""
    ends = np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2)
    low, high = ends.min(axis=1), ends.max(axis=1)
    number = np.unique(low * (int(faces.max()) + 1) + high, return_inverse=True)[1].reshape(-1)
    return number.astype(np.int64), ends[:, 0] == low


def _runs(faces: NDArray[np.int64], edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """For each face (F,) the number of its run: faces that follow each other in the file until every edge has been met twice.

    Each edge is a random number, and those met so far are summed by their bits: what was met twice is gone from the sum.
    """
    groups = connected_numbers(faces)
    order = np.argsort(groups, kind="stable")
    drawn = np.random.default_rng(0).integers(1, 2**63, size=int(edges.max()) + 1, dtype=np.int64)
    sums = np.bitwise_xor.accumulate(np.bitwise_xor.reduce(drawn[edges].reshape(-1, 3)[order], axis=1))
    starts = np.flatnonzero(np.diff(groups[order], prepend=-1))
    before = np.where(starts > 0, sums[starts - 1], 0)
    left = sums ^ np.repeat(before, np.diff([*starts, len(faces)]))
    ended = np.concatenate([[False], left[:-1] == 0])
    ended[starts] = True
    runs = np.empty(len(faces), dtype=np.int64)
    runs[order] = np.cumsum(ended)
    return runs


def _neighbours(
    points: FloatArray, faces: NDArray[np.int64], edges: NDArray[np.int64], forward: NDArray[np.bool_], runs: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Sides (N,) and (N,) of faces that meet: the two of an edge in its run, or of an edge of more the two about one material."""
    key = runs[np.arange(len(edges)) // 3] * (int(edges.max()) + 1) + edges
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.diff(key[order], prepend=-1))
    counts = np.diff([*starts, len(order)])
    pairs = starts[counts == 2]
    crowded = [order[start : start + count] for start, count in zip(starts[counts > 2], counts[counts > 2], strict=True)]
    if len(crowded) > MOST_CROWDED:
        crowded = []
    more = [pair for sides in crowded for pair in _around(points, faces, sides, forward)]
    extra = np.array(more, dtype=np.int64).reshape(-1, 2)
    return np.concatenate([order[pairs], extra[:, 0]]), np.concatenate([order[pairs + 1], extra[:, 1]])


def _around(
    points: FloatArray, faces: NDArray[np.int64], sides: NDArray[np.int64], forward: NDArray[np.bool_]
) -> Iterator[tuple[int, int]]:
    """Of the sides of faces about one edge those two and two between which material lies, as the way round of the faces tells."""
    side = int(sides[0])
    low, high = sorted((int(faces[side // 3, side % 3]), int(faces[side // 3, (side + 1) % 3])))
    along = (points[high] - points[low]) / np.linalg.norm(points[high] - points[low])
    away = points[faces[sides // 3, (sides + 2) % 3]] - points[low]
    away = away - np.outer(away @ along, along)
    across = away[int(np.argmax((away**2).sum(axis=1)))]
    turns = np.arctan2(away @ np.cross(along, across), away @ across) / (2.0 * np.pi)
    steps = np.round(turns % 1.0 / AROUND) % round(1.0 / AROUND)
    # gone round against the turn, material begins at a face that runs forward; of faces in one place those that end one are first
    order = sorted(range(len(sides)), key=lambda k: (-float(steps[k]), bool(forward[sides[k]]), int(sides[k])))
    begun: list[int] = []
    ended: set[int] = set()
    for side in (int(sides[k]) for k in (*order, *order)):
        if side in ended or side in begun:
            continue
        if forward[side]:
            begun.append(side)
        elif begun:
            ended |= {begun[-1], side}
            yield begun.pop(), side


def _sides(
    count: int, first: NDArray[np.int64], second: NDArray[np.int64], forward: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.bool_]]:
    """For each face its piece, whether it has to be turned to look the way of the others, and whether its piece has one side only.

    Each face counts twice, as it is and turned; two that meet belong together as they are where they run along their edge in
    opposite ways.
    """
    from scipy.sparse import coo_array  # loaded for scenes with meshes: it takes a tenth of a second
    from scipy.sparse.csgraph import connected_components

    one, other = first // 3, second // 3
    swapped = np.where(forward[first] == forward[second], count, 0)
    rows = np.concatenate([one, one + count])
    columns = np.concatenate([other + swapped, other + (count - swapped)])
    links = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(2 * count, 2 * count))
    label = connected_components(links, directed=False)[1].astype(np.int64)
    kept, turned = label[:count], label[count:]
    pieces = np.unique(np.minimum(kept, turned), return_inverse=True)[1].reshape(-1).astype(np.int64)
    return pieces, kept > turned, kept == turned


def _volume_mm3(points: FloatArray, faces: NDArray[np.int64]) -> float:
    """Six parts of the volume within closed faces, negative where they look inward [mm3]."""
    a, b, c = (points[faces[:, k]] - points[faces[0, 0]] for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6.0
