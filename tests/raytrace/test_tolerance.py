"""Worst cases, spreads and effects against sums that can be done by hand."""

import numpy as np
import pytest
from scipy.stats import binomtest, qmc

from raytrace.tolerance import PlusMinus, latin_hypercube, main_effects, plus_minus, share_range, spread, tornado, worst_case


def stack(inputs):
    """A chain of lengths: 2 + a - 2 b + 0.5 c."""
    return 2 + inputs["a"] - 2 * inputs["b"] + 0.5 * inputs["c"]


CHAIN = (plus_minus("a", 0.0, 1.0), plus_minus("b", 0.0, 0.3), PlusMinus("c", 0.0, 0.4, 0.0))


def test_the_worst_of_a_straight_chain_is_the_sum_of_its_tolerances():
    found = worst_case(stack, CHAIN)
    assert found.nominal == pytest.approx(2.0)
    assert found.worst == pytest.approx(2 - 1 - 0.6 - 0.2)
    assert found.inputs == pytest.approx({"a": -1.0, "b": 0.3, "c": -0.4})


def test_many_inputs_go_to_their_worse_ends_together():
    chain = tuple(plus_minus(str(k), 0.0, 0.1 * (k + 1)) for k in range(12))
    found = worst_case(lambda v: sum((-1) ** k * v[str(k)] for k in range(12)), chain)
    assert found.worst == pytest.approx(-0.1 * sum(range(1, 13)))


def test_corners_find_a_worst_that_no_input_shows_alone():
    found = worst_case(lambda v: 1 + v["a"] * v["b"], (plus_minus("a", 0.0, 2.0), plus_minus("b", 0.0, 3.0)))
    assert found.worst == pytest.approx(-5.0)


def test_a_tornado_has_the_largest_swing_on_top():
    effects = tornado(stack, CHAIN)
    assert [effect.name for effect in effects] == ["a", "b", "c"]
    assert [effect.swing for effect in effects] == pytest.approx([2.0, 1.2, 0.2])


def test_the_clear_share_of_two_even_spreads_is_that_of_their_triangle():
    # u + v > 0.5 for even spreads on 0..1: 1 - 0.5^2 / 2 = 0.875.
    inputs = (plus_minus("u", 0.5, 0.5), plus_minus("v", 0.5, 0.5))
    found = spread(lambda x: x["u"] + x["v"] - 0.5, inputs, 4000, np.random.default_rng(1))
    assert found.share_range[0] <= 0.875 <= found.share_range[1]
    assert found.clear_share == pytest.approx(0.875, abs=0.01)


def test_the_least_sure_input_is_the_one_with_the_largest_part_of_the_variance():
    # Variances of even spreads are (b - a)^2 / 12, times the squared slopes: 4/12, 1.44/12, 0.04/12.
    found = spread(stack, CHAIN, 500, np.random.default_rng(2))
    assert found.main_effects == pytest.approx(np.array([4.0, 1.44, 0.04]) / 5.48, abs=0.02)
    assert found.least_sure == "a"


@pytest.mark.parametrize(("hits", "n"), [(0, 50), (37, 50), (500, 500), (992, 1000)])
def test_a_share_of_builds_has_the_interval_that_scipy_gives(hits, n):
    theirs = binomtest(hits, n).proportion_ci(method="wilson")
    assert share_range(hits, n) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_builds_are_the_same_for_the_same_seed_and_stay_within_their_tolerances():
    one, two = (spread(stack, CHAIN, 64, np.random.default_rng(5)) for _ in range(2))
    assert np.array_equal(one.inputs, two.inputs)
    assert (one.inputs.min(axis=0) >= [-1, -0.3, -0.4]).all()
    assert (one.inputs.max(axis=0) <= [1, 0.3, 0.0]).all()


def test_an_answer_that_never_moves_has_no_least_sure_input():
    found = spread(lambda _: 1.0, CHAIN, 32, np.random.default_rng(3))
    assert found.clear_share == 1.0
    assert found.least_sure == ""
    assert main_effects(found.inputs, found.values) == pytest.approx(np.zeros(3))


def test_a_tolerance_below_nought_is_refused():
    with pytest.raises(ValueError, match="pupil: a tolerance must not be below 0, got --1 / \\+2"):
        PlusMinus("pupil", 38.0, -1.0, 2.0)


def test_what_lowers_the_answer_both_ways_counts_as_an_effect():
    # An opening off centre: its least room is 5 - |a|, and b moves it by 0.1 only.
    offset = (plus_minus("a", 0.0, 2.0), plus_minus("b", 0.0, 0.1))
    effect, small = tornado(lambda v: 5 - abs(v["a"]) + v["b"], offset)
    assert (effect.name, effect.swing, small.swing) == ("a", pytest.approx(2.0), pytest.approx(0.2))
    found = spread(lambda v: 5 - abs(v["a"]) + v["b"], offset, 400, np.random.default_rng(4))
    share = (4 / 12) / (4 / 12 + 0.01 / 3)  # var|a| = 2^2 / 12, var b = 0.2^2 / 12
    assert found.main_effects == pytest.approx(np.array([share, 1 - share]), abs=0.02)
    assert found.least_sure == "a"


def test_the_worst_of_many_is_found_where_an_input_lowers_the_answer_both_ways():
    # The least of two sides: 1 - a and 1 + a + b0 + ... ; the second with everything else low is worse by far.
    many = (plus_minus("a", 0.0, 1.0), *(plus_minus(f"b{k}", 0.0, 0.2) for k in range(8)))
    found = worst_case(lambda v: min(1 - v["a"], 1 + v["a"] + sum(v[f"b{k}"] for k in range(8))), many)
    assert found.worst == pytest.approx(1 - 1 - 8 * 0.2)


def test_a_suspected_corner_is_told_where_no_input_alone_shows_it():
    # 1 and 2 - (-a) - (-b) ...: nothing moves the answer alone, and all low together make 2 - 8 x 0.3 = -0.4.
    many = tuple(plus_minus(str(k), 0.0, 0.3) for k in range(8))
    found = worst_case(lambda v: min(1.0, 2 + sum(v.values())), many, [{t.name: t.ends[0] for t in many}])
    assert found.worst == pytest.approx(-0.4)


def test_the_worst_of_many_is_found_on_an_edge_that_no_input_alone_brings_near():
    # 1 or 3 + a - b + c, each +/- 0.9: alone 2.1 at least, together 3 - 2.7. The others do nothing.
    many = tuple(plus_minus(name, 0.0, 0.9) for name in "wxyzabc")
    found = worst_case(lambda v: min(1.0, 3 + v["a"] - v["b"] + v["c"]), many)
    assert found.worst == pytest.approx(0.3)


@pytest.mark.parametrize(("n", "d"), [(10, 1), (200, 24)])
def test_builds_are_a_latin_hypercube_of_scipy_to_the_last_bit(n, d):
    mine, theirs = np.random.default_rng(5), np.random.default_rng(5)
    assert np.array_equal(latin_hypercube(n, d, mine), qmc.LatinHypercube(d=d, rng=theirs).random(n))
    assert mine.random() == theirs.random()


def test_values_that_differ_by_rounding_alone_hang_on_nothing():
    rng = np.random.default_rng(3)
    values = np.full(60, 0.1 + 0.2)
    values[::2] = 0.3
    with np.errstate(all="raise"):
        assert main_effects(rng.uniform(-1, 1, (60, 2)), values) == pytest.approx(np.zeros(2))
        assert main_effects(rng.uniform(-1, 1, (60, 2)), np.full(60, 0.1)) == pytest.approx(np.zeros(2))
