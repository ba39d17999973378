"""Where nothing fits: the fewest wishes that contradict each other, and the cheapest one to give up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from scenes.questions.design.bench import Held
from scenes.questions.design.designer import Design, Designer, blocked
from scenes.questions.design.outside import MEASURES
from scenes.questions.design.space import space_of
from scenes.questions.design.wishes import Wish, Wishes, each_wish
from scenes.rig.spot_words import input_words
from scenes.scene_file.messages import plain

MOST_SETS = 4  # of contradicting wishes that are told
TENTHS = 10  # of a mm: how finely room is told
HUNDREDTHS = 100  # of a limit's unit: how finely a limit is told
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

    stuck: why not even one lens fits a box with nothing else asked of it. blocked: parts that lack room at their widest; fixed:
    those that lack it however wide all that is free may be, by name.
    """

    ways: tuple[WayOut, ...] = ()
    more: tuple[tuple[Wish, ...], ...] = ()
    stuck: str = ""
    blocked: tuple[Held, ...] = ()
    fixed: tuple[str, ...] = ()


def contradiction(designer: Designer, wishes: Wishes, obstacles: Contradiction) -> Contradiction:
    """The fewest wishes that contradict each other where no design fits all, and those that contradict besides.

    obstacles: what `in_the_way` says.
    """
    every = [*each_wish(wishes, designer.needed_mm()), *_ends(designer)]
    left = _fewest_of(designer, wishes, every)
    if left is None:
        return replace(obstacles, stuck=_stuck(designer, wishes))
    sets = [left]
    while len(sets) < MOST_SETS and not _fits(designer, rest := _without(wishes, [wish for some in sets for wish in some])):
        further = _fewest_of(designer, rest, [wish for wish in every if all(wish not in some for some in sets)])
        if further is None:
            break
        sets.append(further)
    ways = [_way_out(designer, wishes, wish) for wish in left]
    ordered = tuple(sorted(ways, key=lambda way: (way.design is None, way.share, way.wish.key)))
    return replace(obstacles, ways=ordered, more=tuple(map(tuple, sets[1:])))


def in_the_way(designer: Designer, wishes: Wishes) -> Contradiction:
    """Only what stands in the way: what is known before any wish is given up."""
    found = tuple(blocked(designer.attempt(designer.picks[0], wishes, designer.design.small)))
    return Contradiction(blocked=found, fixed=_fixed(designer, wishes))


def _fixed(designer: Designer, wishes: Wishes) -> tuple[str, ...]:
    """Parts that lack room with each set of choices even where every measure may go far beyond its end."""
    opening = (knob.path for knob in space_of(designer.loaded.scene, designer.design).knobs if knob.opens)
    wide = replace(wishes, wide=tuple(opening))
    each = [[held.part for held in blocked(designer.attempt(pick, wide, designer.design.small))] for pick in designer.picks]
    return tuple(dict.fromkeys(part for part in each[0] if all(part in parts for parts in each)))


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
    share, words, rest = _given_up(designer, wishes, wish, design)
    partly = next(iter(designer.best(rest)), None)
    if partly is None:
        words += ", as found by trial; left out, it gives the box told here"
    return WayOut(wish=wish, design=partly or design, share=share, words=words)


def _given_up(designer: Designer, wishes: Wishes, wish: Wish, design: Design) -> tuple[float, str, Wishes]:
    """How much of a wish has to go, as a share of it, what that means, and what is asked then."""
    kind, _, name = wish.key.partition(":")
    without = wish.left_out(wishes)
    if kind == "room":
        room_mm = _most_room_mm(designer, wishes)
        rest = replace(wishes, more_mm=room_mm)
        return 1.0 - room_mm / wishes.more_mm, f"{plain(room_mm)} mm in place of {plain(wishes.more_mm)}", rest
    if kind == "limit":
        own, needed = dict(wishes.limits)[name], _rounded_up(_least(designer, without, name))
        rest = replace(without, limits=(*without.limits, (name, needed)))
        return needed / own - 1.0, f"{plain(needed)} in place of {plain(own)}", rest
    if kind == "end":
        knob = next(one for one in space_of(designer.loaded.scene, designer.design).knobs if one.path == name)
        own, needed = (knob.high if knob.opens > 0 else knob.low), design.measures[name]
        words = f"{plain(round(needed, 1))} {knob.spot.unit} in place of {plain(own)}"
        return abs(needed - own) / max(abs(own), 1.0), words, without
    return WHOLE, "left out", without


def _rounded_up(limit: float) -> float:
    """A limit to a hundredth, never less than is needed."""
    return math.ceil(limit * HUNDREDTHS - 1e-6) / HUNDREDTHS


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
