"""The best notches between two corners: down to a border, then along it knob against knob; or branch and bound.

A corner gives every knob a notch. The low one is the least that any design could have, the high one has every knob wide open.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from itertools import combinations, count

from scenes.questions.design.tries import Notches, Try, with_notch

MOST_BOXES = 160  # of the branch and bound: beyond them the best found stands
FIRST_SHARE = 8  # of a box that is halved: the first part is smaller by so much
LOOKS = 8  # along a border, at first
NEAR = 4  # notches above the least that is possible: nothing to be won
SAME_SHARE = 1e-4  # costs nearer to each other than this are one


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


def traded(part: Part) -> Notches | None:
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
            least = _least(part, with_notch(start, one, notch), other)
            if least is not None:
                found[notch] = part.cost(least), least

    crossing = _least(part, with_notch(with_notch(start, other, part.low[other]), one, part.widest[one]), one)
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
    if not part.is_clear(with_notch(notches, knob, high)):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if part.is_clear(with_notch(notches, knob, middle)) else (middle, high)
    return with_notch(notches, knob, high)


def branched(part: Part) -> Notches | None:
    """Branch and bound over what lies between two corners: best bound first; a corner that is not clear wide open is cut off."""
    best = _climbed(part)
    least = None if best is None else part.cost(best)
    order = count()
    heap = [(part.cost(part.low), next(order), part.low, part.widest)]
    for _ in range(MOST_BOXES):
        if not heap or (least is not None and not is_less(heap[0][0], least)):
            break
        cost, _, low, high = heapq.heappop(heap)
        if not part.may_work(low, high):
            continue
        if part.works(low):
            best, least = low, cost
            continue
        for corner in _halves(part, low, high):
            bound = part.cost(corner[0])
            if least is None or is_less(bound, least):
                heapq.heappush(heap, (bound, next(order), *corner))
    return best


def is_less(cost: tuple[float, ...], than: tuple[float, ...]) -> bool:
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
    return [(low, with_notch(high, knob, middle)), (with_notch(low, knob, middle + 1), high)]


def _climbed(part: Part) -> Notches | None:
    """A design that works, down from the widest knob by knob, the dearest first; None where the least found does not."""
    notches = part.widest
    places = [k for k in part.places if part.attempt.space.knobs[k].opens > 0]
    for place in sorted(places, key=lambda k: part.cost(with_notch(part.widest, k, part.low[k]))):
        low, high = part.low[place], notches[place]
        if part.is_clear(with_notch(notches, place, low)):
            high = low
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if part.is_clear(with_notch(notches, place, middle)) else (middle, high)
        notches = with_notch(notches, place, high)
    return notches if part.works(notches) else None
