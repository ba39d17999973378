"""The numbers that lenses were judged by, as the lines of a page and as data: the same for every question that tells them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from scenes.runtime.page import wrapped

if TYPE_CHECKING:
    from scenes.states.numbers_used import NumbersUsed

NUMBERS_HEADING = "Judged by these numbers, in mm; hold them against camera, lens and box:"
MOST_HANGING = 8


def told_lines(used: Sequence[NumbersUsed]) -> list[str]:
    """What lenses were judged by, under its heading; what several of them share stands once. No line without a lens."""
    if not used:
        return []
    told = [*_shared((one.name, (("camera", one.camera),)) for one in used), *((one.name, one.lens) for one in used)]
    told += _shared((one.name, one.box) for one in used)
    return [*wrapped(NUMBERS_HEADING), *(line for what, words in told for line in _wrapped(words, f"  {what}: "))]


def told_data(used: Sequence[NumbersUsed]) -> list[dict[str, Any]]:
    """A row for each lens, in words; lengths in mm."""
    return [
        {
            "lens": one.name,
            "camera": one.camera,
            "says": one.lens,
            "box": [{"part": part, "says": words} for part, words in one.box],
        }
        for one in used
    ]


def _shared(told: Iterable[tuple[str, Iterable[tuple[str, str]]]]) -> Iterator[tuple[str, str]]:
    """What is told of things by lens: once where all lenses share it, else with the lenses that do."""
    lenses: dict[tuple[str, str], list[str]] = {}
    names = []
    for name, rows in told:
        names.append(name)
        for row in rows:
            lenses.setdefault(row, []).append(name)
    things = list(dict.fromkeys(thing for thing, _ in lenses))
    for (thing, words), own in sorted(lenses.items(), key=lambda item: things.index(item[0][0])):
        yield (thing if len(own) == len(names) else f"{thing}, with {', '.join(own)}"), words


def _wrapped(words: str, lead: str) -> list[str]:
    return wrapped(words, lead, hanging=" " * min(len(lead), MOST_HANGING))
