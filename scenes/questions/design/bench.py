"""One lens before boxes that are tried: whether each setting stands clear, by the judgement of `check`, each part asked once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from geometry.body import Part
from geometry.cantilever import Sag
from raytrace.beam.clearance import Clearance
from raytrace.box import Box
from scenes.io.value_digest import value_digest
from scenes.questions.make.bends import with_bends_round
from scenes.questions.make.weights import hung_place
from scenes.scene_file.tables.box import Box as SceneBox
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, box_for
from scenes.states.clear_rule import TOLD_MM, room_needed_mm
from scenes.states.full_range import Ranged
from scenes.states.rooms import ClearRooms, Rooms, rooms_of
from scenes.states.state import State


@dataclass(frozen=True, slots=True)
class Asked:
    """The room that is asked for: more_mm beyond that of a clear frame; walk: whether that of a fixed pupil counts."""

    more_mm: float = 0.0
    walk: bool = True


@dataclass(frozen=True, slots=True)
class Held:
    """What keeps a part from coming in: the state, the part, where it lacks room, in which guide's beam; bent: as its rods bend."""

    state: State
    part: str
    where: str
    guide: str
    room_mm: float
    bent: bool = False


class LensBench:
    """A lens over its whole range of focus and zoom at its widest stop: which boxes it stands clear of.

    Beams are made once for each place of the glass; each part is asked once for each setting, however often it is tried.
    """

    def __init__(self, held: Ranged, reach: Box) -> None:
        self.lens: Lens = held.lens
        self.states = held.plans
        self._left_out_mm = held.left_out_mm
        self._reach = reach
        self._rooms: dict[tuple[int, str], ClearRooms] = {}
        self._own_rooms: dict[tuple[int, str], Rooms] = {}
        self._known: dict[tuple[int, str, str, Asked], bool] = {}
        self._digests: dict[int, tuple[object, str]] = {}
        self._shapes: dict[int, tuple[Part, str]] = {}

    def boxes(self, scene: Scene, bend: Sag | None = None) -> dict[float, Box]:
        """The scene's box on this lens for each place of its front rim, as its rods bend and with the bends of its hood round."""
        fitted = box_for(scene, self.lens)
        if bend is not None:
            fitted = with_bends_round(scene, fitted).model_copy(update=hung_place(fitted, bend))
        return {travel_mm: _built(self._of_travel(travel_mm), fitted) for travel_mm in {s.travel_mm for s in self.states}}

    def _of_travel(self, travel_mm: float) -> State:
        return next(state for state in self.states if state.travel_mm == travel_mm)

    def clears(self, number: int, box: Box, asked: Asked) -> bool:
        """Whether a setting, by its number, stands clear of every part of a box."""
        return next(self._lacking(number, box, asked), None) is None

    def held(self, number: int, box: Box, asked: Asked) -> Held | None:
        """The part that lacks room in a setting, and where; None where none does."""
        part = next(self._lacking(number, box, asked), None)
        if part is None:
            return None
        state = self.states[number]
        found = [(rooms.clearance(part), mm) for rooms, mm in self._asked(number, box, asked) if rooms.lacks_mm(part, mm) > 0.0]
        worst = min((one for one, _ in found), key=lambda one: one.clearance_mm)
        return Held(state, part.name, worst.where, worst.guide, worst.clearance_mm)

    def nearest(self, number: int, box: Box, names: Sequence[str]) -> Clearance:
        """The nearest of some parts in a setting, as the box is."""
        rooms = self._of_setting(number, box).asked[0][0]
        return min((rooms.clearance(part) for part in box.parts if part.name in names), key=lambda one: one.clearance_mm)

    def same(self, one: object, other: object) -> bool:
        """Whether two values hold the same."""
        return self._digest(one) == self._digest(other)

    def _lacking(self, number: int, box: Box, asked: Asked) -> Iterator[Part]:
        glass = self._digest(box.glasses)
        for part in box.parts:
            key = (number, self._shape_digest(part), glass, asked)
            if key not in self._known:
                self._known[key] = all(rooms.lacks_mm(part, mm) <= 0.0 for rooms, mm in self._asked(number, box, asked))
            if not self._known[key]:
                yield part

    def _asked(self, number: int, box: Box, asked: Asked) -> Iterator[tuple[Rooms, float]]:
        """The beams that a clear frame keeps free and the room round each; more room counts from the frame's own beam."""
        rooms, variants = self._of_setting(number, box), self.states[number].variants
        spare_mm = 0.0 if asked.walk else max(room_needed_mm(variants) - TOLD_MM, 0.0)
        (grown, least_mm), *own = rooms.asked
        yield grown, least_mm
        if rooms.own is None and asked.more_mm > 0.0:
            yield self._own(number, box), least_mm + asked.more_mm
        for one, mm in own:
            yield one, mm + asked.more_mm - spare_mm

    def _own(self, number: int, box: Box) -> Rooms:
        key = (number, self._digest(box.glasses))
        if key not in self._own_rooms or not self._own_rooms[key].reaches(box):
            state, far = self.states[number], replace(box, parts=(*box.parts, *self._reach.parts))
            self._own_rooms[key] = rooms_of(state.variants, state.guides, far)
        return self._own_rooms[key]

    def _of_setting(self, number: int, box: Box) -> ClearRooms:
        key = (number, self._digest(box.glasses))
        if key not in self._rooms or not self._rooms[key].reaches(box):
            state = self.states[number]
            far = replace(box, parts=(*box.parts, *self._reach.parts))
            self._rooms[key] = ClearRooms(state.variants, state.guides, far, left_out_mm=self._left_out_mm)
        return self._rooms[key]

    def _shape_digest(self, part: Part) -> str:
        """What tells a part from another, whatever it is called: masks that are shared one way or another differ in name alone."""
        held = self._shapes.get(id(part))
        if held is None:
            held = self._shapes[id(part)] = (part, value_digest(replace(part, name="")))
        return held[1]

    def _digest(self, value: object) -> str:
        held = self._digests.get(id(value))
        if held is None:
            held = self._digests[id(value)] = (value, value_digest(value))
        return held[1]


def _built(state: State, fitted: SceneBox) -> Box:
    return state.rebuilt(fitted)[1]
