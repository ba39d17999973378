"""Rods that bend under a design, by the weights of `make`, and bends of its hood: whether the box is clear as made and hung."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from geometry.cantilever import Sag
from geometry.errors import GeometryError
from scenes.questions.make.parts import parts_of
from scenes.questions.make.weights import bend_of, bent_state, sagged_state
from scenes.states.judgement import judge_state
from scenes.states.lens_judgement import lens_judgements
from scenes.states.load import Loaded
from scenes.states.names import state_words
from scenes.states.select import widest_stops
from scenes.states.state import State

Bends = tuple[tuple[str, Sag], ...]  # of each lens whose box hangs on rods, or whose hood is bent from a sheet
RIGID = Sag(drop_mm=0.0, tilt_rad=0.0, stress_n_mm2=0.0)
SPARE = 1.05  # a box that is made larger for its bending is heavier and bends more


def bends_of(loaded: Loaded, states: Sequence[State]) -> Bends:
    """How the rods bend with each lens, none of a box that cannot be made; a clamped one with a bent hood stays where it is."""
    try:
        made = parts_of(loaded.scene, loaded.resources).made
    except GeometryError:
        return ()  # which `make` tells
    each = ((some[0].lens_name, bend_of(some[0], made) or _clamped(some[0])) for some in _by_lens(states))
    return tuple((lens, sag) for lens, sag in each if sag is not None)


def _clamped(state: State) -> Sag | None:
    """No movement, of a box whose hood gets round corners as it is bent; None of one that is made as it is drawn."""
    return None if bent_state(state) is state else RIGID


def with_spare(bends: Bends) -> Bends:
    """A little more than rods bend."""
    return tuple((lens, replace(sag, drop_mm=SPARE * sag.drop_mm, tilt_rad=SPARE * sag.tilt_rad)) for lens, sag in bends)


def why_not_clear(states: Sequence[State], bends: Bends) -> str:
    """What is not clear as the box hangs; '' where every state is, and all between."""
    sags = dict(bends)
    for some in _by_lens(states):
        if some[0].lens_name not in sags:
            continue
        hanging = [sagged_state(bent_state(state), sags[state.lens_name]) for state in some]
        dark = next((state for state in hanging if not judge_state(state).clear), None)
        if dark is not None:
            return f"not with the {state_words(dark)}"
        (between,) = lens_judgements(hanging)
        if not between.clear:
            return f"the {between.lens.name} is {between.words}"
    return ""


def most_bent(bends: Bends) -> tuple[str, float]:
    """The lens whose box drops most, and how far [mm]."""
    lens, sag = max(bends, key=lambda one: one[1].drop_mm)
    return lens, sag.drop_mm


def _by_lens(states: Sequence[State]) -> Iterator[list[State]]:
    for _, some in groupby(widest_stops(states), key=lambda state: state.lens_name):
        yield list(some)
