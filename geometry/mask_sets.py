"""Which openings may share one plate: the split of a set into at most k groups with the least excess area.

The opening of a group is the union of its members' own openings; the excess is what each member is given beyond its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from geometry.cutouts import Shape, joined
from geometry.errors import GeometryError

EXACT_UP_TO = 11  # openings: 3^11 splits take a second or so
Group = tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """Groups of openings by their places in the list; `excess_mm2` summed over the members; whether no better one exists."""

    groups: tuple[Group, ...]
    excess_mm2: float
    exact: bool


def best_splits(openings: Sequence[Shape], most: int, *, families: Sequence[int] | None = None) -> tuple[Split, ...]:
    """The best split into at most 1, 2, ... `most` groups, as far as there are members to part.

    Openings of different families never share a plate; then the first entry has as many groups as there are families.
    """
    families = [0] * len(openings) if families is None else families
    least, most = len(set(families)), min(most, len(openings))
    if not openings or most < least:
        raise GeometryError(f"{least} kinds of opening that may not share a mask need at least {least} masks, found {most}")
    costs = _Costs(openings, families)
    counts = range(least, most + 1)
    if len(openings) <= EXACT_UP_TO:
        return _exact(costs, counts)
    return tuple(_merged(costs, count) for count in counts)


class _Costs:
    """What a group costs, by the bits of its members; worked out once for each group asked for."""

    def __init__(self, openings: Sequence[Shape], families: Sequence[int]) -> None:
        self.count = len(openings)
        self.families = families
        self._openings = openings
        self._union = lru_cache(maxsize=None)(self._joined)
        self.excess_mm2 = lru_cache(maxsize=None)(self._excess)

    def _joined(self, bits: int) -> Shape:
        last = bits.bit_length() - 1
        rest = bits & ~(1 << last)
        return self._openings[last] if not rest else joined([self._union(rest), self._openings[last]])

    def _excess(self, bits: int) -> float:
        members = members_of(bits)
        if len({self.families[k] for k in members}) > 1:
            return float("inf")
        return max(len(members) * self._union(bits).area - sum(self._openings[k].area for k in members), 0.0)


def members_of(bits: int) -> Group:
    """The places of the bits that are set."""
    return tuple(k for k in range(bits.bit_length()) if bits >> k & 1)


def _exact(costs: _Costs, counts: range) -> tuple[Split, ...]:
    """Dynamic programming over subsets: the group of the lowest member is tried in every way, the rest is solved before."""
    whole = (1 << costs.count) - 1
    best: list[dict[int, tuple[float, int]]] = [{0: (0.0, 0)}]
    for _ in range(counts[-1]):
        best.append(_one_more(costs, best[-1], whole))
    return tuple(_told(best, whole, count) for count in counts)


def _one_more(costs: _Costs, fewer: dict[int, tuple[float, int]], whole: int) -> dict[int, tuple[float, int]]:
    """(least excess, the group of the lowest member) of every subset with one group more."""
    found = {0: (0.0, 0)}
    for subset in range(1, whole + 1):
        lowest = subset & -subset
        others = subset ^ lowest
        choice, group = (float("inf"), subset), others
        while True:  # over all subsets of the other members
            rest = others ^ group
            if rest in fewer:
                excess = fewer[rest][0] + costs.excess_mm2(group | lowest)
                choice = min(choice, (excess, group | lowest))
            if not group:
                break
            group = (group - 1) & others
        found[subset] = choice
    return found


def _told(best: list[dict[int, tuple[float, int]]], whole: int, count: int) -> Split:
    groups, left, level = [], whole, count
    while left:
        group = best[level][left][1]
        groups.append(members_of(group))
        left, level = left ^ group, level - 1
    return Split(groups=tuple(groups), excess_mm2=best[count][whole][0], exact=True)


def _merged(costs: _Costs, count: int) -> Split:
    """The two groups that cost least together joined, again and again; then single members moved while that helps."""
    groups = [1 << k for k in range(costs.count)]
    while len(groups) > count:
        pairs = [(a, b) for a in groups for b in groups if a < b]
        a, b = min(pairs, key=lambda pair: costs.excess_mm2(pair[0] | pair[1]) - sum(map(costs.excess_mm2, pair)))
        groups = [group for group in groups if group not in {a, b}] + [a | b]
    groups = _moved(costs, groups)
    return Split(
        groups=tuple(sorted(members_of(group) for group in groups)), excess_mm2=sum(map(costs.excess_mm2, groups)), exact=False
    )


def _moved(costs: _Costs, groups: list[int]) -> list[int]:
    """Single members moved from group to group, the best move first, until none helps."""
    while True:
        total = sum(map(costs.excess_mm2, groups))
        moves = [_move(groups, k, to) for k in range(costs.count) for to in range(len(groups)) if not groups[to] >> k & 1]
        better = min(moves, key=lambda tried: sum(map(costs.excess_mm2, tried)), default=groups)
        if not sum(map(costs.excess_mm2, better)) < total - 1e-9:
            return groups
        groups = better


def _move(groups: Sequence[int], member: int, to: int) -> list[int]:
    bit = 1 << member
    moved = [group & ~bit | (bit if place == to else 0) for place, group in enumerate(groups)]
    return [group for group in moved if group]
