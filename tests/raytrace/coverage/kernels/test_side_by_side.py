"""Chords cut side by side, against plain sets of points along each: what set algebra leaves."""

import numpy as np
import pytest

from raytrace.coverage.kernels.side_by_side import cut_from_all, cut_round_way, keep_of_all, set_all_apart, stop_all

CHORDS, MARK = 400, 3.0
PLACES = np.arange(-1.3, 1.3, 0.001) + 0.0005  # along a chord, none of which is an end


def ends(rng, *, some_empty=True):
    a, b = np.round(rng.uniform(-1.2, 1.2, (2, CHORDS)), 3)
    return (a, b) if some_empty else (np.minimum(a, b), np.maximum(a, b))


def within(low, high):
    return (low[:, None] < PLACES) & (high[:, None] > PLACES)


def drawn(seed):
    rng = np.random.default_rng(seed)
    low, high = ends(rng, some_empty=False)
    return rng, low, high, np.zeros(CHORDS)


def hold(before, left, low, high, apart):
    """What is left, in one piece or not set aside; a chord set aside is left in more pieces than one, and holds all of them."""
    now, aside = within(low, high), apart != 0.0
    assert (apart[aside] == MARK).all()
    assert (now[~aside] == left[~aside]).all()
    pieces = (np.diff(left.astype(int), axis=1, prepend=0) == 1).sum(axis=1)
    assert (pieces[aside] > 1).all()
    assert (pieces[~aside] <= 1).all()
    assert not (left & ~now).any()
    assert not (now & ~before).any()


@pytest.mark.parametrize("seed", range(3))
def test_what_a_body_stops_is_gone_and_chords_in_two_pieces_are_set_aside(seed):
    rng, low, high, apart = drawn(seed)
    start, end = ends(rng)
    before = within(low, high)
    cut_from_all.py_func(low, high, apart, start, end, CHORDS, MARK)
    hold(before, before & ~within(start, end), low, high, apart)
    assert apart.any()


@pytest.mark.parametrize("seed", range(3))
def test_of_a_plate_only_its_way_through_stays_open(seed):
    rng, low, high, apart = drawn(seed)
    start, end = ends(rng)
    before = within(low, high)
    keep_of_all.py_func(low, high, apart, start, end, CHORDS)
    hold(before, before & within(start, end), low, high, apart)


@pytest.mark.parametrize("seed", range(3))
def test_beside_the_hull_about_a_way_through_light_passes_too(seed):
    rng, low, high, apart = drawn(seed)
    way, hull = ends(rng), ends(rng)
    before = within(low, high)
    cut_round_way.py_func(low, high, apart, *way, *hull, CHORDS, MARK)
    hold(before, before & ~(within(*hull) & ~within(*way)), low, high, apart)
    assert apart.any()


def test_chords_set_aside_stay_as_they_are():
    rng, low, high, apart = drawn(9)
    apart[::2] = MARK
    kept = low[::2].copy(), high[::2].copy()
    cut_from_all.py_func(low, high, apart, *ends(rng), CHORDS, MARK + 1.0)
    keep_of_all.py_func(low, high, apart, *ends(rng), CHORDS)
    cut_round_way.py_func(low, high, apart, *ends(rng), *ends(rng), CHORDS, MARK + 1.0)
    set_all_apart.py_func(low, high, apart, CHORDS, MARK + 1.0)
    stop_all.py_func(low, high, apart, CHORDS)
    assert (np.stack([low, high])[:, ::2] == kept).all()
    assert (apart[::2] == MARK).all()
