"""Leaks by mirrors: rays of the pupil, thrown back by a filter's face, that leave the box past the lens through a gap.

Traced against the light: what lies outside in the direction a ray leaves shows in the pixel that it came from, dimmed by every face
on the way. Each *path* names the faces that mirror, one after the other; all other faces pass. Formulas: docs/stray-light.md.
A close-up lens mirrors here as a plane plate. Where two plates lean in different planes, s and p are taken as kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import Glass
from raytrace.optics.pencil import Pencils, within_rims
from raytrace.optics.sampling import concentric_disc
from raytrace.stray.kernel import follow, glass_table
from raytrace.stray.world import NOTHING, STEP_MM, World

BoolArray = NDArray[np.bool_]
Index = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """One face of a filter: `glass` counts the box's glasses going out; its rear face is the one toward the lens."""

    glass: int
    front: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MirrorPath:
    """Faces, by number going out from the lens, that mirror a ray one after the other; an odd number of them."""

    mirrors: tuple[int, ...]

    @property
    def steps(self) -> Iterator[tuple[int, bool]]:
        """(face, whether it mirrors) in the order a ray meets them."""
        place, forward = 0, True
        for mirror in self.mirrors:
            passed = range(place, mirror) if forward else range(place - 1, mirror, -1)
            yield from ((face, False) for face in passed)
            yield mirror, True
            place, forward = (mirror, False) if forward else (mirror + 1, True)
        yield from ((face, False) for face in range(place - 1, -1, -1))


def face_of(number: int) -> Face:
    """The face of a number: 0 is the rear face of the first glass, 1 its front, 2 the rear of the second."""
    return Face(glass=number // 2, front=bool(number % 2))


def mirror_paths(glasses: int, most_mirrors: int = 3) -> tuple[MirrorPath, ...]:
    """All ways back through so many glasses with 1, 3, ... mirrors, the fewest first."""
    faces = 2 * glasses
    return tuple(path for count in range(1, most_mirrors + 1, 2) for path in _with_mirrors(faces, count))


def _with_mirrors(faces: int, count: int) -> Iterator[MirrorPath]:
    if count == 1:
        yield from (MirrorPath(mirrors=(face,)) for face in range(faces))
        return
    for shorter in _with_mirrors(faces, count - 2):
        turn = shorter.mirrors[-1]
        for low in range(turn):
            yield from (MirrorPath(mirrors=(*shorter.mirrors, low, high)) for high in range(low + 1, faces))


@dataclass(frozen=True, slots=True, kw_only=True)
class PupilRays:
    """Rays that leave the lens front, K for each of N pencils in turn: start (N K, 3) [mm], direction (N K, 3), sent (N K,)."""

    start_mm: FloatArray
    direction: FloatArray
    sent: BoolArray
    per_pencil: int


def pupil_rays(pencils: Pencils, square: FloatArray) -> PupilRays:
    """Rays through pupil points given on the unit square (N, K, 2), as they cross the plane of the front rim."""
    disc = concentric_disc(square)
    crossing = pencils.crossing_mm(disc)
    xy, slope = pencils.at_plane_mm(crossing, STEP_MM), pencils.ray_slope(crossing)
    ring_z, ring_radius = pencils.front_ring_mm
    at_ring = pencils.at_plane_mm(crossing, float(ring_z))
    sent = within_rims(pencils, disc) & (np.hypot(at_ring[..., 0], at_ring[..., 1]) <= ring_radius) & pencils.valid[:, None]
    start = np.concatenate([xy, np.full((*xy.shape[:2], 1), STEP_MM)], axis=-1).reshape(-1, 3)
    along = np.concatenate([slope, np.ones((*xy.shape[:2], 1))], axis=-1).reshape(-1, 3)
    sent = sent.ravel()
    along = np.where(sent[:, None], along, np.array([0.0, 0.0, 1.0]))
    direction = along / np.linalg.norm(along, axis=1, keepdims=True)
    return PupilRays(start_mm=np.where(sent[:, None], start, 0.0), direction=direction, sent=sent, per_pencil=square.shape[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaked:
    """M rays that found a way out by one path.

    ray (M,) which ones; opening (M,) through which; strength (M,) share of light; direction (M, 3) outside; corners_mm (M, C, 3) of
    their way, the last where they leave the face on the lens side.
    """

    ray: Index
    opening: Index
    strength: FloatArray
    direction: FloatArray
    corners_mm: FloatArray

    @classmethod
    def joined(cls, pieces: Sequence[Leaked]) -> Leaked:
        """Rays of several pieces of work, one after the other."""
        names = ("ray", "opening", "strength", "direction", "corners_mm")
        return cls(**{name: np.concatenate([getattr(piece, name) for piece in pieces]) for name in names})


@dataclass(frozen=True, slots=True, kw_only=True)
class MirrorScene:
    """What mirrored rays run through. `caught_radius_mm`: a ray that comes back inside it at the front rim ends in the lens.

    `polarised` keeps s and p apart from face to face; false takes their mean at every face, as most renderers do.
    """

    glasses: tuple[Glass, ...]
    world: World
    caught_radius_mm: float
    least_strength: float = 0.0
    polarised: bool = True
    table: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Put the glasses into numbers."""
        object.__setattr__(self, "table", glass_table(self.glasses))


def leaked(rays: PupilRays, path: MirrorPath, scene: MirrorScene) -> Leaked:
    """The rays that leave the box by this path. Optics first, then what is in the way: few rays come past the lens at all."""
    found = mirrored(rays, path, scene)
    escape = scene.world.escape(found.corners_mm[:, -1], found.direction)
    clear = escape.opening != NOTHING
    for k in range(found.corners_mm.shape[1] - 2, -1, -1):  # the last legs stop most
        clear[clear] = _unobstructed(scene.world, found.corners_mm[clear, k], found.corners_mm[clear, k + 1])
    return Leaked(
        ray=found.ray[clear],
        opening=escape.opening[clear],
        strength=found.strength[clear],
        direction=found.direction[clear],
        corners_mm=found.corners_mm[clear],
    )


def _unobstructed(world: World, start: FloatArray, end: FloatArray) -> BoolArray:
    way = end - start
    length = np.linalg.norm(way, axis=1)
    return world.first_wall(start, way / np.maximum(length, 1e-300)[:, None], length) == NOTHING


def mirrored(rays: PupilRays, path: MirrorPath, scene: MirrorScene) -> Leaked:
    """Rays after all faces of a path, those that the lens catches and those too weak left out; nothing is in their way yet."""
    steps = tuple(path.steps)
    out, corners = np.empty((len(rays.sent), 3)), np.empty((len(rays.sent), len(steps) + 1, 3))  # filled for rays that count
    strength = follow(
        rays.start_mm,
        rays.direction,
        rays.sent,
        np.array([face for face, _ in steps]),
        np.array([mirrors for _, mirrors in steps]),
        scene.table,
        scene.least_strength,
        scene.caught_radius_mm,
        scene.polarised,
        out,
        corners,
    )
    ray = np.flatnonzero(strength > 0)
    return Leaked(ray=ray, opening=np.full(len(ray), NOTHING), strength=strength[ray], direction=out[ray], corners_mm=corners[ray])


def path_name(path: MirrorPath, glasses: Sequence[Glass]) -> str:
    """The path in words: 'rear face of clear glass', three mirrors joined by 'then'."""
    return " then ".join(face_name(number, glasses) for number in path.mirrors)


def face_name(number: int, glasses: Sequence[Glass]) -> str:
    """A face in words."""
    face = face_of(number)
    return f"{'front' if face.front else 'rear'} face of {glasses[face.glass].name}"
