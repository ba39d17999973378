"""Every state of a show judged as `check` judges it, on all cores, with a small picture of its map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib import import_module

import numpy as np
from numpy.typing import NDArray

from geometry.errors import GeometryError
from raytrace.box import Box
from raytrace.optics.lens import LensState
from raytrace.shares import VignetteMap, loss_stops
from scenes.io.writing import is_full
from scenes.questions.plan.dark_places import DarkPlace, dark_places
from scenes.questions.plan.spots import Spot, bare_spot, points_of, spots_of
from scenes.runtime.engines import AREAS, CPU, engine_of, seed_of
from scenes.runtime.progress import Tick, progress, silent
from scenes.runtime.worker_pool import Sharing, WorkerDied
from scenes.sheets.map_reading import extent_mm, known_loss, reduced
from scenes.states.clear_rule import Limits
from scenes.states.names import in_a_sentence
from scenes.states.state import State
from scenes.unknowns.telling import FIT_ACROSS, Telling, telling
from scenes.unknowns.unknown import View
from scenes.unknowns.usual import usual_unknowns
from scenes.verdicts.check import CheckResult, FailedState, StateResult, check_state
from scenes.verdicts.processes import STEPS_PER_STATE, died_words, processes_beside
from scenes.verdicts.test_plan import shot_of, shots

ACROSS = 240  # pixels of a small picture: more than it can show in print
SHOWN_STOPS = 0.003  # loss from which a still shows a shadow at all
MOST_OTHERS = 2  # states of a lens, besides its shots, of which stills are thought of
LIBRARIES = ("raytrace.judge.judgement", "raytrace.coverage.engine", "raytrace.coverage.picture")


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallMap:
    """Loss in stops (H, W), -1 where the lens gives no picture, and its left, right, bottom and top edges [mm].

    `dark` are all places that lose what the scene calls visible, `spots` those to look at. `bare_spot` is where
    the frame is tightest with the trays empty, where that is another place.
    """

    loss_stops: NDArray[np.float32]
    extent_mm: tuple[float, float, float, float]
    dark: tuple[DarkPlace, ...]
    spots: tuple[Spot, ...]
    bare_spot: Spot | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """A run's result; by the state's key its small picture, and what a still of it would tell.

    A state without an entry in `tellings` shows nothing of the box or was not asked for; None: it could not be computed.
    """

    check: CheckResult
    maps: dict[str, SmallMap]
    tellings: dict[str, Telling | None]


Judged = tuple[StateResult, SmallMap] | FailedState


def look_at(states: Sequence[State], title: str, *, threads: int = 1) -> LookedAt:
    """Every state judged; one that fails leaves the others."""
    found: dict[int, Judged | WorkerDied] = {}
    workers = processes_beside(states, threads)
    each = max(threads // (workers + 1), 1)
    with Sharing(lanes=workers + 1, workers=workers, warm=_load) as sharing, progress(len(states) * STEPS_PER_STATE, title) as tick:
        sharing.run([partial(judged, state, threads=each) for state in states], found.__setitem__, tick=tick)
        seen = _joined(states, [found[number] for number in range(len(states))])
        asked, told = asked_of(states, seen), dict[int, Telling | WorkerDied | None]()
        tick(0, "what stills would tell")
        sharing.run([partial(told_by, state) for state in asked], told.__setitem__)
    tellings = {state.key: _known(told[number]) for number, state in enumerate(asked)}
    return replace(seen, tellings=tellings)


def asked_of(states: Sequence[State], seen: LookedAt) -> list[State]:
    """States whose stills may tell something: of each lens the shots, and those that darken most besides."""
    shot = {one.state.key for one in shots(seen.check)}
    found: list[State] = []
    for lens in dict.fromkeys(state.lens_name for state in states):
        own = [s for s in states if s.lens_name == lens and s.key in seen.maps and _shows(s, seen.maps[s.key])]
        others = sorted((state for state in own if state.key not in shot), key=lambda state: -_mean_loss(seen, state))
        found += [*(state for state in own if state.key in shot), *others[:MOST_OTHERS]]
    return found


def _shows(state: State, map_: SmallMap) -> bool:
    """Whether a still of a state shows anything of the box: a shadow, or a filter that is darker at one side."""
    graduated = any(stage.filter is not None and stage.filter.kind == "graduated" for stage in state.scene.box.stage)
    return graduated or bool(map_.loss_stops.max(initial=0.0) >= SHOWN_STOPS)


def _mean_loss(seen: LookedAt, state: State) -> float:
    return float(np.minimum(seen.maps[state.key].loss_stops, 1.0).mean())


def told_by(state: State, *, tick: Tick = silent) -> Telling | None:  # noqa: ARG001 - as every call is made
    """What a still of the recorded area would tell of what is usually not measured; None where that cannot be computed."""
    try:
        return telling(View(state=state, area=state.grid), usual_unknowns(state.scene, state.lens), across=FIT_ACROSS)
    except (GeometryError, ValueError, ArithmeticError, RuntimeError):
        return None


def _known(found: Telling | WorkerDied | None) -> Telling | None:
    return None if isinstance(found, WorkerDied) else found


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
    return result, small(state, result, map_)


def small(state: State, result: StateResult, map_: VignetteMap) -> SmallMap:
    """The map on few pixels, each the darkest that it stands for, with what is dark of it and where to look."""
    seen, shot = reduced(map_, ACROSS), shot_of(result)
    guide = next(guide for guide in state.guides if guide.name == shot.guide.guide)
    spots = spots_of(guide, shot.guide, seen)
    return SmallMap(
        loss_stops=known_loss(seen).astype(np.float32),
        extent_mm=extent_mm(seen),
        dark=dark_places(seen, state.visible_loss_stops),
        spots=_with_light(state, spots),
        bare_spot=bare_spot(guide, shot.guide.lost_by_empty_trays, spots),
    )


def _with_light(state: State, spots: tuple[Spot, ...]) -> tuple[Spot, ...]:
    """The places with what the filters take there more than in the middle, and what is lost there if the field is narrower."""
    if not spots:
        return spots
    points, guess = points_of(spots), state.field_guess_percent
    told = [_taken(state, lens, points) for lens in state.variants]
    more = np.array([glass[:-1] - glass[-1] for _, glass in told])
    spots = tuple(
        replace(spot, glass_stops=(float(least), float(most)))
        for spot, least, most in zip(spots, more.min(axis=0), more.max(axis=0), strict=True)
    )
    if guess is None:
        return spots
    # A part stops light by its direction: with a narrower field a place shows what now lies nearer the middle.
    nearer = [_taken(state, lens, points / (1.0 + np.array(guess) / 100.0)) for lens in state.variants]
    lost = np.array([box[:-1] + glass[:-1] - glass[-1] for box, glass in nearer]).max(axis=0)
    return tuple(replace(spot, narrower_stops=float(one)) for spot, one in zip(spots, lost, strict=True))


def _taken(state: State, lens: LensState, points_mm: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What parts and what glass take at places (N,) [stops]; where no light is left, the glass as if it stood alone."""
    alone = Box(parts=(), glasses=state.box.glasses)
    fitted, bare = (
        engine_of(AREAS, CPU).shares(lens, points_mm, box, seed=seed_of(state.key), fine=True) for box in (state.box, alone)
    )
    return loss_stops(fitted.clear_share), loss_stops(np.where(fitted.clear_share > 0.0, fitted.glass, bare.glass))


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
    return LookedAt(check=check, maps={state.key: map_ for state, map_ in done}, tellings={})


def _failed(state: State, found: FailedState | WorkerDied) -> FailedState:
    if isinstance(found, FailedState):
        return found
    return FailedState(key=state.key, lens_name=state.lens_name, why=died_words(found))
