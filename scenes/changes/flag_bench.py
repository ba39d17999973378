"""How far in any flag of one state may come, by the room that a clear frame keeps and by the light at its edges."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry.arrays import FloatArray
from geometry.body import Part
from geometry.flags import LEAST_DEG, MOST_DEG, Bars, Hinge, boards
from geometry.frame import Pose, Side, mirrored_words, pose
from geometry.outline import Freeform
from raytrace.beam.beam import Beam, lens_beam, outer_guides
from raytrace.beam.clearance import ALONG_MM
from raytrace.beam.outline import Section
from raytrace.box import Box as RayBox
from raytrace.optics.lens import TracedPupil
from raytrace.stray.flag_window import (
    Sections,
    Span,
    Touch,
    depths_mm,
    farther_out_mm,
    hinge_clearance_mm,
    lowest_out_mm,
    profile_of,
    span,
    span_of_rays,
    touch_of,
    widest_touch,
)
from scenes.changes.angle_steps import brought_in, least_deg, rounded_in, rounded_up
from scenes.changes.edge_light import Rim
from scenes.changes.flag_places import FlagPlace, flag_places
from scenes.changes.flag_summaries import HingeRoom, Limits
from scenes.changes.flagless import SWUNG
from scenes.states.clear_rule import room_needed_mm
from scenes.states.rooms import SAME_MM, ClearRooms, Rooms, rooms_of
from scenes.states.state import State

ROOM_SEGMENTS = 16  # to a quarter of the arcs round a section with room: 0.003 mm short of 2.5 mm, less than GRAZE_MM
SPARE_MM = 0.2  # more than a section is larger than the rays that it holds, and its profile than the section
MOST_FARTHER = 12  # steps, each twice the last, that a hinge is moved out by when its blade folded back has too little room
FARTHEST_DEG = (0.0, 45.0, 90.0)  # where flags and extensions reach farthest along the axis


class _Hung(NamedTuple):
    """A flag in its place."""

    side: Side
    out_mm: float
    at_mm: float
    bars: Bars


class _Cuts(Mapping[float, Section]):
    """Sections by their places, each worked out when it is asked for."""

    def __init__(self, depths_mm: tuple[float, ...], section: Callable[[float], Section]) -> None:
        self._depths, self._section = depths_mm, section

    def __getitem__(self, depth_mm: float) -> Section:
        """The section at a place."""
        return self._section(depth_mm)

    def __iter__(self) -> Iterator[float]:
        """The places."""
        return iter(self._depths)

    def __len__(self) -> int:
        """How many there are."""
        return len(self._depths)


def _is_upright(at: Pose) -> bool:
    """Whether a pose is the same in a mirror: in the middle, turned about the axis across alone."""
    return bool(at.origin_mm[0] == 0.0 and at.rotation[0, 0] == 1.0)


class FlagBench:
    """One state's limits for any flag: beams are made once, for the judgement, and cut once in each plane for where they are met.

    left_out_mm is how much more room than `check` asks for a clear frame is to have (`scenes.states.full_range`); wider: the same
    lens at the same zoom and focus at a wider stop, whose beam holds this one's: what leaves that its room leaves it to this.
    """

    def __init__(
        self,
        plan: State,
        places: Sequence[FlagPlace] | None = None,
        *,
        more_mm: float = 0.0,
        left_out_mm: float = 0.0,
        wider: FlagBench | None = None,
    ) -> None:
        self._wider = wider
        self.plan, self.places = plan, flag_places(plan) if places is None else tuple(places)
        self._far_mm = max((float(p.hinge.plane(p.bars.reach_mm + more_mm).origin_mm[2]) for p in self.places), default=1.0)
        self._left_out_mm = left_out_mm
        self._beams: tuple[Beam, ...] | None = None
        self._crossed: dict[tuple[int, float, float], FloatArray | None] = {}
        self._cuts: dict[tuple[int, float, float], Section] = {}
        self._behind: dict[tuple[int, float], FloatArray | None] = {}  # the box's pose is one
        self._clear: ClearRooms | None = None
        self._own: Rooms | None = None
        self._spans: dict[_Hung, tuple[float, float]] = {}
        self._later: dict[_Hung, float] = {}
        self._limits: dict[_Hung, Limits] = {}
        self._sides: dict[_Hung, Side] = {}  # that limits were worked out on
        self._profiles: dict[tuple[int, int, _Hung], BaseGeometry] = {}

    def limits(self, place: FlagPlace, bars: Bars) -> Limits:
        """The smallest angles of a flag, or of another hinged in its place."""
        side, key = place.side, _Hung(place.side, place.hinge.out_mm, place.hinge.at_mm, bars)
        if side is Side.RIGHT and self._is_mirrored and self._loses_nothing:
            key = self._hung(place.hinge, bars)
        if key not in self._limits:
            self._limits[key] = self._limits_of(place.hinge, bars)
            self._sides[key] = side
        found = self._limits[key]
        if self._sides[key] is side:
            return found
        return replace(found, touch=replace(found.touch, where=mirrored_words(found.touch.where)))

    def _limits_of(self, hinge: Hinge, bars: Bars) -> Limits:
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
        key = self._hung(hinge, bars)
        if key not in self._spans:
            self._spans[key] = self._span(hinge, bars)
        return self._spans[key]

    def _span(self, hinge: Hinge, bars: Bars) -> tuple[float, float]:
        met = self._outline(hinge, bars, self._depths_met(hinge, bars))
        near = widest_touch(bars, met.buffer(self._room_mm, quad_segs=ROOM_SEGMENTS))
        start = LEAST_DEG if near.angle_deg < LEAST_DEG else rounded_up(near.angle_deg)
        key = self._hung(hinge, bars)
        likely = start + (self._wider.later_deg(key) if self._wider is not None else 0.0)
        least = least_deg(start, lambda tried: self._lacks_mm(hinge, bars, tried), bars.reach_mm, likely)
        if least == math.inf:
            return least, MOST_DEG
        self._later[key] = least - start
        most = MOST_DEG if near.most_deg >= MOST_DEG else max(rounded_in(near.most_deg), least)
        if self._wider is None or not self._wider.spans(key, most):
            most = brought_in(most, least, lambda tried: self.holds(hinge, bars, tried))
        return -math.inf if least <= LEAST_DEG else least, most

    def later_deg(self, key: _Hung) -> float:
        """By how much a flag's smallest angle is wider than what its sections tell first, where that is known."""
        return self._later.get(key, 0.0)

    def spans(self, key: _Hung, angle_deg: float) -> bool:
        """Whether an angle is known to lie between the smallest and the largest that keep the frame clear."""
        least, most = self._spans.get(key, (math.inf, MOST_DEG))
        return least <= angle_deg <= most

    def _hung(self, hinge: Hinge, bars: Bars) -> _Hung:
        """What a flag's room hangs on: of two that mirror each other in a state that does so too, the same."""
        side = Side.LEFT if hinge.side is Side.RIGHT and self._is_mirrored else hinge.side
        return _Hung(side, hinge.out_mm, hinge.at_mm, bars)  # the box's pose is one

    @cached_property
    def _is_mirrored(self) -> bool:
        """Whether the left of all that the light of the frame meets is its right as a mirror shows it: lens, guides, box, glass."""
        plan = self.plan
        return (
            all(not isinstance(lens.pupil, TracedPupil) for lens in plan.variants)
            and all(guide.centre_mm[0] == 0.0 for guide in plan.guides)
            and all(_is_upright(place.hinge.box) for place in self.places)
            and all(_is_upright(glass.slab.pose) for glass in plan.box.glasses)
            and not any(isinstance(glass.slab.outline, Freeform) for glass in plan.box.glasses)
        )

    @cached_property
    def _loses_nothing(self) -> bool:
        """Whether all but the flags takes no light at the frame's edges, to the left or to the right."""
        return all(bool((share == 1.0).all()) for share in self.rim.fixed)

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
        """The beam as a flag has it before it, over all pupil depths and guides: a shape in (ahead of, out from) its hinge [mm]."""
        return self._outline(hinge, bars, depths_mm(bars))

    def _outline(self, hinge: Hinge, bars: Bars, depths: FloatArray) -> BaseGeometry:
        return shapely.union_all([self._profile(beam, hinge, bars, depths) for beam in self.beams])

    def _profile(self, beam: Beam, hinge: Hinge, bars: Bars, depths: FloatArray) -> BaseGeometry:
        """What a flag can meet of a beam, see `profile`; worked out once."""
        key = (id(beam), len(depths), _Hung(hinge.side, hinge.out_mm, hinge.at_mm, bars))
        if key not in self._profiles:
            met = (depth for depth in depths.tolist() if self._rays(beam, hinge, depth) is not None)
            self._profiles[key] = profile_of({depth: self._span_at(beam, hinge, bars.width_mm, depth) for depth in met})
        return self._profiles[key]

    def _span_at(self, beam: Beam, hinge: Hinge, width_mm: float, depth_mm: float) -> Span | None:
        """What a beam takes up within a flag's width in a plane, by its rays alone where it all does, for that is told quickly."""
        rays = self._rays(beam, hinge, depth_mm)
        within = None if rays is None or beam.inside is not None else span_of_rays(rays, beam.pad_mm, hinge, width_mm)
        return span(self._section(beam, hinge, depth_mm), hinge, width_mm) if within is None else within

    def _rays(self, beam: Beam, hinge: Hinge, depth_mm: float) -> FloatArray | None:
        """Where the rays round a beam cross a plane (N, 2) [mm]; None where none does."""
        key = (id(beam), hinge.at_mm, depth_mm)
        if key not in self._crossed:
            sheets = [sheet.at_plane(hinge.plane(depth_mm)) for sheet in beam.sheets]
            found = np.concatenate([xy[there].reshape(-1, 2) for xy, there in sheets])
            self._crossed[key] = found if len(found) else None
        return self._crossed[key]

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
        return Rim(self.plan, untouched=self.rest_stands_out)

    @cached_property
    def rest_stands_out(self) -> bool:
        """Whether all but the flags surely stands out of the beam as the box is."""
        if self._wider is not None and self._wider.rest_stands_out:
            return True
        return all(self.stands_out(part) for part in self.plan.box.parts if part.kind not in SWUNG)

    def _touch(self, hinge: Hinge, bars: Bars) -> Touch:
        depths = self._depths_met(hinge, bars)
        cuts = [self._cut(beam, hinge, depths) for beam in self.beams]
        return touch_of(bars, hinge, cuts, [self._profile(beam, hinge, bars, depths) for beam in self.beams])

    def _depths_met(self, hinge: Hinge, bars: Bars) -> FloatArray:
        """Places (K,) of sections where a flag may meet the beam or its room: not behind the hinge where all that is too low."""
        depths, room_mm = depths_mm(bars), self._room_mm + SPARE_MM
        low = all(self._highest_behind_mm(beam, hinge) + room_mm < lowest_out_mm(bars, room_mm) for beam in self.beams)
        return depths[depths >= 0.0] if low else depths

    def _highest_behind_mm(self, beam: Beam, hinge: Hinge) -> float:
        """How far out from a hinge a beam comes behind it [mm]; inf where that is not known."""
        key = (id(beam), hinge.at_mm)
        if key not in self._behind:
            points = beam.bends_behind(hinge.plane(0.0))
            self._behind[key] = None if points is None else hinge.box.points_to_part(points)[:, :2]
        across = self._behind[key]
        return math.inf if across is None else float(hinge.out_and_along(across)[0].max())

    def _cut(self, beam: Beam, hinge: Hinge, depths: FloatArray) -> Sections:
        met = [depth for depth in depths.tolist() if self._rays(beam, hinge, depth) is not None]
        return _Cuts(tuple(met), lambda depth: self._section(beam, hinge, depth))

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

    def stands_out(self, part: Part) -> bool:
        """Whether any part surely stands out of the beam as the box is, however far that is followed."""
        return self._own_rooms((part,)).lacks_mm(part, SAME_MM) <= 0.0

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
