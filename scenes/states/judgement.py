"""The one judgement of a state that every command asks: rooms of all parts in space, the frame's margin, and whether it is clear.

Why: docs/physics.md, "Pupils taken as fixed" and "Parts beyond the plane in focus".
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from geometry.body import Kind
from geometry.frame import ahead_in_words, frame_to_right_up, where_in_words
from geometry.notes import Note, Severity
from raytrace.beam.beam import holds, outer_guides
from raytrace.beam.frame_margin import WIDEST_PERCENT, Margin
from raytrace.box import Box
from raytrace.kept import Kept
from scenes.cautions.box_notes import box_notes
from scenes.cautions.traced_notes import picture_notes
from scenes.runtime.first_run import prepare_judge
from scenes.states.clear_rule import ROOM_PERCENT, has_room, room_needed_mm

if TYPE_CHECKING:
    from raytrace.judge.judgement import Judgement, PartRoom
    from raytrace.optics.camera import Guide
    from scenes.states.state import State

LENS_FRONT = "the lens front"  # what places along the axis are told from
FARTHEST_MM = 150.0  # rooms are told no farther: what is beyond may come nearer where the beam is not followed
KEPT = 256  # judgements kept in a process: those of all states of a show, and of what is tried for them
MIDDLE_SHARE = 0.3  # of a side, about its middle: a part that touches there is told by the side, not by a corner
MIDDLE_OF_EDGE = 0.5  # the same in the picture, whose corners are at 1, 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """How far a part stays out of the beam in space [mm], never more than it does; 0 or less where it is in: how deep.

    range_mm holds the least and the most over the pupil depths. `where` is the place on the part in the operator's words, point_mm
    (x, y, z) the same in the frame, picture_mm (right, up) the field point whose light passes there. through: a board deeper in
    than half its size. beyond_focus: some of the part stands beyond the plane in focus, where nothing is looked at. margin_percent
    only where every part's was asked for.
    """

    part: str
    kind: Kind
    room_mm: float
    range_mm: tuple[float, float]
    where: str
    point_mm: tuple[float, float, float] | None
    picture_mm: tuple[float, float]
    through: bool
    beyond_focus: bool
    margin_percent: float | None = None

    @property
    def is_in(self) -> bool:
        """Whether the part touches the beam."""
        return not self.room_mm > 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideJudgement:
    """One guide's rooms, part by part in the box's order, and its margin (None where it was not asked for).

    pad_mm is how far the beam was widened for what lies between field points. followed: False where some light could not be
    followed through the glass. whole_field: False where the lens has no light for some of the guide.
    """

    guide: Guide
    rooms: tuple[Room, ...]
    margin: Margin | None
    pad_mm: float
    followed: bool
    whole_field: bool

    @property
    def nearest(self) -> Room | None:
        """The part with the least room; None without parts."""
        return min(self.rooms, key=lambda room: room.room_mm, default=None)

    @property
    def room_mm(self) -> float:
        """The room of the nearest part [mm]; inf without parts."""
        return self.nearest.room_mm if self.nearest else math.inf

    @property
    def clear(self) -> bool:
        """Whether every part is shown to stand clear of the beam."""
        return self.followed and self.room_mm > 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StateJudgement:
    """A state's outer guides as the box is, and with its trays empty (the same where it holds no glass); what keeps it from clear.

    faults are those that leave the light in doubt; needed_mm is the room that a clear frame needs (scenes.states.clear_rule).
    """

    fitted: tuple[GuideJudgement, ...]
    empty: tuple[GuideJudgement, ...]
    faults: tuple[Note, ...]
    needed_mm: float

    @property
    def rooms(self) -> tuple[Room, ...]:
        """Every part as the box is: the worst of the guides."""
        return worst_rooms([guide.rooms for guide in self.fitted])

    @property
    def empty_rooms(self) -> tuple[Room, ...]:
        """Every part with the trays empty: the worst of the guides."""
        return worst_rooms([guide.rooms for guide in self.empty])

    @property
    def worst_rooms(self) -> tuple[Room, ...]:
        """Every part: the worse of glass in and trays empty."""
        return worst_rooms([self.rooms, self.empty_rooms])

    @property
    def room_mm(self) -> float:
        """The least room of any part, glass in or out [mm]; inf without parts."""
        return min((guide.room_mm for guide in (*self.fitted, *self.empty)), default=math.inf)

    @property
    def nearest(self) -> Room | None:
        """The part with the least room, glass in or out."""
        return min(self.worst_rooms, key=lambda room: room.room_mm, default=None)

    @property
    def apart(self) -> bool:
        """No fault in doubt of the light, and every part out of every beam, glass in and out, by the room needed."""
        return not self.faults and self.clear_with_glass and self.clear_without_glass

    @property
    def clear(self) -> bool:
        """The one rule: all apart, and each guide may grow by what a clear frame needs; never where no margin was asked for."""
        return self.apart and all(g.margin is not None and g.margin.percent >= ROOM_PERCENT for g in self.fitted)

    @property
    def clear_with_glass(self) -> bool:
        """Whether every part stays out, by the room needed, as the box is."""
        return self._has_room(self.fitted)

    @property
    def clear_without_glass(self) -> bool:
        """Whether every part stays out, by the room needed, with the trays empty."""
        return self._has_room(self.empty)

    def _has_room(self, guides: Sequence[GuideJudgement]) -> bool:
        return all(guide.clear and has_room(guide.room_mm, self.needed_mm) for guide in guides)


_kept: OrderedDict[tuple[object, ...], tuple[tuple[object, ...], GuideJudgement]] = OrderedDict()


def judge_state(state: State, *, margin: bool = True, every_margin: bool = False) -> StateJudgement:
    """The judgement of a state; worked out once in a process, however often it is asked for.

    `margin` asks for the frame's margin as the box is, `every_margin` for every part's too.
    """
    guides = outer_guides(state.guides)
    box, bare = state.box, without_glass(state.box)
    fitted = tuple(judge_guide(state, guide, box, margin=margin, every_margin=every_margin) for guide in guides)
    empty = tuple(judge_guide(state, guide, bare) for guide in guides) if box.glasses else fitted
    return StateJudgement(fitted=fitted, empty=empty, faults=doubts(state), needed_mm=room_needed_mm(state.variants))


def judgement_of(state: State, guide: Guide, *, every_margin: bool = False) -> GuideJudgement:
    """One of a state's guides as the box is, with its margin: inside a clear guide by that one's rooms, never more than its own."""
    outer = next(one for one in outer_guides(state.guides) if one is guide or holds(one, guide))
    found = judge_guide(state, outer, margin=True, every_margin=every_margin)
    if outer is guide or found.margin is None:
        return found
    plenty = found.clear and has_room(found.room_mm, room_needed_mm(state.variants)) and found.margin.percent >= ROOM_PERCENT
    if not plenty:
        return judge_guide(state, guide, margin=True)
    return replace(found, guide=guide, margin=_held_margin(found.guide, found.margin, guide))


def empty_judgement_of(state: State, guide: Guide) -> GuideJudgement | None:
    """One of a state's guides with the trays empty, without a margin; None where they hold nothing."""
    if not state.box.glasses:
        return None
    bare = without_glass(state.box)
    outer = next(one for one in outer_guides(state.guides) if one is guide or holds(one, guide))
    found = judge_guide(state, outer, bare)
    enough = found.clear and has_room(found.room_mm, room_needed_mm(state.variants))
    return found if enough or outer is guide else judge_guide(state, guide, bare)


def _held_margin(outer: Guide, margin: Margin, inner: Guide) -> Margin:
    """How much an inner guide may grow and still lie within its outer one, grown by its own margin: at least that."""
    half = np.array([outer.half_width_mm, outer.half_height_mm]) * (1.0 + margin.percent / 100.0)
    away = np.abs(np.subtract(outer.centre_mm, inner.centre_mm))
    percent = 100.0 * (float(((half - away) / (inner.half_width_mm, inner.half_height_mm)).min()) - 1.0)
    return replace(margin, percent=min(percent, WIDEST_PERCENT), capped=True, part=None, where="", ends_at_field=False)


def doubts(state: State) -> tuple[Note, ...]:
    """The faults that leave the state's light in doubt, those of its box among them: while one stands nothing is clear.

    The one rule for `check` and every other command; a state made without what its box is at fault with has it all the same.
    """
    picture = picture_notes(state.lens_name, state.variants, state.guides)
    doubted = [note for note in _told(state) if note.doubts_light] + [note for note in picture if note.severity is Severity.FAULT]
    return tuple(dict.fromkeys(doubted))


def faults(state: State) -> tuple[Note, ...]:
    """All that keeps the state's box from being used as it stands: its doubts, and glass that leaves a gap, say."""
    return tuple(dict.fromkeys((*doubts(state), *(note for note in _told(state) if note.severity is Severity.FAULT))))


def _told(state: State) -> tuple[Note, ...]:
    of_box = box_notes(state.fitted, state.lens, state.assembly, state.box, state.variants)
    return (*of_box.focus, *state.notes, *of_box.facts)


def slips(state: State) -> tuple[Note, ...]:
    """The cautions about numbers that look like slips, those of its box among them: told beside whatever rests on them.

    They leave clear as it is, for such a number may be meant.
    """
    of_box = box_notes(state.fitted, state.lens, state.assembly, state.box, state.variants)
    found = (*state.lens_notes.facts, *state.notes, *of_box.facts)
    return tuple(dict.fromkeys(note for note in found if note.may_be_slip))


def _emptied(box: Box) -> Box:
    return replace(box, glasses=()) if box.glasses else box


without_glass: Kept[Box, Box] = Kept(_emptied, KEPT)  # the box with its trays empty; the same one each time it is asked for


def judge_guide(
    state: State, guide: Guide, box: Box | None = None, *, margin: bool = False, every_margin: bool = False
) -> GuideJudgement:
    """One guide of a state in its own box or another; worked out once in a process."""
    box = box or state.box
    held = (state.variants, box)  # kept with the answer, so that no other object gets their ids
    key = (id(state.variants), id(box), guide, every_margin)
    for asked in ((*key, True), (*key, False)):
        if asked in _kept and (asked[-1] or not margin):
            return _kept[asked][1]
    found = _judged(state, guide, box, margin=margin, every_margin=every_margin)
    _kept[(*key, margin)] = (held, found)
    if len(_kept) > KEPT:
        _kept.popitem(last=False)
    return found


def _judged(state: State, guide: Guide, box: Box, *, margin: bool, every_margin: bool) -> GuideJudgement:
    from raytrace.judge.judgement import judge  # compiled code that reading a scene must not cost

    prepare_judge()
    found = judge(state.variants, guide, box, margin=margin, every_margin=every_margin)
    rooms = tuple(_room(part) for part in found.parts)
    return GuideJudgement(
        guide=guide,
        rooms=rooms,
        margin=_margin(guide, found, rooms) if margin else None,
        pad_mm=found.pad_mm,
        followed=found.followed,
        whole_field=found.whole_field,
    )


def _margin(guide: Guide, found: Judgement, rooms: Sequence[Room]) -> Margin:
    if found.margin_percent is None:
        return Margin(percent=WIDEST_PERCENT, capped=True)
    part = found.margin_part
    return Margin(
        percent=found.margin_percent,
        part=part,
        where="" if part is None else picture_words(guide, rooms[part].picture_mm),
        capped=found.margin_capped and found.margin_percent > 0.0,
        ends_at_field=found.margin_ends_at_field,
    )


def _room(part: PartRoom) -> Room:
    return Room(
        part=part.part,
        kind=part.kind,
        room_mm=part.room_mm,
        range_mm=part.range_mm,
        where=place_words(part.point_mm),
        point_mm=part.point_mm,
        picture_mm=part.picture_mm,
        through=part.through,
        beyond_focus=part.beyond_focus,
        margin_percent=part.margin_percent,
    )


def place_words(point_mm: tuple[float, float, float] | None) -> str:
    """Where a point of the box stands: 'top right, 31.0 mm ahead of the lens front'; '' for none."""
    if point_mm is None:
        return ""
    right, up = frame_to_right_up(np.array(point_mm[:2])) / max(abs(point_mm[0]), abs(point_mm[1]), 1e-9)
    return f"{where_in_words(float(right), float(up), MIDDLE_SHARE)}, {ahead_in_words(point_mm[2], LENS_FRONT)}"


def picture_words(guide: Guide, picture_mm: tuple[float, float]) -> str:
    """Where a place of the picture lies in a guide: 'right', 'top left'."""
    right, up = (np.array(picture_mm) - guide.centre_mm) / (guide.half_width_mm, guide.half_height_mm)
    return where_in_words(float(right), float(up), MIDDLE_OF_EDGE)


def worst_rooms(by_beam: Sequence[Sequence[Room]]) -> tuple[Room, ...]:
    """Each part's worst room over several beams, with the widest range and the least margin."""
    return tuple(_worst(rooms) for rooms in zip(*by_beam, strict=True))


def _worst(rooms: Sequence[Room]) -> Room:
    worst = min(rooms, key=lambda room: room.room_mm)
    margins = [room.margin_percent for room in rooms if room.margin_percent is not None]
    return replace(
        worst,
        range_mm=(min(room.range_mm[0] for room in rooms), min(room.range_mm[1] for room in rooms)),
        beyond_focus=any(room.beyond_focus for room in rooms),
        margin_percent=min(margins, default=None),
    )
