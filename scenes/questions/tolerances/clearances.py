"""One lens on builds of a show that come out otherwise: how near each part stands to its beam. Judged as `check` judges a state."""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable, Container, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from itertools import product
from typing import TypeVar

import numpy as np

from geometry.body import Part
from geometry.errors import GeometryError
from raytrace.beam.clearance import Clearance, farthest_mm
from raytrace.box import Box
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState, field_slopes
from scenes.cautions.focus_plane import light_in_doubt
from scenes.questions.tolerances.inputs import Input, built
from scenes.rig.box import build_box
from scenes.rig.lens import front_travel_mm, lens_variants
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.box import fitted
from scenes.scene_file.tables.lens import Lens
from scenes.scene_file.tables.scene import Scene, box_for
from scenes.scene_file.tables.tolerance_paths import PUPIL, WALK
from scenes.states.rooms import Rooms, rooms_of
from scenes.states.state import State, guides_of, pixel_grid

CURVED_SHARE, CURVED_MM = 0.25, 0.2  # how much more inputs may do together than the sum of what they do alone
TURN, STEADY_DEG, TURN_STEP_DEG = "turn_deg", 15.0, 5.0  # openings turned further than this are not at their worst at either end
IN_DOUBT = "in doubt"
ENDLESS_MM = 1000.0  # stands for "never met": farther than any part is from any beam
BEYOND_CORNER = 1.5  # rays through the pupil's edge, and real lenses, lie a little steeper than the corner of the field
LEVER_MM = 100.0  # how far beside the axis parts reach, on top of how far ahead
ENLARGED = 20.0  # a sensor 1 mm larger widens the beam by this much at most where parts stand: 400 mm ahead of a 20 mm lens
PUPIL_KEYS = (PUPIL, WALK)
MOST_KEPT = 500  # beams, and clearances, that are kept for builds which differ in other parts only

Made = TypeVar("Made")
Values = Mapping[str, float]
Pair = tuple[str, str]  # a state's key and a part's name


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """One build of a show as one lens sees it: what came out how, and the part that is nearest to the beam, or deepest in it."""

    values: dict[str, float]
    state: State
    nearest: Clearance

    @property
    def clearance_mm(self) -> float:
        """Room between that part and the beam; below 0 it stands in the beam."""
        return self.nearest.clearance_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Where the clearance of a part can come to: as written, and what each input does to it alone, at its low and high end [mm].

    Where an input is not `steady`, its ends say nothing of what lies between: the part then counts as if it could come anywhere.
    """

    nominal_mm: float
    moves_mm: tuple[tuple[float, float], ...]
    steady: bool = True

    @property
    def slack_mm(self) -> float:
        """How much more inputs may do together, or between their ends, than their shares added up."""
        if not self.steady:
            return 2 * ENDLESS_MM
        swing = sum(max(0.0, *pair) - min(0.0, *pair) for pair in self.moves_mm)
        return CURVED_SHARE * swing + CURVED_MM if swing > 0 else 0.0

    @property
    def low_mm(self) -> float:
        """The least it can come to."""
        return self.nominal_mm + sum(min(0.0, *pair) for pair in self.moves_mm) - self.slack_mm

    @property
    def high_mm(self) -> float:
        """The most it can come to."""
        return self.nominal_mm + sum(max(0.0, *pair) for pair in self.moves_mm) + self.slack_mm

    def floor_mm(self, items: Sequence[Input], values: Values) -> float:
        """The least it can come to in one build."""
        moved = sum(_share(item, values[item.path]) * move[values[item.path] > item.nominal] for item, move in self.each(items))
        return self.nominal_mm + moved - self.slack_mm

    def worst_corner(self, items: Sequence[Input]) -> dict[str, float]:
        """Every input at the end that brings the part nearer."""
        return {item.path: item.tolerance.ends[high < low] for item, (low, high) in self.each(items)}

    def each(self, items: Sequence[Input]) -> Iterator[tuple[Input, tuple[float, float]]]:
        """Every input with what it does."""
        return zip(items, self.moves_mm, strict=True)


def _share(item: Input, value: float) -> float:
    """How far a value lies on the way from the nominal to the end of its tolerance."""
    end = item.high if value > item.nominal else item.low
    return abs(value - item.nominal) / end if end > 0 else 0.0


@dataclass(slots=True, kw_only=True)
class LensBench:
    """The states of one lens, and what may come out otherwise for it. Measures builds, each part only where it can come nearest."""

    plans: tuple[State, ...]
    items: tuple[Input, ...]
    reaches: dict[Pair, Reach] = field(default_factory=dict)
    _beams: dict[bytes, Rooms] = field(default_factory=dict)
    _found: dict[bytes, Clearance] = field(default_factory=dict)

    @property
    def scene(self) -> Scene:
        """The scene as written."""
        return self.plans[0].scene

    @property
    def lens(self) -> Lens:
        """The lens as written."""
        return self.plans[0].lens

    @property
    def nominal(self) -> dict[str, float]:
        """Every input as the scene has it."""
        return {item.path: item.nominal for item in self.items}

    def answer_mm(self, values: Values) -> float:
        """The least clearance of any part in any state [mm]."""
        return within(self.build(values).clearance_mm)

    def build(self, values: Values) -> Build:
        """What stands nearest to the beam in one build: parts are measured from the likeliest on, until no other can be nearer."""
        floors = {pair: reach.floor_mm(self.items, values) for pair, reach in self.reaches.items()}
        found: dict[Pair, Clearance] = {}
        best: Pair | None = None
        for pair in sorted(floors, key=lambda pair: (floors[pair], pair)):
            if best is not None and floors[pair] > found[best].clearance_mm:
                break
            found |= self.measured(values, {pair})
            best = min(found, key=lambda pair: found[pair].clearance_mm)
        assert best is not None
        return Build(values=dict(values), state=next(p for p in self.plans if p.key == best[0]), nearest=found[best])

    def measured(self, values: Values, pairs: Container[Pair] | None = None) -> dict[Pair, Clearance]:
        """The clearances of one build, all or some; SceneError, with what came out how, where nothing can be built so."""
        scene = built(self.scene, self.items, values)
        lens = scene.lens[self.scene.lens.index(self.lens)]
        try:
            return {
                pair: clearance
                for plan in self.plans
                if pairs is None or any((plan.key, part.name) in pairs for part in plan.box.parts)
                for pair, clearance in self._of_state(scene, lens, plan, pairs)
            }
        except GeometryError as error:
            words = ", ".join(f"{path} = {plain(round(value, 3))}" for path, value in values.items())
            problem = f"lens {self.lens.name} cannot be built with {words}: {error}"
            raise SceneError([Complaint(where="tolerance", problem=problem)]) from None

    def _of_state(self, scene: Scene, lens: Lens, plan: State, pairs: Container[Pair] | None) -> list[tuple[Pair, Clearance]]:
        focal_mm = plan.focal_mm if any(row.focal_mm is not None for row in lens.state) else lens.focal_mm
        travel_mm = front_travel_mm(lens, focal_mm, plan.focus_mm)
        _, box = build_box(box_for(scene, lens), lens, plan.resources, front_travel_mm=travel_mm)
        variants = self._variants(scene, lens, plan, focal_mm) if self._lens_moves else plan.variants
        guides = plan.guides if scene.camera is self.scene.camera else guides_of(scene.camera, pixel_grid(scene.camera))
        stated = {part.name for part in plan.box.parts}
        wanted = [part for part in box.parts if pairs is None or (plan.key, part.name) in pairs or part.name not in stated]
        beams_key = pickle.dumps((variants, guides, box.glasses))
        found = [self._clearance(part, variants, guides, box, beams_key) for part in wanted]
        if light_in_doubt(plan.notes):
            found = [replace(one, clearance_mm=-ENDLESS_MM, where=IN_DOUBT) for one in found]
        return [((plan.key, one.part), one) for one in found]

    @property
    def _lens_moves(self) -> bool:
        """Whether anything but the box comes out otherwise."""
        tables = [item.spot.table for item in self.items]
        return any(table[0] == "camera" or (table[0] == "lens" and "box" not in table) for table in tables)

    def _variants(self, scene: Scene, lens: Lens, plan: State, focal_mm: float) -> tuple[LensState, ...]:
        found = lens_variants(
            lens,
            pixel_grid(scene.camera),
            plan.resources.glass_of(lens),
            focal_mm=focal_mm,
            focus_mm=plan.focus_mm,
            f_number=plan.f_number,
        )
        return tuple(variant.lens for variant in found)

    def _clearance(
        self, part: Part, variants: Sequence[LensState], guides: Sequence[Guide], box: Box, beams_key: bytes
    ) -> Clearance:
        def measure() -> Clearance:
            rooms = _once(self._beams, beams_key, lambda: rooms_of(variants, guides, box))
            if not rooms.reaches(box):
                rooms = self._beams[beams_key] = rooms_of(variants, guides, box)
            return rooms.clearance(part)

        return _once(self._found, beams_key + pickle.dumps(part), measure)

    def only_with_glass(self) -> Build | None:
        """What stands deepest in the beam of the box as written with its trays empty, where nothing does with its glass in."""
        if self.build(self.nominal).clearance_mm <= 0.0:
            return None
        found = []
        for plan in self.plans:
            if not plan.box.glasses:
                continue
            rooms = rooms_of(plan.variants, plan.guides, replace(plan.box, glasses=()))
            touching = (rooms.clearance(part) for part in plan.box.parts if rooms.lacks_mm(part) > 0.0)
            found += [Build(values=self.nominal, state=plan, nearest=nearest) for nearest in touching]
        return min(found, key=lambda one: one.clearance_mm, default=None)

    def screen(self) -> tuple[float, float]:
        """Find what each input does to each part that can come nearest; all answers lie between the two numbers given [mm].

        A part is left out where it cannot come as near as the nearest one stays: first by how far a measure that is off can move
        anything, then by what each input does to it.
        """
        nominal = self.measured(self.nominal)
        nearest = min(nominal, key=lambda pair: nominal[pair].clearance_mm)
        first = self._reaches({nearest}, nominal)[nearest]
        if first.high_mm <= 0:  # it stands in the beam whatever comes out how: other parts change nothing
            self.reaches = {nearest: first}
            return first.low_mm, first.high_mm
        near = {pair for pair, found in nominal.items() if found.clearance_mm - self._farthest_mm(pair) <= first.high_mm}
        self.reaches = self._reaches(near | {nearest}, nominal)
        high = min(reach.high_mm for reach in self.reaches.values())
        self.reaches = {pair: reach for pair, reach in self.reaches.items() if reach.low_mm <= high}
        return min(reach.low_mm for reach in self.reaches.values()), high

    def worst_corners(self) -> list[dict[str, float]]:
        """Where each part that can come nearest comes nearest, each once, the likeliest first; and wide turns on their way."""
        ends = [reach.worst_corner(self.items) for reach in sorted(self.reaches.values(), key=lambda reach: reach.low_mm)]
        turned = [corner | {item.path: value} for item in self.items for value in _on_the_way(item) for corner in ends]
        found = {tuple(corner.values()): corner for corner in (*ends, *turned)}
        return list(found.values())

    def _reaches(self, pairs: Set[Pair], nominal: Mapping[Pair, Clearance]) -> dict[Pair, Reach]:
        looks = []
        for item in self.items:
            looks += [self.measured(self.nominal | {item.path: end}, pairs) for end in item.tolerance.ends]
        steady = not any(is_unsteady(item) for item in self.items)
        return {pair: _reach(within(nominal[pair].clearance_mm), pair, looks, steady=steady) for pair in pairs}

    def _farthest_mm(self, pair: Pair) -> float:
        """How far all inputs together can bring a part nearer at most, by their sizes alone [mm]."""
        plan = next(plan for plan in self.plans if plan.key == pair[0])
        group = next(part.group for part in plan.box.parts if part.name == pair[1])
        lever_mm, steep = farthest_mm(plan.box.parts) + LEVER_MM, 1.0 + _steepest(plan)
        return sum(_moves_mm(item, lever_mm, steep) for item in self.items if self._may_move(item, group))

    def _may_move(self, item: Input, group: str) -> bool:
        """Whether an input may have to do with the parts of a group: what belongs to one flag moves no other part."""
        table = item.spot.table
        if table[:2] != ("box", "flag"):
            return True
        own = fitted(self.scene.box.flag, self.lens.name)
        return group.startswith(f"box.flag[{own.index(self.scene.box.flag[int(table[2])]) + 1}]")


def _moves_mm(item: Input, lever_mm: float, steep: float) -> float:
    by = max(item.low, item.high)
    if item.spot.table[0] != "box" and item.spot.key not in PUPIL_KEYS:
        return by * ENLARGED
    return steep * (by if item.unit == "mm" else math.radians(by) * lever_mm)


def _steepest(plan: State) -> float:
    """How much farther off the axis rays of the picture's corners come with each mm ahead, and half as much again."""
    steepest = 0.0
    for lens, guide in product(plan.variants, plan.guides):
        corners = guide.corners_mm()
        field = field_slopes(lens, corners[:, 0], corners[:, 1])
        steepest = max(steepest, float(np.hypot(field.tan_right, field.tan_up).max()))
    return BEYOND_CORNER * steepest


def _once(store: dict[bytes, Made], key: bytes, make: Callable[[], Made]) -> Made:
    """What a key stands for, made the first time; a full store is emptied, as builds seldom come again."""
    if key not in store:
        if len(store) >= MOST_KEPT:
            store.clear()
        store[key] = make()
    return store[key]


def is_unsteady(item: Input) -> bool:
    """Whether an input is a turn so wide that a corner of the frame may meet an edge between its ends, as at 45 of 90 degrees."""
    return item.spot.key == TURN and max(item.low, item.high) > STEADY_DEG


def _on_the_way(item: Input) -> list[float]:
    """Values of an unsteady input between its ends, in steps."""
    low, high = item.tolerance.ends
    return np.linspace(low, high, math.ceil((high - low) / TURN_STEP_DEG) + 1)[1:-1].tolist() if is_unsteady(item) else []


def _reach(nominal: float, pair: Pair, looks: Sequence[Mapping[Pair, Clearance]], *, steady: bool) -> Reach:
    ends = [within(look[pair].clearance_mm) - nominal if pair in look else ENDLESS_MM for look in looks]
    return Reach(nominal_mm=nominal, moves_mm=tuple(zip(ends[::2], ends[1::2], strict=True)), steady=steady)


def within(clearance_mm: float) -> float:
    """A clearance with a number for parts that the beam never meets."""
    return min(max(clearance_mm, -ENDLESS_MM), ENDLESS_MM)
