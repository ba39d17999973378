"""The least measures that keep every lens clear: brackets on the exact judgement, then branch and bound where measures hang together.

A wider opening, a flag farther out, a shorter hood never takes room from a part, so of each measure with the others wide open there is
one least notch: no design lies below it. Where all of these together stand clear they are the smallest design, and proven so.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import count

from raytrace.box import Box
from scenes.questions.design.bench import Asked, LensBench
from scenes.questions.design.space import Space
from scenes.scene_file.tables.scene import Scene

Notches = tuple[int, ...]
Cost = Callable[[Notches], tuple[float, ...]]
Holds = Callable[[Notches], bool]

MOST_BOXES = 160  # of the branch and bound: beyond them the best found stands, and the answer says how far it may be off
SAME_SHARE = 1e-4  # costs nearer to each other than this are one


@dataclass(slots=True)
class Try:
    """One set of choices: a scene, its knobs, and what is asked of it of which lenses.

    within tells whether the box is within its limits, light whether every light is kept off: opening more never helps either. holds
    tells whether it can be built.
    """

    scene: Scene
    space: Space
    benches: Sequence[LensBench]
    asked: Asked
    cost: Cost
    within: Holds = lambda notches: True  # noqa: ARG005
    holds: Holds = lambda notches: True  # noqa: ARG005
    light: Holds = lambda notches: True  # noqa: ARG005
    _boxes: dict[tuple[int, Notches], dict[float, Box]] = field(default_factory=dict)
    _first: dict[int, list[int]] = field(default_factory=dict)

    @property
    def widest(self) -> Notches:
        """Every knob where parts have most room."""
        return tuple(knob.last if knob.opens else 0 for knob in self.space.knobs)

    def box(self, bench: LensBench, number: int, notches: Notches) -> Box:
        """The box in a setting of a lens."""
        key = (id(bench), notches)
        if key not in self._boxes:
            if len(self._boxes) > 400:
                self._boxes.clear()
            self._boxes[key] = bench.boxes(self.space.scene(self.scene, notches))
        return self._boxes[key][bench.states[number].travel_mm]

    def clears(self, bench: LensBench, number: int, notches: Notches) -> bool:
        """Whether one setting of a lens stands clear."""
        return bench.clears(number, self.box(bench, number, notches), self.asked)

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
    """The best design of one set of choices: notches, cost, and the least that any design of it could cost."""

    notches: Notches
    cost: tuple[float, ...]
    bound: tuple[float, ...]
    trials: int = 0  # of places that had to be looked for

    @property
    def is_proven(self) -> bool:
        """Whether none can cost less, by more than a notch or so."""
        return not self.trials and all(a <= b * (1 + SAME_SHARE) + 1e-9 for a, b in zip(self.cost, self.bound, strict=True))


def solve(attempt: Try, *, given: Notches | None = None, below: tuple[float, ...] | None = None) -> Found | None:
    """The best design; None where none works, or none can cost less than `below`.

    given: the notches of knobs that open nothing or both ways, taken as they stand there.
    """
    widest = _taken(attempt, attempt.widest, given)
    lowest = _lowest(attempt, widest)
    if lowest is None:
        return None
    bound = attempt.cost(lowest)
    if not attempt.within(lowest):
        return None
    if below is not None and bound >= below:
        return None
    if attempt.works(lowest):
        return Found(notches=lowest, cost=bound, bound=bound)
    return _branched(attempt, lowest, widest)


def _taken(attempt: Try, notches: Notches, given: Notches | None) -> Notches:
    if given is None:
        return notches
    return tuple(own if knob.opens > 0 else at for own, at, knob in zip(notches, given, attempt.space.knobs, strict=True))


def _lowest(attempt: Try, widest: Notches) -> Notches | None:
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


def _branched(attempt: Try, lowest: Notches, widest: Notches) -> Found | None:
    """Branch and bound over what lies between two corners: best bound first; a corner that is not clear wide open is cut off."""
    best = _climbed(attempt, lowest, widest)
    order = count()
    heap = [(attempt.cost(lowest), next(order), lowest, widest)]
    for _ in range(MOST_BOXES):
        if not heap:
            break
        bound, _, low, high = heap[0]
        if best is not None and not _is_less(bound, best[0]):
            break
        heapq.heappop(heap)
        if not attempt.within(low) or not attempt.is_clear(high) or not attempt.light(low):
            continue
        if attempt.works(low):
            best = (bound, low)
            continue
        for corner in _halves(attempt, low, high):
            cost = attempt.cost(corner[0])
            if best is None or _is_less(cost, best[0]):
                heapq.heappush(heap, (cost, next(order), *corner))
    if best is None:
        return None
    least = heap[0][0] if heap and heap[0][0] < best[0] else best[0]
    return Found(notches=best[1], cost=best[0], bound=least)


def _is_less(cost: tuple[float, ...], than: tuple[float, ...]) -> bool:
    """Whether a cost is less by more than nothing, in the order of what is to be small."""
    for a, b in zip(cost, than, strict=True):
        if abs(a - b) > SAME_SHARE * max(abs(b), 1e-9):
            return a < b
    return False


def _halves(attempt: Try, low: Notches, high: Notches) -> list[tuple[Notches, Notches]]:
    """Two boxes out of one, across its longest side; none where it is a single point."""
    knob = max(range(len(low)), key=lambda k: high[k] - low[k])
    if high[knob] == low[knob]:
        return []
    middle = low[knob] + max((high[knob] - low[knob]) // 8, 0)  # the best design is likely to lie low
    return [(low, _with(high, knob, middle)), (_with(low, knob, middle + 1), high)]


def _climbed(attempt: Try, lowest: Notches, widest: Notches) -> tuple[tuple[float, ...], Notches] | None:
    """A design that works, down from the widest one knob after the other, the dearest first; None where the least found does not."""
    notches = widest
    places = [k for k, knob in enumerate(attempt.space.knobs) if knob.opens > 0 and widest[k] > lowest[k]]
    dearest = sorted(places, key=lambda k: attempt.cost(_with(widest, k, lowest[k])))
    for place in dearest:
        low, high = lowest[place], notches[place]
        if attempt.is_clear(_with(notches, place, low)):
            high = low
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if attempt.is_clear(_with(notches, place, middle)) else (middle, high)
        notches = _with(notches, place, high)
    return (attempt.cost(notches), notches) if attempt.works(notches) else None
