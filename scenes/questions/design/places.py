"""Measures that may help or hurt, such as a place along the axis: looked for by trial, each trial solved for the rest."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import Bounds, direct

from geometry.arrays import FloatArray
from scenes.questions.design.search import Found, lowest, solve
from scenes.questions.design.tries import Notches, Try
from scenes.runtime.progress import Tick, silent

Keep = Callable[[Found], None]

TRIALS = 14  # of the first look, for each such measure
STEPS = (40, 13, 4, 1)  # notches up and down about the best, then finer
FAILS = 1e12  # the cost of what does not work
SECOND = 1e-4  # what later costs count beside the first


def placed(attempt: Try, *, turns: bool, tick: Tick = silent, keep: Keep = lambda found: None) -> Found | None:  # noqa: ARG005
    """The best design of a set of choices; None where none works.

    turns: whether measures that take room as they grow may be worth it all the same, since a light is to be kept off. keep is told
    every design found on the way.
    """
    knobs = attempt.space.knobs
    moved = [k for k, knob in enumerate(knobs) if knob.opens == 0 or (knob.opens < 0 and turns)]
    if turns and all(knob.opens for knob in knobs) and not can_be_dark(attempt):
        return None
    first = solve(attempt)
    if not moved or (first is not None and all(knobs[k].opens for k in moved)):
        return first
    return _Trials(attempt, moved, tick, keep).best()


def may_work(attempt: Try) -> bool:
    """Whether the least openings leave hope, where no measure may both help and hurt: of room, limits and light each by itself."""
    low = lowest(attempt, attempt.widest)
    return low is not None and attempt.may_be_within(low) and can_be_dark(attempt)


def can_be_dark(attempt: Try) -> bool:
    """Whether lights are kept off by a box that is more closed than any that is clear."""
    low = lowest(attempt, attempt.widest)
    knobs = attempt.space.knobs
    return low is not None and attempt.light(tuple(n if knob.opens > 0 else 0 for knob, n in zip(knobs, low, strict=True)))


class _Trials:
    """Trials, each made once."""

    def __init__(self, attempt: Try, moved: Sequence[int], tick: Tick, keep: Keep) -> None:
        self._attempt, self._moved, self._tick, self._keep = attempt, list(moved), tick, keep
        self._known: dict[Notches, Found | None] = {}

    def best(self) -> Found | None:
        """A look over all of the space by scipy's DIRECT, then steps about the best that shrink to a notch."""
        last = [self._attempt.space.knobs[k].last for k in self._moved]
        trials = TRIALS * len(self._moved)

        def cost(shares: FloatArray) -> float:
            return self._scalar(self._at(shares * np.array(last)))

        direct(cost, Bounds(np.zeros(len(last)), np.ones(len(last))), maxfun=trials, eps=1e-3)
        for end in (0.0, 1.0):
            self._solved(self._at(np.array(last) * end))
        working = {at: found for at, found in self._known.items() if found is not None}
        if not working:
            return None
        at = min(working, key=lambda one: (working[one].cost, one))
        for step in STEPS:
            at = self._stepped(at, step)
        found = self._known[at]
        assert found is not None
        return Found(notches=found.notches, cost=found.cost, bound=found.bound, trials=len(self._known))

    def _at(self, notches: FloatArray) -> Notches:
        given = list(self._attempt.widest)
        for k, notch in zip(self._moved, notches, strict=True):
            given[k] = round(float(notch))
        return tuple(given)

    def _solved(self, at: Notches) -> Found | None:
        if at not in self._known:
            self._known[at] = found = solve(self._attempt, given=at)
            if found is not None:
                self._keep(replace(found, trials=1))  # no more than one of many
            self._tick(0, f"{len(self._known)} places tried")
        return self._known[at]

    def _scalar(self, at: Notches) -> float:
        found = self._solved(at)
        return FAILS if found is None else sum(cost * SECOND**k for k, cost in enumerate(found.cost))

    def _stepped(self, at: Notches, step: int) -> Notches:
        """The best place that steps of one size lead to."""
        while True:
            near = [self._near(at, k, by) for k in self._moved for by in (-step, step)]
            costs = {one: found.cost for one in (at, *near) if (found := self._solved(one)) is not None}
            best = min(costs, key=lambda one: (costs[one], one != at, one))
            if best == at or costs[best] >= costs[at]:
                return at
            at = best

    def _near(self, at: Notches, knob: int, by: int) -> Notches:
        notch = min(max(at[knob] + by, 0), self._attempt.space.knobs[knob].last)
        return (*at[:knob], notch, *at[knob + 1 :])
