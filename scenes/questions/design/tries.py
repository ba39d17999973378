"""One set of choices of a design: its scene and knobs, and whether a box at given notches does what is asked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from geometry.cantilever import Sag
from geometry.errors import GeometryError
from raytrace.box import Box
from scenes.questions.design.bench import Asked, Held, LensBench
from scenes.questions.design.space import Knob, Space
from scenes.scene_file.tables.box import BoxPart, is_fitted
from scenes.scene_file.tables.scene import Scene

Notches = tuple[int, ...]
Cost = Callable[[Notches], tuple[float, ...]]
Holds = Callable[[Notches], bool]

MOST_KEPT, MOST_CLEARED = 400, 200_000
GLASS = "glass"


@dataclass(slots=True)
class Tried:
    """What is known of one set of choices, whatever else is asked: boxes, and which settings stand clear of them.

    A box is told by the values of the measures of what is fitted with a lens: their notches count from ends that a wish may move.
    What stands clear holds for any number of masks, of which a lens has one, whatever it is called.
    """

    boxes: dict[object, dict[float, Box] | None] = field(default_factory=dict)
    cleared: dict[object, bool] = field(default_factory=dict)


@dataclass(slots=True)
class Try:
    """One set of choices: a scene, its knobs, and what is asked of it of which lenses.

    within tells whether the box is within its limits, light whether every light is kept off, holds whether it can be built. bound
    is the least that any box with no opening smaller could cost, of the first measures that are to be small, as far as that is
    certain; may_be_within tells whether any such box may be within its limits. looking is called at each look at a box. bends: of
    lenses whose box hangs on rods that bend, how far: there it has to be clear as drawn and as it hangs.
    """

    scene: Scene
    space: Space
    benches: Sequence[LensBench]
    asked: Asked
    cost: Cost
    within: Holds = lambda notches: True  # noqa: ARG005
    bound: Cost = lambda notches: ()  # noqa: ARG005
    may_be_within: Holds = lambda notches: True  # noqa: ARG005
    holds: Holds = lambda notches: True  # noqa: ARG005
    light: Holds = lambda notches: True  # noqa: ARG005
    looking: Callable[[], None] = lambda: None
    bends: Mapping[str, Sag] = field(default_factory=dict)
    tried: Tried = field(default_factory=Tried)
    fault_at: Notches | None = None  # the least that is clear, where it cannot be built
    _first: dict[int, list[int]] = field(default_factory=dict)
    _seen: dict[int, tuple[int, ...]] = field(default_factory=dict)

    @property
    def widest(self) -> Notches:
        """Every knob where parts have most room."""
        return tuple(knob.last if knob.opens else 0 for knob in self.space.knobs)

    def box(self, bench: LensBench, number: int, notches: Notches, *, bent: bool = False) -> Box | None:
        """The box in a setting of a lens; None where there is no such shape, as of a plate smaller than its bore."""
        bend, boxes = self.bends[bench.lens.name] if bent else None, self.tried.boxes
        key = (id(bench), self._values(bench, notches), bend)
        if key not in boxes:
            if len(boxes) > MOST_KEPT:
                boxes.clear()
            try:
                boxes[key] = bench.boxes(self.space.scene(self.scene, notches), bend)
            except GeometryError:
                boxes[key] = None
        found = boxes[key]
        return None if found is None else found[bench.states[number].travel_mm]

    def clears(self, bench: LensBench, number: int, notches: Notches) -> bool:
        """Whether one setting of a lens stands clear."""
        self.looking()
        values, cleared = self._values(bench, notches), self.tried.cleared
        key = (id(bench), number, values, self.asked, self.bends.get(bench.lens.name))
        if key not in cleared:
            if len(cleared) > MOST_CLEARED:
                cleared.clear()
            poses = self._poses(bench, number, notches)
            cleared[key] = all(box is not None and bench.clears(number, box, self.asked) for box, _ in poses)
        return cleared[key]

    def _values(self, bench: LensBench, notches: Notches) -> tuple[float, ...]:
        """Values of the measures of what is fitted with a lens."""
        if id(bench) not in self._seen:
            self._seen[id(bench)] = tuple(k for k, knob in enumerate(self.space.knobs) if self._is_fitted(knob, bench))
        return tuple(self.space.knobs[k].values[notches[k]] for k in self._seen[id(bench)])

    def _is_fitted(self, knob: Knob, bench: LensBench) -> bool:
        thing: Any = self.scene
        for step in knob.spot.table:
            thing = thing[step] if isinstance(step, int) else getattr(thing, step)
            if isinstance(thing, BoxPart):
                return is_fitted(thing, bench.lens.name)
        return True

    def _poses(self, bench: LensBench, number: int, notches: Notches) -> Iterator[tuple[Box | None, bool]]:
        """The box as drawn, and as it hangs where its rods bend."""
        yield self.box(bench, number, notches), False
        if bench.lens.name in self.bends:
            yield self.box(bench, number, notches, bent=True), True

    def held(self, bench: LensBench, number: int, notches: Notches) -> Held | None:
        """The part that lacks room in a setting; None where none does, or nothing can be built."""
        for box, bent in self._poses(bench, number, notches):
            found = None if box is None else bench.held(number, box, self.asked)
            if found is not None:
                return replace(found, bent=bent)
        return None

    def is_clear(self, notches: Notches) -> bool:
        """Whether every setting of every lens stands clear; what refused last is asked first."""
        return all(self._lens_is_clear(bench, notches) for bench in self.benches)

    def _lens_is_clear(self, bench: LensBench, notches: Notches) -> bool:
        order = self._first.setdefault(id(bench), list(range(len(bench.states))))
        for place, number in enumerate(order):
            if not self.clears(bench, number, notches):
                order.insert(0, order.pop(place))
                return False
        return True

    def works(self, notches: Notches) -> bool:
        """Whether a design does all that is asked."""
        return self.within(notches) and self.is_clear(notches) and self.holds(notches) and self.light(notches)

    def groups(self) -> list[list[int]]:
        """Knobs that hang together since they shape the same parts; glass, which bends every beam, ties all."""
        changed = [self._shapes(k) for k in range(len(self.space.knobs))]
        found: list[tuple[set[str], list[int]]] = []
        for place, parts in enumerate(changed):
            if not self.space.knobs[place].opens:
                continue
            joined, places = set(parts), [place]
            for others, more in [one for one in found if one[0] & parts or GLASS in one[0] | parts]:
                joined, places = joined | others, [*more, *places]
                found.remove((others, more))
            found.append((joined, places))
        return [sorted(places) for _, places in found]

    def _shapes(self, place: int) -> set[str]:
        """Names of the parts that a knob shapes, with any lens."""
        other = with_notch(self.widest, place, 0 if self.widest[place] else self.space.knobs[place].last)
        found: set[str] = set()
        for bench in self.benches:
            here, there = (self.box(bench, 0, notches) for notches in (self.widest, other))
            if here is None or there is None:
                continue
            found |= {b.name for a, b in zip(here.parts, there.parts, strict=False) if not bench.same(a, b)}
            found |= {GLASS} if not bench.same(here.glasses, there.glasses) else set()
        return found

    def least_notch(self, knob: int, notches: Notches, benches: Sequence[LensBench] | None = None) -> int | None:
        """The least notch of a knob at which some lenses, all by default, stand clear with the others as given; None for none."""
        least = 0
        for bench in self.benches if benches is None else benches:
            for number in range(len(bench.states)):
                found = self._least_in(bench, number, knob, notches, least)
                if found is None:
                    return None
                least = found
        return least

    def _least_in(self, bench: LensBench, number: int, knob: int, notches: Notches, least: int) -> int | None:
        def clears(notch: int) -> bool:
            return self.clears(bench, number, with_notch(notches, knob, notch))

        if clears(least):
            return least
        low, high = least, self.space.knobs[knob].last
        if not clears(high):
            return None
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if clears(middle) else (middle, high)
        return high


def with_notch(notches: Notches, knob: int, notch: int) -> Notches:
    """The notches with one knob at another."""
    return (*notches[:knob], notch, *notches[knob + 1 :])
