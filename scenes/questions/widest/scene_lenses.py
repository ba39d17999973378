"""Which lenses of a scene clear its box, setup by setup, each as it is measured. Prints nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from geometry.body import Part
from raytrace.beam.clearance import Clearance
from raytrace.beam.frame_margin import pessimistic_share
from raytrace.coverage.engine import coverage_shares
from raytrace.optics.lens import pencils_for
from raytrace.shares import loss_stops
from scenes.cautions.focus_plane import BEYOND, light_in_doubt
from scenes.questions.widest.setups import Setup, Stack, setups_of, stack_of
from scenes.runtime.engines import without_dark_pencils
from scenes.runtime.first_run import prepare
from scenes.runtime.progress import Tick, silent
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.tables.lens import Lens
from scenes.states.clear_rule import NOTHING_SHARE, SHOWN_STOPS, UNSEEN_MM, Word
from scenes.states.full_range import checked_ranges
from scenes.states.load import Loaded
from scenes.states.rooms import ClearRooms, Rooms, rooms_of
from scenes.states.state import State

STATE_S = 0.1  # what a state takes, about
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
    """Every lens of the scene in every setup, widest first; plans are its states at their widest stops.

    With those between them that reach out of all of these (`scenes.states.full_range`).
    """
    scene, setups = loaded.scene, setups_of(loaded.scene)
    found: dict[str, list[tuple[Fit, ...]]] = {lens.name: [] for lens in scene.lens}
    ranges = checked_ranges(plans)
    left_out_mm = {one.lens.name: one.left_out_mm for one in ranges}
    every = (*plans, *(plan for one in ranges for plan in one.plans))

    prepare()
    asked = [(plan, left_out_mm[plan.lens_name]) for plan in every]
    for number, (plan, fits) in enumerate(
        zip(every, shared_out(partial(_fits, setups, added_mm), asked, each_s=STATE_S), strict=True)
    ):
        found[plan.lens_name].append(fits)
        tick(1 if number < len(plans) else 0)
    worst = {name: tuple(max(column, key=_badness) for column in zip(*rows, strict=True)) for name, rows in found.items()}
    ordered = sorted(scene.lens, key=lambda lens: lens.focal_mm / lens.squeeze)
    return tuple(LensFits(lens=lens, fits=worst[lens.name]) for lens in ordered)


def _badness(fit: Fit) -> tuple[int, float, float]:
    return list(Word).index(fit.word), fit.loss_stops, -fit.met.clearance_mm if fit.met else -math.inf


def _fits(setups: Sequence[Setup], added_mm: float, asked: tuple[State, float]) -> tuple[Fit, ...]:
    plan, left_out_mm = asked
    stack = stack_of(plan.scene, added_mm, plan.lens, plan.resources, front_travel_mm=plan.travel_mm)
    look = _Look(plan, stack, left_out_mm)
    largest_first = sorted(range(len(setups)), key=lambda k: -len(stack.parts(setups[k])))
    fits = {k: look.fit(setups[k], plan.visible_loss_stops) for k in largest_first}
    return tuple(fits[k] for k in range(len(setups)))


class _Look:
    """One state: every part asked once at most, whatever the setups that it stands in, and only where no loss is seen."""

    def __init__(self, plan: State, stack: Stack, left_out_mm: float = 0.0) -> None:
        self._plan, self._stack, self._doubted = plan, stack, light_in_doubt(plan.notes)
        self._left_out_mm = left_out_mm
        self._rooms: dict[bool, tuple[ClearRooms, Rooms]] = {}
        self._clears: dict[int, bool] = {}
        self._known: dict[int, Clearance] = {}
        self._lossless: list[set[int]] = []  # parts that together take nothing: nor do some of them
        points = np.concatenate([guide.rim_points_mm(RIM_POINTS) for guide in plan.guides])
        self._pencils = [pencils_for(variant, points) for variant in plan.variants]

    def fit(self, setup: Setup, visible_stops: float) -> Fit:
        """How the state fares in a setup."""
        parts = self._stack.parts(setup)
        loss, first = self._loss(setup)
        if loss > NOTHING_STOPS and first is not None:
            word = Word.IN_FRAME if loss >= SHOWN_STOPS else Word.SHADING if loss > visible_stops else Word.TIGHT
            met = self._clearance(parts[first])
            return Fit(setup=setup, word=word, met=met, loss_stops=loss, plan=self._plan)
        near = [part for part in parts if not self._is_clear(part)]
        if not near and self._doubted:
            return Fit(setup=setup, word=Word.TIGHT, met=None, loss_stops=0.0, plan=self._plan)
        if not near:
            return Fit(setup=setup, word=Word.CLEAR, met=None, loss_stops=0.0, plan=self._plan)
        met = min((self._clearance(part) for part in near), key=lambda clearance: clearance.clearance_mm)
        # What stands so deep in the beam takes light, whatever the frame's edge has seen of it.
        doubtful = met.where == BEYOND
        word = Word.SHADING if met.clearance_mm <= -UNSEEN_MM and not doubtful else Word.TIGHT
        return Fit(setup=setup, word=word, met=met, loss_stops=loss, plan=self._plan)

    def _loss(self, setup: Setup) -> tuple[float, int | None]:
        """The worst loss at the edges of all guides, and which part of the setup is met first there."""
        prepare()
        parts, least = set(map(id, self._stack.parts(setup))), 1.0
        worst: tuple[float, int | None] = (0.0, None)
        if any(parts <= known for known in self._lossless):
            return worst
        for pencils in self._pencils:
            shares = without_dark_pencils(coverage_shares(pencils, self._stack.box(setup), with_alone=False), pencils)
            left = pessimistic_share(shares)
            k = int(left.argmin())
            least = min(least, float(left[k]))
            loss = float(loss_stops(left)[k])
            if loss > worst[0] and shares.blocked_by[k] >= 0:
                worst = loss, int(shares.blocked_by[k])
        if least == 1.0:
            self._lossless.append(parts)
        return worst

    def _is_clear(self, part: Part) -> bool:
        """Whether a part leaves the room that `check` asks for."""
        if id(part) not in self._clears:
            self._clears[id(part)] = self._rooms_for(part)[0].clears(part)
        return self._clears[id(part)]

    def _clearance(self, part: Part) -> Clearance:
        """How near a part stands as the box is."""
        if id(part) not in self._known:
            self._known[id(part)] = self._rooms_for(part)[1].clearance(part)
        return self._known[id(part)]

    def _rooms_for(self, part: Part) -> tuple[ClearRooms, Rooms]:
        """Beams as far as the box reaches now, as `check` follows them; for parts that a stage more has moved farther."""
        moved = self._stack.moves(part)
        if moved not in self._rooms:
            plan, box = self._plan, self._stack.whole if moved else self._stack.now
            clear = ClearRooms(plan.variants, plan.guides, box, left_out_mm=self._left_out_mm)
            self._rooms[moved] = clear, clear.own or rooms_of(plan.variants, plan.guides, box)
        return self._rooms[moved]
