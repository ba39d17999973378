"""Sharing of masks against brute force: every assignment of up to eight openings to up to three masks."""

from itertools import product

import numpy as np
import pytest
import shapely

from geometry.errors import GeometryError
from geometry.mask_sets import EXACT_UP_TO, best_splits


def openings_of(seed, count):
    """Boxes of all proportions, none of them central."""
    rng = np.random.default_rng(seed)
    half, middle = rng.uniform(20, 110, (count, 2)), rng.uniform(-15, 15, (count, 2))
    return [shapely.box(*(m - h), *(m + h)) for h, m in zip(half, middle, strict=True)]


def excess_of(openings, group):
    union = shapely.union_all([openings[k] for k in group])
    return sum(union.area - openings[k].area for k in group)


def brute_force(openings, most, families):
    """Least excess over every way to hand `most` masks to the openings."""
    known, best = {}, np.inf
    for given in product(range(most), repeat=len(openings)):
        groups = [tuple(k for k, mask in enumerate(given) if mask == m) for m in range(most)]
        if any(len({families[k] for k in group}) > 1 for group in groups):
            continue
        for group in groups:
            if group not in known:
                known[group] = excess_of(openings, group) if group else 0.0
        best = min(best, sum(known[group] for group in groups))
    return best


@pytest.mark.parametrize(("seed", "count"), [(1, 3), (2, 5), (3, 6), (4, 7), (5, 8)])
def test_no_assignment_beats_the_split(seed, count):
    openings = openings_of(seed, count)
    splits = best_splits(openings, 3)
    assert len(splits) == 3
    for most, split in enumerate(splits, 1):
        assert split.excess_mm2 == pytest.approx(brute_force(openings, most, [0] * count), rel=1e-9)
        assert split.exact


@pytest.mark.parametrize("seed", [6, 7])
def test_no_assignment_that_keeps_families_apart_beats_the_split(seed):
    openings, families = openings_of(seed, 7), [0, 1, 0, 0, 1, 0, 1]
    splits = best_splits(openings, 3, families=families)
    assert [len(split.groups) for split in splits] == [2, 3]
    for most, split in zip((2, 3), splits, strict=True):
        assert split.excess_mm2 == pytest.approx(brute_force(openings, most, families), rel=1e-9)
        assert all(len({families[k] for k in group}) == 1 for group in split.groups)


def test_every_opening_is_in_one_group_and_the_groups_cost_what_is_told():
    openings = openings_of(8, 8)
    for split in best_splits(openings, 8):
        assert sorted(k for group in split.groups for k in group) == list(range(8))
        assert split.excess_mm2 == pytest.approx(sum(excess_of(openings, group) for group in split.groups), abs=1e-6)


def test_a_mask_each_leaves_no_excess():
    assert best_splits(openings_of(9, 5), 5)[-1].excess_mm2 == pytest.approx(0.0, abs=1e-6)


def test_many_openings_are_shared_nearly_as_well_as_brute_force_does():
    openings = openings_of(10, EXACT_UP_TO + 1)
    split = best_splits(openings, 2)[1]
    assert not split.exact
    assert sorted(k for group in split.groups for k in group) == list(range(len(openings)))
    assert split.excess_mm2 <= 1.1 * brute_force(openings, 2, [0] * len(openings))


def test_two_families_do_not_fit_one_mask():
    with pytest.raises(GeometryError, match="need at least 2 masks, found 1"):
        best_splits(openings_of(11, 3), 1, families=[0, 1, 0])
