"""The least measures that keep every lens clear: brackets on the exact judgement, then knob against knob, branch and bound.

A wider opening, a flag farther out, a shorter hood never takes room from a part, so of each measure with the others wide open there
is one least notch: no design lies below it. Where all of these together stand clear no opening can be smaller. The outside can: a
slanted wall cut across is wider than it is thick, so a hood is also tried with its rear opened up. What is smallest is proven only
against the box with all openings at their least and walls as straight as is allowed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scenes.questions.design.between_corners import LOOKS, Part, branched, is_less, traded
from scenes.questions.design.ends import ends_of, levelled
from scenes.questions.design.tries import Holds, Notches, Try, with_notch

PROVEN_SHARE = 1e-3  # nearer to the least that is possible than this is the least


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
        found = _straight(attempt, best) or branched(Part(attempt, low, widest, tuple(range(len(low))), whole=True))
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
        best = part.low if part.is_clear(part.low) else traded(part)
        if best is not None:
            for place in group:
                found[place] = best[place]
    return tuple(found)


def _built(attempt: Try, notches: Notches, widest: Notches) -> Notches:
    """A box that can be built, by the one measure whose growing mends it at the least cost; as it was where no one does."""
    mended = []
    for place, most in enumerate(widest):
        if most > notches[place] and attempt.holds(with_notch(notches, place, most)):
            low, high = notches[place], most
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if attempt.holds(with_notch(notches, place, middle)) else (middle, high)
            mended.append(with_notch(notches, place, high))
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
        wider = [with_notch(notches, end.knob, at) for at in _between(notches[end.knob], level)]
        cheaper = [one for one in wider if is_less(attempt.cost(one)[:told], attempt.cost(notches)[:told])]
        notches = next((one for one in sorted(cheaper, key=attempt.cost) if works(one)), notches)
    return notches


def _between(low: int, high: int) -> list[int]:
    """Notches above the low one up to the high one, a look evenly spread."""
    return sorted({low + math.ceil((high - low) * k / LOOKS) for k in range(1, LOOKS + 1)}) if high > low else []
