"""Where the lights of a show ghost in its filters, lens by lens. Opens nothing, prints nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from geometry.frame import right_up_to_frame, where_in_words
from raytrace.box import Glass, GlassKind
from raytrace.ghosts.paths import Ghost, Light, Route, disc_directions, ghosts_of, pupil_mm, spot_mm
from raytrace.ghosts.returning import light_back
from raytrace.ghosts.tilt import outside_mm
from raytrace.optics.camera import Guide, PixelGrid
from raytrace.optics.lens import LensState, field_slopes
from scenes.rig.lights import LightPlace, lights_of
from scenes.states.names import OUTSIDE, middle_variant, where
from scenes.states.state import State
from scenes.states.stray import in_frame

GRID_SHARE = 0.8  # of the way from the middle to the frame's edge: where lights are put when the scene has none in the picture
TOGETHER_MM = 0.02  # ghosts nearer to each other than this are one to the eye


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

    on_light: it falls on the light itself, as between two parallel filters, and cannot be told from it.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class GhostLights:
    """Lights and ghosts of one lens, zoom and focus.

    lights as formulas take them and seen as the picture has them, in one order; missed: lights of the scene outside the picture.
    """

    lights: tuple[Light, ...]
    seen: tuple[SeenLight, ...]
    missed: tuple[SeenLight, ...]
    is_grid: bool
    ghosts: tuple[SeenGhost, ...]


def ghost_lights(plan: State, *, with_grid: bool = False) -> GhostLights:
    """The scene's lights and their ghosts; where none is in the picture, or on demand, a grid of places instead."""
    lens = middle_variant(plan)
    own = tuple(as_light(light, lens) for light in lights_of(plan.scene) if light.is_up)
    seen = tuple(seen_light(light, lens, plan.grid) for light in own)
    is_grid = with_grid or not any(light.in_picture for light in seen)
    lights = grid_lights(lens, plan.grid) if is_grid else own
    shown = tuple(seen_light(light, lens, plan.grid) for light in lights) if is_grid else seen
    return GhostLights(
        lights=lights,
        seen=shown,
        missed=tuple(light for light in seen if not light.in_picture),
        is_grid=is_grid,
        ghosts=seen_ghosts(plan, lights, [light.in_picture for light in shown]),
    )


def as_light(light: LightPlace, lens: LensState) -> Light:
    """A light of the scene as this lens sees it."""
    pupil = pupil_mm(lens)
    return Light(
        name=light.name,
        direction=light.direction_from(pupil),
        half_width_deg=light.width_from(pupil) / 2,
        distance_mm=light.distance_from(pupil),
    )


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


def seen_ghosts(plan: State, lights: Sequence[Light], on_sensor: Sequence[bool]) -> tuple[SeenGhost, ...]:
    """All ghosts of lights behind this plan's lens and filters, those that fall together told as one."""
    return together(ghosts_in(plan, plan.box.glasses, lights, on_sensor), plan.grid, plan.guides)


def ghosts_in(plan: State, glasses: Sequence[Glass], lights: Sequence[Light], on_sensor: Sequence[bool]) -> tuple[Ghost, ...]:
    """Ghosts of lights in given filters behind this plan's lens."""
    return ghosts_of(
        middle_variant(plan),
        lights,
        glasses,
        sensor_reflectance=plan.scene.camera.sensor_reflectance,
        on_sensor=on_sensor,
        back=partial(light_back, plan.variants),
    )


def together(found: Sequence[Ghost], grid: PixelGrid, guides: Sequence[Guide]) -> tuple[SeenGhost, ...]:
    """Ghosts, those of one light that fall together told as one."""
    groups: list[list[Ghost]] = []
    for ghost in found:
        near = next((group for group in groups if _fall_together(group[0], ghost)), None)
        groups.append([ghost]) if near is None else near.append(ghost)
    return tuple(_as_one(group, grid, guides) for group in groups)


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
    apart = np.hypot(*(np.array(a.picture_mm) - np.array(b.picture_mm)))
    return a.light == b.light and a.route == b.route and bool(apart < TOGETHER_MM)


def between_words(ghost: SeenGhost) -> str:
    """What makes a ghost, in the crew's words."""
    return between_route(ghost.ghost.route, ghost.names)


def between_route(route: Route, names: Sequence[str]) -> str:
    """What light goes back and forth between."""
    listed = " / ".join(names)
    return f"sensor and {listed}" if route is Route.SENSOR else f"between {listed}"


def notes_of(plan: State) -> Iterator[str]:
    """What the numbers rest on, in one sentence each."""
    lights: tuple[LightPlace, ...] = lights_of(plan.scene)
    yield from (f"{light.name} is below the horizon at its time." for light in lights if not light.is_up)
    bare = [glass.name for glass in plan.box.glasses if glass.reflectance is None]
    if bare:
        yield f"Taken as bare glass: {', '.join(bare)}. Give the reflectance of coated filters."
    for glass in plan.box.glasses:
        if glass.kind is GlassKind.CLOSE_UP:
            yield f"{glass.name} is a close-up lens: its curved faces mirror too, and are not computed."
    camera = plan.scene.camera
    if "sensor_reflectance" not in camera.model_fields_set:
        yield f"The sensor is taken to mirror {camera.sensor_reflectance:g} of its light, a guess: measure yours."
    if len(plan.variants) > 1 and not np.isinf(plan.focus_mm):
        yield "At this focus ghost places depend a little on the pupil, whose bounds are given: its middle is used."
