"""Where the lights of a show ghost in its filters, lens by lens. Opens nothing, prints nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from raytrace.box import GlassKind
from raytrace.ghosts.paths import Route
from raytrace.ghosts.seen import GhostLights, GhostView, SeenGhost, lights_and_ghosts
from scenes.rig.lights import lights_of
from scenes.states.names import middle_variant
from scenes.states.state import State


def view_of(plan: State) -> GhostView:
    """A state's lens and what its ghosts are judged in."""
    return GhostView(
        lens=middle_variant(plan),
        pupils=plan.variants,
        grid=plan.grid,
        guides=plan.guides,
        sensor_reflectance=plan.scene.camera.sensor_reflectance,
    )


def ghost_lights(plan: State, *, with_grid: bool = False) -> GhostLights:
    """The scene's lights that are up and their ghosts; where none is in the picture, or on demand, a grid of places instead."""
    return lights_and_ghosts(view_of(plan), plan.box.glasses, lights_of(plan.scene), with_grid=with_grid)


def between_words(ghost: SeenGhost) -> str:
    """What makes a ghost, in the crew's words."""
    return between_route(ghost.ghost.route, ghost.names)


def between_route(route: Route, names: Sequence[str]) -> str:
    """What light goes back and forth between."""
    listed = " / ".join(names)
    return f"sensor and {listed}" if route is Route.SENSOR else f"between {listed}"


def notes_of(plan: State, below: Sequence[str]) -> Iterator[str]:
    """What the numbers rest on, in one sentence each."""
    yield from (f"{name} is below the horizon at its time." for name in below)
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
