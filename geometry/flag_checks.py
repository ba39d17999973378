"""Flags against the beam, from shapes alone: does a blade stand in the way by construction, and how far."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
import trimesh
from numpy.typing import NDArray

from geometry.body import Block, Kind, Part
from geometry.frame import AHEAD
from geometry.meshes import part_mesh
from geometry.notes import Note, Severity
from geometry.overlap import TOUCH_MM, mean_depth_mm

BEHIND_BLADE_MM = 1000.0  # how far beyond a blade the beam is looked for: wider than any beam at a flag


def flag_notes(parts: Sequence[Part], sections: Sequence[tuple[float, shapely.Polygon]]) -> tuple[Note, ...]:
    """Flags and extensions that stand in the beam by construction.

    `sections` are (z_mm, shape of the beam in frame x, y), in any order; between them the beam is the hull of its neighbours.
    """
    ordered = sorted(sections, key=lambda section: section[0])
    solids = [_beam_hull(rear, front) for rear, front in pairwise(ordered)]
    blades = [p for p in parts if p.kind in (Kind.FLAG, Kind.EXTENSION) and isinstance(p.body, Block)]
    reaches = [(p.name, max((_reach_mm(p, solid) for solid in solids), default=0.0)) for p in blades]
    return tuple(
        Note(
            name,
            f"stands up to {reach:.1f} mm inside the beam; open it further or move its hinge {reach:.1f} mm out",
            Severity.CAUTION,
        )
        for name, reach in reaches
        if reach > TOUCH_MM
    )


def _reach_mm(blade: Part, beam: trimesh.Trimesh) -> float:
    """How far a blade must move straight out to leave a stretch of the beam [mm]; 0 where it does not stand in it."""
    shared = trimesh.boolean.intersection([part_mesh(blade), beam], engine="manifold")
    if len(shared.faces) == 0 or mean_depth_mm(shared) <= TOUCH_MM:
        return 0.0
    hinge, out, away = _hinge_and_directions(blade)
    corners = np.asarray(part_mesh(blade).vertices)
    swept = trimesh.convex.convex_hull(np.concatenate([corners, corners + BEHIND_BLADE_MM * out]))
    cut_off = np.asarray(trimesh.boolean.intersection([swept, beam], engine="manifold").vertices)
    straight = float(np.ptp(cut_off @ out))
    slope = float(away @ out)
    deep = float(((cut_off - hinge) @ away).max())
    return min(straight, deep / slope) if slope > 0 else straight


def _hinge_and_directions(blade: Part) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """A point of the hinge line, the direction out from the axis, and the direction of the blade's thickness."""
    assert isinstance(blade.body, Block)
    corners = blade.body.corners_mm
    out, away = np.cross(AHEAD, corners[4] - corners[0]), corners[1] - corners[0]
    return corners[0], out / np.linalg.norm(out), away / np.linalg.norm(away)


def _beam_hull(rear: tuple[float, shapely.Polygon], front: tuple[float, shapely.Polygon]) -> trimesh.Trimesh:
    ends = [np.column_stack([xy, np.full(len(xy), z)]) for z, shape in (rear, front) for xy in [_hull_points(shape)]]
    return trimesh.convex.convex_hull(np.concatenate(ends))


def _hull_points(shape: shapely.Polygon) -> NDArray[np.float64]:
    hull = shape.convex_hull
    return np.asarray(hull.exterior.coords)[:-1] if isinstance(hull, shapely.Polygon) else np.asarray(hull.coords)
