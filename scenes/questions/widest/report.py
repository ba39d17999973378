"""From which focal length on a family of lenses clears a box, setup by setup, and which lenses of the scene do. Prints nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial
from itertools import pairwise, product
from typing import Protocol

import numpy as np

from geometry.body import Part
from raytrace.beam.clearance import ALONG_MM, Clearance
from raytrace.beam.frame_margin import scaled
from raytrace.box import Box
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState
from scenes.changes.stages import added_depth_mm
from scenes.questions.widest.lens_family import (
    LONGEST_SHARE,
    SHORTEST_SHARE,
    Family,
    Measures,
    Rule,
    checked,
    family_of,
    family_states,
    longest_mm,
    relatives,
)
from scenes.questions.widest.setups import Setup, Stack, setups_of, stack_of
from scenes.runtime.first_run import prepare_judge
from scenes.runtime.progress import Tick, silent
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.resources import Resources
from scenes.scene_file.tables.scene import Scene, f_numbers_of, focus_distances_of
from scenes.states.clear_rule import WALK_MM, beyond_room_mm, room_needed_mm
from scenes.states.lens_front import own_front
from scenes.states.load import Loaded
from scenes.states.rooms import ROOMY, Rooms, rooms_of
from scenes.states.state import guides_of, pixel_grid

SWEEP_S = 1.0  # what a focus and stop takes, about
ROUND_MM = 0.1  # focal lengths are told to this, rounded to the longer side
FOCAL_MM = 0.01  # how near a limit is looked for: a tenth of what is told
SURE_MM = 0.5  # what is this clear at two focal lengths is not measured again between them
STEP = math.sqrt(2.0)  # between focal lengths tried on the way to a bracket
SMALL_STEP = 1.06  # and where the limit is known to be near: 2 % of the frame is not much in focal length
CLOSER = 4  # halvings toward the focal length that comes nearest to clearing
TOUCHING = 1.0


class Fate(StrEnum):
    """What became of the search: a limit found; every focal length looked at clears; none does."""

    FOUND = "found"
    ALL = "all clear"
    NONE = "none clears"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """The shortest focal length that clears [mm], rounded up: the shortest looked at where all clear, inf where none does.

    met is what bites first below it, or what comes nearest to clearing where none does; None where all clear.
    """

    fate: Fate
    focal_mm: float
    met: Clearance | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StateLimits:
    """A setup at one focus and stop: `clear` leaves the room that `check` asks for, at `touch` the box meets the beam itself."""

    setup: Setup
    focus_mm: float
    f_number: float
    clear: Limit
    touch: Limit


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupLimits:
    """A setup over every focus and stop."""

    setup: Setup
    states: tuple[StateLimits, ...]

    @property
    def clear(self) -> StateLimits:
        """The state that asks for the longest lens."""
        return max(self.states, key=lambda state: (state.clear.focal_mm, state.touch.focal_mm))

    @property
    def touch(self) -> StateLimits:
        """The state in which the box bites at the longest focal length."""
        return max(self.states, key=lambda state: state.touch.focal_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class WidestReport:
    """Every limit of a family in front of a box; own_front says, by focus, below which focal length its own front is too small."""

    family: Family
    from_mm: float
    to_mm: float
    added_mm: float
    setups: tuple[SetupLimits, ...]
    own_front: tuple[tuple[float, Limit], ...]


STATED_NOTHING = Measures()


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is asked for: the reference lens (None: the widest), what its relatives measure, the range, a stage's depth."""

    like: str | None = None
    measures: Measures = STATED_NOTHING
    from_mm: float | None = None
    to_mm: float | None = None
    added_mm: float | None = None


def widest_report(loaded: Loaded, wanted: Wanted, tick: Tick = silent) -> WidestReport:
    """The limits of a family for every setup, focus and stop of a scene."""
    scene = loaded.scene
    grid = pixel_grid(scene.camera)
    family = family_of(scene, loaded.resources, wanted.like, wanted.measures, grid)
    added_mm = wanted.added_mm or added_depth_mm(scene)
    ends = (wanted.from_mm or SHORTEST_SHARE * family.focal_mm, wanted.to_mm or LONGEST_SHARE * family.focal_mm)
    focus, stops = focus_distances_of(scene, family.lens), f_numbers_of(scene, family.lens)
    checked(family, grid, focus, min(stops))
    prepare_judge()
    setups = setups_of(scene)
    asked = [*((setups, *setting) for setting in product(focus, stops)), *(((), distance, min(stops)) for distance in focus)]
    swept = shared_out(partial(_swept, loaded, family, added_mm, ends), asked, each_s=SWEEP_S, tick=tick)
    own = tuple(limit for limit in swept if isinstance(limit, Limit))
    states = [limits for limits in swept if not isinstance(limits, Limit)]
    found = {setup: [limits[k] for limits in states] for k, setup in enumerate(setups)}
    return WidestReport(
        family=family,
        from_mm=ends[0],
        to_mm=ends[1],
        added_mm=added_mm,
        setups=tuple(SetupLimits(setup=setup, states=tuple(states)) for setup, states in found.items()),
        own_front=tuple(zip(focus, own, strict=True)),
    )


def _swept(
    loaded: Loaded,
    family: Family,
    added_mm: float,
    ends_mm: tuple[float, float],
    asked: tuple[tuple[Setup, ...], float, float],
) -> tuple[StateLimits, ...] | Limit:
    """The limits of setups at one focus and stop; without any setup that of the family's own front."""
    setups, focus_mm, f_number = asked
    here = Sweep(loaded.scene, loaded.resources, family, added_mm, focus_mm, f_number, ends_mm)
    return tuple(here.limits(setup) for setup in setups) if setups else here.own_front()


class At(Protocol):
    """Measures a setup's parts at a focal length."""

    def __call__(self, focal_mm: float, names: Collection[str] | None = None) -> list[Clearance]:
        """The clearance of every part, or of those named."""


class Sweep:
    """A family at one focus and stop. Beams are traced once for each focal length, parts measured once in each."""

    def __init__(
        self,
        scene: Scene,
        resources: Resources,
        family: Family,
        added_mm: float,
        focus_mm: float,
        f_number: float,
        ends_mm: tuple[float, float],
    ) -> None:
        self._scene, self._resources, self._family, self._added_mm = scene, resources, family, added_mm
        self.focus_mm, self.f_number = focus_mm, f_number
        self._grid = pixel_grid(scene.camera)
        self._guides = guides_of(scene.camera, self._grid)
        self._from_mm, self._to_mm = ends_mm[0], longest_mm(focus_mm, ends_mm[1])
        self._stacks: dict[float, Stack] = {}
        self._beams: dict[tuple[float, float, bool, bool], tuple[Rooms, ...]] = {}
        self._found: dict[tuple[float, float, bool, int], Clearance] = {}
        self._needed: dict[float, float] = {}  # room by focal length: a walk may end short of a wider lens's corner
        self._sure: dict[tuple[float, float, int], tuple[float, float]] = {}  # by scale, room, part: focal lengths seen clear at

    def limits(self, setup: Setup) -> StateLimits:
        """The limits of a setup."""
        clear = self._limit(setup, ROOMY)
        touch = self._limit(setup, TOUCHING, near_mm=clear.focal_mm if clear.fate is Fate.FOUND else None)
        return StateLimits(setup=setup, focus_mm=self.focus_mm, f_number=self.f_number, clear=clear, touch=touch)

    def own_front(self) -> Limit:
        """The shortest focal length whose beam gets out of the family's own front."""

        def at(focal_mm: float, names: Collection[str] | None = None) -> list[Clearance]:
            ring = own_front(relatives(self._family, focal_mm)[0].front_diameter_mm)
            return [self._clearance(ring, focal_mm, TOUCHING)] if names is None or ring.name in names else []

        return self._search(at)

    def _limit(self, setup: Setup, scale: float, near_mm: float | None = None) -> Limit:
        def at(focal_mm: float, names: Collection[str] | None = None) -> list[Clearance]:
            parts = self._stack(focal_mm).parts(setup)
            asked = [part for part in parts if (part.name in names if names else not self._surely_clear(part, focal_mm, scale))]
            return [self._clearance(part, focal_mm, scale) for part in asked]

        if not self._stack(self._from_mm).parts(setup):
            return Limit(fate=Fate.ALL, focal_mm=_rounded_up(self._from_mm), met=None)
        return self._search(at, near_mm)

    def _search(self, at: At, near_mm: float | None = None) -> Limit:
        """The shortest focal length that clears; near_mm is one that is known to, a little longer.

        A beam's reach is a convex function of focal length (field / f falls, pupil f / N grows), so those that clear lie
        together, and what clears at both ends of a range clears all over it.
        """
        high, tried = (near_mm, {}) if near_mm else self._some_clear(at)
        if high is None:
            best = max(map(_least, tried.values()), key=lambda clearance: clearance.clearance_mm)
            return Limit(fate=Fate.NONE, focal_mm=math.inf, met=best)
        step = SMALL_STEP if near_mm else STEP
        low = max((focal_mm for focal_mm in tried if focal_mm < high), default=max(high / step, self._from_mm))
        while _clear(found := at(low)) and low > self._from_mm:
            high, low = low, max(low / step, self._from_mm)
        if _clear(found):
            return Limit(fate=Fate.ALL, focal_mm=_rounded_up(low), met=None)
        return self._closed_in(at, found, low, high)

    def _closed_in(self, at: At, found: list[Clearance], low: float, high: float) -> Limit:
        """The limit between a focal length that bites and one that clears; rounded up, and confirmed with every part."""
        biting = {clearance.part for clearance in found if clearance.clearance_mm <= 0}
        while biting:
            name = _least(found).part
            low = _root(lambda focal_mm, name=name: at(focal_mm, [name])[0].clearance_mm, low, high)  # type: ignore[misc]
            biting.discard(name)
            found = at(low, biting) if biting else []
            biting = {clearance.part for clearance in found if clearance.clearance_mm <= 0}
        focal_mm = _rounded_up(low)
        while not _clear(at(focal_mm)) and focal_mm < self._to_mm:
            focal_mm = _rounded_up(focal_mm + ROUND_MM)
        return Limit(fate=Fate.FOUND, focal_mm=focal_mm, met=_least(at(focal_mm - ROUND_MM) or at(low, [name])))

    def _some_clear(self, at: At) -> tuple[float | None, dict[float, list[Clearance]]]:
        """A focal length that clears, None where none does; and what was found at those that do not."""
        tried: dict[float, list[Clearance]] = {}
        for focal_mm in self._tries():
            found = at(focal_mm)
            if _clear(found):
                return focal_mm, tried
            tried[focal_mm] = found
        return self._clear_between(at, tried), tried

    def _clear_between(self, at: At, tried: dict[float, list[Clearance]]) -> float | None:
        """A focal length that clears beside the one that comes nearest to it: those that clear may be few; None where none does."""
        for _ in range(CLOSER):
            ordered = sorted(tried)
            best = ordered.index(max(ordered, key=lambda focal_mm: _least(tried[focal_mm]).clearance_mm))
            for one, other in pairwise(ordered[max(best - 1, 0) : best + 2]):
                middle = math.sqrt(one * other)
                found = at(middle)
                if _clear(found):
                    return middle
                tried[middle] = found
        return None

    def _tries(self) -> list[float]:
        """Focal lengths from that of the reference lens up to the longest, then down to the shortest."""
        start = min(max(self._family.focal_mm, self._from_mm), self._to_mm)
        count = math.ceil(math.log(self._to_mm / start) / math.log(STEP))
        return [*np.geomspace(start, self._to_mm, count + 1).tolist(), *np.geomspace(start, self._from_mm, 4).tolist()[1:]]

    def _stack(self, focal_mm: float) -> Stack:
        constant = self._family.measures.front is not Rule.SCALED or self._family.measures.front_mm is not None
        key = 0.0 if constant else focal_mm
        if key not in self._stacks:
            lens = relatives(self._family, focal_mm)[0]
            self._stacks[key] = stack_of(self._scene, self._added_mm, lens, self._resources, front_travel_mm=self._family.travel_mm)
        return self._stacks[key]

    def _clearance(self, part: Part, focal_mm: float, scale: float) -> Clearance:
        """A part's clearance as the box is.

        From a roomy frame less where it would have too little room from the frame itself, with the trays empty too.
        """
        clear = scale == ROOMY
        found = self._measured(part, focal_mm, scale)
        needed_mm = self._needed_mm(focal_mm) if clear else 0.0
        if clear and (0.0 < found.clearance_mm < needed_mm or self._stack(focal_mm).now.glasses):
            own = self._measured(part, focal_mm, TOUCHING, also_empty=True)
            spare_mm = beyond_room_mm(own.clearance_mm, needed_mm) if needed_mm > 0.0 else own.clearance_mm
            found = replace(own, clearance_mm=spare_mm) if spare_mm < found.clearance_mm else found
        if found.clearance_mm > SURE_MM:
            low, high = self._sure.get((scale, needed_mm, id(part)), (focal_mm, focal_mm))
            self._sure[scale, needed_mm, id(part)] = min(low, focal_mm), max(high, focal_mm)
        return found

    def _needed_mm(self, focal_mm: float) -> float:
        """The room that `check` asks for with the family's lens."""
        if focal_mm not in self._needed:
            states = family_states(self._family, self._grid, focal_mm, self.focus_mm, self.f_number)
            self._needed[focal_mm] = room_needed_mm(states)
        return self._needed[focal_mm]

    def _measured(self, part: Part, focal_mm: float, scale: float, *, also_empty: bool = False) -> Clearance:
        key = (focal_mm, scale, also_empty, id(part))
        if key not in self._found:
            moved = self._stack(focal_mm).moves(part)
            each = [rooms.clearance(part) for rooms in self._beams_at(focal_mm, scale, moved=moved, empty=False)]
            if also_empty:
                each += [rooms.clearance(part) for rooms in self._beams_at(focal_mm, scale, moved=moved, empty=True)]
            self._found[key] = _least(each)
        return self._found[key]

    def _surely_clear(self, part: Part, focal_mm: float, scale: float) -> bool:
        """Whether a part is clear of a shorter and of a longer lens's beam, or of a larger frame's, with room."""
        known = [(ROOMY, WALK_MM), (ROOMY, 0.0)] if scale != ROOMY else [(ROOMY, WALK_MM)]
        here = (scale, self._needed_mm(focal_mm) if scale == ROOMY else 0.0)
        spans = [self._sure.get((*one, id(part))) for one in {here, *known}]
        return any(span is not None and span[0] <= focal_mm <= span[1] for span in spans)

    def _beams_at(self, focal_mm: float, scale: float, *, moved: bool, empty: bool) -> tuple[Rooms, ...]:
        """The beams as the box is, or with its trays empty: none where they hold nothing anyway.

        As far as the box reaches now, as `check` follows them, or for parts that a stage more has moved.
        """
        key = (focal_mm, scale, moved, empty)
        if key not in self._beams:
            states = family_states(self._family, self._grid, focal_mm, self.focus_mm, self.f_number)
            stack = self._stack(focal_mm)
            whole = stack.whole if moved else stack.now
            bare = replace(whole, glasses=())
            boxes = (bare,) * bool(whole.glasses) if empty else (whole,)
            self._beams[key] = tuple(rooms for box in boxes for rooms in beams_in(states, self._guides, box, scale))
        return self._beams[key]


def beams_in(states: Sequence[LensState], guides: Sequence[Guide], box: Box, scale: float) -> tuple[Rooms, ...]:
    """The beams of some pupil places through a box, of guides grown by a scale."""
    return tuple(rooms_of([state], [scaled(guide, scale) for guide in guides], box) for state in states)


def _least(found: Sequence[Clearance]) -> Clearance:
    return min(found, key=lambda clearance: clearance.clearance_mm)


def _clear(found: Sequence[Clearance]) -> bool:
    return all(clearance.clearance_mm > 0 for clearance in found)


def _root(clear_mm: Callable[[float], float], low: float, high: float) -> float:
    """Where a part's clearance comes to nought between a focal length that it bites at and one that it does not.

    Looked for in 1 / f, with which a beam's reach grows almost evenly.
    """
    from scipy.optimize import brentq  # here, for it takes long to load

    def bounded(inverse: float) -> float:
        return float(np.clip(clear_mm(1 / inverse), -ALONG_MM, ALONG_MM))

    if bounded(1 / low) >= 0:
        return low
    if bounded(1 / high) <= 0:
        return high
    return 1 / float(brentq(bounded, 1 / high, 1 / low, xtol=FOCAL_MM / high**2, rtol=1e-6))


def _rounded_up(focal_mm: float) -> float:
    return round(math.ceil(round(focal_mm / ROUND_MM, 6)) * ROUND_MM, 1)
