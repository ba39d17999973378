"""The least measures that keep every lens clear: brackets on the exact judgement, then knob against knob, branch and bound.

A wider opening, a flag farther out, a shorter hood never takes room from a part, so of each measure with the others wide open there
is one least notch: no design lies below it. Where all of these together stand clear no opening can be smaller. The outside can: a
slanted wall cut across is wider than it is thick, so a hood is also tried with its rear opened up. What is smallest is proven only
against the box with all openings at their least and walls as straight as is allowed.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import combinations, count

from geometry.errors import GeometryError
from raytrace.box import Box
from scenes.questions.design.bench import Asked, Held, LensBench
from scenes.questions.design.ends import ends_of, levelled
from scenes.questions.design.space import Space
from scenes.scene_file.tables.scene import Scene

Notches = tuple[int, ...]
Cost = Callable[[Notches], tuple[float, ...]]
Holds = Callable[[Notches], bool]

MOST_KEPT = 400
MOST_BOXES = 160  # of the branch and bound: beyond them the best found stands
FIRST_SHARE = 8  # of a box that is halved: the first part is smaller by so much
PROVEN_SHARE = 1e-3  # nearer to the least that is possible than this is the least
LOOKS = 8  # along a border, at first
NEAR = 4  # notches above the least that is possible: nothing to be won
GLASS = "glass"
SAME_SHARE = 1e-4  # costs nearer to each other than this are one


@dataclass(slots=True)
class Try:
    """One set of choices: a scene, its knobs, and what is asked of it of which lenses.

    within tells whether the box is within its limits, light whether every light is kept off, holds whether it can be built. bound
    is the least that any box with no opening smaller could cost, of the first measures that are to be small, as far as that is
    certain; may_be_within tells whether any such box may be within its limits. looking is called at each look at a box.
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
    _boxes: dict[tuple[int, Notches], dict[float, Box] | None] = field(default_factory=dict)
    fault_at: Notches | None = None  # the least that is clear, where it cannot be built
    _first: dict[int, list[int]] = field(default_factory=dict)

    @property
    def widest(self) -> Notches:
        """Every knob where parts have most room."""
        return tuple(knob.last if knob.opens else 0 for knob in self.space.knobs)

    def box(self, bench: LensBench, number: int, notches: Notches) -> Box | None:
        """The box in a setting of a lens; None where there is no such shape, as of a plate smaller than its bore."""
        key = (id(bench), notches)
        if key not in self._boxes:
            if len(self._boxes) > MOST_KEPT:
                self._boxes.clear()
            try:
                self._boxes[key] = bench.boxes(self.space.scene(self.scene, notches))
            except GeometryError:
                self._boxes[key] = None
        found = self._boxes[key]
        return None if found is None else found[bench.states[number].travel_mm]

    def clears(self, bench: LensBench, number: int, notches: Notches) -> bool:
        """Whether one setting of a lens stands clear."""
        self.looking()
        box = self.box(bench, number, notches)
        return box is not None and bench.clears(number, box, self.asked)

    def held(self, bench: LensBench, number: int, notches: Notches) -> Held | None:
        """The part that lacks room in a setting; None where none does, or nothing can be built."""
        box = self.box(bench, number, notches)
        return None if box is None else bench.held(number, box, self.asked)

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
        other = _with(self.widest, place, 0 if self.widest[place] else self.space.knobs[place].last)
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
            return self.clears(bench, number, _with(notches, knob, notch))

        if clears(least):
            return least
        low, high = least, self.space.knobs[knob].last
        if not clears(high):
            return None
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if clears(middle) else (middle, high)
        return high


def _with(notches: Notches, knob: int, notch: int) -> Notches:
    return (*notches[:knob], notch, *notches[knob + 1 :])


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The best design of one set of choices: notches, cost, and the least that any could cost by its first measures."""

    notches: Notches
    cost: tuple[float, ...]
    bound: tuple[float, ...]
    trials: int = 0  # of places that had to be looked for

    @property
    def is_proven(self) -> bool:
        """Whether none can be smaller by what was to be small, by more than a notch or so."""
        near = (a <= b * (1 + PROVEN_SHARE) for a, b in zip(self.cost, self.bound, strict=False))
        return not self.trials and bool(self.bound) and all(near)


def solve(attempt: Try, *, given: Notches | None = None) -> Found | None:
    """The best design; None where none works.

    given: the notches of knobs that open nothing or both ways, taken as they stand there.
    """
    widest = _taken(attempt, attempt.widest, given)
    low = lowest(attempt, widest)
    if low is None or not attempt.may_be_within(low):
        return None
    best = low if attempt.is_clear(low) else _together(attempt, low, widest)
    if not attempt.holds(best):
        best = _built(attempt, best, widest)
    if not attempt.holds(best):
        attempt.fault_at = best
        return None
    if not attempt.light(low):
        return None
    if not attempt.works(best):
        found = _straight(attempt, best) or _branched(Part(attempt, low, widest, tuple(range(len(low))), whole=True))
        if found is None:
            return None
        best = found
    best = _straightened(attempt, best, attempt.works)
    return Found(notches=best, cost=attempt.cost(best), bound=attempt.bound(low))


def _taken(attempt: Try, notches: Notches, given: Notches | None) -> Notches:
    if given is None:
        return notches
    return tuple(own if knob.opens > 0 else at for own, at, knob in zip(notches, given, attempt.space.knobs, strict=True))


def lowest(attempt: Try, widest: Notches) -> Notches | None:
    """The least notch of each knob with the others wide open; None where even the widest is not clear."""
    if not attempt.is_clear(widest):
        return None
    found = list(widest)
    for place, knob in enumerate(attempt.space.knobs):
        if knob.opens > 0:
            least = attempt.least_notch(place, widest)
            assert least is not None  # the widest is clear
            found[place] = least
    return tuple(found)


def _together(attempt: Try, low: Notches, widest: Notches) -> Notches:
    """Each group of knobs at its own best, where those of a group cannot all be at their least at once."""
    found = list(low)
    for group in attempt.groups():
        part = Part(attempt, low, widest, tuple(group))
        best = part.low if part.is_clear(part.low) else _traded(part)
        if best is not None:
            for place in group:
                found[place] = best[place]
    return tuple(found)


def _built(attempt: Try, notches: Notches, widest: Notches) -> Notches:
    """A box that can be built, by the one measure whose growing mends it at the least cost; as it was where no one does."""
    mended = []
    for place, most in enumerate(widest):
        if most > notches[place] and attempt.holds(_with(notches, place, most)):
            low, high = notches[place], most
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if attempt.holds(_with(notches, place, middle)) else (middle, high)
            mended.append(_with(notches, place, high))
    return min(mended, key=attempt.cost, default=notches)


def _straight(attempt: Try, notches: Notches) -> Notches | None:
    """With each hood's narrower end as wide as its other, or as wide as makes the box smallest, where that does what is asked."""
    for found in (levelled(attempt.space, attempt.scene, notches), _straightened(attempt, notches, attempt.is_clear)):
        if attempt.works(found):
            return found
    return None


def _straightened(attempt: Try, notches: Notches, works: Holds) -> Notches:
    """With each hood's rear opened up as far as that makes the box smaller, and no wider than its front.

    Where a size comes first, a box that is only lighter is not worth an opening that nothing asks for.
    """
    told = max(len(attempt.bound(notches)), 1)
    for end in (one for one in ends_of(attempt.space, attempt.scene) if one.is_rear):
        level = end.level(notches)
        wider = [_with(notches, end.knob, at) for at in _between(notches[end.knob], level)]
        cheaper = [one for one in wider if _is_less(attempt.cost(one)[:told], attempt.cost(notches)[:told])]
        notches = next((one for one in sorted(cheaper, key=attempt.cost) if works(one)), notches)
    return notches


def _between(low: int, high: int) -> list[int]:
    """Notches above the low one up to the high one, a look evenly spread."""
    return sorted({low + math.ceil((high - low) * k / LOOKS) for k in range(1, LOOKS + 1)}) if high > low else []


@dataclass(frozen=True, slots=True)
class Part:
    """Some knobs of a try between two corners; the others stand wide open where room is asked for, at their least for the cost.

    whole: whether all else that is asked counts too.
    """

    attempt: Try
    lowest: Notches
    widest: Notches
    places: tuple[int, ...]
    whole: bool = False

    @property
    def low(self) -> Notches:
        """Its knobs at their least."""
        return tuple(self.lowest[k] if k in self.places else notch for k, notch in enumerate(self.widest))

    def cost(self, notches: Notches) -> tuple[float, ...]:
        """The cost with the other knobs at their least."""
        return self.attempt.cost(tuple(notch if k in self.places else self.lowest[k] for k, notch in enumerate(notches)))

    def is_clear(self, notches: Notches) -> bool:
        """Whether it is clear with the others wide open."""
        return self.attempt.is_clear(notches)

    def works(self, notches: Notches) -> bool:
        """Whether it does what is asked."""
        return self.attempt.works(notches) if self.whole else self.attempt.is_clear(notches)

    def may_work(self, low: Notches, high: Notches) -> bool:
        """Whether anything between two corners can do what is asked."""
        if self.whole and not (self.attempt.may_be_within(low) and self.attempt.light(low)):
            return False
        return self.attempt.is_clear(high)


def _traded(part: Part) -> Notches | None:
    """A group's best where its knobs hold each other: down to a border, then along it, knob against knob."""
    best = _climbed(part)
    if best is None:
        return None
    opening = [k for k in part.places if part.attempt.space.knobs[k].opens > 0]
    for one, other in combinations(opening, 2):
        if max(best[k] - part.low[k] for k in (one, other)) > NEAR:
            best = _along(part, best, one, other)
    return best


def _along(part: Part, start: Notches, one: int, other: int) -> Notches:
    """The cheapest place on the border that one knob and another make: a look over all of it, then finer about the best."""
    found: dict[int, tuple[tuple[float, ...], Notches]] = {start[one]: (part.cost(start), start)}

    def look(notch: int) -> None:
        if notch not in found and part.low[one] <= notch <= part.widest[one]:
            least = _least(part, _with(start, one, notch), other)
            if least is not None:
                found[notch] = part.cost(least), least

    crossing = _least(part, _with(_with(start, other, part.low[other]), one, part.widest[one]), one)
    last = part.widest[one] if crossing is None else crossing[one]
    step = max((last - part.low[one]) // LOOKS, 1)
    for notch in range(part.low[one], last + step, step):
        look(min(notch, last))
    while step > 1:
        step = max(step // 3, 1)
        middle = min(found, key=lambda notch: (found[notch][0], notch))
        for by in (-2, -1, 1, 2):
            look(middle + by * step)
    return min(found.values())[1]


def _least(part: Part, notches: Notches, knob: int) -> Notches | None:
    """The notches with one knob at its least that is clear; None where it is not clear wide open."""
    low, high = part.low[knob] - 1, part.widest[knob]
    if not part.is_clear(_with(notches, knob, high)):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if part.is_clear(_with(notches, knob, middle)) else (middle, high)
    return _with(notches, knob, high)


def _branched(part: Part) -> Notches | None:
    """Branch and bound over what lies between two corners: best bound first; a corner that is not clear wide open is cut off."""
    best = _climbed(part)
    least = None if best is None else part.cost(best)
    order = count()
    heap = [(part.cost(part.low), next(order), part.low, part.widest)]
    for _ in range(MOST_BOXES):
        if not heap or (least is not None and not _is_less(heap[0][0], least)):
            break
        cost, _, low, high = heapq.heappop(heap)
        if not part.may_work(low, high):
            continue
        if part.works(low):
            best, least = low, cost
            continue
        for corner in _halves(part, low, high):
            bound = part.cost(corner[0])
            if least is None or _is_less(bound, least):
                heapq.heappush(heap, (bound, next(order), *corner))
    return best


def _is_less(cost: tuple[float, ...], than: tuple[float, ...]) -> bool:
    """Whether a cost is less by more than nothing, in the order of what is to be small."""
    for a, b in zip(cost, than, strict=True):
        if abs(a - b) > SAME_SHARE * max(abs(b), 1e-9):
            return a < b
    return False


def _halves(part: Part, low: Notches, high: Notches) -> list[tuple[Notches, Notches]]:
    """Two boxes out of one, across its longest side; none where it is a single point."""
    knob = max(part.places, key=lambda k: high[k] - low[k])
    if high[knob] == low[knob]:
        return []
    middle = low[knob] + (high[knob] - low[knob]) // FIRST_SHARE  # the best design is likely to lie low
    return [(low, _with(high, knob, middle)), (_with(low, knob, middle + 1), high)]


def _climbed(part: Part) -> Notches | None:
    """A design that works, down from the widest knob by knob, the dearest first; None where the least found does not."""
    notches = part.widest
    places = [k for k in part.places if part.attempt.space.knobs[k].opens > 0]
    for place in sorted(places, key=lambda k: part.cost(_with(part.widest, k, part.low[k]))):
        low, high = part.low[place], notches[place]
        if part.is_clear(_with(notches, place, low)):
            high = low
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if part.is_clear(_with(notches, place, middle)) else (middle, high)
        notches = _with(notches, place, high)
    return notches if part.works(notches) else None
