"""Boxes tried, judged and kept: the best design of each set of choices for any set of wishes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import takewhile
from typing import Any

import numpy as np

from geometry.errors import GeometryError
from geometry.notes import Severity
from raytrace.stray.light_on_glass import Reach, reach_of
from scenes.cautions.box_notes import box_notes
from scenes.changes.flag_places import set_flags
from scenes.questions.design.bench import Asked, Held, LensBench
from scenes.questions.design.between_corners import is_less
from scenes.questions.design.ends import deepest, levelled
from scenes.questions.design.masks import groups_of, with_masks
from scenes.questions.design.outside import MEASURES, Outside, outside_of
from scenes.questions.design.picks import counted, is_of, is_there, pick_words, rounded, trying_words, values_of
from scenes.questions.design.places import may_work, placed
from scenes.questions.design.search import Found
from scenes.questions.design.shares import MOST_EXACT, MOST_WAYS, named, own_notches, shares
from scenes.questions.design.space import Knob, Space, space_of
from scenes.questions.design.trays import with_trays
from scenes.questions.design.tries import Notches, Tried, Try
from scenes.questions.design.widened import widened
from scenes.questions.design.wishes import Wishes
from scenes.runtime.first_run import prepare_judge
from scenes.runtime.progress import Tick, silent
from scenes.scene_file.tables.box import PART_KEYS, Box, BoxPart
from scenes.scene_file.tables.design import MASKS, TRAYS, DesignRow
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, box_for
from scenes.states.clear_rule import room_needed_mm
from scenes.states.full_range import Ranged, checked_ranges
from scenes.states.load import Loaded, changed, plans_of
from scenes.states.names import middle_variant, state_words
from scenes.states.select import widest_stops
from scenes.states.state import State
from scenes.states.stray import light_in_frame, setup_of, stray_lights

WEIGHT = "weight"  # may fall as an opening grows, so nothing is certain of the least
SAME_MM2 = 1e-6  # openings of masks that differ by less are one


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """One design: choices by key path, the try that it comes from, what was found, its scene and its outside."""

    pick: Mapping[str, Any]
    attempt: Try
    found: Found
    scene: Scene
    outside: Outside

    @property
    def notches(self) -> Notches:
        """The notch of each knob."""
        return self.found.notches

    @property
    def measures(self) -> dict[str, float]:
        """The measures by key path."""
        return self.attempt.space.values(self.found.notches)

    @property
    def values(self) -> dict[str, Any]:
        """Everything that is to be changed in a scene that has the design's trays."""
        return {**values_of(self.pick), **self.measures}

    def measure(self, path: str) -> float:
        """A measure that a design may set; of several masks the largest."""
        return max(value for own, value in self.measures.items() if is_of(own, path, self.pick))


@dataclass(slots=True)
class Designer:
    """All that is worked out once for a scene, however many wishes are tried."""

    loaded: Loaded
    tick: Tick = silent
    benches: dict[str, LensBench] = field(default_factory=dict)
    _bases: dict[str, Loaded] = field(default_factory=dict)
    _dark: dict[tuple[object, ...], bool] = field(default_factory=dict)
    _faults: dict[tuple[object, ...], str] = field(default_factory=dict)
    ruled_out: dict[str, str] = field(default_factory=dict)
    build_shares: dict[object, tuple[float, float]] = field(default_factory=dict)
    so_far: dict[Wishes, Design] = field(default_factory=dict)  # the best found on the way, by what is asked
    _solved: dict[tuple[str, Wishes, tuple[str, ...]], Design | None] = field(default_factory=dict)
    _tried: dict[str, Tried] = field(default_factory=dict)  # by choices
    _cleared: dict[str, dict[object, bool]] = field(default_factory=dict)  # by choices but for who shares a mask
    _own: dict[tuple[str, Wishes], list[Notches]] = field(default_factory=dict)  # of masks, a lens each

    @property
    def design(self) -> DesignRow:
        """The scene's own wishes."""
        assert self.loaded.scene.design is not None
        return self.loaded.scene.design

    @property
    def picks(self) -> list[dict[str, Any]]:
        """Every set of choices, without those of trays that are left out."""
        every = space_of(self.loaded.scene, self.design).picks
        kept = [{path: value for path, value in pick.items() if path == TRAYS or is_there(path, pick)} for pick in every]
        return list({repr(pick): pick for pick in kept}.values())

    def prepare(self) -> None:
        """The lenses over the range that [check] spans, each with the states that hold it."""
        prepare_judge()
        space = space_of(self.loaded.scene, self.design)
        plans = plans_of(self.loaded)
        for one in checked_ranges(plans):
            own = tuple(plan for plan in widest_stops(plans) if plan.lens_name == one.lens.name)
            far = space.scene(self.loaded.scene, [_farthest(knob) for knob in space.knobs])
            held = Ranged(lens=one.lens, plans=(*own, *one.plans), left_out_mm=one.left_out_mm)
            self.benches[one.lens.name] = LensBench(held, own[0].rebuilt(box_for(far, one.lens))[1])

    def needed_mm(self) -> float:
        """The most room that any lens's pupil asks for."""
        return max(room_needed_mm(state.variants) for bench in self.benches.values() for state in bench.states)

    def best(self, wishes: Wishes, small: tuple[str, ...] = ()) -> list[Design]:
        """The best design of each set of choices, the best of all first; what cannot be better than another's is left out."""
        found = [one for pick in self.picks if (one := self.solved(pick, wishes, small or self.design.small)) is not None]
        return sorted(found, key=lambda one: one.found.cost)

    def solved(self, pick: Mapping[str, Any], wishes: Wishes, small: tuple[str, ...]) -> Design | None:
        """The best design of one set of choices; None where none works."""
        key = (repr(sorted(pick.items())), replace(wishes, clear_builds=None), small)  # builds are told as room
        if key not in self._solved:
            solve = self._shared if isinstance(pick.get(MASKS), int) else self._solve
            self._solved[key] = solve(pick, wishes, small)
        return self._solved[key]

    def _shared(self, pick: Mapping[str, Any], wishes: Wishes, small: tuple[str, ...]) -> Design | None:
        """The best design of a number of masks, whichever lenses share one."""
        if not wishes.lenses:
            return None
        alike = {**pick, MASKS: (wishes.lenses,)}
        attempt = self.attempt(alike, wishes, small)
        found, own = None, self._own_notches(alike, attempt, wishes)
        if not own:
            self.ruled_out.setdefault(pick_words(pick), self._why_not(alike, attempt))
        ways, exact = shares(attempt, own, pick[MASKS]) if own else [], len(own) <= MOST_EXACT
        for tried, (area_mm2, places) in enumerate(ways):
            if tried == MOST_WAYS:
                exact = False
                break
            if found is not None and found.found.is_proven and area_mm2 >= found.outside.mask_area_mm2 - SAME_MM2:
                break  # none of the rest can be tighter
            one = self.solved({**pick, MASKS: named(places, wishes.lenses)}, wishes, small)
            if one is not None and (found is None or _is_better(one, found)):
                found = one
            if found is None and self.solved({**pick, MASKS: tuple((name,) for name in wishes.lenses)}, wishes, small) is None:
                break  # what does not work with a mask for each lens works with no fewer
        if found is not None:
            self.ruled_out.pop(pick_words(pick), None)
        return found if found is None or exact else replace(found, found=replace(found.found, trials=max(found.found.trials, 1)))

    def _own_notches(self, alike: Mapping[str, Any], attempt: Try, wishes: Wishes) -> list[Notches]:
        """How wide open one mask has to be for each lens: whatever else is asked of the box, and however many masks there are."""
        key = repr(sorted(alike.items())), replace(wishes, lights=(), limits=(), clear_builds=None)
        if key not in self._own:
            self._own[key] = own_notches(attempt)
        return self._own[key]

    def cannot(self, pick: Mapping[str, Any], wishes: Wishes) -> bool:
        """Whether a set of choices of which masks are one is shown to do nothing of what is asked, by a mask for each lens.

        A box with fewer masks is one of those with a mask for each lens, some of them alike. So where even the least openings of
        these leave no room, go beyond a limit or let a light in, with all else as closed as it can be, no number of masks does.
        Limits of weight are left aside: a mask weighs less the wider it opens.
        """
        if not wishes.lenses:
            return True
        sizes = tuple((measure, most) for measure, most in wishes.limits if measure != WEIGHT)
        alone = {**pick, MASKS: tuple((name,) for name in wishes.lenses)}
        attempt = self.attempt(alone, replace(wishes, limits=sizes), self.design.small)
        return all(knob.opens for knob in attempt.space.knobs) and not may_work(attempt)

    def _solve(self, pick: Mapping[str, Any], wishes: Wishes, small: tuple[str, ...]) -> Design | None:
        attempt = self.attempt(pick, wishes, small)
        if not wishes.lenses:
            return None
        if wishes.lights and self.solved(pick, replace(wishes, lights=()), small) is None:
            return None  # nor does it with lights kept off, for whose sake places and depths would be tried one by one

        def keep(found: Found) -> None:
            known = self.so_far.get(wishes)
            if known is None or found.cost < known.found.cost:
                self.so_far[wishes] = self.designed(pick, attempt, found)

        found = placed(attempt, turns=bool(wishes.lights), tick=self.tick, keep=keep)
        if found is not None:
            return self.designed(pick, attempt, found)
        if pick and counted(pick) in self.picks:
            self.ruled_out.setdefault(pick_words(pick), self._why_not(pick, attempt))
        return None

    def _why_not(self, pick: Mapping[str, Any], attempt: Try) -> str:
        """Why a set of choices does not do."""
        if attempt.fault_at is not None:
            return self.fault(pick, attempt, attempt.fault_at)
        held = next(blocked(attempt), None)
        if held is None:
            return "not all that is asked can be had"
        return f"no room even at the widest: {state_words(held.state)}: {held.part}, {held.where}"

    def designed(self, pick: Mapping[str, Any], attempt: Try, found: Found) -> Design:
        """A design of notches."""
        scene = attempt.space.scene(attempt.scene, found.notches)
        fitted = of_lenses(scene, [bench.lens.name for bench in attempt.benches])
        outside = outside_of(fitted, self.design, self.base(pick).resources.outlines)
        return Design(pick=pick, attempt=attempt, found=found, scene=scene, outside=outside)

    def base(self, pick: Mapping[str, Any]) -> Loaded:
        """The scene with its choices made; SceneError where a value cannot be chosen."""
        key = repr(sorted(pick.items()))
        if key not in self._bases:
            self._bases[key] = self._chosen(pick)
        return self._bases[key]

    def _chosen(self, pick: Mapping[str, Any]) -> Loaded:
        """Trays and masks first, then what is chosen of those that are there."""
        loaded = with_trays(self.loaded, pick[TRAYS]) if TRAYS in pick else self.loaded
        if MASKS in pick:
            loaded = with_masks(loaded, groups_of(pick[MASKS], [lens.name for lens in loaded.scene.lens]))
        values = values_of(pick)
        return changed(loaded, values) if values else loaded

    def remade(self, design: Design) -> Loaded:
        """A design as a scene of its own, with its measures as a file says them."""
        return changed(self.base(design.pick), rounded(design.measures))

    def attempt(self, pick: Mapping[str, Any], wishes: Wishes, small: tuple[str, ...]) -> Try:
        """One set of choices with what is asked of it."""
        scene, outlines = self.base(pick).scene, self.base(pick).resources.outlines
        assert scene.design is not None
        benches = [self.benches[lens] for lens in wishes.lenses]
        tried = self._tried_of(pick)

        def has_shape(space: Space) -> bool:
            attempt = Try(scene, space, benches, Asked(), cost=lambda _: (), tried=tried)
            return all(attempt.box(bench, 0, attempt.widest) is not None for bench in benches)

        space = widened(space_of(scene, scene.design), wishes.wide, pick, has_shape)
        outsides: dict[Notches, Outside] = {}

        def outside(notches: Notches) -> Outside:
            if notches not in outsides:
                fitted = of_lenses(space.scene(scene, notches), wishes.lenses)
                outsides[notches] = outside_of(fitted, self.design, outlines)
            return outsides[notches]

        def cost(notches: Notches) -> tuple[float, ...]:
            share = sum(_share(knob, n) for knob, n in zip(space.knobs, notches, strict=True))
            return (*(MEASURES[measure](outside(notches)) for measure in small), share)

        def least(notches: Notches) -> Outside:
            straight = outside(deepest(space, levelled(space, scene, notches)))  # its plates may be larger: they cover wider rears
            return replace(outside(notches), hoods_mm=straight.hoods_mm)

        def bound(notches: Notches) -> tuple[float, ...]:
            return tuple(MEASURES[measure](least(notches)) for measure in takewhile(lambda one: one != WEIGHT, small))

        def within(notches: Notches) -> bool:
            return all(MEASURES[measure](outside(notches)) <= most + 1e-9 for measure, most in wishes.limits)

        def may_be_within(notches: Notches) -> bool:
            return all(MEASURES[measure](least(notches)) <= most + 1e-9 for measure, most in wishes.limits)

        def holds(notches: Notches) -> bool:
            return not self._fault(_key(pick, space, notches), space.scene(scene, notches), benches)

        def light(notches: Notches) -> bool:
            key, drawn = _key(pick, space, notches), space.scene(scene, notches)
            return all(self._is_dark(key, drawn, bench, light) for light in wishes.lights for bench in benches)

        asked = Asked(more_mm=wishes.more_mm, walk=wishes.walk)
        words = trying_words(self.picks, pick)
        return Try(
            scene,
            space,
            benches,
            asked,
            cost,
            within=within,
            bound=bound,
            may_be_within=may_be_within,
            holds=holds,
            light=light,
            looking=lambda: self.tick(0, words),
            bends=dict(wishes.bends),
            tried=tried,
        )

    def _tried_of(self, pick: Mapping[str, Any]) -> Tried:
        others = repr(sorted((path, value) for path, value in pick.items() if path != MASKS))
        cleared = self._cleared.setdefault(others, {})
        return self._tried.setdefault(repr(sorted(pick.items())), Tried(cleared=cleared))

    def fault(self, pick: Mapping[str, Any], attempt: Try, notches: Notches) -> str:
        """Why a box cannot be built or used with the lenses of a try, the first reason; '' where it can."""
        return self._fault(_key(pick, attempt.space, notches), attempt.space.scene(attempt.scene, notches), attempt.benches)

    def _fault(self, key: object, scene: Scene, benches: Sequence[LensBench]) -> str:
        if (key,) not in self._faults:
            self._faults[(key,)] = next((problem for table in _tables(scene) for _, problem in table.faults()), "")
        return self._faults[(key,)] or next(filter(None, (self._fault_with(key, scene, bench) for bench in benches)), "")

    def _fault_with(self, key: object, scene: Scene, bench: LensBench) -> str:
        own = (key, bench.lens.name)
        if own not in self._faults:
            self._faults[own] = _looked_over(scene, bench)
        return self._faults[own]

    def _is_dark(self, key: object, scene: Scene, bench: LensBench, light: str) -> bool:
        own = (key, bench.lens.name, light)
        if own not in self._dark:
            self.tick(0, f"looking whether {light} stays off the glass")
            fitted = box_for(scene, bench.lens)
            self._dark[own] = all(is_kept_off(state.with_box(fitted), light) for state in bench.states)
        return self._dark[own]


def of_lenses(scene: Scene, names: Sequence[str]) -> Scene:
    """The scene with some of its lenses alone, and the parts that are fitted with any of them."""
    if len(names) == len(scene.lens):
        return scene
    parts = {key: _fitted_with(getattr(scene.box, key), names) for key in PART_KEYS}
    lenses = tuple(lens for lens in scene.lens if lens.name in names)
    return scene.model_copy(update={"lens": lenses, "box": scene.box.model_copy(update=parts)})


def _fitted_with(parts: Sequence[BoxPart], names: Sequence[str]) -> tuple[BoxPart, ...]:
    return tuple(part for part in parts if part.lenses is None or not set(part.lenses).isdisjoint(names))


def _key(pick: Mapping[str, Any], space: Space, notches: Notches) -> object:
    """What tells one box from another."""
    return repr(sorted(pick.items())), tuple(space.values(notches).values())


def _looked_over(scene: Scene, bench: LensBench) -> str:
    """Why a box cannot be built or used with a lens, however far its front comes out; '' where it can."""
    fitted = box_for(scene, bench.lens)
    by_travel = {state.travel_mm: state for state in bench.states}
    return next(filter(None, (_looked_over_at(fitted, bench.lens, state) for state in by_travel.values())), "")


def _looked_over_at(fitted: Box, lens: Lens, state: State) -> str:
    try:
        assembly, box = state.rebuilt(fitted)
    except GeometryError as error:
        return str(error)
    notes = box_notes(fitted, lens, assembly, box, state.variants)
    for note in (*notes.facts, *notes.contradictions, *notes.focus):
        if note.severity is Severity.FAULT or note.doubts_light:
            return f"{note.part}: {note.text}"
    return ""


def blocked(attempt: Try) -> Iterator[Held]:
    """Parts that lack room with everything as wide as is allowed, one for each lens."""
    for bench in attempt.benches:
        held = (attempt.held(bench, number, attempt.widest) for number in range(len(bench.states)))
        first = next((one for one in held if one is not None), None)
        if first is not None:
            yield first


def is_kept_off(state: State, name: str) -> bool:
    """Whether a light is proven off the outermost glass of a state, or its lens front; one that is in the picture cannot be."""
    light = next((one for one in stray_lights(state.scene) if one.name == name), None)
    if light is None or any(light_in_frame(lens, state.grid, light) for lens in state.variants):
        return True
    setup = setup_of(state, middle_variant(state), state.fitted, target="glass", rng=np.random.default_rng(3))
    if setup.target.face is None:
        return False
    return reach_of(setup.target.face, light, setup.world, set_flags(state.fitted, state)) is Reach.NONE


def _tables(scene: Scene) -> Iterator[Any]:
    """The tables of a scene whose rules a design may break."""
    yield scene
    yield scene.box
    for parts in (scene.box.back, scene.box.stage, scene.box.mask, scene.box.hood, scene.box.flag):
        yield from parts


def _farthest(knob: Knob) -> int:
    """The notch at which a part reaches farthest ahead, as far as a measure alone tells."""
    grows = knob.spot.key in {"at_mm", "depth_mm", "length_mm", "ahead_mm", "thickness_mm"}
    return max(range(len(knob.values)), key=lambda n: knob.values[n]) if grows else knob.last


def _share(knob: Knob, notch: int) -> float:
    """How far a measure lies on its way from the least to the largest."""
    span = knob.high - knob.low
    return (knob.values[notch] - knob.low) / span if span > 0 else 0.0


def _is_better(one: Design, other: Design) -> bool:
    """Whether a design is smaller by what is to be small before the weight, or as small with tighter masks."""
    told = len(one.found.bound)
    if is_less(one.found.cost[:told], other.found.cost[:told]) or is_less(other.found.cost[:told], one.found.cost[:told]):
        return is_less(one.found.cost[:told], other.found.cost[:told])
    return one.outside.mask_area_mm2 < other.outside.mask_area_mm2 - SAME_MM2
