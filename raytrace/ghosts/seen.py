"""What a lens's picture shows of lights and their ghosts: where each lies, how far out of the guides, which fall together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.frame import AHEAD, right_up_to_frame, where_in_words
from raytrace.box import Glass
from raytrace.ghosts.paths import Ghost, Light, Route, disc_directions, ghosts_of, mirrors_of, pupil_mm, spot_mm
from raytrace.ghosts.returning import light_back
from raytrace.ghosts.tilt import outside_mm, rooms_mm
from raytrace.lights import LightPlace
from raytrace.optics.camera import OUTSIDE, Guide, PixelGrid, where
from raytrace.optics.in_frame import in_frame
from raytrace.optics.lens import LensState, field_slopes

GRID_SHARE = 0.8  # of the way from the middle to the frame's edge: where lights are put when the scene has none in the picture
TOGETHER_MM = 0.02  # ghosts nearer to each other than this are one to the eye
PARALLEL = 1e-9  # filters whose normals differ by less put a light's ghost on the light itself
OUTWARD_STEPS = 20  # places from the middle to the edge of the picture at which a light anywhere is looked at
MIDDLE, ANYWHERE = "a light in the middle", "a light anywhere in the frame"


@dataclass(frozen=True, slots=True, kw_only=True)
class GhostView:
    """A lens and what its ghosts are judged in: its pupil at each depth that it may have, the picture, its guides, the sensor."""

    lens: LensState
    pupils: tuple[LensState, ...]
    grid: PixelGrid
    guides: tuple[Guide, ...]
    sensor_reflectance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenLight:
    """A light of the scene, or a place of the grid, as a lens has it.

    picture_mm is right and up on the image plane, nan where the lens cannot see it; radius_mm half its size there.
    """

    name: str
    picture_mm: tuple[float, float]
    radius_mm: float
    in_picture: bool
    where: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenGhost:
    """A ghost and those that fall together with it: light of all of them, the filters' names, how far out of every guide they stay.

    on_light: it falls on the light itself.
    """

    ghost: Ghost
    names: tuple[str, ...]
    share: float
    peak_share: float
    radius_mm: float
    where: str
    outside_mm: float
    on_light: bool

    @property
    def in_frame(self) -> bool:
        """Whether any of it falls inside a guide."""
        return self.outside_mm <= 0

    @property
    def hides(self) -> bool:
        """Whether it stays on the light wherever that goes, as between two parallel filters, and can never be told from it.

        A ghost off the sensor lies on its light in one place only, and leaves it on the other side as soon as the camera pans.
        """
        return self.on_light and self.ghost.route is Route.FILTERS


@dataclass(frozen=True, slots=True, kw_only=True)
class GhostLights:
    """Lights and ghosts of one lens, zoom and focus.

    lights as formulas take them and seen as the picture has them, in one order; missed: lights of the scene outside the picture;
    below: names of those below the horizon.
    wanted_out: whose ghosts are to leave the frame, sets of lights with their names.
    """

    lights: tuple[Light, ...]
    seen: tuple[SeenLight, ...]
    missed: tuple[SeenLight, ...]
    below: tuple[str, ...]
    is_grid: bool
    ghosts: tuple[SeenGhost, ...]
    wanted_out: tuple[tuple[str, tuple[Light, ...]], ...]


def lights_and_ghosts(view: GhostView, glasses: Sequence[Glass], places: Sequence[LightPlace], *, with_grid: bool) -> GhostLights:
    """Lights that are up and their ghosts; where none is in the picture, or on demand, a grid of places in the picture instead."""
    own = tuple(light_from(place, pupil_mm(view.lens)) for place in places if place.is_up)
    seen = tuple(seen_light(light, view.lens, view.grid) for light in own)
    is_grid = with_grid or not any(light.in_picture for light in seen)
    lights = grid_lights(view.lens, view.grid) if is_grid else own
    shown = tuple(seen_light(light, view.lens, view.grid) for light in lights) if is_grid else seen
    return GhostLights(
        lights=lights,
        seen=shown,
        missed=tuple(light for light in seen if not light.in_picture),
        below=tuple(place.name for place in places if not place.is_up),
        is_grid=is_grid,
        ghosts=ghosts_seen(view, glasses, lights, [light.in_picture for light in shown]),
        wanted_out=_grid_sets(view, lights) if is_grid else _own_set(lights, shown),
    )


def light_from(place: LightPlace, pupil_mm: FloatArray) -> Light:
    """A light as a lens sees it from its pupil's middle (3,)."""
    return Light(
        name=place.name,
        direction=place.direction_from(pupil_mm),
        half_width_deg=place.width_from(pupil_mm) / 2,
        distance_mm=place.distance_from(pupil_mm),
    )


def _grid_sets(view: GhostView, lights: tuple[Light, ...]) -> tuple[tuple[str, tuple[Light, ...]], ...]:
    """The light in the middle; and lights from there to the recorded picture's very edge.

    Whoever stands farthest out of those whose light comes back into the pupil is ghosted farthest to the other side.
    """
    steps = np.linspace(0.0, 1.0, OUTWARD_STEPS + 1)[1:]
    edge = tuple(light for share in steps for light in grid_lights(view.lens, view.grid, float(share)))
    return (MIDDLE, (lights[0],)), (ANYWHERE, edge)


def _own_set(lights: Sequence[Light], seen: Sequence[SeenLight]) -> tuple[tuple[str, tuple[Light, ...]], ...]:
    kept = tuple(light for light, place in zip(lights, seen, strict=True) if place.in_picture)
    return ((", ".join(light.name for light in kept), kept),)


def grid_lights(lens: LensState, grid: PixelGrid, share: float = GRID_SHARE) -> tuple[Light, ...]:
    """Point lights far away at nine places of the picture, its middle first; the others `share` of the way to the edge."""
    steps = [(right, up) for up in (1, 0, -1) for right in (-1, 0, 1)]
    steps.sort(key=lambda place: place != (0, 0))
    return tuple(_light_at(lens, grid, right * share, up * share) for right, up in steps)


def _light_at(lens: LensState, grid: PixelGrid, right: float, up: float) -> Light:
    x, y = grid.offset_mm[0] + right * grid.width_mm / 2, grid.offset_mm[1] + up * grid.height_mm / 2
    field = field_slopes(lens, x, y)
    direction = np.array([*right_up_to_frame([float(field.tan_right), float(field.tan_up)]), 1.0])
    return Light(name=where_in_words(right, up), direction=direction / np.linalg.norm(direction))


def seen_light(light: Light, lens: LensState, grid: PixelGrid) -> SeenLight:
    """A light as the picture has it."""
    middle, radius = spot_mm(lens, disc_directions(light), 0.0)
    radius = radius if np.isfinite(radius) else 0.0
    inside = bool(in_frame(lens, grid, light.direction[None], light.half_width_deg)[0])
    return SeenLight(
        name=light.name,
        picture_mm=(float(middle[0]), float(middle[1])),
        radius_mm=radius,
        in_picture=inside,
        where=where(middle, grid) if inside else OUTSIDE,
    )


def ghosts_seen(
    view: GhostView, glasses: Sequence[Glass], lights: Sequence[Light], on_sensor: Sequence[bool]
) -> tuple[SeenGhost, ...]:
    """All ghosts of lights in filters behind a lens, those of one light that fall together told as one."""
    found = ghosts_of(
        view.lens,
        lights,
        glasses,
        sensor_reflectance=view.sensor_reflectance,
        on_sensor=on_sensor,
        back=partial(light_back, view.pupils),
    )
    groups: list[list[Ghost]] = []
    for ghost in found:
        near = next((group for group in groups if _fall_together(group[0], ghost)), None)
        groups.append([ghost]) if near is None else near.append(ghost)
    return tuple(_as_one(group, view.grid, view.guides) for group in groups)


def ghosts_in_the_way(view: GhostView, glasses: Sequence[Glass], lights: Sequence[Light]) -> tuple[SeenGhost, ...]:
    """Of all ghosts of lights that are on the sensor those in the frame that do not hide in their light."""
    some = [light for light, may in zip(lights, _may_stand_in(view, glasses, lights), strict=True) if may]
    seen = ghosts_seen(view, glasses, some, [True] * len(some))
    return tuple(ghost for ghost in seen if ghost.in_frame and not ghost.hides)


def _may_stand_in(view: GhostView, glasses: Sequence[Glass], lights: Sequence[Light]) -> NDArray[np.bool_]:
    """Which lights (L,) may have such a ghost: between filters that all stand parallel none does, off the sensor few do."""
    mirrors = mirrors_of(glasses, AHEAD, pupil_mm(view.lens))
    if any(np.abs(mirror.normal - mirrors[0].normal).max() > PARALLEL for mirror in mirrors[1:]):
        return np.ones(len(lights), dtype=np.bool_)
    return rooms_mm(view.lens, lights, mirrors, view.guides, view.pupils) <= 2 * TOGETHER_MM


def _as_one(group: Sequence[Ghost], grid: PixelGrid, guides: Sequence[Guide]) -> SeenGhost:
    first = group[0]
    place = np.array(first.picture_mm)
    radius = max(ghost.radius_mm for ghost in group)
    return SeenGhost(
        ghost=first,
        names=tuple(dict.fromkeys(" and ".join(ghost.mirrors) for ghost in group)),
        share=sum(ghost.share for ghost in group),
        peak_share=sum(ghost.peak_share for ghost in group),
        radius_mm=radius,
        where=where(place, grid),
        outside_mm=float(outside_mm(place[None], radius, guides)[0]),
        on_light=float(np.hypot(*(place - np.array(first.light_mm)))) < TOGETHER_MM,
    )


def _fall_together(a: Ghost, b: Ghost) -> bool:
    if a.light != b.light or a.route != b.route:
        return False
    return math.hypot(a.picture_mm[0] - b.picture_mm[0], a.picture_mm[1] - b.picture_mm[1]) < TOGETHER_MM
