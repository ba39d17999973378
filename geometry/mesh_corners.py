"""A corner of a mesh that stands elsewhere than its body's other half has it: one number of the file was changed, perhaps.

Told is only a body that mirrors itself in every corner but one, where that one and the corner opposite hang on the same neighbours.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.body import Part, Surface
from geometry.frame import place_in_words
from geometry.mesh_bodies import body_numbers
from geometry.notes import Note, Severity

MOVED_MM = 1.0  # off where it should be: less is no slip, and darkens next to nothing
ALIKE_MM = 0.01  # of a corner and the one opposite: exporters round by less
LEAST_CORNERS, MOST_CORNERS, MOST_BODIES = 8, 20_000, 200  # of a body: fewer mirror each other by chance, for more nobody waits
MOST_FACES = 100_000  # of a mesh: scans and castings, which do not mirror themselves
LOOKED_AT_FIRST, FEW = 200, 3  # corners, and how many of them alone: of a body that is not the same on both sides nearly all are
LEAST_SHARED = 2  # neighbours of the two corners, besides each other


@dataclass(frozen=True, slots=True)
class Moved:
    """A corner and where the other half of its body has it [mm]."""

    at_mm: NDArray[np.float64]
    expected_mm: NDArray[np.float64]


def moved_corner_notes(parts: Sequence[Part]) -> tuple[Note, ...]:
    """Imported meshes of which one corner stands elsewhere than opposite."""
    found = [(p.name, moved_corner(p.body)) for p in parts if isinstance(p.body, Surface)]
    return tuple(
        Note(
            name,
            f"a corner of its mesh stands {place_in_words(moved.at_mm)}, where the other half of its body, the same in all other "
            f"corners, has it {place_in_words(moved.expected_mm)}; export the mesh again if it is not meant so",
            Severity.CAUTION,
            may_be_slip=True,
        )
        for name, moved in found
        if moved
    )


def moved_corner(surface: Surface) -> Moved | None:
    """The first corner that stands elsewhere than opposite; None where none does."""
    if len(surface.faces) > MOST_FACES:
        return None
    number = body_numbers(surface.vertices_mm, surface.faces)
    for body in range(min(int(number.max(initial=-1)) + 1, MOST_BODIES)):
        triangles = surface.vertices_mm[surface.faces[number == body]]
        corners, inverse = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
        if LEAST_CORNERS <= len(corners) <= MOST_CORNERS:
            faces = inverse.reshape(-1, 3)
            found = next((moved for axis in range(3) for moved in _moved_across(corners, faces, axis)), None)
            if found is not None:
                return found
    return None


def _moved_across(corners: NDArray[np.float64], faces: NDArray[np.int64], axis: int) -> Iterator[Moved]:
    """The corner that stands elsewhere than a mirror across this axis shows it."""
    from scipy.spatial import cKDTree  # here, for it takes long to load

    tree = cKDTree(corners)
    for middle_mm in _middles_mm(corners[:, axis]):
        mirrored = corners.copy()
        mirrored[:, axis] = 2.0 * middle_mm - mirrored[:, axis]
        some = mirrored[:: max(1, len(corners) // LOOKED_AT_FIRST)]
        if np.count_nonzero(tree.query(some)[0] > ALIKE_MM) >= FEW:
            continue
        alone = np.flatnonzero(tree.query(mirrored)[0] > ALIKE_MM)
        if len(alone) == 0:
            return  # the same on both sides
        if len(alone) == 2:
            yield from _moved_of(alone, corners, mirrored, faces)


def _middles_mm(places_mm: NDArray[np.float64]) -> tuple[float, ...]:
    """Where the middle of a body may be that is the same on both sides but for one corner, which may be the outermost."""
    ordered = np.sort(places_mm)
    ends = ((ordered[0], ordered[-1]), (ordered[1], ordered[-1]), (ordered[0], ordered[-2]))
    return tuple(dict.fromkeys(float(low + high) / 2.0 for low, high in ends))


def _moved_of(
    alone: NDArray[np.int64], corners: NDArray[np.float64], mirrored: NDArray[np.float64], faces: NDArray[np.int64]
) -> Iterator[Moved]:
    """Of two corners that have none opposite the one that was moved, as far as that can be told: the one farther out."""
    one, other = (int(corner) for corner in alone)
    theirs = [_neighbours(corner, faces) - {one, other} for corner in (one, other)]
    places = [
        {tuple(np.round(place, 2)) for place in of[sorted(near)]} for of, near in zip((corners, mirrored), theirs, strict=True)
    ]
    off_mm = float(np.linalg.norm(corners[one] - mirrored[other]))
    if len(places[0] & places[1]) < LEAST_SHARED or off_mm <= MOVED_MM:
        return
    reach = [_lengths_mm(corner, near, corners) for corner, near in zip((one, other), theirs, strict=True)]
    moved, sound = (one, other) if reach[0] >= reach[1] else (other, one)
    yield Moved(at_mm=corners[moved], expected_mm=mirrored[sound])


def _neighbours(corner: int, faces: NDArray[np.int64]) -> set[int]:
    return {int(near) for near in faces[(faces == corner).any(axis=1)].reshape(-1)} - {corner}


def _lengths_mm(corner: int, near: set[int], corners: NDArray[np.float64]) -> float:
    return float(np.linalg.norm(corners[sorted(near)] - corners[corner], axis=1).sum())
