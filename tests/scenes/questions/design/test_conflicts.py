"""Sets of wishes that contradict: against every subset, one by one, and against closed forms of two and three lenses."""

from itertools import chain, combinations

import numpy as np
import pytest

from scenes.questions.design.conflicts import Asked, fewest_given_up, smallest_conflict
from scenes.questions.design.contradictions import asking
from scenes.questions.design.designer import Designer
from scenes.questions.design.text import contradiction_words
from scenes.questions.design.wishes import wishes_of
from scenes.states.load import load_scene
from tests.scenes.questions.design.made import FREE_FRONT, designed, half_mm, hood, lens, scene, written

EVERY = tuple("abcdefg")


def subsets(of):
    return chain.from_iterable(combinations(of, size) for size in range(len(of) + 1))


def invented(seed):
    """Sets that cannot be had, of which some are part of others."""
    rng = np.random.default_rng(seed)
    return [frozenset(rng.choice(EVERY, rng.integers(1, 5), replace=False)) for _ in range(rng.integers(1, 5))]


@pytest.mark.parametrize("seed", range(60))
def test_the_smallest_contradiction_and_the_fewest_to_give_up_are_those_of_all_subsets_looked_at_one_by_one(seed):
    cannot = invented(seed)

    def ask(some):
        return not any(bad <= frozenset(some) for bad in cannot)

    asked = Asked(EVERY, ask)
    found = smallest_conflict(asked, EVERY)
    assert not ask(found)
    assert all(ask([one for one in found if one != gone]) for gone in found)
    assert len(found) == min(len(some) for some in subsets(EVERY) if not ask(some))
    sets, ways = fewest_given_up(asked, found, most=99)
    least = min(len(gone) for gone in subsets(EVERY) if ask([one for one in EVERY if one not in gone]))
    every_way = {gone for gone in combinations(EVERY, least) if ask([one for one in EVERY if one not in gone])}
    assert set(ways) == every_way
    for some in sets:
        assert not ask(some)
        assert all(ask([one for one in some if one != gone]) for gone in some)


def test_nothing_is_asked_that_follows_from_what_is_known():
    looked = []
    asked = Asked(EVERY, lambda some: looked.append(tuple(some)) or "a" not in some)
    assert asked.can(frozenset("bcd"))
    assert asked.can(frozenset("bd"))
    assert not asked.can(frozenset("ac"))
    assert not asked.can(frozenset("abc"))
    assert looked == [tuple("bcd"), tuple("ac")]


AT, DEPTH, THICK = 20, 60, 2.0
GROWN = 1.02
LENSES = {"20": (20, 2.0, 40), "24": (24, 2.0, 40), "50": (50, 2.0, 40)}


def lenses(*names):
    return "".join(lens(name, *LENSES[name], known=True) for name in names)


def outside_mm(name, rear=150.0):
    """Width outside of the hood that a lens needs by itself: similar triangles, the walls cut across; pupils that stand still."""
    focal, stop, depth = LENSES[name]
    across = focal / stop * (np.hypot(1.0, GROWN * 18 / focal) - 1.0)
    front = 2 * half_mm(18, focal, stop, depth, AT + DEPTH, 0.0, GROWN) + across
    return max(front, rear) + 2 * THICK * np.hypot(1.0, (front - rear) / 2 / DEPTH)


def limited(width_mm, *names, more=""):
    design = f'small = ["front_width"]\n[design.limits]\nwidth_mm = {width_mm}\nheight_mm = 300'
    return scene(lenses(*names), hood(at=AT, depth=DEPTH, rear=(150, 110)) + more, design=design)


def test_only_the_lens_that_needs_more_than_the_limit_is_named(tmp_path):
    needed = {name: outside_mm(name) for name in LENSES}
    limit = round((needed["20"] + needed["24"]) / 2, 1)
    assert needed["24"] + 1 < limit < needed["20"] - 1
    found = designed(tmp_path, limited(limit, *LENSES)).contradiction
    assert {wish.key for wish in found.wishes} == {"lens:20", "limit:front_width"}
    assert found.alike == ()
    by_limit = next(way for way in found.ways if way.wishes[0].kind == "limit")
    assert float(by_limit.words.split()[0]) == pytest.approx(needed["20"], abs=0.3)
    assert found.ways[0] is by_limit  # a few percent of a width, against a whole lens


def test_of_two_lenses_that_do_not_fit_the_needier_is_named_and_the_other_told(tmp_path):
    limit = round((outside_mm("24") + outside_mm("50")) / 2, 1)
    assert outside_mm("50") + 1 < limit < outside_mm("24") - 1
    found = designed(tmp_path, limited(limit, "24", "50", "20")).contradiction
    assert {wish.key for wish in found.wishes} == {"lens:20", "limit:front_width"}
    assert found.alike == ("the 24",)
    assert [[wish.key for wish in way.wishes] for way in found.ways] == [["limit:front_width"]]
    assert any("Nor can they with the 24 in place of the 20" in words for words in contradiction_words(found))


def test_a_limit_that_no_lens_fits_is_named_alone(tmp_path):
    limit = round(outside_mm("50") - 2, 1)
    found = designed(tmp_path, limited(limit, *LENSES)).contradiction
    assert [wish.key for wish in found.wishes] == ["limit:front_width"]
    assert f"Cannot be had with any lens: at most {limit:g} mm wide." in contradiction_words(found)


def test_a_lens_given_up_takes_the_parts_along_that_only_it_has(tmp_path):
    mask = '[[box.mask]]\nat_mm = 10\nopening_mm = [140, 100]\nouter_mm = [290, 160]\nlenses = ["50"]\n'
    found = designed(tmp_path, limited(280, "24", "50", more=mask)).contradiction
    assert {wish.key for wish in found.wishes} == {"lens:50", "limit:front_width"}
    (without,) = (way for way in found.ways if way.wishes[0].is_lens)
    assert without.design.outside.width_mm == pytest.approx(outside_mm("24"), abs=0.3)


@pytest.mark.parametrize(("wide", "high", "rear", "give_up"), [(236, 300, 170, 1), (232, 164, 170, 1), (212, 140, 150, 2)])
def test_without_any_one_wish_of_it_a_contradiction_is_none_and_with_all_of_them_it_is(tmp_path, wide, high, rear, give_up):
    want = f'small = ["front_area"]\n[design.want]\nroom_mm = 2\n[design.limits]\nwidth_mm = {wide}\nheight_mm = {high}'
    text = scene(lens("20", 20, 2.0, 40) + lens("27", 27, 1.4, 60), hood(rear=(rear, 120)), FREE_FRONT, want)
    loaded = load_scene(written(tmp_path, text))
    told = designed(tmp_path, text).contradiction
    again = Designer(loaded)
    again.prepare()
    asked = asking(again, wishes_of(loaded.scene))
    by_key = {wish.key: wish for wish in asked.every}
    assert told.wishes
    assert {len(way.wishes) for way in told.ways} == {give_up}
    for some in (told.wishes, *told.more):
        keys = {wish.key for wish in some}
        assert not asked.ask([by_key[key] for key in keys])
        for gone in keys:
            assert asked.ask([by_key[key] for key in keys - {gone}]), gone
    for way in told.ways:
        gone = {wish.key for wish in way.wishes}
        assert asked.ask([wish for key, wish in by_key.items() if key not in gone])


def test_lenses_that_cannot_be_had_each_by_itself_are_told_once(tmp_path):
    """Three lenses through a fixed bore that none of the two wider ones gets through."""
    back = "back = { width_mm = 200, height_mm = 180, thickness_mm = 4, bore_mm = 81 }\n"
    found = designed(tmp_path, scene(lenses("20", "24", "50"), back + hood(at=AT, depth=DEPTH, rear=(150.0, 120)))).contradiction
    assert list(contradiction_words(found))[:2] == ["Cannot be had: the 20.", "Nor can the 24."]
    assert sum("24" in words for words in contradiction_words(found)) <= 2  # the other: what to give up
