"""Facts about imported meshes worth telling before any ray is traced: holes, sides, sizes, also of each body in a file."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geometry.body import Part, Surface
from geometry.frame import place_in_words
from geometry.mesh_bodies import bodies_of, faces_twice, open_edges
from geometry.mesh_corners import moved_corner_notes
from geometry.notes import Note, Severity
from geometry.overlap import TOUCH_MM

FLAT_SHARE = 0.2  # of the next larger extent: a plate
LEAST_TWICE = 4  # faces of the smallest body
SPECK_MM = 0.5  # no part is as small in all directions, also of those that hold others together (common practice)


def mesh_notes(parts: Sequence[Part]) -> tuple[Note, ...]:
    """All that the shapes of imported meshes tell."""
    looks = (open_mesh_notes, speck_notes, twice_notes, moved_corner_notes, turned_mesh_notes, lying_mesh_notes)
    return tuple(note for look in looks for note in look(parts))


def open_mesh_notes(parts: Sequence[Part]) -> tuple[Note, ...]:
    """Imported meshes that are open: their surface ends somewhere, or a face of it is missing."""
    edges = [(p.name, open_edges(p.body)) for p in parts if isinstance(p.body, Surface)]
    return tuple(
        Note(
            name,
            f"its mesh is open: {count} edges have no second face, so light can pass where the real part may be closed; "
            "close the mesh in the drawing program, or make sure that nothing of the part is missing",
            Severity.CAUTION,
            may_be_slip=True,
        )
        for name, count in edges
        if count
    )


def turned_mesh_notes(parts: Sequence[Part]) -> tuple[Note, ...]:
    """Imported meshes that lie behind the lens front, where they can darken nothing: many programs have z toward the camera."""
    behind = [(p.name, -p.body.vertices_mm[:, 2]) for p in parts if isinstance(p.body, Surface)]
    return tuple(
        Note(
            name,
            f"its mesh lies wholly behind the lens front, from {depth.min():.0f} to {depth.max():.0f} mm, and can darken nothing "
            "there; if it belongs ahead of the lens, export it with z toward the scene and y up, or turn it round",
            Severity.CAUTION,
            may_be_slip=True,
        )
        for name, depth in behind
        if depth.min() > TOUCH_MM
    )


def lying_mesh_notes(parts: Sequence[Part]) -> tuple[Note, ...]:
    """Imported plates that the lens axis runs along instead of through: many drawing programs have z up, not toward the scene."""
    found = []
    for part in parts:
        if not isinstance(part.body, Surface):
            continue
        low, high = part.body.vertices_mm.min(axis=0), part.body.vertices_mm.max(axis=0)
        size = high - low
        thin, middle, _ = np.argsort(size)
        on_axis = bool(np.all(low[:2] <= 0.0) and np.all(high[:2] >= 0.0))
        if on_axis and thin != 2 and size[thin] < FLAT_SHARE * size[middle]:
            way = ("from side to side", "from top to bottom")[thin]
            text = (
                f"its mesh is a plate of {size[thin]:.3g} mm {way} that lies along the lens axis, {size[2]:.3g} mm from front to "
                "rear, as if drawn with z up; a plate before the lens is thin along z: export it with z toward the scene and y up"
            )
            found.append(Note(part.name, text, Severity.CAUTION, may_be_slip=True))
    return tuple(found)


def twice_notes(parts: Sequence[Part]) -> tuple[Note, ...]:
    """Meshes of which triangles lie twice in one place, as where a body was copied and its move is lost."""
    counts = [(part.name, faces_twice(part.body)) for part in parts if isinstance(part.body, Surface)]
    text = (
        "{} of its triangles lie in one place with another; if a body was copied and moved, the move is lost: export it again, "
        "or delete the copy"
    )
    return tuple(
        Note(name, text.format(count), Severity.CAUTION, may_be_slip=True) for name, count in counts if count >= LEAST_TWICE
    )


def speck_notes(parts: Sequence[Part]) -> tuple[Note, ...]:
    """Bodies of a mesh far too small to be a part, beside others that are not: of an assembly one part was in another unit."""
    found = []
    for part in parts:
        if not isinstance(part.body, Surface):
            continue
        bounds = bodies_of(part.body).bounds_mm
        sizes = np.ptp(bounds, axis=1).max(axis=1)
        if sizes.max() >= SPECK_MM > sizes.min():
            where = place_in_words(bounds[sizes.argmin()].mean(axis=0))
            text = (
                f"a body of its mesh is only {sizes.min():.2g} mm across, {where}, and "
                "darkens next to nothing; if a part of the assembly is in another unit, export all of it in one"
            )
            found.append(Note(part.name, text, Severity.CAUTION, may_be_slip=True))
    return tuple(found)
