"""What would keep a light off where no setting of the flags does: each change is put into the box and measured, never guessed.

Cheapest first: a longer extension on one flag, on two, a wider flag, a flag on another side, a deeper hood.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from geometry.arrays import FloatArray
from geometry.body import Kind
from geometry.flags import LEAST_DEG, MOST_DEG, OPEN_DEG
from geometry.frame import Side
from raytrace.lights import LightPlace
from raytrace.stray.flag_light import Shield, shading_of
from raytrace.stray.target import FlatTarget
from scenes.changes.angle_steps import rounded_down
from scenes.changes.flag_bench import FlagBench
from scenes.changes.flag_collisions import FlagCollisions
from scenes.changes.flag_cuts import PAIR_ANGLES, FlaglessBoxes, neighbours, sides_of
from scenes.changes.flag_places import FlagPlace, places_in
from scenes.rig.box import flag_name
from scenes.runtime.first_run import prepare
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.tables.box import Box, Extension, Flag
from scenes.states.select import widest_stops
from scenes.states.state import State

LONGER_MM = (20, 40, 60, 80, 100, 120, 150, 180, 220, 260, 300)  # extensions tried, in all
WIDER_MM = (20, 40, 60, 80, 100, 120, 160, 200, 260, 320, 400)  # by how much flags are widened
DEEPER_MM = (20, 40, 60, 80, 100, 130, 160, 200)  # by how much the hood is deepened, its walls carried straight on
MORE_MM = 320.0  # how much farther than now a changed flag may reach
LOOK_ROUNDS = 1  # at pairs: enough to find what works, on the safe side

KIND_S = 5.0  # what a kind of change takes, about

Apply = Callable[[Box], Box]
Wanted = tuple[LightPlace, Sequence[str]]  # a light, and the names of states that do not matter
_Place = tuple[int, int]  # of a light and a kind of change


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of the box in words, and itself. `hood` says whether the hood is another one."""

    words: str
    apply: Apply
    hood: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingChange:
    """A change that works, and the setting of one flag or two that then keeps the light off and the frame clear [deg].

    window_deg (from, to) for one flag; angles_deg for two, room_deg what both then have to spare.
    """

    light: str
    change: str
    flags: tuple[str, ...]
    window_deg: tuple[float, float] | None = None
    angles_deg: tuple[float, float] | None = None
    room_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesTried:
    """What came of one light: changes that work, cheapest kind first, and each kind that was tried, in words with how far."""

    light: str
    found: tuple[WorkingChange, ...]
    tried: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Family:
    """One kind of change from the least on, and in words how far; last_resort: of use only if no kind before it does it."""

    words: str
    changes: tuple[Change, ...]
    last_resort: bool = False


@dataclass(frozen=True, slots=True)
class _Amounts:
    """How much is tried of each kind [mm]: as it is here, whichever process tries it."""

    longer_mm: tuple[int, ...]
    wider_mm: tuple[int, ...]
    deeper_mm: tuple[int, ...]


class ChangeSearch:
    """The states of a show at their widest stops, ready to be measured with a changed box."""

    def __init__(self, plans: Sequence[State]) -> None:
        self._plans = widest_stops(plans)
        self._amounts = _Amounts(LONGER_MM, WIDER_MM, DEEPER_MM)
        self._limits = {plan.key: FlagBench(plan, more_mm=MORE_MM) for plan in self._plans}
        self._now = FlaglessBoxes()
        self._collisions = FlagCollisions(self._plans)
        self._hoods: dict[tuple[str, str], tuple[bool, float]] = {}
        self._changed: dict[str, FlaglessBoxes] = {}
        self._targets: dict[str, FlatTarget] = {plan.key: self._now.target(plan) for plan in self._plans}

    def least_for_all(self, wanted: Sequence[Wanted]) -> tuple[ChangesTried, ...]:
        """The least change of each kind that keeps a light off, cheapest first, on all cores; last resorts where nothing else does.

        Wanted are lights, each with the names of states that do not matter.
        """
        prepare()
        kinds = [list(self._families(light, self._but(skip))) for light, skip in wanted]
        every = [(place, k) for place, some in enumerate(kinds) for k in range(len(some))]
        found = self._of_kinds(wanted, [one for one in every if not _kind(kinds, one).last_resort])
        found |= self._of_kinds(wanted, [one for one in every if _kind(kinds, one).last_resort and not _done_before(found, one)])
        tried = [one for one in every if not (_kind(kinds, one).last_resort and _done_before(found, one))]
        return tuple(
            ChangesTried(
                light=light.name,
                found=tuple(working for one in tried if one[0] == place and (working := found[one]) is not None),
                tried=tuple(_kind(kinds, one).words for one in tried if one[0] == place),
            )
            for place, (light, _) in enumerate(wanted)
        )

    def _of_kinds(self, wanted: Sequence[Wanted], asked: Sequence[_Place]) -> dict[_Place, WorkingChange | None]:
        """The least change of some kinds, by light and kind."""
        found = shared_out(partial(_least_of_kind, self, tuple(wanted)), asked, each_s=KIND_S, elsewhere=True)
        return dict(zip(asked, found, strict=True))

    def of_kind(self, wanted: Wanted, kind: int) -> WorkingChange | None:
        """The least change of one kind that keeps a light off; None where none does."""
        light, skip = wanted
        plans = self._but(skip)
        return self._least(light, plans, list(self._families(light, plans))[kind].changes)

    def _but(self, skip: Sequence[str]) -> list[State]:
        return [plan for plan in self._plans if plan.key not in skip]

    def _least(self, light: LightPlace, plans: list[State], changes: Sequence[Change]) -> WorkingChange | None:
        for change in changes:
            working = self._tried(light, plans, change)
            if working is not None:
                return working
        return None

    def _families(self, light: LightPlace, plans: Sequence[State]) -> Iterator[_Family]:
        """Kinds of change, cheapest first."""
        amounts = self._amounts
        places = {place.name: place for plan in plans for place in self._limits[plan.key].places}
        toward = [place for place in places.values() if place.side in sides_of(light)]
        yield from (family for place in toward for family in _longer_ones([place], amounts.longer_mm))
        if len(toward) > 1:
            yield from (replace(family, last_resort=True) for family in _longer_ones(toward, amounts.longer_mm))
        alone = [[place] for place in toward]
        for some in [*alone, toward] if len(toward) > 1 else alone:  # two wider flags can meet where one does not
            changes = tuple(wider(some, more) for more in amounts.wider_mm)
            yield _Family(words=f"{_named(some)} wider by up to {amounts.wider_mm[-1]} mm", changes=changes, last_resort=True)
        free = [side for side in sides_of(light) if side not in {place.side for place in toward}]
        for side in free:
            like = next((place for place in places.values()), None)
            if like is not None:
                change = another(side, like)
                yield _Family(words=f"a flag like the {like.name} on the {side.value}", changes=(change,))
        if all(self._now.box(plan).hood for plan in plans):
            words = f"the hood deeper by up to {amounts.deeper_mm[-1]} mm, its walls carried straight on"
            yield _Family(words=words, changes=tuple(deeper(more) for more in amounts.deeper_mm))

    def _tried(self, light: LightPlace, plans: list[State], change: Change) -> WorkingChange | None:
        """What a change leads to; None where it does not do. States that refuse come first the next time."""
        boxes = {plan.key: change.apply(self._now.box(plan)) for plan in plans}
        if change.hood and not all(self._hood_clears(plan, boxes[plan.key], change.words) for plan in plans):
            return None
        fitted = {plan.key: places_in(boxes[plan.key], plan) for plan in plans}
        places = {key: [p for p in all_of if p.side in sides_of(light)] for key, all_of in fitted.items()}
        flagless = self._flagless(change) if change.hood else self._now
        if plans and self._refuses(light, plans[0], places[plans[0].key], flagless):
            return None
        trial = _Trial(light, *self._spans(plans, places))
        for number, plan in enumerate(plans):
            trial.add(self._targets[plan.key], flagless, plan, places[plan.key])
            if trial.is_lost:
                plans.insert(0, plans.pop(number))
                return None
        return self._that_fits(trial.outcome(change.words), change)

    def _that_fits(self, working: WorkingChange | None, change: Change) -> WorkingChange | None:
        """The outcome, if the flags can stand so without meeting; one flag's window at least at its wider end."""
        if working is None:
            return None
        if working.angles_deg is not None:
            met = self._collisions.met(dict(zip(working.flags, working.angles_deg, strict=True)), change.apply, change.words)
            return None if met else working
        assert working.window_deg is not None
        least, most = working.window_deg
        free = [a for a in (least, most) if not self._collisions.met({working.flags[0]: a}, change.apply, change.words)]
        return None if most not in free else replace(working, window_deg=(least if least in free else most, most))

    def _refuses(self, light: LightPlace, plan: State, places: Sequence[FlagPlace], flagless: FlaglessBoxes) -> bool:
        """Whether one state by itself says no, which is soon known: others can only ask for more."""
        clear, most = self._spans([plan], {plan.key: list(places)})
        if len(clear) < len(places):
            return False
        trial = _Trial(light, clear, most)
        trial.add(self._targets[plan.key], flagless, plan, places)
        return trial.is_lost

    def _spans(self, plans: Sequence[State], places: dict[str, list[FlagPlace]]) -> tuple[dict[str, float], dict[str, float]]:
        """The smallest and the largest angle of each flag that keep clear every state that it can keep clear."""
        clear: dict[str, float] = {}
        most: dict[str, float] = {}
        for plan in plans:
            for place in places[plan.key]:
                least, widest = self._limits[plan.key].span_deg(place.hinge, place.bars)
                if least < math.inf:
                    clear[place.name] = max(clear.get(place.name, LEAST_DEG), least)
                    most[place.name] = min(most.get(place.name, MOST_DEG), widest)
        return clear, most

    def _flagless(self, change: Change) -> FlaglessBoxes:
        """What lights fall on with another hood: made once for all lights."""
        if change.words not in self._changed:
            self._changed[change.words] = FlaglessBoxes(change.apply)
        return self._changed[change.words]

    def _hood_clears(self, plan: State, box: Box, words: str) -> bool:
        """Whether a new hood stays out of the beam, with the room that a clear frame has, wherever the present one does."""
        clears, then_mm = self._hood(plan, box, words)
        clears_now, now_mm = self._hood(plan, self._now.box(plan), "")
        return clears or (not clears_now and then_mm >= now_mm)

    def _hood(self, plan: State, box: Box, words: str) -> tuple[bool, float]:
        """Whether a hood leaves a state its room, and how near it stands [mm]; `words` name it, so that it is measured once."""
        if (plan.key, words) not in self._hoods:
            self._hoods[plan.key, words] = self._hood_measured(plan, box)
        return self._hoods[plan.key, words]

    def _hood_measured(self, plan: State, box: Box) -> tuple[bool, float]:
        _, built = plan.rebuilt(box)
        bench, hoods = self._limits[plan.key], [part for part in built.parts if part.kind is Kind.HOOD]
        return all(bench.clears(part) for part in hoods), min(bench.room_mm(part) for part in hoods)


def _least_of_kind(search: ChangeSearch, wanted: Sequence[Wanted], asked: _Place) -> WorkingChange | None:
    place, kind = asked
    return search.of_kind(wanted[place], kind)


def _kind(kinds: Sequence[Sequence[_Family]], one: _Place) -> _Family:
    return kinds[one[0]][one[1]]


def _done_before(found: Mapping[_Place, WorkingChange | None], one: _Place) -> bool:
    """Whether a kind of change before this one keeps the same light off."""
    return any(place == one[0] and k < one[1] and working is not None for (place, k), working in found.items())


class _Trial:
    """One changed box against one light, state by state: which flags, and which two of them, still do it."""

    def __init__(self, light: LightPlace, clear: dict[str, float], most: dict[str, float]) -> None:
        self._light, self._clear, self._most = light, clear, most
        self._cut: dict[str, float] | None = None
        self._second: dict[tuple[str, str], FloatArray] | None = None

    def add(self, target: FlatTarget, flagless: FlaglessBoxes, plan: State, places: Sequence[FlagPlace]) -> None:
        """Count one more state."""
        mine = [place for place in places if place.name in self._clear]
        shields = [Shield(hinge=place.hinge, bars=place.bars, from_deg=self._clear[place.name], farther_in=False) for place in mine]
        pairs = list(neighbours([place.side for place in mine]))
        found = shading_of(target, self._light, flagless.world(plan), shields, pairs, LOOK_ROUNDS)
        cut = {place.name: found.alone_deg(k) for k, place in enumerate(mine)}
        second = {(mine[i].name, mine[j].name): found.second_deg(i, j, PAIR_ANGLES) for i, j in pairs}
        self._cut = cut if self._cut is None else {k: min(v, cut[k]) for k, v in self._cut.items() if k in cut}
        before = self._second
        self._second = second if before is None else {k: np.minimum(v, second[k]) for k, v in before.items() if k in second}

    @property
    def is_lost(self) -> bool:
        """Whether nothing does it any more."""
        return self._window() is None and self._pair() is None

    def _window(self) -> tuple[str, float, float] | None:
        """The flag with the widest window, its least and its most."""
        found = [(name, self._clear[name], rounded_down(min(cut, self._most[name]))) for name, cut in (self._cut or {}).items()]
        return max((one for one in found if one[2] >= one[1]), key=lambda one: one[2] - one[1], default=None)

    def _pair(self) -> tuple[tuple[str, str], tuple[float, float], float] | None:
        """The two flags with the most room, their angles and that room."""
        found = [(names, *self._shared(names, curve)) for names, curve in (self._second or {}).items()]
        return max((one for one in found if one[2] >= 0.0), key=lambda one: one[2], default=None)

    def _shared(self, names: tuple[str, str], curve: FloatArray) -> tuple[tuple[float, float], float]:
        second = np.minimum(curve, self._most[names[1]])
        room = np.minimum(PAIR_ANGLES - self._clear[names[0]], second - self._clear[names[1]])
        room = np.where(self._most[names[0]] >= PAIR_ANGLES, room, -np.inf)
        k = int(np.argmax(room))
        return (float(PAIR_ANGLES[k]), rounded_down(float(second[k]))), float(np.floor(room[k] * 10) / 10)

    def outcome(self, words: str) -> WorkingChange | None:
        """What comes of it: one flag before two."""
        window, pair = self._window(), self._pair()
        if window is not None:
            return WorkingChange(light=self._light.name, change=words, flags=(window[0],), window_deg=(window[1], window[2]))
        if pair is None:
            return None
        return WorkingChange(light=self._light.name, change=words, flags=pair[0], angles_deg=pair[1], room_deg=pair[2])


def _longer_ones(places: Sequence[FlagPlace], lengths_mm: Sequence[int]) -> Iterator[_Family]:
    """Longer extensions on flags, if those that they have are not longer than any tried."""
    shortest = min(place.bars.extension_mm for place in places)
    changes = tuple(longer(places, length) for length in lengths_mm if length > shortest)
    if changes:
        yield _Family(words=f"extensions of up to {lengths_mm[-1]} mm on {_named(places)}", changes=changes)


def _named(places: Sequence[FlagPlace]) -> str:
    return " and ".join(f"the {place.name}" for place in places)


def longer(places: Sequence[FlagPlace], length_mm: float) -> Change:
    """Extensions of that length on flags, at the angle that they have now, else straight on."""
    words = f"give {_named(places)} {length_mm:g} mm of extension"
    return Change(words=words, apply=_each(places, lambda flag: _extended(flag, length_mm)))


def _each(places: Sequence[FlagPlace], changed: Callable[[Flag], Flag]) -> Apply:
    """The box with some of its flags changed; lenses may have flags of their own, so they go by name."""
    names = {place.name for place in places}
    return lambda box: _with_flags(box, [changed(flag) if flag_name(flag) in names else flag for flag in box.flag])


def _extended(flag: Flag, length_mm: float) -> Flag:
    angle = flag.extension.angle_deg if flag.extension else 0.0
    longest = max(length_mm, flag.extension.length_mm if flag.extension else 0.0)
    return flag.model_copy(update={"extension": Extension(length_mm=longest, angle_deg=angle)})


def wider(places: Sequence[FlagPlace], more_mm: float) -> Change:
    """Flags so much wider along their hinges."""
    words = " and ".join(f"the {place.name} {place.bars.width_mm + more_mm:g} mm" for place in places)
    return Change(
        words=f"make {words} wide",
        apply=_each(places, lambda flag: flag.model_copy(update={"width_mm": flag.width_mm + more_mm})),
    )


def another(side: Side, like: FlagPlace) -> Change:
    """A flag on another side, as long and wide as one that is there, with an extension if that has one."""

    def apply(box: Box) -> Box:
        models = [flag for flag in box.flag if flag_name(flag) == like.name]
        new = [flag.model_copy(update={"side": side.value, "name": None, "angle_deg": OPEN_DEG}) for flag in models]
        return _with_flags(box, [*box.flag, *new])

    return Change(words=f"hinge a flag like the {like.name} on the {side.value}", apply=apply)


def deeper(more_mm: float) -> Change:
    """A hood deeper by so much, its walls carried straight on."""

    def apply(box: Box) -> Box:
        hoods = []
        for hood in box.hood:
            share = more_mm / hood.depth_mm
            front = tuple(f + (f - r) * share for f, r in zip(hood.front_mm, hood.rear_mm, strict=True))
            hoods.append(hood.model_copy(update={"depth_mm": hood.depth_mm + more_mm, "front_mm": front}))
        return box.model_copy(update={"hood": tuple(hoods)})

    return Change(words=f"make the hood {more_mm:g} mm deeper, its walls carried straight on", apply=apply, hood=True)


def _with_flags(box: Box, flags: Sequence[Flag]) -> Box:
    return box.model_copy(update={"flag": tuple(flags)})
