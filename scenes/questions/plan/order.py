"""The order of set-ups that costs least: exact for a day's shoot, good beyond. Plain costs in, an order out.

Source of the exact way: M. Held, R. M. Karp, J. SIAM 10 (1962) 196; of the other: nearest next, then pieces moved and turned.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

MOST_EXACT = 15  # 15^2 x 2^15 steps: under a second
LEAST_GAIN = 1e-9  # of costs that are whole or half minutes


@dataclass(frozen=True, slots=True)
class Order:
    """Places in the order of work, what all changes cost, and whether no other order costs less."""

    places: tuple[int, ...]
    cost: float
    exact: bool


def best_order(cost: NDArray[np.float64], first: NDArray[np.float64]) -> Order:
    """The cheapest order of all set-ups: cost (N, N) from row to column, not symmetric; first (N,) what each costs at the start."""
    count = len(first)
    if count == 0:
        return Order((), 0.0, exact=True)
    exact = count <= MOST_EXACT
    places = exact_order(cost, first) if exact else good_order(cost, first)
    return Order(tuple(places), path_cost(places, cost, first), exact)


def path_cost(places: Sequence[int], cost: NDArray[np.float64], first: NDArray[np.float64]) -> float:
    """What an order costs."""
    return float(first[places[0]]) + float(sum(cost[a, b] for a, b in pairwise(places)))


def exact_order(cost: NDArray[np.float64], first: NDArray[np.float64]) -> list[int]:
    """Best(S, j) = min over k of Best(S - j, k) + cost[k, j], over all sets S. Of orders that cost the same the earliest."""
    count = len(first)
    best = np.full((1 << count, count), np.inf)
    for j in range(count):
        best[1 << j, j] = first[j]
    for members in range(1, 1 << count):
        inside = [j for j in range(count) if members >> j & 1]
        if len(inside) > 1:
            for j in inside:
                best[members, j] = (best[members ^ 1 << j] + cost[:, j]).min()
    return _walked_back(best, cost)


def _walked_back(best: NDArray[np.float64], cost: NDArray[np.float64]) -> list[int]:
    members = len(best) - 1
    at = int(np.argmin(best[members]))
    places = [at]
    while members ^ (1 << at):
        members ^= 1 << at
        at = int(np.argmin(best[members] + cost[:, at]))
        places.append(at)
    return places[::-1]


def good_order(cost: NDArray[np.float64], first: NDArray[np.float64]) -> list[int]:
    """Nearest next from each start, the cheapest of these mended until no piece moved or turned makes it cheaper."""
    starts = (_nearest_next(start, cost) for start in range(len(first)))
    places = min(starts, key=lambda one: path_cost(one, cost, first))
    while (better := _mended(places, cost, first)) is not None:
        places = better
    return places


def _nearest_next(start: int, cost: NDArray[np.float64]) -> list[int]:
    places, left = [start], set(range(len(cost))) - {start}
    while left:
        at = min(left, key=lambda j: (cost[places[-1], j], j))
        places.append(at)
        left.remove(at)
    return places


def _mended(places: list[int], cost: NDArray[np.float64], first: NDArray[np.float64]) -> list[int] | None:
    """A cheaper order with one piece turned round or put elsewhere; None where there is none."""
    known, count = path_cost(places, cost, first), len(places)
    for start in range(count):
        for end in range(start + 1, count + 1):
            rest, piece = places[:start] + places[end:], places[start:end]
            for at in range(len(rest) + 1):
                for turned in (piece, piece[::-1]):
                    tried = rest[:at] + turned + rest[at:]
                    if path_cost(tried, cost, first) < known - LEAST_GAIN:
                        return tried
    return None
