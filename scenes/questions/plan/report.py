"""A test shoot as values: set-ups in their order, what is shot with each, what need not be, what a single shot tells."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from geometry.notes import Severity
from raytrace.optics.camera import Guide
from scenes.questions.plan.expected import Expected, expected
from scenes.questions.plan.looked_at import LookedAt, SmallMap
from scenes.questions.plan.measuring import field_how, measures_in_order
from scenes.questions.plan.order import best_order
from scenes.questions.plan.reading_tells import Reach, reach_told, told_by_reading
from scenes.questions.plan.setups import Change, Setup, change, order_of, setups_of
from scenes.questions.plan.spots import Spot
from scenes.questions.plan.tells import LensTells, lens_tells, shot_tells_words
from scenes.runtime.version import own_version
from scenes.scene_file.messages import ALL_STOPS
from scenes.scene_file.tables.plan import Minutes, Plan
from scenes.scene_file.tables.scene import Scene
from scenes.states.between import between_states
from scenes.states.clear_rule import LOSING_NOTHING, Word
from scenes.states.load import Loaded
from scenes.states.names import OfState, lens_words
from scenes.states.numbers_used import numbers_by_lens
from scenes.states.state import State
from scenes.verdicts.check import CheckResult, StateResult
from scenes.verdicts.loss_words import SHOWN_LOSS_STOPS, loss_words
from scenes.verdicts.test_plan import Measure, Shot, noticed, shots
from scenes.verdicts.verdict import TraysEmpty

ID_LENGTH = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedShot(OfState):
    """One thing to shoot: its number in the order of work, its state, where to look, what to expect, what it tells.

    `again` is the same once more with the trays empty, where that makes a difference; '' where it does not. `reach` is how far a
    shadow reaches in, where that is worth a reading. `minutes` is what the setting takes, coming from the shot before with the same
    set-up.
    """

    number: int
    plan: State
    shot: Shot
    expected: Expected
    map: SmallMap
    minutes: float
    tells: str
    reach: Reach | None
    again: str

    @property
    def result(self) -> StateResult:
        """The state's result."""
        return self.shot.state

    @property
    def guide(self) -> Guide:
        """The frame guide that the shot is about."""
        return next(guide for guide in self.plan.guides if guide.name == self.shot.guide.guide)


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A set-up in the order of work: what changes to get there, and what is shot with it."""

    number: int
    setup: Setup
    change: Change
    shots: tuple[PlannedShot, ...]

    @property
    def minutes(self) -> float:
        """What the change takes, and the settings of its shots."""
        return self.change.minutes + sum(shot.minutes for shot in self.shots)


@dataclass(frozen=True, slots=True, kw_only=True)
class Covered(OfState):
    """A state that need not be shot: which shot speaks for it, and why."""

    plan: State
    word: Word
    by: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPlan:
    """All of it. `exact`: no other order of the set-ups takes less time."""

    title: str
    plan_id: str
    scene: Scene
    check: CheckResult
    stations: tuple[Station, ...]
    exact: bool
    covered: tuple[Covered, ...]
    measures: tuple[Measure, ...]
    field_how: tuple[str, ...]
    faults: tuple[Measure, ...]
    tells: tuple[LensTells, ...]

    @property
    def shots(self) -> tuple[PlannedShot, ...]:
        """Every shot in the order of work."""
        return tuple(shot for station in self.stations for shot in station.shots)

    @property
    def minutes(self) -> float:
        """What all changes take, the looking aside."""
        return sum(station.minutes for station in self.stations)


def plan_of(show: Loaded, states: Sequence[State], seen: LookedAt) -> TestPlan:
    """The plan of a show's states."""
    lenses = between_states(states, seen.check.called_clear)
    scene, check = show.scene, replace(seen.check, lenses=lenses, numbers=numbers_by_lens(states))
    by_key = {state.key: state for state in states}
    wanted = shots(check)
    setups = setups_of([by_key[shot.state.key] for shot in wanted])
    order = order_of(list(setups.values()), scene.plan.minutes)
    ordered = [list(setups.values())[place] for place in order.places]
    stations = tuple(_stations(ordered, wanted, by_key, seen, scene))
    tells = tuple(_lens_tells(states, stations, seen))
    asked = tuple(measures_in_order(check, states, [setup.lens for setup in ordered], tells))
    return TestPlan(
        title=scene.title,
        plan_id=plan_id(show, states),
        scene=scene,
        check=check,
        stations=stations,
        exact=order.exact,
        covered=tuple(_covered(check, stations, by_key)),
        measures=asked,
        field_how=field_how(asked, states),
        faults=tuple(noticed(check, Severity.FAULT)),
        tells=tells,
    )


def _lens_tells(states: Sequence[State], stations: Sequence[Station], seen: LookedAt) -> Iterator[LensTells]:
    """What stills of each lens's shots tell, in the order of work."""
    for station in stations:
        numbers = {shot.key: shot.number for shot in station.shots}
        own = [state for state in states if state.lens_name == station.setup.lens]
        if (found := lens_tells(own, numbers, seen.tellings)) is not None:
            yield found


def plan_id(show: Loaded, states: Sequence[State]) -> str:
    """What tells this plan's papers from another's: of the scene, the program and the states asked for."""
    said = "\n".join([show.sha256 or show.scene.model_dump_json(), own_version(), *(state.key for state in states)])
    return hashlib.sha256(said.encode()).hexdigest()[:ID_LENGTH]


def _stations(
    setups: Sequence[Setup], wanted: Sequence[Shot], by_key: dict[str, State], seen: LookedAt, scene: Scene
) -> Iterator[Station]:
    before, number = None, 1
    for place, setup in enumerate(setups, 1):
        own = _in_order([shot for shot in wanted if shot.state.lens_name == setup.lens], scene.plan.minutes)
        made = tuple(_planned(number + k, by_key, seen, scene, shot, minutes) for k, (shot, minutes) in enumerate(own))
        yield Station(number=place, setup=setup, change=change(before, setup, scene.plan.minutes), shots=made)
        before, number = setup, number + len(made)


def _in_order(wanted: Sequence[Shot], minutes: Minutes) -> list[tuple[Shot, float]]:
    """Shots of one set-up with the least zooming, focusing and setting of stops, from infinity where nothing speaks against it."""
    listed = sorted(wanted, key=lambda shot: (shot.state.focal_mm, -shot.state.focus_mm, shot.state.f_number))
    cost = np.array([[_setting_minutes(a.state, b.state, minutes) for b in listed] for a in listed]).reshape(
        len(listed), len(listed)
    )
    places = best_order(cost, np.zeros(len(listed))).places
    taken = [0.0, *(float(cost[a, b]) for a, b in pairwise(places))]
    return [(listed[place], one) for place, one in zip(places, taken, strict=True)]


def _setting_minutes(a: StateResult, b: StateResult, minutes: Minutes) -> float:
    zoom, focus = a.focal_mm != b.focal_mm, a.focus_mm != b.focus_mm
    return zoom * minutes.zoom + focus * minutes.focus + (a.f_number != b.f_number) * minutes.stop


def _planned(number: int, by_key: dict[str, State], seen: LookedAt, scene: Scene, shot: Shot, minutes: float) -> PlannedShot:
    low, high = shot.guide.worst.range_stops
    small = seen.maps[shot.state.key]
    glass = [spot.glass_stops for spot in small.spots] or [(0.0, 0.0)]
    more = min(least for least, _ in glass), max(most for _, most in glass)
    readings = expected(scene.plan, low, high, shot.guide.worst.worst_case_stops, more)
    still = shot_tells_words(by_key[shot.state.key], seen.tellings.get(shot.state.key))
    reach = reach_told(shot, readings, small, scene.plan)
    told = (*told_by_reading(shot, readings, small, scene.plan), "" if reach is None else reach.words)
    return PlannedShot(
        number=number,
        plan=by_key[shot.state.key],
        shot=shot,
        expected=readings,
        map=small,
        minutes=minutes,
        tells=" ".join(one for one in (*told, still) if one),
        reach=reach,
        again=again_words(shot.guide.lost_by_empty_trays, scene.plan, small.bare_spot) if shot.guide.word in LOSING_NOTHING else "",
    )


def again_words(empty: TraysEmpty | None, plan: Plan, elsewhere: Spot | None = None) -> str:
    """What the same shot shows with the filters out, where a clear frame needs them; '' where it does not.

    `elsewhere` is the place that is read then, where it is another than with the filters in.
    """
    if empty is None:
        return ""
    read = "read it again" if elsewhere is None else f"read {elsewhere.words} (with the box off as well)"
    again = f"Then take the {empty.filter_words} out, bring the middle back and {read}: expect"
    lost = 0.0 if empty.loss_stops is None else empty.loss_stops
    told = expected(plan, 0.0, lost, lost)
    same = f"what it read with the box off ({told.bare.words}; as predicted {told.range_words})"
    if empty.loss_stops is not None and empty.loss_stops >= SHOWN_LOSS_STOPS:
        most = "no light at all" if empty.loss_stops >= ALL_STOPS else f"up to {loss_words(empty.loss_stops)} less light"
        down = f"down to {told.dark.words} (code {told.dark.code}; as predicted {told.range_words})"
        return f"{again} {most}, {down}, by the {empty.part}, {empty.where}."
    if empty.room_mm <= 0.0:
        trace = f"the {empty.part} stands {-empty.room_mm:.1f} mm in the beam, {empty.where}"
        return f"{again} {same}, or a trace less: {trace}."
    return f"{again} {same}, with {empty.room_mm:.1f} mm of room at the {empty.part}, {empty.where}."


def _covered(check: CheckResult, stations: Sequence[Station], by_key: dict[str, State]) -> Iterator[Covered]:
    made = [shot for station in stations for shot in station.shots]
    keys = {shot.key for shot in made}
    for state in check.states:
        if state.key not in keys:
            by = _speaks_for(state, [shot for shot in made if lens_words(shot) == lens_words(state)])
            yield Covered(plan=by_key[state.key], word=state.word, by=by.number, why=_why(state, by))


def _speaks_for(state: StateResult, of_lens: Sequence[PlannedShot]) -> PlannedShot:
    """The shot at the same focus, else the one with least room: `shots` takes the worst of both."""
    same = [shot for shot in of_lens if shot.focus_mm == state.focus_mm]
    return min(same or of_lens, key=lambda shot: (-list(Word).index(shot.result.word), -shot.expected.high_stops))


def _why(state: StateResult, by: PlannedShot) -> str:
    same = by.focus_mm == state.focus_mm
    which = f"same focus at f/{by.f_number:g}" if same else "same lens"
    if state.word is Word.CLEAR and by.result.word is Word.CLEAR:
        return f"clear; shot {by.number}, {which}, has less room"
    return f"{'clear; ' if state.word is Word.CLEAR else ''}shot {by.number}, {which}, loses as much or more, or has less room"
