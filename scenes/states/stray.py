"""What stray light is traced from and through: a lens's set-up with its lights."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from geometry.arrays import FloatArray
from geometry.walls import enclosure_of
from raytrace.ghosts.paths import pupil_mm
from raytrace.lights import LightPlace
from raytrace.optics.camera import PixelGrid
from raytrace.optics.in_frame import in_frame
from raytrace.optics.lens import LensState
from raytrace.stray.mirror import MirrorScene
from raytrace.stray.target import Target, beam_on_faces, glass_face, glass_target, lens_front_target
from raytrace.stray.world import World
from scenes.rig.box import fit_of, linings_of
from scenes.rig.lights import lights_of
from scenes.scene_file.tables.box import DARK_LINING, Box
from scenes.scene_file.tables.scene import Scene
from scenes.states.state import State

LOG2_POINTS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class StraySetup:
    """A box on a lens as stray light meets it."""

    own_box: Box
    world: World
    mirror: MirrorScene
    target: Target
    linings: Mapping[str, float]


def stray_lights(scene: Scene) -> tuple[LightPlace, ...]:
    """The scene's lights; a sun below the horizon lights nothing and is left out."""
    return tuple(light for light in lights_of(scene) if light.is_up)


def angles_deg(direction: FloatArray) -> tuple[float, float]:
    """Azimuth to the operator's right and elevation of a direction (3,) [deg]."""
    return math.degrees(math.atan2(-direction[0], direction[2])), math.degrees(math.asin(np.clip(direction[1], -1.0, 1.0)))


def setup_of(state: State, pupil: LensState, own_box: Box, *, target: str | Target, rng: np.random.Generator) -> StraySetup:
    """The world, mirrors, target and linings of a box in place of a state's own, with its pupil at one of its depths.

    `target` is "glass", "lens", or one made before.
    """
    assembly, box = state.rebuilt(own_box)
    fit, linings = fit_of(own_box, state.lens, state.travel_mm), linings_of(own_box)
    world = World.of(enclosure_of(assembly, fit))
    if isinstance(target, Target):
        aim = target
    elif target == "glass" and box.glasses:
        aim = glass_target(pupil, state.grid, box, log2_points=LOG2_POINTS, rng=rng)
        aim = replace(aim, face=glass_face(box, [beam_on_faces(variant, state.grid, box) for variant in state.variants]))
    else:
        aim = lens_front_target(fit.front.glass_mm / 2, log2_points=LOG2_POINTS, rng=rng)
    mirror = MirrorScene(glasses=box.glasses, world=world, caught_radius_mm=fit.front.outside_mm / 2)
    return StraySetup(own_box=own_box, world=world, mirror=mirror, target=aim, linings=world.linings(linings, DARK_LINING))


def world_without(name: str, state: State) -> World:
    """A state's box built without one part: what closed the box to it is gone as well."""
    left = replace(state.assembly, parts=tuple(part for part in state.assembly.parts if part.name != name))
    return World.of(enclosure_of(left, fit_of(state.fitted, state.lens, state.travel_mm)))


def light_in_frame(lens: LensState, grid: PixelGrid, light: LightPlace) -> bool:
    """Whether any of a light is in the recorded picture: seen from the pupil, with its own width."""
    at = pupil_mm(lens)
    return bool(in_frame(lens, grid, light.direction_from(at)[None], light.width_from(at) / 2)[0])
