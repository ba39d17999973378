"""Damaged files end in a value or in sentences; `python -m tests.fuzz` goes on for as long as asked."""

import random
import warnings

import pytest

from tests.fuzz.targets import TARGETS, mutated, outcome


@pytest.mark.parametrize("count", [40, pytest.param(1500, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", TARGETS)
def test_any_damage_ends_in_a_value_or_in_sentences(name, count):
    target, rng = TARGETS[name](), random.Random(20262)
    for kind, whole in target.seeds:
        assert outcome(target, kind, whole) == "value"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the readers' libraries, about what they find
        for _ in range(count):
            kind, whole = rng.choice(target.seeds)
            outcome(target, kind, mutated(whole, target.scraps, rng))
