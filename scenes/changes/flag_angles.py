"""How far in each flag of a show may come, for each state and for all of them. Opens no file, prints nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from geometry.arrays import FloatArray
from geometry.body import Kind, Part
from geometry.flags import LEAST_DEG, MOST_DEG, Bars, Hinge, boards
from geometry.frame import Side, pose
from raytrace.beam.beam import Beam, lens_beam, outer_guides
from raytrace.beam.clearance import ALONG_MM
from raytrace.beam.frame_margin import pessimistic_share
from raytrace.beam.outline import Section
from raytrace.box import Box as RayBox
from raytrace.coverage.engine import coverage_shares
from raytrace.optics.lens import pencils_for
from raytrace.optics.pencil import Pencils
from raytrace.shares import Shares, loss_stops
from raytrace.stray.flag_window import (
    Sections,
    Touch,
    depths_mm,
    farther_out_mm,
    hinge_clearance_mm,
    profile,
    touch_of,
    widest_touch,
)
from raytrace.stray.light_on_glass import SetFlag
from scenes.rig.box import bars_of, box_place, flag_name, hinge_of
from scenes.runtime.engines import without_dark_pencils
from scenes.runtime.first_run import prepare
from scenes.runtime.progress import Tick, silent
from scenes.runtime.shared_out import shared_out
from scenes.scene_file.tables.box import Box
from scenes.states.clear_rule import NOTHING_SHARE, room_needed_mm
from scenes.states.full_range import Ranged
from scenes.states.rooms import ClearRooms, Rooms, rooms_of
from scenes.states.state import State

BoolArray = NDArray[np.bool_]
NOTHING_LEFT_OUT: Mapping[str, float] = {}

STEP_DEG = 0.1  # angles are given to this: a hinge with a friction knob is set no finer
RIM_POINTS = 33  # per side of a guide, as the check looks at its edges
BRACKET_DEG = (0.6, 1.2, 2.4, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 210.0)  # how far in from clear a visible loss is looked for
FINE_DEG = 0.06  # how near to the angle itself, on the safe side
STATE_S, JOINT_S = 0.15, 0.02  # what a state takes, and the flags of one together, about
ROUNDED_DEG = 1e-6  # an angle this little past a step is on it
ROOM_SEGMENTS = 16  # to a quarter of the arcs round a section with room: 0.003 mm short of 2.5 mm, less than GRAZE_MM
MOST_FARTHER = 12  # steps, each twice the last, that a hinge is moved out by when its blade folded back has too little room
SURE_SHARE = 0.8  # of what a blade has to turn by at least, for what is lacking is known to that only
MOST_STEP_DEG = 8.0
MOST_TURN_RAD = 0.15
FARTHEST_DEG = (0.0, 45.0, 90.0)  # where flags and extensions reach farthest along the axis


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagPlace:
    """A flag of a box as fitted to one lens: what it is called, how it is set, where it is hinged and what swings there."""

    name: str
    number: int  # in the box of this lens, from 1
    set_deg: float
    hinge: Hinge
    bars: Bars

    @property
    def side(self) -> Side:
        """The side it is hinged on."""
        return self.hinge.side


@dataclass(frozen=True, slots=True, kw_only=True)
class HingeRoom:
    """How far a hinge stays out of the beam itself (negative: how deep it stands in it) [mm], rounded down.

    farther_mm, rounded up, is how much farther out it has to be for its flag to fold right back and leave a clear frame its room;
    None where that is nowhere near, or the hinge stands beyond the plane in focus.
    """

    clear_mm: float
    farther_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The smallest opening angles of one flag [deg], rounded up to STEP_DEG; -inf: any angle does, inf: none does.

    clear_deg keeps the frame clear as `check` has it: room enough with the glass in and out, nothing beyond the plane in focus.
    touch is where the edge of the beam itself is met;
    visible_deg costs at most the visible loss. most_deg and touch_most_deg are how far the flag may be opened by the first two,
    rounded down: less than MOST_DEG where a blade folded back would reach into a beam that passes close by its hinge; hinge then,
    and where no angle is clear, says how close.
    """

    clear_deg: float
    touch_deg: float
    touch: Touch
    visible_deg: float
    most_deg: float = MOST_DEG
    touch_most_deg: float = MOST_DEG
    hinge: HingeRoom | None = None

    @property
    def folds_back(self) -> bool:
        """Whether the flag may be folded right back."""
        return self.most_deg >= MOST_DEG


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagState:
    """One flag in one state, with its extension as it is and without any."""

    flag: FlagPlace
    plan: State
    limits: Limits
    bare: Limits | None  # None where the flag has no extension
    focus_in_reach: bool = False  # whether it can reach beyond the plane in focus


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagSummary:
    """One flag over all states that it is fitted in: the largest of each limit, and the state that asks for it."""

    name: str
    side: Side
    set_deg: float
    bars: Bars
    states: tuple[FlagState, ...]

    def limit(self, key: str, *, bare: bool = False) -> tuple[float, FlagState]:
        """The largest `clear_deg`, `touch_deg` or `visible_deg` of all states, and whose it is."""
        found = [(getattr(_of(state, bare), key), state) for state in self.states]
        return max(found, key=lambda pair: float(pair[0]))

    @property
    def darkens(self) -> bool:
        """Whether it costs more than the visible loss as it is set."""
        return any(not state.limits.visible_deg <= self.set_deg <= state.limits.touch_most_deg for state in self.states)

    @property
    def most_deg(self) -> float:
        """How far it may be opened in every state that it can keep clear."""
        return min((state.limits.most_deg for state in self.kept().states), default=MOST_DEG)

    @property
    def hopeless(self) -> tuple[FlagState, ...]:
        """States in which no angle clears: the hinge itself stands in the beam."""
        return tuple(state for state in self.states if state.limits.clear_deg == math.inf)

    @property
    def clear_deg(self) -> float:
        """The smallest opening angle that keeps clear every state that this flag can keep clear."""
        kept = self.kept()
        return kept.limit("clear_deg")[0] if kept.states else math.inf

    def kept(self) -> FlagSummary:
        """The same flag without the states in which no angle clears."""
        return replace(self, states=tuple(state for state in self.states if state.limits.clear_deg < math.inf))


def _of(state: FlagState, bare: bool) -> Limits:
    return state.bare if bare and state.bare is not None else state.limits


def rounded_up(angle_deg: float) -> float:
    """An angle to the next step wider, within what a flag can be set to; -inf below its least, inf beyond its most."""
    if angle_deg < LEAST_DEG:
        return -math.inf
    if not math.isfinite(angle_deg):
        return angle_deg
    up = math.ceil((angle_deg - ROUNDED_DEG) / STEP_DEG) * STEP_DEG
    return round(up, 1) if up <= MOST_DEG else math.inf


def rounded_in(angle_deg: float) -> float:
    """An angle to the next step less wide."""
    return round(math.floor((angle_deg + ROUNDED_DEG) / STEP_DEG) * STEP_DEG, 1)


def rounded_down(angle_deg: float) -> float:
    """An angle to the step before it; -inf below what a flag can be set to."""
    if not math.isfinite(angle_deg):
        return angle_deg
    down = round(math.floor((angle_deg + 1e-9) / STEP_DEG) * STEP_DEG, 1)
    return down if down >= LEAST_DEG else -math.inf


def flag_places(plan: State) -> tuple[FlagPlace, ...]:
    """Every flag of the box in a state."""
    return places_in(plan.fitted, plan)


def places_in(own_box: Box, plan: State) -> tuple[FlagPlace, ...]:
    """Every flag of a box in a state's place, named as in its own box; flags beyond those are named by their side."""
    place = box_place(own_box, plan.travel_mm)
    named = {part.group: part.name for part in plan.box.parts}
    found = []
    for number, flag in enumerate(own_box.flag, 1):
        name, hinge = named.get(f"box.flag[{number}]", flag_name(flag)), hinge_of(flag, own_box.hood, place)
        found.append(FlagPlace(name=name, number=number, set_deg=flag.angle_deg, hinge=hinge, bars=bars_of(flag)))
    return tuple(found)


def set_flags(own_box: Box, plan: State) -> tuple[SetFlag, ...]:
    """Every flag of a box in a state's place as it stands."""
    return tuple(SetFlag(hinge=p.hinge, bars=p.bars, angle_deg=p.set_deg) for p in places_in(own_box, plan))


class FlagBench:
    """One state's limits for any flag: beams are made once, for the judgement, and cut once in each plane for where they are met.

    left_out_mm is how much more room than `check` asks for a clear frame is to have (`scenes.states.full_range`).
    """

    def __init__(
        self, plan: State, places: Sequence[FlagPlace] | None = None, *, more_mm: float = 0.0, left_out_mm: float = 0.0
    ) -> None:
        self.plan, self.places = plan, flag_places(plan) if places is None else tuple(places)
        self._far_mm = max((float(p.hinge.plane(p.bars.reach_mm + more_mm).origin_mm[2]) for p in self.places), default=1.0)
        self._left_out_mm = left_out_mm
        self._beams: tuple[Beam, ...] | None = None
        self._cuts: dict[tuple[int, float, float], Section] = {}
        self._clear: ClearRooms | None = None
        self._own: Rooms | None = None
        self._spans: dict[tuple[Side, float, float, Bars], tuple[float, float]] = {}  # the box's pose is one

    def limits(self, place: FlagPlace, bars: Bars) -> Limits:
        """The smallest angles of a flag, or of another hinged in its place."""
        hinge = place.hinge
        touch = self._touch(hinge, bars)
        touch_deg = self._confirmed_touch(hinge, bars, rounded_up(touch.angle_deg))
        # shares know nothing of what stands beyond the plane in focus
        near = self.focus_in_reach(hinge, bars)
        visible = touch_deg if near else rounded_up(self.rim.least_angle(hinge, bars, touch.angle_deg))
        clear_deg, most_deg = self.span_deg(hinge, bars)
        return Limits(
            clear_deg=clear_deg,
            touch_deg=touch_deg,
            touch=touch,
            visible_deg=min(visible, touch_deg, clear_deg),
            most_deg=most_deg,
            touch_most_deg=rounded_in(touch.most_deg),
            hinge=None if clear_deg < math.inf and most_deg >= MOST_DEG else self._hinge_room(hinge, bars),
        )

    def clear_deg(self, hinge: Hinge, bars: Bars) -> float:
        """The smallest angle that keeps the frame clear, alone."""
        return self.span_deg(hinge, bars)[0]

    def span_deg(self, hinge: Hinge, bars: Bars) -> tuple[float, float]:
        """The smallest and the largest angle between which a flag keeps the frame clear, alone; (inf, MOST_DEG) where none does."""
        key = (hinge.side, hinge.out_mm, hinge.at_mm, bars)
        if key not in self._spans:
            self._spans[key] = self._span(hinge, bars)
        return self._spans[key]

    def _span(self, hinge: Hinge, bars: Bars) -> tuple[float, float]:
        near = widest_touch(bars, self.outline(hinge, bars).buffer(self._room_mm, quad_segs=ROOM_SEGMENTS))
        start = LEAST_DEG if near.angle_deg < LEAST_DEG else rounded_up(near.angle_deg)
        least = least_deg(start, lambda tried: self._lacks_mm(hinge, bars, tried), bars.reach_mm)
        if least == math.inf:
            return least, MOST_DEG
        most = MOST_DEG if near.most_deg >= MOST_DEG else max(rounded_in(near.most_deg), least)
        most = _brought_in(most, least, lambda tried: self.holds(hinge, bars, tried))
        return -math.inf if least <= LEAST_DEG else least, most

    @property
    def _room_mm(self) -> float:
        """What a clear frame keeps round its beam at least [mm]."""
        return room_needed_mm(self.plan.variants) + self._left_out_mm

    def _hinge_room(self, hinge: Hinge, bars: Bars) -> HingeRoom:
        own = self.outline(hinge, bars)
        roomy = own.buffer(self._room_mm, quad_segs=ROOM_SEGMENTS)
        return HingeRoom(
            clear_mm=math.floor(10 * hinge_clearance_mm(own)) / 10,
            farther_mm=self._farther_mm(hinge, bars, math.ceil(10 * farther_out_mm(bars, roomy)) / 10),
        )

    def _farther_mm(self, hinge: Hinge, bars: Bars, farther_mm: float) -> float | None:
        """How much farther out a hinge lets its blade fold right back, by the blade's room in space; None where nowhere near."""

        def lacks(out_mm: float) -> float:
            return self._lacks_mm(replace(hinge, out_mm=hinge.out_mm + out_mm), bars, MOST_DEG)

        low = high = farther_mm
        for _ in range(MOST_FARTHER):
            lacking = lacks(high)
            if lacking <= 0.0:
                break
            if not lacking < ALONG_MM:  # beyond the plane in focus, wherever it is hinged
                return None
            low, high = high, round(high + max(math.ceil(10 * lacking) / 10, 2 * (high - low), 0.1), 1)
        else:
            return None
        while high - low > 0.15:
            middle = round((low + high) / 2, 1)
            low, high = (low, middle) if lacks(middle) <= 0.0 else (middle, high)
        return high

    def outline(self, hinge: Hinge, bars: Bars) -> BaseGeometry:
        """What a flag can meet of the beam, over all pupil depths and guides: a shape in (ahead of, out from) its hinge [mm]."""
        return shapely.union_all([profile(self._cut(beam, hinge, bars), hinge, bars.width_mm) for beam in self.beams])

    @property
    def beams(self) -> tuple[Beam, ...]:
        """The beams of all pupil depths and outer guides.

        Their rays run on beyond the plane in focus: a flag that reaches so far would show, blurred, wherever the picture sees past
        a subject in that plane.
        """
        if self._beams is None:
            plan, far = self.plan, pose(ahead_mm=self._far_mm)
            pairs = [(lens, guide) for lens in plan.variants for guide in outer_guides(plan.guides)]
            self._beams = tuple(lens_beam(lens, guide, plan.box, far=far).endless() for lens, guide in pairs)
        return self._beams

    def focus_in_reach(self, hinge: Hinge, bars: Bars) -> bool:
        """Whether a flag can reach beyond the plane in focus."""
        leaning_mm = float(np.hypot(*hinge.box.rotation[2, :2])) * (bars.width_mm / 2 + hinge.out_mm)
        farthest_mm = float(hinge.plane(0.0).origin_mm[2]) + bars.reach_mm + leaning_mm
        return any(lens.object_z_mm < farthest_mm for lens in self.plan.variants)

    @cached_property
    def rim(self) -> Rim:
        """What the edges of the guides lose."""
        return Rim(self.plan)

    def _touch(self, hinge: Hinge, bars: Bars) -> Touch:
        return touch_of(bars, hinge, [self._cut(beam, hinge, bars) for beam in self.beams])

    def _cut(self, beam: Beam, hinge: Hinge, bars: Bars) -> Sections:
        found = {depth: self._section(beam, hinge, depth) for depth in depths_mm(bars).tolist()}
        return {depth: section for depth, section in found.items() if not section.is_empty}

    def _section(self, beam: Beam, hinge: Hinge, depth_mm: float) -> Section:
        key = (id(beam), hinge.at_mm, depth_mm)
        if key not in self._cuts:
            self._cuts[key] = beam.section(hinge.plane(depth_mm))
        return self._cuts[key]

    def _confirmed_touch(self, hinge: Hinge, bars: Bars, angle_deg: float) -> float:
        """The angle at which a blade touches the beam itself, opened until it does not: some do so between two sections."""
        if not math.isfinite(angle_deg) or self.focus_in_reach(hinge, bars):
            return angle_deg

        def lacks(tried: float) -> float:
            parts = boards(hinge, bars, tried)
            return max(self._own_rooms(parts).lacks_mm(part) for part in parts)

        return least_deg(angle_deg, lacks, bars.reach_mm)

    def _lacks_mm(self, hinge: Hinge, bars: Bars, angle_deg: float) -> float:
        """By how much a flag at an angle misses the room that a clear frame has; not positive where it leaves it."""
        lacking = 0.0
        parts = boards(hinge, bars, angle_deg)
        rooms = self._clear_rooms(parts)
        for part in reversed(parts):  # an extension is mostly nearer
            lacking = rooms.lacks_mm(part)
            if lacking > 0.0:
                break
        return lacking

    def holds(self, hinge: Hinge, bars: Bars, angle_deg: float) -> bool:
        """Whether a flag at an angle leaves a clear frame its room."""
        return self._lacks_mm(hinge, bars, angle_deg) <= 0.0

    def clears(self, part: Part) -> bool:
        """Whether any part leaves a clear frame its room."""
        return self._clear_rooms((part,)).clears(part)

    def room_mm(self, part: Part) -> float:
        """How far any part stays out of the beam as the box is, in space [mm]."""
        return self._own_rooms((part,)).clearance(part).clearance_mm

    def _clear_rooms(self, parts: Sequence[Part]) -> ClearRooms:
        alone = RayBox(parts=tuple(parts), glasses=self.plan.box.glasses)
        if self._clear is None or not self._clear.reaches(alone):
            self._clear = ClearRooms(self.plan.variants, self.plan.guides, self._whole(parts), left_out_mm=self._left_out_mm)
        return self._clear

    def _own_rooms(self, parts: Sequence[Part]) -> Rooms:
        alone = RayBox(parts=tuple(parts), glasses=self.plan.box.glasses)
        if self._clear is not None and self._clear.own is not None and self._clear.reaches(alone):
            return self._clear.own
        if self._own is None or not self._own.reaches(alone):
            self._own = rooms_of(self.plan.variants, self.plan.guides, self._whole(parts))
        return self._own

    def _whole(self, parts: Sequence[Part]) -> RayBox:
        """How far beams have to be followed for every flag of the box, wherever it swings, and for some parts."""
        swung = [board for place in self.places for deg in FARTHEST_DEG for board in boards(place.hinge, place.bars, deg)]
        return RayBox(parts=(*self.plan.box.parts, *swung, *parts), glasses=self.plan.box.glasses)


def least_deg(start_deg: float, lacks_mm: Callable[[float], float], reach_mm: float) -> float:
    """The smallest angle from here on, in steps, at which nothing is lacking; inf where something is at every angle.

    lacks_mm says by how much room is missed at least; the end of a blade moves by no more than its reach times the turn.
    """
    if not math.isfinite(start_deg):
        return start_deg
    low = high = start_deg
    step, lacking = STEP_DEG, lacks_mm(start_deg)
    while lacking > 0.0:
        if high >= MOST_DEG:
            return math.inf
        short_deg = math.degrees(SURE_SHARE * min(lacking / reach_mm, MOST_TURN_RAD))
        low, high = high, min(rounded_up(high + max(step, short_deg)), MOST_DEG)
        step, lacking = min(2 * step, MOST_STEP_DEG), lacks_mm(high)
    while high - low > 1.5 * STEP_DEG:
        middle = rounded_up((low + high) / 2)
        low, high = (low, middle) if lacks_mm(middle) <= 0.0 else (middle, high)
    return high


def _brought_in(most_deg: float, least_deg: float, holds: Callable[[float], bool]) -> float:
    """The largest angle up to here that holds, in steps, none smaller than the least: the same the other way round."""
    if most_deg <= least_deg or holds(most_deg):
        return most_deg
    high, step = most_deg, STEP_DEG
    low = max(rounded_in(high - step), least_deg)
    while low > least_deg and not holds(low):
        high, step = low, 2 * step
        low = max(rounded_in(high - step), least_deg)
    while high - low > 1.5 * STEP_DEG:
        middle = rounded_in((low + high) / 2)
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


class Rim:
    """What flags take from the edges of a state's guides, over all pupil depths."""

    def __init__(self, plan: State) -> None:
        prepare()
        self._plan = plan
        edge = np.concatenate([guide.rim_points_mm(RIM_POINTS) for guide in outer_guides(plan.guides)])
        self._pencils = tuple(pencils_for(lens, edge) for lens in plan.variants)
        self._visible = 2.0**-plan.visible_loss_stops
        fixed = tuple(part for part in plan.box.parts if part.kind not in (Kind.FLAG, Kind.EXTENSION))
        self._fixed = tuple(self._share(pencils, fixed) for pencils in self._pencils)

    def _share(self, pencils: Pencils, parts: Sequence[Part]) -> FloatArray:
        """The least share (N,) that parts may leave."""
        if not parts:
            return np.ones(len(pencils))
        box = RayBox(parts=tuple(parts), glasses=self._plan.box.glasses)
        seen = coverage_shares(pencils, box, with_alone=False, with_glass=False, threads=1)
        shares: Shares = without_dark_pencils(seen, pencils)
        return pessimistic_share(shares)

    def loss_stops(self, flags: Sequence[Sequence[Part]]) -> float:
        """The worst loss of the box with these flags, each by itself, added up: never less than what they take together."""
        worst = 1.0
        for pencils, fixed in zip(self._pencils, self._fixed, strict=True):
            left = fixed - sum((1.0 - self._share(pencils, parts) for parts in flags), start=np.zeros(len(fixed)))
            worst = min(worst, float(left.min()))
        return float(loss_stops(np.array(max(worst, 0.0))))

    def least_angle(self, hinge: Hinge, bars: Bars, touch_deg: float) -> float:
        """The smallest angle at which a flag costs no more than the visible loss anywhere.

        What the rest of the box takes counts in; where it takes more than that by itself, the flag must add nothing.
        """
        if not math.isfinite(touch_deg):
            return touch_deg
        outer, every = touch_deg, [np.ones(len(fixed), dtype=np.bool_) for fixed in self._fixed]
        for width in BRACKET_DEG:
            inner = max(touch_deg - width, LEAST_DEG)
            costly, losing = self._cost(hinge, bars, inner, every)
            if costly:
                break
            outer = inner
            if inner == LEAST_DEG:
                return -math.inf
        while outer - inner > FINE_DEG:
            middle = (inner + outer) / 2
            inner, outer = (middle, outer) if self._cost(hinge, bars, middle, losing)[0] else (inner, middle)
        return outer

    def _cost(self, hinge: Hinge, bars: Bars, angle_deg: float, looked: Sequence[BoolArray]) -> tuple[bool, list[BoolArray]]:
        """Whether a flag at an angle costs too much at some of the points (N,) looked at, and which points it takes light from."""
        parts = boards(hinge, bars, angle_deg)
        costly, losing = False, []
        for pencils, fixed, where in zip(self._pencils, self._fixed, looked, strict=True):
            taken = np.zeros(len(fixed))
            if where.any():
                taken[where] = 1.0 - self._share(pencils.take(where), parts)
            left = fixed - taken
            costly |= bool(((left < self._visible) & (taken > NOTHING_SHARE)).any())
            losing.append(taken > 0.0)
        return costly, losing


def flag_states(
    plans: Sequence[State], tick: Tick = silent, *, left_out_mm: Mapping[str, float] = NOTHING_LEFT_OUT
) -> Iterator[tuple[FlagBench, tuple[FlagState, ...]]]:
    """Every state with the limits of its flags; left_out_mm is more room for a clear frame, by lens."""
    prepare()
    asked = [(plan, left_out_mm.get(plan.lens_name, 0.0)) for plan in plans]
    found = shared_out(_of_state, asked, each_s=STATE_S, tick=tick, words=_key)
    for (plan, more_mm), states in zip(asked, found, strict=True):
        yield FlagBench(plan, left_out_mm=more_mm), states


def _of_state(asked: tuple[State, float]) -> tuple[FlagState, ...]:
    plan, left_out_mm = asked
    work = FlagBench(plan, left_out_mm=left_out_mm)
    return tuple(_flag_state(work, place) for place in work.places)


def _key(asked: tuple[State, float]) -> str:
    return asked[0].key


def _flag_state(work: FlagBench, place: FlagPlace) -> FlagState:
    bare = work.limits(place, place.bars.bare) if place.bars.extension_mm > 0.0 else None
    limits, near = work.limits(place, place.bars), work.focus_in_reach(place.hinge, place.bars)
    return FlagState(flag=place, plan=work.plan, limits=limits, bare=bare, focus_in_reach=near)


def states_between(ranges: Sequence[Ranged], flags: Sequence[FlagSummary]) -> Iterator[FlagState]:
    """States of lenses' ranges that ask more of a flag than any of its states that are known does."""
    prepare()
    asked = [(plan, one.left_out_mm) for one in ranges for plan in one.plans]
    held = {flag.name: _Held.of(flag) for flag in flags}
    for found in shared_out(partial(_asking_more, held), asked, each_s=STATE_S):
        yield from found


@dataclass(frozen=True, slots=True)
class _Held:
    """What all known states of a flag allow: from and up to which angle, and from which on without its extension."""

    clear_deg: float
    most_deg: float
    bare_deg: float

    @classmethod
    def of(cls, flag: FlagSummary) -> _Held | None:
        """What a flag's states allow; None where no angle clears any."""
        kept = flag.kept()
        if not kept.states:
            return None
        return cls(flag.clear_deg, flag.most_deg, kept.limit("clear_deg", bare=True)[0])


def _asking_more(held: Mapping[str, _Held | None], asked: tuple[State, float]) -> tuple[FlagState, ...]:
    plan, left_out_mm = asked
    work = FlagBench(plan, left_out_mm=left_out_mm)
    asking = (place for place in work.places if (known := held.get(place.name)) is not None and not _is_held(work, place, known))
    return tuple(_flag_state(work, place) for place in asking)


def _is_held(work: FlagBench, place: FlagPlace, flag: _Held) -> bool:
    """Whether a state is clear at both ends of what all others of a flag allow, with its extension and without."""
    asked = [(place.bars, flag.clear_deg), (place.bars, flag.most_deg), (place.bars.bare, flag.bare_deg)]
    return all(work.holds(place.hinge, bars, max(deg, LEAST_DEG)) for bars, deg in asked if deg < math.inf)


def summaries(states: Sequence[FlagState]) -> tuple[FlagSummary, ...]:
    """The states gathered flag by flag, in the order of the first box that has it."""
    by_name: dict[str, list[FlagState]] = {}
    for state in states:
        by_name.setdefault(state.flag.name, []).append(state)
    return tuple(
        FlagSummary(name=name, side=mine[0].flag.side, set_deg=mine[0].flag.set_deg, bars=mine[0].flag.bars, states=tuple(mine))
        for name, mine in by_name.items()
    )


def clear_angles(flags: Sequence[FlagSummary]) -> dict[str, float]:
    """Each flag's smallest clear angle over all states, by name; those that no angle clears are left out."""
    return {flag.name: max(flag.clear_deg, LEAST_DEG) for flag in flags if flag.clear_deg < math.inf}


def joint_loss(works: Sequence[FlagBench], flags: Sequence[FlagSummary]) -> tuple[float, State] | None:
    """The most that all flags together may cost, each at the angle where it alone costs the visible loss [stops], and where.

    Never less than they do cost: what each takes is added up. States that some flag cannot keep clear are left out, and those from
    which the rest of the box takes more than that by itself; None where no two flags are met.
    """
    angles = {flag.name: flag.kept().limit("visible_deg")[0] for flag in flags if flag.kept().states}
    shut = {state.plan.key for flag in flags for state in flag.hopeless}
    asked = []
    for work in works:
        met = tuple(place for place in work.places if math.isfinite(angles.get(place.name, math.inf)))
        if len(met) > 1 and work.plan.key not in shut:
            asked.append((work.plan, met))
    losses = shared_out(partial(_joint_loss, angles), asked, each_s=JOINT_S)
    found = [(loss, plan) for (plan, _), loss in zip(asked, losses, strict=True) if loss is not None]
    return max(found, key=lambda one: one[0], default=None)


def _joint_loss(angles: Mapping[str, float], asked: tuple[State, tuple[FlagPlace, ...]]) -> float | None:
    """What the flags of a state cost at their angles, added up [stops]; None where the rest of the box costs a visible loss."""
    plan, met = asked
    rim = Rim(plan)
    if rim.loss_stops(()) > plan.visible_loss_stops:
        return None
    return rim.loss_stops([boards(place.hinge, place.bars, angles[place.name]) for place in met])
