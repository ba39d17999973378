"""Where nothing fits: the fewest wishes that contradict each other, and the cheapest one to give up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from scenes.questions.builds.inputs import input_words
from scenes.questions.design.bench import Held
from scenes.questions.design.designer import Design, Designer, blocked
from scenes.questions.design.outside import MEASURES
from scenes.questions.design.space import space_of
from scenes.questions.design.wishes import Wish, Wishes, each_wish
from scenes.scene_file.messages import plain

MOST_SETS = 4  # of contradicting wishes that are told
TENTHS = 10  # of a mm: how finely room is told
WHOLE = 1.0  # what giving up a lens or a light counts: all of it


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """A wish given up: the design that all others allow then, None where they still contradict, and how much of it has to go."""

    wish: Wish
    design: Design | None
    share: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """The fewest wishes that cannot hold together, the cheapest to give up first; `more` are further such sets, beside the first.

    stuck: why not even one lens fits a box with nothing else asked of it. blocked: parts that lack room at their widest.
    """

    ways: tuple[WayOut, ...] = ()
    more: tuple[tuple[Wish, ...], ...] = ()
    stuck: str = ""
    blocked: tuple[Held, ...] = ()


def contradiction(designer: Designer, wishes: Wishes) -> Contradiction:
    """The fewest wishes that contradict each other where no design fits all, and those that contradict besides."""
    every = [*each_wish(wishes, designer.needed_mm()), *_ends(designer)]
    in_the_way = tuple(blocked(designer.attempt(designer.picks[0], wishes, designer.design.small)))
    left = _fewest_of(designer, wishes, every)
    if left is None:
        return Contradiction(stuck=_stuck(designer, wishes), blocked=in_the_way)
    sets = [left]
    while len(sets) < MOST_SETS and not _fits(designer, rest := _without(wishes, [wish for some in sets for wish in some])):
        further = _fewest_of(designer, rest, [wish for wish in every if all(wish not in some for some in sets)])
        if further is None:
            break
        sets.append(further)
    ways = [_way_out(designer, wishes, wish) for wish in left]
    ordered = tuple(sorted(ways, key=lambda way: (way.design is None, way.share, way.wish.key)))
    return Contradiction(ways=ordered, more=tuple(map(tuple, sets[1:])), blocked=in_the_way)


def _fewest_of(designer: Designer, wishes: Wishes, every: Sequence[Wish]) -> list[Wish] | None:
    left = _needed(designer, wishes, every)
    return None if left is None else _fewest(designer, wishes, every, left)


def _ends(designer: Designer) -> list[Wish]:
    """The ends given for measures, as wishes."""
    found = []
    for knob in space_of(designer.loaded.scene, designer.design).knobs:
        if knob.opens:
            most, end = ("at most", knob.high) if knob.opens > 0 else ("at least", knob.low)
            words = input_words(designer.loaded.scene, knob.spot)
            found.append(Wish(f"end:{knob.path}", f"{words} {most} {plain(end)} {knob.spot.unit}"))
    return found


def _fits(designer: Designer, wishes: Wishes) -> bool:
    designer.tick(0, "looking for what contradicts")
    return any(designer.solved(pick, wishes, designer.design.small) is not None for pick in designer.picks)


def _without(wishes: Wishes, some: Sequence[Wish]) -> Wishes:
    for wish in some:
        wishes = wish.left_out(wishes)
    return wishes


def _needed(designer: Designer, wishes: Wishes, every: Sequence[Wish]) -> list[Wish] | None:
    """Wishes none of which can be spared for a contradiction; None where even without any nothing fits.

    Lenses are asked last: one at least has to stay.
    """
    others = [wish for wish in every if not wish.key.startswith("lens:")]
    lenses = [wish for wish in every if wish.key.startswith("lens:")]
    alone = [[one for one in lenses if one is not kept] for kept in lenses] or [[]]
    if not any(_fits(designer, _without(wishes, [*others, *gone])) for gone in alone):
        return None
    dropped: list[Wish] = []
    for wish in [*lenses, *others]:
        rest = _without(wishes, [*dropped, wish])
        if rest.lenses and not _fits(designer, rest):
            dropped.append(wish)
    return [wish for wish in every if wish not in dropped]


def _fewest(designer: Designer, wishes: Wishes, every: Sequence[Wish], known: list[Wish]) -> list[Wish]:
    """The fewest of all: sets smaller than the one known are tried, smallest first."""
    for size in range(1, len(known)):
        for some in combinations(every, size):
            rest = _without(wishes, [wish for wish in every if wish not in some])
            if rest.lenses and not _fits(designer, rest):
                return list(some)
    return known


def _way_out(designer: Designer, wishes: Wishes, wish: Wish) -> WayOut:
    found = designer.best(wish.left_out(wishes))
    design = found[0] if found else None
    if design is None:
        return WayOut(wish=wish, design=None, share=WHOLE, words=f"without {wish.words} the rest still does not fit")
    share, words = _given_up(designer, wishes, wish, design)
    return WayOut(wish=wish, design=design, share=share, words=words)


def _given_up(designer: Designer, wishes: Wishes, wish: Wish, design: Design) -> tuple[float, str]:
    """How much of a wish has to go, as a share of it, and what that means."""
    kind, _, name = wish.key.partition(":")
    if kind == "room":
        room_mm = _most_room_mm(designer, wishes)
        return 1.0 - room_mm / wishes.more_mm, f"{plain(room_mm)} mm in place of {plain(wishes.more_mm)}"
    if kind == "limit":
        own, needed = dict(wishes.limits)[name], _least(designer, wish.left_out(wishes), name)
        return needed / own - 1.0, f"{plain(round(needed, 2))} in place of {plain(own)}"
    if kind == "end":
        knob = next(one for one in space_of(designer.loaded.scene, designer.design).knobs if one.path == name)
        own, needed = (knob.high if knob.opens > 0 else knob.low), design.measures[name]
        return abs(needed - own) / max(abs(own), 1.0), f"{plain(round(needed, 1))} {knob.spot.unit} in place of {plain(own)}"
    return WHOLE, "left out"


def _most_room_mm(designer: Designer, wishes: Wishes) -> float:
    """The most room that there is for all other wishes, to a tenth of a mm."""
    low, high = 0, math.ceil(wishes.more_mm * TENTHS)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _fits(designer, replace(wishes, more_mm=middle / TENTHS)) else (low, middle)
    return low / TENTHS


def _least(designer: Designer, wishes: Wishes, measure: str) -> float:
    """The least that a limit has to be."""
    small = (measure, *(one for one in designer.design.small if one != measure))
    found = designer.best(wishes, small)
    return min(MEASURES[measure](one.outside) for one in found)


def _stuck(designer: Designer, wishes: Wishes) -> str:
    """Why nothing can be built whatever is given up: a fault of the box."""
    pick = designer.picks[0]
    attempt = designer.attempt(pick, wishes, designer.design.small)
    name, at = repr(sorted(pick.items())), attempt.fault_at or attempt.widest
    return designer.fault(name, attempt.space, attempt.scene, at) or "not even one lens alone has room in the box"
