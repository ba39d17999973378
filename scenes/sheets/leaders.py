"""Leaders from words to what they name: straight lines whose heads are spread out and which never cross. Plain numbers."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

Leader = tuple[tuple[float, float], tuple[float, float]]  # its head, where the words stand, and its foot [mm]


def spread(wanted: Sequence[float], step: float, low: float, high: float) -> list[float]:
    """Places near the wanted ones (in their order), at least a step apart and within limits where these leave room."""
    placed: list[float] = []
    for value in wanted:
        placed.append(max(value, placed[-1] + step if placed else low))
    top = high
    for i in range(len(placed) - 1, -1, -1):
        placed[i] = min(placed[i], top)
        top = placed[i] - step
    return placed


def uncrossed(leaders: Sequence[Leader]) -> list[Leader]:
    """The leaders, each to its own foot, with heads changed over until none crosses another: every change makes them shorter."""
    found = list(leaders)
    while crossing := next(((i, j) for i, j in combinations(range(len(found)), 2) if crosses(found[i], found[j])), None):
        i, j = crossing
        found[i], found[j] = (found[j][0], found[i][1]), (found[i][0], found[j][1])
    return found


def crosses(one: Leader, other: Leader) -> bool:
    """Whether two straight leaders cross, not counting ends that touch."""

    def side(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    (a, b), (c, d) = one, other
    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0
