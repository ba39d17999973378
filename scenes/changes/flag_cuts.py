"""How far in flags must come to keep a light off the glass, state by state over a lens's whole range: what all questions go by."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from geometry.arrays import FloatArray
from geometry.flags import LEAST_DEG, MOST_DEG
from geometry.frame import Side
from geometry.walls import enclosure_of
from raytrace.lights import LightPlace
from raytrace.stray.flag_light import Shading, Shield, shading_of
from raytrace.stray.target import FlatTarget, beam_on_faces, glass_face, lens_front_face, together_of
from raytrace.stray.world import World
from scenes.changes.flag_limits import FlagLimits
from scenes.changes.flag_places import FlagPlace, flag_places
from scenes.rig.box import fit_of
from scenes.runtime.progress import Tick, silent
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.tables.box import Box
from scenes.states.full_range import Ranged
from scenes.states.select import widest_stops
from scenes.states.state import State
from scenes.states.stray import light_in_frame

SEEN_S = 0.1  # what a light takes in states alike, about
PAIR_DEG = 0.5  # steps of the first flag of two
LEANS_DEG = 5.0  # a light nearer to the axis than this on a side does not come from that side
NOTHING_ASKED: Mapping[tuple[str, str], float] = {}
PAIR_ANGLES = np.arange(LEAST_DEG, MOST_DEG + PAIR_DEG, PAIR_DEG)


@dataclass(frozen=True, slots=True, kw_only=True)
class LightInState:
    """One light in one state: whether it is in the picture, comes from behind the glass, or reaches the glass with no flag.

    cut_deg and bare_cut_deg: by flag, the widest angle that keeps it off, with and without extension; second_deg: by two flags, for
    the first at PAIR_ANGLES the widest angle of the second. inf where the light is off whatever the flag does, -inf where it can't.
    shared_deg: by two flags, how far the first may be open with the second as far from where it begins.
    """

    light: str
    plan: State
    target: str
    in_picture: bool
    reaches: bool
    cut_deg: dict[str, float]
    bare_cut_deg: dict[str, float]
    second_deg: dict[tuple[str, str], FloatArray]
    shared_deg: dict[tuple[str, str], float]

    def asks_no_more(self, others: Sequence[LightInState]) -> bool:
        """Whether of some other states, in which the light counts, one at least asks as much of every flag by itself."""
        lit = _counted(others)
        return not self.reaches or all(
            any(getattr(one, name).get(flag, math.inf) <= cut_deg for one in lit)
            for name in ("cut_deg", "bare_cut_deg")
            for flag, cut_deg in getattr(self, name).items()
        )

    def asks_no_more_of_two(self, others: Sequence[LightInState]) -> bool:
        """The same of two flags together."""
        never, lit = np.full(len(PAIR_ANGLES), np.inf), _counted(others)
        least = {pair: np.min([never, *(one.second_deg.get(pair, never) for one in lit)], axis=0) for pair in self.second_deg}
        return not self.reaches or all(bool((least[pair] <= second).all()) for pair, second in self.second_deg.items())


def _counted(states: Sequence[LightInState]) -> list[LightInState]:
    return [one for one in states if one.reaches and not one.in_picture]


@dataclass(frozen=True, slots=True)
class _Seen:
    """A light in a state, and the target that it was looked at on."""

    target: FlatTarget
    light: LightInState


class FlaglessBoxes:
    """What lights fall on: the box without its flags, state by state; search trees are made once for each lens and setting."""

    def __init__(self, change: Callable[[Box], Box] | None = None, *, target: str = "glass") -> None:
        self._change, self._target = change, target
        self._worlds: dict[tuple[str, float], World] = {}

    def box(self, plan: State) -> Box:
        """The box as fitted to the lens of a state."""
        return plan.fitted if self._change is None else self._change(plan.fitted)

    def world(self, plan: State) -> World:
        """The box of a state without its flags."""
        key = (plan.lens_name, plan.travel_mm)
        if key not in self._worlds:
            bare = self.box(plan).model_copy(update={"flag": ()})
            assembly, _ = plan.rebuilt(bare)
            self._worlds[key] = World.of(enclosure_of(assembly, fit_of(bare, plan.lens, plan.travel_mm)))
        return self._worlds[key]

    def target(self, plan: State) -> FlatTarget:
        """The outermost glass as far as the beam crosses it, over all pupil depths; without one, or if so asked, the lens front."""
        if plan.box.glasses and self._target == "glass":
            return glass_face(plan.box, [beam_on_faces(lens, plan.grid, plan.box) for lens in plan.variants])
        front = fit_of(self.box(plan), plan.lens, 0.0).front
        return lens_front_face(front.glass_mm / 2)


def lights_in_states(
    flagless: FlaglessBoxes,
    lights: Sequence[LightPlace],
    plans: Sequence[State],
    between: Sequence[State],
    start: Mapping[str, float],
    tick: Tick = silent,
) -> Iterator[LightInState]:
    """Every light in every state that has flags; of several stops the widest, whose beam holds those of the others.

    And in states between them, where the beam covers some of the target that it covers in none of those. start: by flag, the angle
    from which on it may be set [deg].
    """
    known: list[_Seen] = []
    widest = [plan for plan in widest_stops(plan for plan in plans if plan.fitted.flag) if lights]
    asked, each_s = [tuple(mine) for mine in _alike(widest)], SEEN_S * len(lights)
    seen = shared_out(partial(_seen_alike, flagless, lights, start), asked, each_s=each_s, elsewhere=True)
    by_plan = {id(plan): found for mine, each in zip(asked, seen, strict=True) for plan, found in zip(mine, each, strict=True)}
    for plan in widest:
        known += by_plan[id(plan)]
        yield from (one.light for one in by_plan[id(plan)])
        tick(1, plan.key)
    more = [(tuple(mine), known) for mine in _alike(between) if lights]
    for found in shared_out(partial(_all_between, flagless, lights, start), more, each_s=each_s, elsewhere=True):
        yield from found


def _seen_alike(
    flagless: FlaglessBoxes, lights: Sequence[LightPlace], start: Mapping[str, float], plans: Sequence[State]
) -> list[list[_Seen]]:
    """Every light in some states whose boxes stand alike; what one asks of two flags is not looked at closely in the next."""
    asked: dict[str, dict[tuple[str, str], float]] = {light.name: {} for light in lights}
    return [_seen(flagless, lights, start, plan, asked) for plan in plans]


def _seen(
    flagless: FlaglessBoxes,
    lights: Sequence[LightPlace],
    start: Mapping[str, float],
    plan: State,
    asked: Mapping[str, dict[tuple[str, str], float]],
) -> list[_Seen]:
    target, places, found = flagless.target(plan), flag_places(plan), []
    for light in lights:
        mine = asked[light.name]
        seen = light_in_state(light, plan, target, flagless.world(plan), places, start, mine)
        found.append(_Seen(target, seen))
        if not seen.in_picture:
            mine |= {pair: min(deg, mine.get(pair, math.inf)) for pair, deg in seen.shared_deg.items()}
    return found


def _all_between(
    flagless: FlaglessBoxes,
    lights: Sequence[LightPlace],
    start: Mapping[str, float],
    asked: tuple[Sequence[State], Sequence[_Seen]],
) -> list[LightInState]:
    """Every light in some states between those known, their boxes alike, that may ask more than these do."""
    mine, known = asked
    targets = [flagless.target(plan) for plan in mine]
    found: list[LightInState] = []
    for light in lights:
        there = [seen for seen in known if seen.light.light == light.name]
        found += _between(flagless, light, list(zip(mine, targets, strict=True)), there, start)
    return found


def _alike(between: Sequence[State]) -> Iterable[Sequence[State]]:
    """States with flags whose boxes stand alike, together."""
    found: dict[tuple[str, float], list[State]] = {}
    for plan in between:
        if plan.fitted.flag:
            found.setdefault((plan.lens_name, plan.travel_mm), []).append(plan)
    return found.values()


def _between(
    flagless: FlaglessBoxes,
    light: LightPlace,
    between: Sequence[tuple[State, FlatTarget]],
    known: Sequence[_Seen],
    start: Mapping[str, float],
) -> Iterator[LightInState]:
    """A light in those of some states of one lens, their boxes alike, that may ask more than the states known, of all lenses, do.

    Where they ask no more all together, on a target that holds all of theirs, none does by itself; where they ask more of two flags
    alone, that target stands for all of them.
    """
    left = [(plan, target) for plan, target in between if not _is_known(plan, target, light, known)]
    if not left:
        return
    places, world = flag_places(left[0][0]), flagless.world(left[0][0])
    lit = [(plan, target) for plan, target in left if not is_shown(plan, light)]
    if len(lit) > 1:
        together = light_in_state(light, lit[0][0], together_of([target for _, target in lit]), world, places, start)
        seen = [one.light for one in known]
        if together.asks_no_more(seen):
            left = [(plan, target) for plan, target in left if is_shown(plan, light)]
            yield from () if together.asks_no_more_of_two(seen) else (together,)
    for plan, target in left:
        yield light_in_state(light, plan, target, world, flag_places(plan), start)


def _is_known(plan: State, target: FlatTarget, light: LightPlace, known: Sequence[_Seen]) -> bool:
    """Whether a state has nothing to add about a light: it is in the picture, or the target all lies within another state's."""
    mine = [seen for seen in known if seen.light.plan.lens_name == plan.lens_name]
    if is_shown(plan, light):
        return any(seen.light.in_picture for seen in mine)
    alike = (seen for seen in mine if seen.light.plan.travel_mm == plan.travel_mm and not seen.light.in_picture)
    return any(seen.target.covers(target) for seen in alike)


def is_shown(plan: State, light: LightPlace) -> bool:
    """Whether a light is in the picture, for any pupil depth."""
    return any(light_in_frame(lens, plan.grid, light) for lens in plan.variants)


def light_in_state(
    light: LightPlace,
    plan: State,
    target: FlatTarget,
    world: World,
    places: Sequence[FlagPlace],
    start: Mapping[str, float],
    asked: Mapping[tuple[str, str], float] = NOTHING_ASKED,
) -> LightInState:
    """One light in one state.

    asked: by two flags what other states ask of them, as `LightInState.shared_deg` has it: less than that is not looked at closely.
    """
    shown = is_shown(plan, light)
    toward = [place for place in places if place.side in sides_of(light)]
    shields, own, bare = _shields(toward, start)
    pairs = tuple(neighbours([place.side for place in toward]))
    found = Shading(widest_deg=np.zeros((len(shields), 0)))
    if not shown:
        asked_deg = [asked.get((toward[i].name, toward[j].name), math.inf) for i, j in pairs]
        found = shading_of(target, light, world, shields, [(own[i], own[j]) for i, j in pairs], asked_deg=asked_deg)
    return LightInState(
        light=light.name,
        plan=plan,
        target=target.name,
        in_picture=shown,
        reaches=found.widest_deg.shape[1] > 0,
        cut_deg={place.name: found.alone_deg(k) for place, k in zip(toward, own, strict=True)},
        bare_cut_deg={place.name: found.alone_deg(k) for place, k in zip(toward, bare, strict=True)},
        second_deg={(toward[i].name, toward[j].name): found.second_deg(own[i], own[j], PAIR_ANGLES) for i, j in pairs},
        shared_deg={(toward[i].name, toward[j].name): found.shared_deg(shields, own[i], own[j]) for i, j in pairs},
    )


def _shields(places: Sequence[FlagPlace], start: Mapping[str, float]) -> tuple[list[Shield], list[int], list[int]]:
    """Flags as they are and without their extensions, those that have none once; and where each is among them so and so."""
    shields: list[Shield] = []
    own, bare = [], []
    for place in places:
        own.append(len(shields))
        swung = (place.bars, place.bars.bare) if place.bars.extension_mm > 0.0 else (place.bars,)
        shields += [Shield(hinge=place.hinge, bars=bars, from_deg=start[place.name]) for bars in swung]
        bare.append(len(shields) - 1)
    return shields, own, bare


def neighbours(sides: Sequence[Side]) -> Iterator[tuple[int, int]]:
    """Flags on neighbouring sides: top or bottom with left or right."""
    for i, first in enumerate(sides):
        for j, second in enumerate(sides):
            if first in (Side.TOP, Side.BOTTOM) and second in (Side.LEFT, Side.RIGHT):
                yield i, j


def sides_of(light: LightPlace) -> tuple[Side, ...]:
    """Sides that a light comes from, the stronger first."""
    x, y = float(light.direction[0]), float(light.direction[1])
    sides = [(abs(x), Side.LEFT if x > 0 else Side.RIGHT), (abs(y), Side.TOP if y > 0 else Side.BOTTOM)]
    return tuple(side for lean, side in sorted(sides, reverse=True) if lean > math.sin(math.radians(LEANS_DEG)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """The widest angle at which a flag alone keeps a light off at every focus and zoom of a lens [deg], and the state that decides.

    inf where the light is off whatever the flag does, -inf where no angle of it keeps it off.
    """

    angle_deg: float
    decided_by: State | None


NO_LIGHT = Cut(angle_deg=math.inf, decided_by=None)


class FlagCuts:
    """What flags can do about lights with each lens of a show, worked out when first asked for."""

    def __init__(self, plans: Sequence[State], ranges: Sequence[Ranged], limits: FlagLimits, *, target: str) -> None:
        self._plans, self._limits, self._flagless = tuple(plans), limits, FlaglessBoxes(target=target)
        self._between = tuple(plan for one in ranges for plan in one.plans)
        self._seen: dict[tuple[str, str], tuple[LightInState, ...]] = {}

    def of(self, flag: str, light: LightPlace, lens_name: str) -> Cut:
        """The angle for the flag of a name against a light, with a lens."""
        if (light.name, lens_name) not in self._seen:
            self._seen[light.name, lens_name] = tuple(self._lit(light, lens_name))
        mine = [seen for seen in self._seen[light.name, lens_name] if flag in seen.cut_deg]
        if not mine:
            return NO_LIGHT
        least = min(mine, key=lambda seen: seen.cut_deg[flag])
        return Cut(angle_deg=least.cut_deg[flag], decided_by=least.plan)

    def _lit(self, light: LightPlace, lens_name: str) -> Iterator[LightInState]:
        """The states of a lens in which a light is on the target, and not in the picture."""
        plans, between = ([plan for plan in some if plan.lens_name == lens_name] for some in (self._plans, self._between))
        names = {place.name for plan in (*plans, *between) for place in flag_places(plan)}
        start = {name: self._limits.of(name).clear_deg for name in names}
        seen = lights_in_states(self._flagless, [light], plans, between, start)
        return (one for one in seen if one.reaches and not one.in_picture)
