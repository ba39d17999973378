"""How far in each flag of a show may come, for each state and for all of them. Opens no file, prints nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from geometry.arrays import FloatArray
from geometry.body import Kind, Part
from geometry.frame import Side, pose
from geometry.parts import LEAST_DEG, MOST_DEG
from raytrace.beam.beam import Beam, lens_beam, outer_guides
from raytrace.beam.clearance import NamedBeam, part_clearance, scaled
from raytrace.beam.frame_margin import pessimistic_share
from raytrace.beam.outline import Section
from raytrace.box import Box as RayBox
from raytrace.coverage.engine import coverage_shares
from raytrace.optics.lens import pencils_for
from raytrace.optics.pencil import Pencils
from raytrace.shares import Shares, loss_stops
from raytrace.stray.flag_window import (
    Bars,
    Hinge,
    Sections,
    Touch,
    boards,
    depths_mm,
    farther_out_mm,
    hinge_clearance_mm,
    passes_beside_mm,
    profile,
    touch_of,
)
from raytrace.stray.light_on_glass import SetFlag
from scenes.changes.rooms import Rooms
from scenes.rig.box import bars_of, box_place, flag_name, hinge_of
from scenes.runtime.engines import without_dark_pencils
from scenes.runtime.first_run import prepare
from scenes.runtime.progress import Tick, silent
from scenes.scene_file.tables.box import Box
from scenes.states.clear_rule import NOTHING_SHARE, ROOM_PERCENT, beyond_room_mm, room_needed_mm
from scenes.states.state import State

BoolArray = NDArray[np.bool_]

STEP_DEG = 0.1  # angles are given to this: a hinge with a friction knob is set no finer
RIM_POINTS = 33  # per side of a guide, as the check looks at its edges
BRACKET_DEG = (0.6, 1.2, 2.4, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 210.0)  # how far in from clear a visible loss is looked for
FINE_DEG = 0.03  # how near to the angle itself
GLASS_ROOM_MM = 25.0  # glass farther behind a flag than this leaves straight rays about it, even where it is tilted
ROUNDED_DEG = 1e-6  # an angle this little past a step is on it
ROOM_SEGMENTS = 16  # to a quarter of the arcs round a section with room: 0.003 mm short of 2.5 mm, less than GRAZE_MM
MOST_TENTHS = 100  # of a mm that a hinge is moved on by when its blade folded back has too little room
LEANING = 1e-9  # of a box's axis against the lens's: rounding


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

    farther_mm, rounded up, is how much farther out it has to be for its flag to fold right back and leave a clear frame its room.
    """

    clear_mm: float
    farther_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The smallest opening angles of one flag [deg], rounded up to STEP_DEG; -inf: any angle does, inf: none does.

    clear_deg keeps the frame clear with the room that `check` asks for; touch is where the edge of the beam itself is met;
    visible_deg costs at most the visible loss. most_deg and touch_most_deg are how far the flag may be opened by the first two,
    rounded down: less than MOST_DEG where a blade folded back would reach into a beam that passes close by its hinge; hinge then,
    and where no angle is clear, says how close.
    """

    clear_deg: float
    clear: Touch
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


@dataclass(frozen=True, slots=True)
class Beams:
    """The beams of a state, as they are and of a frame with room; one for each pupil depth and outer guide, in the same order.

    room_mm is how far a clear frame's parts stay from the touching ones as well: what scenes.states.clear_rule asks for.
    """

    touching: tuple[NamedBeam, ...]
    roomy: tuple[NamedBeam, ...]
    room_mm: float = 0.0

    def spare_mm(self, part: Part) -> float:
        """How much farther in a part could stand before `check` no longer called the frame clear; not positive: it does not."""
        spare = part_clearance(part, self.roomy).clearance_mm
        if self.room_mm <= 0.0 or spare <= 0.0:
            return spare
        return min(spare, beyond_room_mm(part_clearance(part, self.touching).clearance_mm, self.room_mm))


def beams_for(plan: State, far_mm: float) -> Beams:
    """The beams of a state, fine enough up to a distance ahead of the lens front.

    Their rays run on beyond the plane in focus: a flag that reaches so far would show, blurred, wherever the picture sees past a
    subject in that plane.
    """
    far = pose(ahead_mm=far_mm)
    pairs = [(v, lens, guide) for v, lens in enumerate(plan.variants) for guide in outer_guides(plan.guides)]

    def named(scale: float) -> tuple[NamedBeam, ...]:
        return tuple(
            NamedBeam(guide.name, v, lens_beam(lens, scaled(guide, scale), plan.box, far=far).endless()) for v, lens, guide in pairs
        )

    return Beams(touching=named(1.0), roomy=named(1 + ROOM_PERCENT / 100), room_mm=room_needed_mm(plan.variants))


class FlagBench:
    """One state's limits for any flag: beams are traced once, and cut once in each plane."""

    def __init__(self, plan: State, places: Sequence[FlagPlace] | None = None, *, more_mm: float = 0.0) -> None:
        self.plan, self.places = plan, flag_places(plan) if places is None else tuple(places)
        reach = [float(place.hinge.plane(place.bars.reach_mm + more_mm).origin_mm[2]) for place in self.places]
        self.beams = beams_for(plan, max(reach, default=1.0))
        self._cuts: dict[tuple[int, float, float], Section] = {}
        self._rooms: dict[float, Rooms] = {}
        self._spans: dict[tuple[Side, float, float, Bars], tuple[float, float]] = {}  # the box's pose is one
        self._grown_cuts: dict[tuple[int, float, float], Section] = {}

    def limits(self, place: FlagPlace, bars: Bars) -> Limits:
        """The smallest angles of a flag, or of another hinged in its place."""
        clear, touch = self._roomy_touch(place.hinge, bars), self._touch(place.hinge, bars)
        touch_deg = self._confirmed_touch(place.hinge, bars, rounded_up(touch.angle_deg))
        if self.focus_in_reach(place.hinge, bars):  # shares know nothing of what stands beyond that plane
            visible = touch_deg
        else:
            visible = rounded_up(self.rim.least_angle(place.hinge, bars, touch.angle_deg))
        clear_deg, most_deg = self._span(place.hinge, bars, clear)
        return Limits(
            clear_deg=clear_deg,
            clear=clear,
            touch_deg=touch_deg,
            touch=touch,
            visible_deg=min(visible, touch_deg, clear_deg),
            most_deg=most_deg,
            touch_most_deg=rounded_in(touch.most_deg),
            hinge=None if clear_deg < math.inf and most_deg >= MOST_DEG else self._hinge_room(place.hinge, bars),
        )

    def clear_deg(self, hinge: Hinge, bars: Bars) -> float:
        """The smallest angle that keeps the frame clear, alone."""
        return self.span_deg(hinge, bars)[0]

    def span_deg(self, hinge: Hinge, bars: Bars) -> tuple[float, float]:
        """The smallest and the largest angle between which a flag keeps the frame clear, alone; (inf, MOST_DEG) where none does."""
        key = (hinge.side, hinge.out_mm, hinge.at_mm, bars)
        if key not in self._spans:
            self._spans[key] = self._span(hinge, bars, self._roomy_touch(hinge, bars))
        return self._spans[key]

    def _span(self, hinge: Hinge, bars: Bars, touch: Touch) -> tuple[float, float]:
        least = self._safe(hinge, bars, rounded_up(touch.angle_deg))
        if least == math.inf:
            return least, MOST_DEG
        most = MOST_DEG if touch.most_deg >= MOST_DEG else rounded_in(touch.most_deg)
        most = _brought_in(most, least, lambda tried: self._spares(hinge, bars, tried))
        return (least, most) if least <= most else (math.inf, MOST_DEG)

    def _hinge_room(self, hinge: Hinge, bars: Bars) -> HingeRoom:
        own, roomy = self.outline(hinge, bars), [profile(cut, hinge, bars.width_mm) for cut in self._roomy_cuts(hinge, bars)]
        return HingeRoom(
            clear_mm=math.floor(10 * hinge_clearance_mm(own)) / 10,
            farther_mm=self._farther_mm(hinge, bars, math.ceil(10 * farther_out_mm(bars, shapely.union_all(roomy))) / 10),
        )

    def _farther_mm(self, hinge: Hinge, bars: Bars, farther_mm: float) -> float:
        """How much farther out a hinge lets its blade fold right back, confirmed by the blade's room in space."""
        for tenths in range(MOST_TENTHS):
            tried_mm = round(farther_mm + tenths / 10, 1)
            if self._spares(replace(hinge, out_mm=hinge.out_mm + tried_mm), bars, MOST_DEG):
                return tried_mm
        return round(farther_mm + MOST_TENTHS / 10, 1)

    def outline(self, hinge: Hinge, bars: Bars) -> BaseGeometry:
        """What a flag can meet of the beam, over all pupil depths and guides: a shape in (ahead of, out from) its hinge [mm]."""
        shapes = [profile(self._cut(named.beam, hinge, bars), hinge, bars.width_mm) for named in self.beams.touching]
        return shapely.union_all(shapes)

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
        return touch_of(bars, hinge, [self._cut(named.beam, hinge, bars) for named in self.beams.touching])

    def _roomy_touch(self, hinge: Hinge, bars: Bars) -> Touch:
        return touch_of(bars, hinge, self._roomy_cuts(hinge, bars))

    def _roomy_cuts(self, hinge: Hinge, bars: Bars) -> list[Sections]:
        """What a flag that leaves a clear frame its room must not meet, one for each beam."""
        pairs = zip(self.beams.roomy, self.beams.touching, strict=True)
        return [self._with_room(roomy.beam, own.beam, hinge, bars) for roomy, own in pairs]

    def _with_room(self, roomy: Beam, own: Beam, hinge: Hinge, bars: Bars) -> Sections:
        """The sections of the beam of a frame with room, and all that lies less than room_mm from those of the frame itself."""
        sections, room_mm = self._cut(roomy, hinge, bars), self.beams.room_mm
        if room_mm <= 0.0:
            return sections
        return {depth: self._grown(section, own, hinge, depth) for depth, section in sections.items()}

    def _grown(self, section: Section, own: Beam, hinge: Hinge, depth_mm: float) -> Section:
        key = (id(own), hinge.at_mm, depth_mm)
        if key not in self._grown_cuts:
            wide = self._section(own, hinge, depth_mm).buffer(self.beams.room_mm, quad_segs=ROOM_SEGMENTS)
            self._grown_cuts[key] = cast("Section", section.union(wide))
        return self._grown_cuts[key]

    def _cut(self, beam: Beam, hinge: Hinge, bars: Bars) -> Sections:
        found = {depth: self._section(beam, hinge, depth) for depth in depths_mm(bars).tolist()}
        return {depth: section for depth, section in found.items() if not section.is_empty}

    def _section(self, beam: Beam, hinge: Hinge, depth_mm: float) -> Section:
        key = (id(beam), hinge.at_mm, depth_mm)
        if key not in self._cuts:
            self._cuts[key] = beam.section(hinge.plane(depth_mm))
        return self._cuts[key]

    def _safe(self, hinge: Hinge, bars: Bars, angle_deg: float) -> float:
        """The angle confirmed by the blade's own room in space; by sections alone where it can reach beyond the plane in focus."""
        if not math.isfinite(angle_deg) or not self.focus_in_reach(hinge, bars):
            return self.confirmed(hinge, bars, angle_deg)
        rear = hinge.plane(float(depths_mm(bars)[0])).origin_mm[2] - GLASS_ROOM_MM
        if any(float(glass.slab.pose.origin_mm[2]) > rear for glass in self.plan.box.glasses):
            return self.confirmed(hinge, bars, angle_deg)
        if self.beams.room_mm > 0.0 and _leans(hinge):
            # check measures room square to the lens axis, sections lie square to the box's
            return self.confirmed(hinge, bars, angle_deg)
        aside = max(passes_beside_mm(cut, hinge, bars.width_mm) for cut in self._roomy_cuts(hinge, bars))
        wide = replace(bars, width_mm=bars.width_mm + 2 * aside)
        if aside > 0.0 and rounded_up(self._roomy_touch(hinge, wide).angle_deg) > angle_deg:
            return self.confirmed(hinge, bars, angle_deg)
        return angle_deg

    def confirmed(self, hinge: Hinge, bars: Bars, angle_deg: float) -> float:
        """The angle, opened as far as the parts themselves ask for: the farther out a blade, the more room it has."""
        return _opened(angle_deg, lambda tried: self._spares(hinge, bars, tried))

    def _confirmed_touch(self, hinge: Hinge, bars: Bars, angle_deg: float) -> float:
        """The same for the angle at which a blade touches the beam itself: narrow and bent ones may do so between sections."""
        if self.focus_in_reach(hinge, bars):
            return angle_deg
        return _opened(angle_deg, lambda tried: all(self._room_mm(part) > 0.0 for part in boards(hinge, bars, tried)))

    def _spares(self, hinge: Hinge, bars: Bars, angle_deg: float) -> bool:
        """Whether the parts themselves leave a clear frame its room."""
        parts = boards(hinge, bars, angle_deg)
        if self.focus_in_reach(hinge, bars):
            return all(self.beams.spare_mm(part) > 0.0 for part in parts)
        return all(self._spare_mm(part) > 0.0 for part in parts)

    def _spare_mm(self, part: Part) -> float:
        """How much farther in a part could stand, in space, before the judgement no longer called the frame clear."""
        spare = self._room_mm(part, 1 + ROOM_PERCENT / 100)
        if self.beams.room_mm <= 0.0 or spare <= 0.0:
            return spare
        return min(spare, beyond_room_mm(self._room_mm(part), self.beams.room_mm))

    def _room_mm(self, part: Part, scale: float = 1.0) -> float:
        """The room of a part in space from the beams of guides grown by a scale, glass in and out [mm]."""
        alone = RayBox(parts=(part,), glasses=self.plan.box.glasses)
        if scale not in self._rooms or not self._rooms[scale].reaches(alone):
            far = [board for place in self.places for board in boards(place.hinge, place.bars, 0.0)]
            whole = RayBox(parts=(*self.plan.box.parts, *far, part), glasses=self.plan.box.glasses)
            guides = [scaled(guide, scale) for guide in outer_guides(self.plan.guides)]
            self._rooms[scale] = Rooms(self.plan.variants, guides, whole)
        return self._rooms[scale].clearance(part).clearance_mm


def _opened(angle_deg: float, holds: Callable[[float], bool]) -> float:
    """The smallest angle from here on that holds, in steps: looked for in doubled steps, then between the last two; inf: none."""
    if not math.isfinite(angle_deg) or holds(angle_deg):
        return angle_deg
    low, step = angle_deg, STEP_DEG
    high = rounded_up(low + step)
    while high < math.inf and not holds(high):
        low, step = high, 2 * step
        high = rounded_up(low + step)
    if high == math.inf:
        return math.inf
    while high - low > 1.5 * STEP_DEG:
        middle = rounded_up((low + high) / 2)
        low, high = (low, middle) if holds(middle) else (middle, high)
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


def _leans(hinge: Hinge) -> bool:
    return bool(abs(hinge.box.rotation[2, 2] - 1.0) > LEANING)


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
        shares: Shares = without_dark_pencils(coverage_shares(pencils, box, with_alone=False, threads=1), pencils)
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


def flag_states(plans: Sequence[State], tick: Tick = silent) -> Iterator[tuple[FlagBench, tuple[FlagState, ...]]]:
    """Every state with the limits of its flags."""
    for plan in plans:
        work = FlagBench(plan)
        found = []
        for place in work.places:
            bare = work.limits(place, place.bars.bare) if place.bars.extension_mm > 0.0 else None
            limits, near = work.limits(place, place.bars), work.focus_in_reach(place.hinge, place.bars)
            found.append(FlagState(flag=place, plan=plan, limits=limits, bare=bare, focus_in_reach=near))
        tick(1, plan.key)
        yield work, tuple(found)


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

    Never less than they do cost: what each takes is added up. States that some flag cannot keep clear are left out; None where no
    two flags are met.
    """
    angles = {flag.name: flag.kept().limit("visible_deg")[0] for flag in flags if flag.kept().states}
    shut = {state.plan.key for flag in flags for state in flag.hopeless}
    found = []
    for work in works:
        met = [place for place in work.places if math.isfinite(angles.get(place.name, math.inf))]
        if len(met) > 1 and work.plan.key not in shut:
            parts = [boards(place.hinge, place.bars, angles[place.name]) for place in met]
            found.append((work.rim.loss_stops(parts), work.plan))
    return max(found, key=lambda one: one[0], default=None)
