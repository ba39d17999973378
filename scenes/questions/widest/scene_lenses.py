"""Which lenses of a scene clear its box, setup by setup, each as it is measured. Prints nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from geometry.body import Part
from raytrace.beam.clearance import Clearance, scaled
from raytrace.beam.frame_margin import pessimistic_share
from raytrace.coverage.engine import coverage_shares
from raytrace.optics.lens import pencils_for
from raytrace.shares import loss_stops
from scenes.changes.rooms import Rooms
from scenes.questions.widest.report import ROOMY, TOUCHING
from scenes.questions.widest.setups import Setup, Stack, setups_of, stack_of
from scenes.rig.focus_plane import BEYOND, light_in_doubt
from scenes.runtime.engines import without_dark_pencils
from scenes.runtime.first_run import prepare
from scenes.runtime.progress import Tick, silent
from scenes.scene_file.tables.lens import Lens
from scenes.states.clear_rule import NOTHING_SHARE, SHOWN_STOPS, UNSEEN_MM, Word, has_room, room_needed_mm
from scenes.states.load import Loaded
from scenes.states.state import State

THREADS = 2  # states at once: long arrays of traced lenses leave room for one more
RIM_POINTS = 17  # on each side of a guide, as what a stage more costs is looked at
NOTHING_STOPS = float(loss_stops(np.array(1 - NOTHING_SHARE)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How a lens fares in a setup over all of its states: the word, the worst loss, the part to blame, and in which state.

    met is None where nothing comes near.
    """

    setup: Setup
    word: Word
    met: Clearance | None
    loss_stops: float
    plan: State


@dataclass(frozen=True, slots=True, kw_only=True)
class LensFits:
    """A lens of the scene in every setup, in the setups' order."""

    lens: Lens
    fits: tuple[Fit, ...]


def catalogue(loaded: Loaded, plans: Sequence[State], added_mm: float, tick: Tick = silent) -> tuple[LensFits, ...]:
    """Every lens of the scene in every setup, widest first; plans are its states at their widest stops."""
    scene, setups = loaded.scene, setups_of(loaded.scene)
    found: dict[str, list[tuple[Fit, ...]]] = {lens.name: [] for lens in scene.lens}

    def fits_of(plan: State) -> tuple[Fit, ...]:
        stack = stack_of(scene, added_mm, plan.lens, plan.resources, front_travel_mm=plan.travel_mm)
        return _fits(plan, stack, setups, plan.visible_loss_stops)

    with ThreadPoolExecutor(max_workers=THREADS) as pool:
        for plan, fits in zip(plans, pool.map(fits_of, plans), strict=True):
            found[plan.lens_name].append(fits)
            tick(1)
    worst = {name: tuple(max(column, key=_badness) for column in zip(*rows, strict=True)) for name, rows in found.items()}
    ordered = sorted(scene.lens, key=lambda lens: lens.focal_mm / lens.squeeze)
    return tuple(LensFits(lens=lens, fits=worst[lens.name]) for lens in ordered)


def _badness(fit: Fit) -> tuple[int, float, float]:
    return list(Word).index(fit.word), fit.loss_stops, -fit.met.clearance_mm if fit.met else -math.inf


def _fits(plan: State, stack: Stack, setups: Sequence[Setup], visible_stops: float) -> tuple[Fit, ...]:
    look = _Look(plan, stack)
    return tuple(look.fit(setup, visible_stops) for setup in setups)


class _Look:
    """One state: every part measured once at most, whatever the setups that it stands in, and only where no loss is seen."""

    def __init__(self, plan: State, stack: Stack) -> None:
        self._plan, self._stack, self._needed_mm = plan, stack, room_needed_mm(plan.variants)
        self._beams: dict[float, Rooms] = {}
        self._known: dict[tuple[int, float], Clearance] = {}
        points = np.concatenate([guide.rim_points_mm(RIM_POINTS) for guide in plan.guides])
        self._pencils = [pencils_for(variant, points) for variant in plan.variants]

    def fit(self, setup: Setup, visible_stops: float) -> Fit:
        """How the state fares in a setup."""
        parts = self._stack.parts(setup)
        loss, first = self._loss(setup)
        if loss > NOTHING_STOPS and first is not None:
            word = Word.IN_FRAME if loss >= SHOWN_STOPS else Word.SHADING if loss > visible_stops else Word.TIGHT
            met = self._clearance(parts[first], TOUCHING)
            return Fit(setup=setup, word=word, met=met, loss_stops=loss, plan=self._plan)
        near = [part for part in parts if not self._is_clear(part)]
        if not near and light_in_doubt(self._plan.notes):
            return Fit(setup=setup, word=Word.TIGHT, met=None, loss_stops=0.0, plan=self._plan)
        if not near:
            return Fit(setup=setup, word=Word.CLEAR, met=None, loss_stops=0.0, plan=self._plan)
        met = min((self._clearance(part, TOUCHING) for part in near), key=lambda clearance: clearance.clearance_mm)
        # What stands so deep in the beam takes light, whatever the frame's edge has seen of it.
        doubtful = met.where == BEYOND
        word = Word.SHADING if met.clearance_mm <= -UNSEEN_MM and not doubtful else Word.TIGHT
        return Fit(setup=setup, word=word, met=met, loss_stops=loss, plan=self._plan)

    def _loss(self, setup: Setup) -> tuple[float, int | None]:
        """The worst loss at the edges of all guides, and which part of the setup is met first there."""
        prepare()
        worst: tuple[float, int | None] = (0.0, None)
        for pencils in self._pencils:
            shares = without_dark_pencils(coverage_shares(pencils, self._stack.box(setup), with_alone=False), pencils)
            left = pessimistic_share(shares)
            k = int(left.argmin())
            loss = float(loss_stops(left)[k])
            if loss > worst[0] and shares.blocked_by[k] >= 0:
                worst = loss, int(shares.blocked_by[k])
        return worst

    def _is_clear(self, part: Part) -> bool:
        """Whether a part leaves the room that `check` asks for."""
        roomy_mm = self._clearance(part, ROOMY).clearance_mm
        if roomy_mm <= 0.0 or roomy_mm >= self._needed_mm:  # with as much there is room from the smaller frame too
            return roomy_mm > 0.0
        return has_room(self._clearance(part, TOUCHING).clearance_mm, self._needed_mm)

    def _clearance(self, part: Part, scale: float) -> Clearance:
        if scale not in self._beams:
            guides = [scaled(guide, scale) for guide in self._plan.guides]
            self._beams[scale] = Rooms(self._plan.variants, guides, self._stack.whole)
        key = (id(part), scale)
        if key not in self._known:
            self._known[key] = self._beams[scale].clearance(part)
        return self._known[key]
