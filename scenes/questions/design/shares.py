"""Who may share a mask: every way to share out a number of masks among lenses, the tightest first."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from itertools import combinations, pairwise

from scenes.questions.design.outside import mask_area_mm2
from scenes.questions.design.tries import Notches, Try, with_notch

MOST_EXACT = 11  # lenses: beyond them only those next to each other in size share a mask
MOST_WAYS = 60  # that are solved of one number of masks
Places = tuple[tuple[int, ...], ...]  # of the lenses that share each mask


def openings(attempt: Try) -> list[int]:
    """Places of the knobs that are a mask's opening."""
    return [place for place, knob in enumerate(attempt.space.knobs) if "mask" in knob.spot.table and knob.opens > 0]


def own_notches(attempt: Try) -> list[Notches]:
    """How wide open one mask has to be for each lens by itself, with all else wide open; none where some lens is never clear."""
    widest, places = attempt.widest, openings(attempt)
    found = []
    for bench in attempt.benches:
        notches = widest
        for place in places:
            least = attempt.least_notch(place, widest, [bench])
            if least is None:
                return []
            notches = with_notch(notches, place, least)
        found.append(notches)
    return found


def shares(attempt: Try, own: Sequence[Notches], count: int) -> list[tuple[float, Places]]:
    """Every way to share so many masks, with the least that their openings add up to over the lenses [mm2], the least first."""

    @cache
    def area_mm2(group: tuple[int, ...]) -> float:
        notches = tuple(max(some) for some in zip(*(own[k] for k in group), strict=True))
        (mask,) = attempt.space.scene(attempt.scene, notches).box.mask
        return len(group) * mask_area_mm2(mask)

    ways = _ways(len(own), min(count, len(own)), lambda k: area_mm2((k,)))
    return sorted((sum(map(area_mm2, places)), places) for places in ways)


def named(places: Places, lenses: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The lenses that share each mask by their names."""
    return tuple(tuple(lenses[k] for k in some) for some in places)


def _ways(lenses: int, count: int, size: Callable[[int], float]) -> Iterator[Places]:
    if lenses <= MOST_EXACT:
        yield from (tuple(map(tuple, groups)) for groups in _parted(lenses, count))
        return
    rising = sorted(range(lenses), key=size)
    for cuts in combinations(range(1, lenses), count - 1):
        yield tuple(sorted(tuple(sorted(rising[a:b])) for a, b in pairwise((0, *cuts, lenses))))


def _parted(lenses: int, count: int) -> Iterator[list[list[int]]]:
    """Every way to part the first lenses into so many groups, none of them empty."""
    if lenses < count or count < 1:
        return
    if lenses == count:
        yield [[k] for k in range(lenses)]
        return
    last = lenses - 1
    for groups in _parted(last, count):
        for place in range(count):
            yield [[*group, last] if k == place else group for k, group in enumerate(groups)]
    for groups in _parted(last, count - 1):
        yield [*groups, [last]]
