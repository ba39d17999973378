"""Every state of a show judged as `check` judges it, on all cores, with a small picture of its map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from importlib import import_module

import numpy as np
from numpy.typing import NDArray

from raytrace.shares import VignetteMap
from scenes.io.files import is_full
from scenes.runtime.engines import AREAS, CPU, engine_of
from scenes.runtime.progress import Tick, progress, silent
from scenes.runtime.worker_pool import Sharing, WorkerDied
from scenes.sheets.map_reading import extent_mm, known_loss, reduced
from scenes.states.clear_rule import Limits
from scenes.states.names import in_a_sentence
from scenes.states.state import State
from scenes.verdicts.check import CheckResult, FailedState, StateResult, check_state
from scenes.verdicts.processes import STEPS_PER_STATE, died_words, processes_beside

ACROSS = 240  # pixels of a small picture: more than it can show in print
LIBRARIES = ("raytrace.judge.judgement", "raytrace.coverage.engine", "raytrace.coverage.picture")


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallMap:
    """Loss in stops (H, W), -1 where the lens gives no picture, and its left, right, bottom and top edges [mm]."""

    loss_stops: NDArray[np.float32]
    extent_mm: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """A run's result, and the small picture of each state by its key."""

    check: CheckResult
    maps: dict[str, SmallMap]


Judged = tuple[StateResult, SmallMap] | FailedState


def look_at(states: Sequence[State], title: str, *, threads: int = 1) -> LookedAt:
    """Every state judged; one that fails leaves the others."""
    found: dict[int, Judged | WorkerDied] = {}
    workers = processes_beside(states, threads)
    each = max(threads // (workers + 1), 1)
    with Sharing(lanes=workers + 1, workers=workers, warm=_load) as sharing, progress(len(states) * STEPS_PER_STATE, title) as tick:
        sharing.run([partial(judged, state, threads=each) for state in states], found.__setitem__, tick=tick)
    return _joined(states, [found[number] for number in range(len(states))])


def judged(state: State, *, threads: int = 1, tick: Tick = silent) -> Judged:
    """One state's result and small picture, or why there is none."""
    try:
        result, map_ = check_state(
            state, engine_of(AREAS, CPU), columns=None, threads=threads, map_glass=False, tick=_named(tick, state.key)
        )
    except Exception as error:
        if is_full(error):
            raise
        return FailedState(key=state.key, lens_name=state.lens_name, why=in_a_sentence(error))
    return result, small(map_)


def small(map_: VignetteMap) -> SmallMap:
    """The map on few pixels, each the darkest that it stands for."""
    seen = reduced(map_, ACROSS)
    return SmallMap(loss_stops=known_loss(seen).astype(np.float32), extent_mm=extent_mm(seen))


def _named(tick: Tick, words: str) -> Tick:
    return lambda steps, doing="": tick(steps, doing or words)


def _load() -> None:
    for name in LIBRARIES:
        import_module(name)
    engine_of(AREAS, CPU)


def _joined(states: Sequence[State], found: Sequence[Judged | WorkerDied]) -> LookedAt:
    done = [one for one in found if isinstance(one, tuple)]
    failed = tuple(_failed(state, one) for state, one in zip(states, found, strict=True) if not isinstance(one, tuple))
    limits = Limits(visible_loss_stops=states[0].visible_loss_stops)
    scene = states[0].scene
    check = CheckResult(states=tuple(state for state, _ in done), failed=failed, limits=limits, tolerances=len(scene.tolerance))
    return LookedAt(check=check, maps={state.key: map_ for state, map_ in done})


def _failed(state: State, found: FailedState | WorkerDied) -> FailedState:
    if isinstance(found, FailedState):
        return found
    return FailedState(key=state.key, lens_name=state.lens_name, why=died_words(found))
