"""How much room a frame guide has at its corners and edges, and which part ends it: what the map of a clear state shows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from scenes.states.judgement import judgement_of

if TYPE_CHECKING:
    from raytrace.optics.camera import Guide
    from scenes.states.judgement import GuideJudgement
    from scenes.states.state import State

CORNER_SHARE = 1 / 6  # of a side: so much at either end belongs to the corner, the rest to the edge
SLIVER_MM = 1e-6  # an edge as a guide: as good as a line
PLACES = {
    "top left": (-1, 1), "top": (0, 1), "top right": (1, 1), "right": (1, 0),
    "bottom right": (1, -1), "bottom": (0, -1), "bottom left": (-1, -1), "left": (-1, 0),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeRoom:
    """The least room [mm] of any part to the light of one corner or edge of a guide, and that part.

    `right` and `up` are -1, 0 or 1; picture_mm is the guide's corner or the middle of its edge, right and up on the image plane;
    `least`: the one place that the table's number is of.
    """

    place: str
    right: int
    up: int
    picture_mm: tuple[float, float]
    room_mm: float
    part: str
    least: bool = False


def edge_rooms(plan: State, guide_name: str) -> tuple[EdgeRoom, ...]:
    """The room at each corner and edge of one of the state's guides, from the top left clockwise.

    The least of them is the guide's own room, the number of the table. None where that could not be measured, or nothing is near.
    """
    guide = next(guide for guide in plan.guides if guide.name == guide_name)
    try:
        whole = judgement_of(plan, guide)
        if not whole.followed or whole.nearest is None or not math.isfinite(whole.room_mm):
            return ()
        return _with_least(tuple(_room_at(plan, guide, place, whole) for place in PLACES), guide, whole)
    except Exception:  # noqa: BLE001 - the verdict does not rest on it, and the table tells of what cannot be measured
        return ()


def _room_at(plan: State, guide: Guide, place: str, whole: GuideJudgement) -> EdgeRoom:
    """The room of the light of one place: never less than that of the whole guide's light, which holds it."""
    part, room_mm = _nearest_at(plan, _piece_of(guide, place), whole)
    right, up = PLACES[place]
    (x, y), half = guide.centre_mm, (guide.half_width_mm, guide.half_height_mm)
    at_mm = x + right * half[0], y + up * half[1]
    return EdgeRoom(place=place, right=right, up=up, picture_mm=at_mm, room_mm=max(room_mm, whole.room_mm), part=part)


def _nearest_at(plan: State, piece: Guide, whole: GuideJudgement) -> tuple[str, float]:
    """The part nearest to the light of a piece of a guide, and its room there [mm].

    Parts are asked one by one, those nearest to the whole guide's light first, until no other can come nearer: none has less room
    to a piece than to the whole.
    """
    from raytrace.judge.judgement import judge  # compiled code that reading a scene must not cost

    part, room_mm = "", math.inf
    for number in sorted(range(len(whole.rooms)), key=lambda number: whole.rooms[number].room_mm):
        if room_mm <= whole.rooms[number].room_mm:
            break
        (found,) = judge(plan.variants, piece, replace(plan.box, parts=(plan.box.parts[number],)), margin=False).parts
        if found.room_mm < room_mm:
            part, room_mm = found.part, found.room_mm
    return part, room_mm


def _piece_of(guide: Guide, place: str) -> Guide:
    """A corner of a guide, or an edge between its corners, as a guide of its own."""
    half = np.array([guide.half_width_mm, guide.half_height_mm])
    way = np.array(PLACES[place])
    size = half * (CORNER_SHARE if all(way) else np.where(way == 0, 1.0 - 2 * CORNER_SHARE, 0.0)) + SLIVER_MM
    middle = np.asarray(guide.centre_mm) + way * (half - size)
    x, y = map(float, middle)
    return replace(guide, name=place, half_width_mm=float(size[0]), half_height_mm=float(size[1]), centre_mm=(x, y))


def _with_least(rooms: tuple[EdgeRoom, ...], guide: Guide, whole: GuideJudgement) -> tuple[EdgeRoom, ...]:
    """The rooms, the one at the place of the guide's own least room as the table tells it."""
    nearest = whole.nearest
    assert nearest is not None
    way = (np.array(nearest.picture_mm) - guide.centre_mm) / (guide.half_width_mm, guide.half_height_mm)
    right, up = (int(np.sign(share)) if abs(share) > 1.0 - 2 * CORNER_SHARE else 0 for share in way)
    if (right, up) == (0, 0):  # in the middle of the picture: the place that comes nearest by its own light
        tightest = min(rooms, key=lambda room: room.room_mm)
        right, up = tightest.right, tightest.up
    return tuple(
        replace(room, room_mm=nearest.room_mm, part=nearest.part, least=True) if (room.right, room.up) == (right, up) else room
        for room in rooms
    )
