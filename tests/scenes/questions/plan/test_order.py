"""The order of set-ups against all orders tried, and against instances whose one optimum is known."""

from itertools import permutations

import numpy as np
import pytest

from scenes.questions.plan.order import MOST_EXACT, best_order, good_order, path_cost

# cost[i][j] from i to j. The one optimum of each was found by trying all orders and by Held and Karp's recurrence, elsewhere.
FOUR = np.array([[0, 2, 9, 10], [1, 0, 6, 4], [15, 7, 0, 8], [6, 3, 12, 0]], dtype=float)
FIVE = np.array([[0, 3, 8, 6, 7], [5, 0, 4, 9, 6], [7, 2, 0, 5, 8], [9, 6, 3, 0, 2], [4, 8, 7, 6, 0]], dtype=float)
FAR = 1000.0


def from_first(count):
    return np.array([0.0] + [FAR] * (count - 1))


@pytest.mark.parametrize(
    ("cost", "first", "places", "least"),
    [
        (FOUR, np.zeros(4), (2, 3, 1, 0), 12),
        (FOUR, from_first(4), (0, 1, 2, 3), 16),
        (FIVE, np.zeros(5), (3, 4, 0, 1, 2), 13),
        (FIVE, from_first(5), (0, 1, 2, 3, 4), 14),
    ],
)
def test_the_known_optimum_is_found(cost, first, places, least):
    found = best_order(cost, first)
    assert (found.places, found.cost, found.exact) == (places, least, True)


@pytest.mark.parametrize("count", range(1, 9))
def test_no_order_of_up_to_eight_set_ups_costs_less(count):
    random = np.random.default_rng(count)
    cost, first = random.integers(0, 30, (count, count)).astype(float), random.integers(0, 30, count).astype(float)
    tried = np.array(list(permutations(range(count))))
    all_costs = first[tried[:, 0]] + cost[tried[:, :-1], tried[:, 1:]].sum(axis=1)
    found = best_order(cost, first)
    assert sorted(found.places) == list(range(count))
    assert found.cost == all_costs.min()
    assert found.cost == path_cost(found.places, cost, first)


def test_beyond_fifteen_the_order_is_good_and_says_that_it_is_not_proved():
    count = MOST_EXACT + 3
    places = np.random.default_rng(1).permutation(count)
    cost = np.full((count, count), 10.0)
    cost[places[:-1], places[1:]] = 1.0  # one cheap path through all
    found = best_order(cost, np.zeros(count))
    assert not found.exact
    assert sorted(found.places) == list(range(count))
    assert found.cost <= 1.5 * (count - 1)


def test_the_good_order_is_never_far_from_the_best_where_that_is_known():
    for seed in range(10):
        random = np.random.default_rng(seed)
        cost, first = random.integers(1, 30, (7, 7)).astype(float), np.zeros(7)
        good = path_cost(good_order(cost, first), cost, first)
        assert best_order(cost, first).cost <= good <= 1.5 * best_order(cost, first).cost


def test_nothing_to_shoot_has_an_order_too():
    assert best_order(np.zeros((0, 0)), np.zeros(0)).places == ()
