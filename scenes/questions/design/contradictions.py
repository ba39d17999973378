"""Where nothing fits: the fewest wishes that contradict each other, and the cheapest to give up."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from scenes.questions.design.bench import Held
from scenes.questions.design.builds import ForBuilds, best_for_builds, for_builds, most_builds
from scenes.questions.design.conflicts import Asked, fewest_given_up, smallest_conflict
from scenes.questions.design.designer import Design, Designer, blocked
from scenes.questions.design.outside import MEASURES
from scenes.questions.design.space import space_of
from scenes.questions.design.wishes import Wish, Wishes, each_wish
from scenes.rig.spot_words import input_words
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.design import MASKS

MOST_SETS = 4  # of contradicting wishes that are told
TENTHS = 10  # of a mm: how finely room is told
HUNDREDTHS = 100  # of a limit's unit: how finely a limit is told
WHOLE = 1.0  # what giving up a lens or a light counts: all of it


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """Wishes given up: the design that all others allow then, None where they still contradict; how much of them has to go."""

    wishes: tuple[Wish, ...]
    design: Design | None
    share: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """The fewest wishes that cannot hold together: without any one of them the others can.

    alike: other lenses that cannot be had either with the rest of them. more: further such sets, which stay when some are given up.
    ways: all that is as few as can be given up, the cheapest first. stuck: why not even one lens fits a box with nothing else asked
    of it. blocked: parts that lack room at their widest; fixed: those that lack it however wide all that is free may be, by name.
    """

    wishes: tuple[Wish, ...] = ()
    alike: tuple[str, ...] = ()
    more: tuple[tuple[Wish, ...], ...] = ()
    ways: tuple[WayOut, ...] = ()
    stuck: str = ""
    blocked: tuple[Held, ...] = ()
    fixed: tuple[str, ...] = ()


def contradiction(designer: Designer, wishes: Wishes, obstacles: Contradiction) -> Contradiction | None:
    """The fewest wishes that contradict each other where no design fits all, and those that contradict besides; None if one does.

    obstacles: what `in_the_way` says.
    """
    asked = asking(designer, wishes)
    first = smallest_conflict(asked, asked.every)
    if first is None:
        return None
    if not first:
        return replace(obstacles, stuck=_stuck(designer, wishes))
    first, alike = _neediest(designer, wishes, asked, first)
    sets, given_up = fewest_given_up(asked, first, MOST_SETS)
    ways = [_way_out(designer, wishes, some) for some in given_up]
    return replace(
        obstacles,
        wishes=first,
        alike=alike,
        more=tuple(sets[1:]),
        ways=tuple(sorted(ways, key=lambda way: (way.share, [wish.key for wish in way.wishes]))),
    )


def asking(designer: Designer, wishes: Wishes) -> Asked[Wish]:
    """Every wish that may be given up, and whether some can be had: with their lenses, or any one where they name none."""
    every = [*each_wish(wishes, designer.needed_mm()), *_ends(designer)]

    def ask(some: Sequence[Wish]) -> bool:
        rest = _without(wishes, [wish for wish in every if wish not in some])
        each = [rest] if rest.lenses else [replace(rest, lenses=(name,)) for name in wishes.lenses]
        return any(_fits(designer, one) for one in each)

    return Asked(every, ask)


def _neediest(
    designer: Designer, wishes: Wishes, asked: Asked[Wish], some: tuple[Wish, ...]
) -> tuple[tuple[Wish, ...], tuple[str, ...]]:
    """A contradiction by the lens that asks for the largest box, where others in its place contradict as well, and those others."""
    named = [wish for wish in some if wish.is_lens]
    if len(named) != 1:
        return some, ()
    rest = frozenset(some) - set(named)
    alike = [wish for wish in asked.every if wish.is_lens and (wish in named or not asked.can(rest | {wish}))]
    worst = alike[0] if len(alike) == 1 else max(alike, key=lambda wish: _need(designer, wishes, wish))
    words = tuple(wish.words for wish in alike if wish is not worst)
    return tuple(wish for wish in asked.every if wish in rest or wish is worst), words


def _need(designer: Designer, wishes: Wishes, lens: Wish) -> tuple[float, ...]:
    """What a lens alone asks of the box, by what is to be small, with no limit and no end."""
    free = _without(replace(wishes, limits=(), lights=(), clear_builds=None), _ends(designer))
    found = designer.best(replace(free, lenses=(lens.name,)))
    return found[0].found.cost if found else (math.inf,)


def in_the_way(designer: Designer, wishes: Wishes) -> Contradiction:
    """Only what stands in the way: what is known before any wish is given up."""
    found = tuple(blocked(designer.attempt(designer.picks[0], wishes, designer.design.small)))
    return Contradiction(blocked=found, fixed=_fixed(designer, wishes))


def _fixed(designer: Designer, wishes: Wishes) -> tuple[str, ...]:
    """Parts that lack room with each set of choices even where every measure may go far beyond its end."""
    wide = _without(wishes, _ends(designer))
    each = [[held.part for held in blocked(designer.attempt(pick, wide, designer.design.small))] for pick in designer.picks]
    return tuple(dict.fromkeys(part for part in each[0] if all(part in parts for parts in each)))


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
    return any(for_builds(designer, pick, wishes) is not None for pick in hopeful(designer, wishes))


def hopeful(designer: Designer, wishes: Wishes) -> Iterator[dict[str, Any]]:
    """Sets of choices that may do what is asked: of numbers of masks the largest first, where any one that does is enough."""
    cannot: dict[str, bool] = {}
    for pick in sorted(designer.picks, key=lambda one: -one[MASKS] if isinstance(one.get(MASKS), int) else 0):
        others = repr({path: value for path, value in pick.items() if path != MASKS})
        if isinstance(pick.get(MASKS), int):
            if others not in cannot:
                cannot[others] = designer.cannot(pick, wishes)
            if cannot[others]:
                continue
        yield pick


def _without(wishes: Wishes, some: Sequence[Wish]) -> Wishes:
    for wish in some:
        wishes = wish.left_out(wishes)
    return wishes


def _way_out(designer: Designer, wishes: Wishes, some: tuple[Wish, ...]) -> WayOut:
    """The box without some wishes; of one alone, with as much of it as can be had."""
    found = best_for_builds(designer, _without(wishes, some))
    if found is None or len(some) > 1:
        return WayOut(wishes=some, design=None if found is None else found.design, share=WHOLE * len(some), words="left out")
    share, words, rest = _given_up(designer, wishes, some[0], found)
    partly = best_for_builds(designer, rest)
    if partly is None:
        words += ", as found by trial; left out, it gives the box told here"
    return WayOut(wishes=some, design=(partly or found).design, share=share, words=words)


def _given_up(designer: Designer, wishes: Wishes, wish: Wish, found: ForBuilds) -> tuple[float, str, Wishes]:
    """How much of a wish has to go, as a share of it, what that means, and what is asked then; found: the best without it."""
    kind, name = wish.kind, wish.name
    without = wish.left_out(wishes)
    if kind == "room":
        room_mm = _most_room_mm(designer, wishes)
        rest = replace(wishes, more_mm=room_mm)
        return 1.0 - room_mm / wishes.more_mm, f"{plain(room_mm)} mm in place of {plain(wishes.more_mm)}", rest
    if kind == "limit":
        own, needed = dict(wishes.limits)[name], _rounded_up(_least(designer, found.wishes, name))
        rest = replace(without, limits=(*without.limits, (name, needed)))
        return needed / own - 1.0, f"{plain(needed)} in place of {plain(own)}", rest
    if kind == "end":
        knob = next(one for one in space_of(designer.loaded.scene, designer.design).knobs if one.path == name)
        own, needed = (knob.high if knob.opens > 0 else knob.low), found.design.measure(name)
        needed = _nearest_end(designer, wishes, name, own, needed) if knob.opens < 0 else needed
        words = f"{plain(round(needed, 1))} {knob.spot.unit} in place of {plain(own)}"
        return abs(needed - own) / max(abs(own), 1.0), words, replace(wishes, wide=(*wishes.wide, (name, needed)))
    most = most_builds(designer, wishes) if kind == "builds" and wishes.clear_builds else None
    if most is not None and wishes.clear_builds:
        share, own, rest = math.floor(1000 * most[0]) / 1000, wishes.clear_builds, replace(most[1].wishes, clear_builds=None)
        return 1 - share / own, f"{plain(100 * share)} % in place of {plain(100 * own)} %", rest
    return WHOLE, "left out", without


def _nearest_end(designer: Designer, wishes: Wishes, path: str, own: float, enough: float) -> float:
    """The end of a measure nearest to its own, to a tenth, that is enough for all other wishes."""
    steps = math.ceil(abs(own - enough) * TENTHS - 1e-6)
    ends = [*(own + math.copysign(step / TENTHS, enough - own) for step in range(1, steps)), enough]
    low, high = -1, len(ends) - 1
    while high - low > 1:
        middle = (low + high) // 2
        fits = _fits(designer, replace(wishes, wide=(*wishes.wide, (path, ends[middle]))))
        low, high = (low, middle) if fits else (middle, high)
    return ends[high]


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
    return designer.fault(pick, attempt, attempt.fault_at or attempt.widest) or "not even one lens alone has room in the box"
