"""The box as stray light meets it: every opaque surface from both sides, and the openings that say where a ray left.

Triangles met by Embree in single precision: about a ten-thousandth of a millimetre at a box's size.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray

from geometry.arrays import FloatArray, cross_product
from geometry.body import Loop, Part, Surface
from geometry.enclosure import joined
from geometry.openings import Opening
from geometry.walls import BODY_NAME, Enclosure
from raytrace.embree import triangle_scene

Index = NDArray[np.int64]

NOTHING = -1
OUTSIDE_MM = 3000.0  # a ray that got so far has left: beyond every part, and near enough for single precision
STEP_MM = 1e-3  # rays start this far off the surface they lie on: ten steps of single precision at a metre


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What N rays meet: `wall` (N,) index of the first opaque surface or NOTHING, and its distance (N,) [mm], inf for none."""

    wall: Index
    distance_mm: FloatArray
    normal: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Escape:
    """What becomes of N rays: `opening` (N,) through which they leave, NOTHING if they do not; `wall` (N,) that stops them."""

    opening: Index
    wall: Index


class World:
    """Search trees over an enclosure's walls and openings; `ways` as in Enclosure. Holds no light."""

    def __init__(self, walls: tuple[Part, ...], openings: tuple[Opening, ...], ways: tuple[Loop, ...] = ()) -> None:
        self.walls, self.openings, self.ways = walls, openings, ways
        solid = [wall.body for wall in walls if isinstance(wall.body, Surface)]
        self._solid, self._wall_of_face = _merged(solid)
        self._gaps, self._gap_of_face = _merged([opening.surface for opening in openings])

    def __reduce__(self) -> tuple[object, ...]:
        """What it was made of: search trees are grown anew where they are asked for."""
        return World, (self.walls, self.openings, self.ways)

    @classmethod
    def of(cls, enclosure: Enclosure) -> World:
        """The world of an enclosure."""
        return cls(enclosure.walls, enclosure.openings, enclosure.ways)

    @property
    def wall_names(self) -> tuple[str, ...]:
        """Names by wall index."""
        return tuple(wall.name for wall in self.walls)

    @property
    def opening_names(self) -> tuple[str, ...]:
        """Names by opening index."""
        return tuple(opening.name for opening in self.openings)

    def without(self, name: str) -> World:
        """The world with one part gone."""
        return World(tuple(wall for wall in self.walls if wall.name != name), self.openings)

    def linings(self, of_groups: Mapping[str, float], otherwise: float) -> dict[str, float]:
        """Diffuse reflectance of the box's walls by name, from those of groups of parts; barrel and camera behind are left out."""
        found = {BODY_NAME: otherwise}
        for wall in self.walls:
            if wall.group:
                found[wall.name] = of_groups.get(wall.group.removesuffix(".extension"), otherwise)
        return found

    @cached_property
    def _solid_scene(self) -> EmbreeScene | None:
        return triangle_scene(self._solid.vertices_mm, self._solid.faces)

    @cached_property
    def _gap_scene(self) -> EmbreeScene | None:
        return triangle_scene(self._gaps.vertices_mm, self._gaps.faces)

    def first_wall(self, origin: FloatArray, direction: FloatArray, reach_mm: FloatArray | float = OUTSIDE_MM) -> Index:
        """Index of the first wall met within reach (N,), NOTHING where the way is clear."""
        face = _first(self._solid_scene, origin, direction, reach_mm)
        return np.where(face >= 0, self._wall_of_face[face] if len(self._wall_of_face) else NOTHING, NOTHING)

    def seen(self, origin: FloatArray, direction: FloatArray) -> Seen:
        """The first wall met, how far, and its unit normal (N, 3) turned toward the ray's start."""
        if self._solid_scene is None or not len(origin):
            return _nothing_seen(len(origin))
        found = self._solid_scene.run(origin.astype(np.float32), direction.astype(np.float32), output=True)
        face = found["primID"].astype(np.int64)
        hit = face >= 0
        corners = self._solid.vertices_mm[self._solid.faces[np.where(hit, face, 0)]]
        normal = cross_product(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
        facing = np.einsum("nj,nj->n", normal, direction)
        distance = np.einsum("nj,nj->n", corners[:, 0] - origin, normal) / np.where(facing == 0, 1.0, facing)
        return Seen(
            wall=np.where(hit, self._wall_of_face[np.where(hit, face, 0)], NOTHING),
            distance_mm=np.where(hit, np.where(facing == 0, found["tfar"], distance), np.inf),
            normal=np.where(facing[:, None] > 0, -normal, normal),
        )

    def escape(self, origin: FloatArray, direction: FloatArray) -> Escape:
        """Where rays leave for the open: through the last opening that they cross, else into the open air (the last one)."""
        wall = self.first_wall(origin, direction)
        opening = np.full(len(origin), NOTHING, dtype=np.int64)
        free = np.flatnonzero(wall == NOTHING)
        opening[free] = self._last_opening(origin[free], direction[free])
        return Escape(opening=opening, wall=wall)

    def _last_opening(self, origin: FloatArray, direction: FloatArray) -> Index:
        """Looking back from outside the first opening met is the last one crossed."""
        rest = len(self.openings) - 1
        face = _first(self._gap_scene, origin + OUTSIDE_MM * direction, -direction, OUTSIDE_MM)
        return np.where(face >= 0, self._gap_of_face[face] if len(self._gap_of_face) else rest, rest)


def _merged(surfaces: list[Surface]) -> tuple[Surface, Index]:
    owner = np.repeat(np.arange(len(surfaces)), [len(surface.faces) for surface in surfaces])
    return joined(surfaces), owner.astype(np.int64)


def _nothing_seen(count: int) -> Seen:
    return Seen(wall=np.full(count, NOTHING), distance_mm=np.full(count, np.inf), normal=np.zeros((count, 3)))


def _first(scene: EmbreeScene | None, origin: FloatArray, direction: FloatArray, reach_mm: FloatArray | float) -> Index:
    if scene is None or not len(origin):
        return np.full(len(origin), NOTHING, dtype=np.int64)
    reach = np.broadcast_to(np.asarray(reach_mm, dtype=np.float32), len(origin)).copy()
    found = scene.run(origin.astype(np.float32), direction.astype(np.float32), dists=reach, query="INTERSECT")
    return np.asarray(found, dtype=np.int64)
