"""One tilt for a whole set: what sends ghosts out of the frame in every state, or comes nearest. Opens and prints nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from raytrace.box import Box as TracedBox
from raytrace.ghosts.paths import Light
from raytrace.ghosts.seen import ANYWHERE, MIDDLE, GhostLights, ghosts_in_the_way
from raytrace.ghosts.tilt import MOST_TILT_DEG, room_mm
from raytrace.optics.fresnel import loss_stops
from scenes.changes.tilts import fit_words
from scenes.questions.ghosts.tilts import ALL_TRAYS, TILT_STEP_DEG, WHOLE_BOX, Thing, TiltableBox
from scenes.states.names import middle_variant, state_words
from scenes.states.state import State

SHOWN_LIGHTS = "the lights in the picture"
COARSE_DEG, MOST_COARSE_DEG = 1.0, 15.0  # steps in which a compromise is looked for, and how far
DIMMER_STOPS = 0.3  # a worst ghost weaker by less than this is not worth a change of tilt
SCAN_DEG = 0.5  # a window of tilts narrower than this may be passed over; what is then found is larger, not wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class GhostState:
    """One state of the set: its box, ready to be tilted, and its lights."""

    tiltable: TiltableBox
    lights: GhostLights

    @property
    def plan(self) -> State:
        """The state itself."""
        return self.tiltable.plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """A state in which a tilt leaves ghosts in the frame: the strongest [stops below its light]; on_light: all lie on their own."""

    words: str
    key: str
    stops: float
    on_light: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SetTilt:
    """The one tilt for a set of states: what to set, which states it leaves with a ghost in the frame, and which now have one.

    tilt_deg is None where nothing that fits is better than leaving the tilts as they are; is_present where they need no change.
    why says what stands against the tilt that would clear them all. not_counted names states without a light to ghost,
    dark those left out because the box takes light from them as it is.
    """

    lights: str
    count: int
    left_now: tuple[Left, ...]
    left: tuple[Left, ...]
    what: str = ""
    keys: tuple[str, ...] = ()
    tilt_deg: float | None = None
    is_present: bool = False
    why: str = ""
    not_counted: tuple[str, ...] = ()
    dark: tuple[str, ...] = ()

    @property
    def clears(self) -> bool:
        """Whether no state is left with a ghost in the frame."""
        return not self.left and (self.is_present or self.tilt_deg is not None)


@dataclass(frozen=True, slots=True)
class _Lever:
    """What can be tilted in every state: its name, itself in each of them, and whether it holds every filter."""

    name: str
    things: tuple[Thing, ...]
    is_whole: bool

    @property
    def keys(self) -> tuple[str, ...]:
        """The scene's keys to change, of all states together."""
        return tuple(dict.fromkeys(key for thing in self.things for key in thing.keys))

    def change_deg(self, tilt_deg: float) -> float:
        """The most that any state has to be tilted by."""
        return max(abs(tilt_deg - thing.present_deg) for thing in self.things)


@dataclass(frozen=True, slots=True)
class _Try:
    """A tilt of something, the states that it leaves with a ghost, and how far anything has to be moved."""

    lever: _Lever
    tilt_deg: float
    left: tuple[Left, ...]

    @property
    def score(self) -> tuple[int, float, float]:
        """The fewest states with a ghost, then the weakest worst one, then the least change, come first."""
        return (*_badness(self.left), self.lever.change_deg(self.tilt_deg))


def set_tilt(states: Sequence[GhostState]) -> SetTilt | None:
    """The answer for all states at once; None where there are not two whose ghosts are asked about.

    Where the scene has lights in the picture of some states, only those count; where it has none, a light anywhere is asked about,
    then one in the middle. States from which the box takes light as it is are left out where nothing can be found with them.
    """
    able = [state for state in states if state.tiltable.things()]
    own = [state for state in able if not state.lights.is_grid]
    counted = own or able
    if len(able) < 2:
        return None
    found = _best(counted)
    sound = [state for state in counted if not state.tiltable.refit.is_dark]
    if found.left and found.tilt_deg is None and 0 < len(sound) < len(counted):
        dark = tuple(state_words(state.plan) for state in counted if state not in sound)
        found = replace(_best(sound), dark=dark)
    return replace(found, not_counted=tuple(state_words(state.plan) for state in able if state not in counted))


def _best(states: Sequence[GhostState]) -> SetTilt:
    names = (ANYWHERE, MIDDLE) if states[0].lights.is_grid else (SHOWN_LIGHTS,)
    for name in names:
        of = _Set(states, name)
        found = _clearing(of)
        if found.clears:
            return found
    return _compromise(of, found)


class _Set:
    """States with the lights in question, and what a tilt does to all of them."""

    def __init__(self, states: Sequence[GhostState], lights: str) -> None:
        self.states, self.lights = tuple(states), lights
        self._lights = [self._of(state) for state in states]
        self._asked_first, self._seen_first = list(range(len(states))), list(range(len(states)))

    def _of(self, state: GhostState) -> tuple[Light, ...]:
        wanted = dict(state.lights.wanted_out)
        return wanted[self.lights] if self.lights in wanted else next(iter(wanted.values()))

    def levers(self) -> Iterator[_Lever]:
        """What can be tilted in every state; for a grid of lights only what holds every filter."""
        sets = [_by_name(state.tiltable.things()) for state in self.states]
        common = [name for name in sets[0] if all(name in found for found in sets)]
        single = all(len(found) == len((WHOLE_BOX, ALL_TRAYS)) + 1 for found in sets)
        same_tray = single and len(common) > len((WHOLE_BOX, ALL_TRAYS))
        for name in common:
            is_whole = name in (WHOLE_BOX, ALL_TRAYS) or single
            if not (name == ALL_TRAYS and same_tray) and (is_whole or self.lights == SHOWN_LIGHTS):
                yield _Lever(name, tuple(found[name] for found in sets), is_whole)

    def all_out(self, lever: _Lever, tilt_deg: float) -> bool:
        """Whether the sensor ghosts of all states stay outside the guides; a state that says no is asked first the next time."""
        for number in self._seen_first:
            if not self.is_out(number, lever, tilt_deg):
                self._seen_first.sort(key=lambda other: other != number)
                return False
        return True

    def is_out(self, number: int, lever: _Lever, tilt_deg: float) -> bool:
        """Whether those of one state do."""
        plan, mirrors = self.states[number].plan, lever.things[number].mirrors_at(tilt_deg)
        return room_mm(middle_variant(plan), self._lights[number], mirrors, plan.guides, plan.variants) > 0

    def now(self) -> tuple[Left, ...]:
        """States that have a ghost in the frame as they are."""
        return self._left([state.plan.box for state in self.states])

    def tried(self, lever: _Lever, tilt_deg: float) -> _Try:
        """What a tilt leaves in the frame."""
        pairs = zip(self.states, lever.things, strict=True)
        boxes = [state.tiltable.built_at(thing.keys, tilt_deg)[1] for state, thing in pairs]
        return _Try(lever, tilt_deg, self._left(boxes))

    def _left(self, boxes: Sequence[TracedBox]) -> tuple[Left, ...]:
        left = (self._left_in(number, box) for number, box in enumerate(boxes))
        return tuple(one for one in left if one is not None)

    def _left_in(self, number: int, box: TracedBox) -> Left | None:
        state, lights = self.states[number], self._lights[number]
        shown = [ghost for ghost in ghosts_in_the_way(state.tiltable.view, box.glasses, lights) if ghost.share > 0]
        if not shown:
            return None
        stops = float(loss_stops(max(ghost.share for ghost in shown)))
        on_light = all(ghost.on_light for ghost in shown)
        return Left(words=state_words(state.plan), key=state.plan.key, stops=stops, on_light=on_light)

    def against(self, lever: _Lever, tilt_deg: float) -> str:
        """What speaks against a tilt in a state that refuses it; '' where none does. Who refuses is asked first the next time."""
        for number in self._asked_first:
            state, thing = self.states[number], lever.things[number]
            fit = state.tiltable.refit.fit(thing.keys, tilt_deg)
            if not fit.works:
                self._asked_first.sort(key=lambda other: other != number)
                return f"{fit_words(fit)} ({state_words(state.plan)})"
        return ""


def _by_name(things: Sequence[Thing]) -> dict[str, Thing]:
    """Things by name; a tray that is the only one is all trays as well."""
    found = {thing.name: thing for thing in things}
    if ALL_TRAYS not in found:
        found[ALL_TRAYS] = things[-1]
    return found


def _badness(left: Sequence[Left]) -> tuple[int, float]:
    return len(left), -min((one.stops for one in left), default=math.inf)


def _clearing(of: _Set) -> SetTilt:
    """The smallest change of tilt that clears every state, of whatever can be tilted."""
    now = of.now()
    bare = SetTilt(lights=of.lights, count=len(of.states), left_now=now, left=now)
    if not now:
        return replace(bare, is_present=True)
    tries = sorted(_smallest_tilts(of), key=lambda one: one.score)
    refused = {}
    for one in tries:
        if one.left:
            continue
        refused[one.lever.name] = of.against(one.lever, one.tilt_deg)
        if not refused[one.lever.name]:
            return _as_answer(bare, one)
        bare = bare if bare.why else replace(bare, why=_why(one, refused[one.lever.name]))
    return bare


def _why(one: _Try, against: str) -> str:
    return f"{one.lever.name} at {one.tilt_deg:+g} deg would, but {against}"


def _as_answer(bare: SetTilt, one: _Try) -> SetTilt:
    lever = one.lever
    return replace(bare, left=one.left, what=lever.name, keys=lever.keys, tilt_deg=one.tilt_deg)


def _smallest_tilts(of: _Set) -> Iterator[_Try]:
    for lever in of.levers():
        for sign in (1.0, -1.0):
            tilt = _smallest(partial(of.all_out, lever), sign)
            if tilt is not None:
                yield of.tried(lever, tilt)


def _smallest(is_out: Callable[[float], bool], sign: float) -> float | None:
    """The smallest tilt to one side, in steps that can be set, that sends sensor ghosts out."""

    def first_out(sizes: Sequence[float]) -> float | None:
        return next((size for size in sizes if is_out(sign * size)), None)

    coarse = first_out(np.arange(0.0, MOST_TILT_DEG + SCAN_DEG / 2, SCAN_DEG).tolist())
    if not coarse:
        return coarse
    fine = first_out(np.arange(coarse - SCAN_DEG + TILT_STEP_DEG, coarse - TILT_STEP_DEG / 2, TILT_STEP_DEG).round(6).tolist())
    return round(sign * (coarse if fine is None else fine), 6)


def _compromise(of: _Set, bare: SetTilt) -> SetTilt:
    """Of tilts that fit and clear in every state the one that leaves the fewest states with a ghost, and the weakest worst one.

    A ghost is not moved off its own light, where it shows least, only to be weaker.
    """
    count, worst = _badness(bare.left_now)
    dims = any(not one.on_light for one in bare.left_now)
    tries = sorted(_coarse_tilts(of), key=lambda one: one.score)
    refused: dict[tuple[str, bool], float] = {}
    for one in tries:
        side = (one.lever.name, one.tilt_deg > 0)
        better = one.score[0] < count or (dims and one.score[0] == count and one.score[1] <= worst - DIMMER_STOPS)
        if not better or abs(one.tilt_deg) >= refused.get(side, math.inf):
            continue
        if not of.against(one.lever, one.tilt_deg):
            return _as_answer(bare, one)
        refused[side] = abs(one.tilt_deg)
    return bare


def _coarse_tilts(of: _Set) -> Iterator[_Try]:
    """Tilts of what holds every filter: those that some state needs, and whole degrees; none where the first has no room."""
    for lever in of.levers():
        for sign in (1.0, -1.0) if lever.is_whole else ():
            if of.against(lever, sign * COARSE_DEG):
                continue
            needed = (_smallest(partial(of.is_out, number, lever), sign) for number in range(len(of.states)))
            steps = sign * np.arange(COARSE_DEG, MOST_COARSE_DEG + COARSE_DEG / 2, COARSE_DEG)
            yield from (of.tried(lever, tilt) for tilt in sorted({*steps.tolist(), *(tilt for tilt in needed if tilt)}))
