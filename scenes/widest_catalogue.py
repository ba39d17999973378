"""Which lenses of a scene clear its box, setup by setup, each as it is measured. Prints nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from geometry.body import Part
from raytrace.clearance import Clearance, part_clearance
from raytrace.shares import loss_stops
from scenes.build import StatePlan
from scenes.build_lens import front_travel_mm
from scenes.check import UNSEEN_MM
from scenes.engines import engine_of
from scenes.margin import pessimistic_share
from scenes.model_lens import Lens
from scenes.plan import Loaded, plans_of
from scenes.progress import Tick, silent
from scenes.verdict import NOTHING_SHARE, SHOWN_STOPS, Word
from scenes.widest import ROOMY, TOUCHING, beams_in
from scenes.widest_stacks import Setup, Stack, setups_of, stack_of

RIM_POINTS = 17  # on each side of a guide, as what a stage more costs is looked at
ROOM_MM = 10.0  # a part this far out keeps out of a frame 2 % wider too: no edge of a beam moves so far


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How a lens fares in a setup over all of its states: the word, the least clearance and the worst loss, and in which state."""

    setup: Setup
    word: Word
    met: Clearance | None
    loss_stops: float
    plan: StatePlan


@dataclass(frozen=True, slots=True, kw_only=True)
class LensFits:
    """A lens of the scene in every setup, in the setups' order."""

    lens: Lens
    fits: tuple[Fit, ...]


def widest_stops(plans: Sequence[StatePlan]) -> tuple[StatePlan, ...]:
    """The states at each lens's widest stop: a stop further closed lights part of the same pupil."""
    least: dict[tuple[str, float, float], StatePlan] = {}
    for plan in plans:
        key = (plan.lens_name, plan.focal_mm, plan.focus_mm)
        if key not in least or plan.f_number < least[key].f_number:
            least[key] = plan
    return tuple(least.values())


def catalogue(loaded: Loaded, added_mm: float, tick: Tick = silent) -> tuple[LensFits, ...]:
    """Every lens of the scene in every setup, widest first."""
    scene, setups = loaded.scene, setups_of(loaded.scene)
    found: dict[str, list[tuple[Fit, ...]]] = {lens.name: [] for lens in scene.lens}
    lenses = {lens.name: lens for lens in scene.lens}
    for plan in widest_stops(plans_of(loaded)):
        lens = lenses[plan.lens_name]
        travel = front_travel_mm(lens, plan.focal_mm, plan.focus_mm)
        stack = stack_of(scene, added_mm, lens, loaded.resources, front_travel_mm=travel)
        found[lens.name].append(_fits(plan, stack, setups, scene.check.visible_loss_stops))
        tick(1)
    worst = {name: tuple(max(column, key=_badness) for column in zip(*rows, strict=True)) for name, rows in found.items()}
    ordered = sorted(scene.lens, key=lambda lens: lens.focal_mm / lens.squeeze)
    return tuple(LensFits(lens=lens, fits=worst[lens.name]) for lens in ordered)


def _badness(fit: Fit) -> tuple[int, float, float]:
    return list(Word).index(fit.word), fit.loss_stops, -fit.met.clearance_mm if fit.met else -math.inf


def _fits(plan: StatePlan, stack: Stack, setups: Sequence[Setup], visible_stops: float) -> tuple[Fit, ...]:
    look = _Look(plan, stack)
    return tuple(look.fit(setup, visible_stops) for setup in setups)


class _Look:
    """One state: every part measured once, whatever the setups that it stands in."""

    def __init__(self, plan: StatePlan, stack: Stack) -> None:
        self._plan, self._stack = plan, stack
        self._touching, self._roomy = (self._measure(scale) for scale in (TOUCHING, ROOMY))
        self._known: dict[tuple[int, float], Clearance] = {}

    def _measure(self, scale: float) -> Callable[[Part], Clearance]:
        beams = beams_in(self._plan.variants, self._plan.guides, self._stack, scale)

        def measured(part: Part) -> Clearance:
            key = (id(part), scale)
            if key not in self._known:
                self._known[key] = part_clearance(part, beams)
            return self._known[key]

        return measured

    def fit(self, setup: Setup, visible_stops: float) -> Fit:
        """How the state fares in a setup."""
        parts = self._stack.parts(setup)
        found = {part.name: self._touching(part) for part in parts}
        met = min(found.values(), key=lambda clearance: clearance.clearance_mm, default=None)
        if met is None or met.clearance_mm > 0:
            near = [part for part in parts if found[part.name].clearance_mm < ROOM_MM]
            roomy = all(self._roomy(part).clearance_mm > 0 for part in near)
            return Fit(setup=setup, word=Word.CLEAR if roomy else Word.TIGHT, met=met, loss_stops=0.0, plan=self._plan)
        loss = self._loss_stops(setup)
        return Fit(setup=setup, word=_word(loss, met.clearance_mm, visible_stops), met=met, loss_stops=loss, plan=self._plan)

    def _loss_stops(self, setup: Setup) -> float:
        engine, box = engine_of("coverage"), self._stack.box(setup)
        points = np.concatenate([guide.rim_points_mm(RIM_POINTS) for guide in self._plan.guides])
        shares = [engine.shares(variant, points, box, seed=0, fine=False) for variant in self._plan.variants]
        return max(float(loss_stops(pessimistic_share(one)).max()) for one in shares)


def _word(loss: float, clearance_mm: float, visible_stops: float) -> Word:
    """The verdict on a part that is in the beam; one deep in it is never called harmless, whatever the edge has seen of it."""
    if loss >= SHOWN_STOPS:
        return Word.IN_FRAME
    unseen = clearance_mm <= -UNSEEN_MM and loss < loss_stops(np.array(1 - NOTHING_SHARE))
    return Word.SHADING if loss > visible_stops or unseen else Word.TIGHT
