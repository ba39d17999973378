"""What the judgement of a state gives its verdicts: every part's room, the places in doubt, how it fares with the trays empty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from geometry.body import Kind
from geometry.notes import Note, Severity
from raytrace.beam.beam import holds, outer_guides
from raytrace.optics.camera import whole_frame
from raytrace.optics.lens import FixedPupil
from raytrace.shares import loss_stops
from scenes.states.clear_rule import has_room, room_needed_mm
from scenes.states.judgement import GuideJudgement, Room, StateJudgement, empty_judgement_of, judge_guide, judge_state, judgement_of
from scenes.states.names import in_a_sentence
from scenes.states.rooms import rooms_of
from scenes.verdicts.darkest import NO_PLACES, SharesAt, darkest
from scenes.verdicts.doubts import places_in_doubt_mm
from scenes.verdicts.verdict import GuideVerdict, TraysEmpty, with_room, with_trays_empty

if TYPE_CHECKING:
    from raytrace.optics.camera import Guide
    from scenes.states.state import State


WELL_APART_MM = 0.5  # room of parts that a map may leave out


@dataclass(frozen=True, slots=True, kw_only=True)
class PartResult:
    """How far a part stays out of the beam of all guides in space [mm]: worst and range over pupil depths, negative where it is in.

    None where it could not be told. room_percent says how much wider the frame could be before the part shows, where that was
    asked for. through: it stands right in the beam, and the depth is only a word for that. point_mm: the place (x, y, z).
    """

    name: str
    kind: Kind
    clearance_mm: float | None = None
    range_mm: tuple[float, float] | None = None
    where: str = ""
    room_percent: float | None = None
    through: bool = False
    point_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideRooms:
    """One guide's judgements as the box is and with its trays empty; None where they failed, or no tray holds anything."""

    fitted: GuideJudgement | None
    empty: GuideJudgement | None

    def doubtful_mm(self, plan: State) -> NDArray[np.float64]:
        """Places of the picture (N, 2) whose light a part touches, or nearly."""
        return NO_PLACES if self.fitted is None else places_in_doubt_mm(self.fitted, plan.variants, plan.box)


def part_results(plan: State, *, rooms: bool = False) -> tuple[tuple[PartResult, ...], tuple[Note, ...]]:
    """Every part with its clearance; where rooms fail no part has one, and a fault says so."""
    try:
        judged = judge_state(plan, every_margin=rooms)
    except Exception as error:  # noqa: BLE001 - what the map shows must not be lost with the rooms
        return tuple(PartResult(name=part.name, kind=part.kind) for part in plan.box.parts), (_failed(error),)
    return tuple(_result(room, judged) for room in judged.rooms), ()


def parts_apart(plan: State, *, rooms: bool = False) -> tuple[int, ...]:
    """Parts (by index) that the judgement of the whole picture shows well out of its light, which a map need not look at.

    None where some light could not be followed, nor where no guide holds the whole picture and a map is made sooner than a
    judgement of it: pencils of a fixed pupil at infinity. Points of the picture are looked at with all parts all the same. A
    guide's own judgement is asked for as `judge_state` asks, `rooms` or not, so that it is made once.
    """
    try:
        whole, outer = whole_frame(plan.grid), outer_guides(plan.guides)
        own = next((one for one in outer if holds(one, whole)), None)
        if own is None and all(isinstance(lens.pupil, FixedPupil) and math.isinf(lens.object_z_mm) for lens in plan.variants):
            return ()
        if own is None:
            inside = [judge_guide(plan, one, margin=True, every_margin=rooms) for one in outer if holds(whole, one)]
            return _shown_apart(plan, whole, inside)
        judged = judge_guide(plan, own, margin=True, every_margin=rooms)
    except Exception:  # noqa: BLE001 - part_results tells of it
        return ()
    if not (judged.followed and judged.whole_field):
        return ()
    return tuple(number for number, room in enumerate(judged.rooms) if _is_apart(room))


def _is_apart(room: Room) -> bool:
    return room.room_mm > WELL_APART_MM and not room.beyond_focus


def _shown_apart(plan: State, whole: Guide, inside: Sequence[GuideJudgement]) -> tuple[int, ...]:
    """The same by a yes or no for each part that is apart from all guides inside the picture: none other can be."""
    asked = rooms_of(plan.variants, (whole,), plan.box)
    if not asked.whole_field:
        return ()
    left = (n for n in range(len(plan.box.parts)) if all(_is_apart(judged.rooms[n]) for judged in inside))
    return tuple(n for n in left if asked.lacks_mm(plan.box.parts[n], WELL_APART_MM) <= 0.0)


def _failed(error: Exception) -> Note:
    text = f"could not be measured, so nothing is called clear: {in_a_sentence(error)}"
    return Note("clearances", text, Severity.FAULT, doubts_light=True)


def _result(room: Room, judged: StateJudgement) -> PartResult:
    known = all(guide.followed for guide in judged.fitted)
    return PartResult(
        name=room.part,
        kind=room.kind,
        clearance_mm=room.room_mm if known else None,
        range_mm=room.range_mm if known else None,
        where=room.where if known else "",
        room_percent=room.margin_percent,
        through=room.through,
        point_mm=room.point_mm if known else None,
    )


def guide_rooms(plan: State, *, rooms: bool = False) -> tuple[GuideRooms, ...]:
    """What each guide's verdict rests on besides its light."""
    try:
        return tuple(
            GuideRooms(fitted=judgement_of(plan, guide, every_margin=rooms), empty=empty_judgement_of(plan, guide))
            for guide in plan.guides
        )
    except Exception:  # noqa: BLE001 - part_results tells of it
        return tuple(GuideRooms(fitted=None, empty=None) for _ in plan.guides)


def with_rooms(verdict: GuideVerdict, plan: State, guide: Guide, rooms: GuideRooms, bare: Sequence[SharesAt]) -> GuideVerdict:
    """A verdict with its room, glass in and out; `bare` asks for shares with the trays empty, by pupil depth."""
    needed_mm = room_needed_mm(plan.variants)
    nearest = None if rooms.fitted is None else rooms.fitted.nearest
    known = rooms.fitted is not None and rooms.fitted.followed
    room_mm = (math.inf if nearest is None else nearest.room_mm) if known else None
    near = f"{nearest.part}, {nearest.where}" if nearest else ""
    told = with_room(verdict, room_mm=room_mm, needed_mm=needed_mm, nearest=near)
    return with_trays_empty(told, None if rooms.empty is None else trays_empty(rooms.empty, plan, guide, bare))


def trays_empty(judged: GuideJudgement, plan: State, guide: Guide, bare: Sequence[SharesAt]) -> TraysEmpty:
    """How a guide fares with the glass taken out."""
    nearest = judged.nearest
    enough = judged.clear and has_room(judged.room_mm, room_needed_mm(plan.variants))
    doubtful_mm = NO_PLACES if enough else places_in_doubt_mm(judged, plan.variants, plan.box)
    return TraysEmpty(
        room_mm=judged.room_mm,
        part=nearest.part if nearest else "",
        where=nearest.where if nearest else "",
        enough=enough,
        loss_stops=None if enough else max(darkest_stops(guide, at, doubtful_mm) for at in bare),
        filters=len(plan.box.glasses),
    )


def darkest_stops(guide: Guide, shares_at: SharesAt, doubtful_mm: NDArray[np.float64]) -> float:
    """The loss at the darkest place found on a guide's rim and near places in doubt [stops]."""
    return float(loss_stops(darkest(guide, shares_at, guide.rim_points_mm(), doubtful_mm)[1]).max())
