"""One state asked alone, without a run: its map judged by the scene's own limits, and the same in 3D."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from scenes.questions.check.one_state import scene3d_of_state
from scenes.questions.check.verdicts.check import StateResult, check_state
from scenes.runtime.engines import AREAS, engine_of
from scenes.states.clear_rule import Limits

if TYPE_CHECKING:
    from raytrace.shares import VignetteMap
    from scenes.states.state import State
    from scenes.view3d.content import Scene3D, View

VIEW_COLUMNS = 256  # of the heatmap in a window: more than its picture plane shows


def limits_of(state: State) -> Limits:
    """What the state's scene calls visible."""
    return Limits(visible_loss_stops=state.visible_loss_stops)


def traced(state: State, *, columns: int | str | None, engine: str = AREAS) -> tuple[StateResult, VignetteMap]:
    """A state's verdict and its map, the worst case over the pupil depths that the lens may have."""
    return check_state(state, engine_of(engine), columns=columns, limits=limits_of(state), threads=os.cpu_count() or 1)


def scene3d_of(state: State, view: View) -> Scene3D:
    """The state traced, to be looked at: the box, the beam, rays, and the heatmap in the picture plane."""
    return scene3d_of_state(state, *traced(state, columns=VIEW_COLUMNS), view)
