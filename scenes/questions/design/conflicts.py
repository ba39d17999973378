"""Which wishes cannot hold together, and how few can be given up: knows of them only whether some can be had, by asking.

What can be had stays so with fewer wishes. Smallest sets by hitting sets: what is given up to make the rest possible takes one
wish at least out of each contradiction, and the other way round (R. Reiter, 1987; A. Ignatiev and others, 2015; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from typing import Generic, TypeVar

T = TypeVar("T")


class Asked(Generic[T]):
    """Whether some of all wishes can be had together; nothing is asked that follows from what is known."""

    def __init__(self, every: Sequence[T], ask: Callable[[Sequence[T]], bool]) -> None:
        self.every = tuple(every)
        self.ask = ask
        self._had: list[frozenset[T]] = []
        self._not: list[frozenset[T]] = []

    def can(self, some: frozenset[T]) -> bool:
        """Whether these can be had together."""
        if any(some <= known for known in self._had):
            return True
        if any(known <= some for known in self._not):
            return False
        found = self.ask([one for one in self.every if one in some])
        (self._had if found else self._not).append(some)
        return found


def smallest_conflict(asked: Asked[T], within: Sequence[T]) -> tuple[T, ...] | None:
    """The fewest of some wishes that cannot be had together, the first where several are as few; None where all can be had.

    Without any one of them the others can be had. Empty where nothing can be had at all.
    """
    whole = frozenset(within)
    if asked.can(whole):
        return None
    given_up: list[frozenset[T]] = []
    while True:
        tried = next(_hitting(within, given_up))
        if not asked.can(frozenset(tried)):
            return tried
        had: frozenset[T] = _grown(asked, within, frozenset(tried))
        given_up.append(whole - had)


def fewest_given_up(asked: Asked[T], first: tuple[T, ...], most: int) -> tuple[list[tuple[T, ...]], list[tuple[T, ...]]]:
    """Contradictions, the first of them known, and all ways to give up as few wishes as make the rest possible.

    At most so many contradictions are looked at: beyond them no way is told.
    """
    found, whole = [first], frozenset(asked.every)
    while True:
        fewest = list(_hitting(asked.every, [frozenset(some) for some in found]))
        ways = [some for some in fewest if asked.can(whole - frozenset(some))]
        if ways or len(found) == most:
            return found, ways
        left = [one for one in asked.every if one not in fewest[0]]
        further = smallest_conflict(asked, left)
        assert further is not None  # what is left cannot be had
        found.append(further)


def _hitting(every: Sequence[T], sets: Sequence[frozenset[T]]) -> Iterator[tuple[T, ...]]:
    """All of the smallest selections that hold one at least of each set."""
    of_use = [one for one in every if any(one in some for some in sets)]
    for size in range(len(of_use) + 1):
        found = [some for some in combinations(of_use, size) if all(not each.isdisjoint(some) for each in sets)]
        if found:
            yield from found
            return


def _grown(asked: Asked[T], within: Sequence[T], some: frozenset[T]) -> frozenset[T]:
    """As many more wishes as can be had with some: whole halves at once where they can."""
    waiting = [[one for one in within if one not in some]]
    while waiting:
        more = waiting.pop()
        if asked.can(some | frozenset(more)):
            some |= frozenset(more)
        elif len(more) > 1:
            half = len(more) // 2
            waiting += [more[half:], more[:half]]
    return some
