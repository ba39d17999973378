"""Lengths and places that a name or title tells: 'hood 120 deep', 'tray at 42', '114 dia', '95 mm'.

Whom they speak against: scenes/cautions/part_lengths.py and scenes/cautions/titles.py.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from scenes.cautions.named_numbers import COUNTED, FILM, plain_name, without_limits

SAME_SHARE, SAME_MM, SMALL_SHARE = 0.03, 1.0, 0.1  # names round
SAME_PLACE_MM = 0.5
CM, INCH = 10.0, 25.4
NUMBER = r"(?<![\w.\-/#:])(\d{1,4}(?:\.\d+)?)"
UNIT = r"(?:\s?(mm|cm|inch(?:es)?|in|\"))?(?!\w)"
WHAT = {  # words of a name, by what they tell
    "long": r"long|length",
    "deep": r"deep|depth",
    "wide": r"wide|width|across",
    "high": r"high|tall|height",
    "thick": r"thick|thickness",
    "corner": r"corners?|radius|radii",
    "out": r"ext|extension",
    "round": r"dia|diam|diameter|round|id|od|bore|\u00f8|\u2300",
}
WORD_AFTER = re.compile(
    rf"{NUMBER}{UNIT}[\s-]?(?:{'|'.join(f'(?P<{what}>{words})' for what, words in WHAT.items())})(?!\w)", re.IGNORECASE
)
NOUNS = {  # those that may stand before their number: in 'wide 24' the 24 is a lens
    "long": "length",
    "deep": "depth",
    "wide": "width",
    "high": "height",
    "thick": "thickness",
    "corner": r"corners?(?: radius| of)?|radius",
    "out": "ext|extension",
    "round": r"dia|diam|diameter|bore|\u00f8|\u2300",
}
WORD_BEFORE = re.compile(
    rf"(?<![^\W_])(?:{'|'.join(f'(?P<{what}>{words})' for what, words in NOUNS.items())})[\s.:=]*{NUMBER}{UNIT}", re.IGNORECASE
)
RADIUS = re.compile(r"(?<![^\W_])R\s?(\d{2,3}(?:\.\d+)?)(?:\s?(mm))?(?![\w.])")  # R45, as drawings have it; R2 may be a revision
NO_PLACE = (
    r"(?!\s?(?:degs?|degrees?|[\u00b0\u00ba%]|per ?cent|pct|k|kelvin|m|ft|feet|in|inch|[ap]\.?m|fps|h|hrs?|o.?clock|stops?)(?!\w))"
)
PLACE = re.compile(rf"(?:(?<![^\W_])at|@)\s?(\d{{1,3}}(?:\.\d+)?)(?![\d.:/])(?:\s?(mm|cm))?(?!\w){NO_PLACE}", re.IGNORECASE)
IN_UNITS = re.compile(rf"{NUMBER}\s?(mm|cm)(?!\w)", re.IGNORECASE)
BARE = re.compile(r"(?<![\w.#:])(\d{2,3}(?:\.\d+)?)(?![\w.:])")
BARS = re.compile(r"(?:\d+(?:\.\d+)?\s?(?:mm)?[\s-])?(?<![^\W_])(?:rods?|bars?)(?!\w)(?:\s\d+(?:\.\d+)?(?:\s?mm)?)?", re.IGNORECASE)
SIZE = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?:(?:[x\u00d7*]|\s[x\u00d7*]\s|\sby\s)\d+(?:\.\d+)?)+", re.IGNORECASE)
OTHER = re.compile(  # angles, shares, dates, times, stops, threads and foam
    r"\d+(?:\.\d+)?\s?(?:mm)?\s?(?:filter\s)?(?:threads?|shore|ppi|kg)(?!\w)|(?<![^\W_])thread\s?\d+(?:\s?mm)?|"
    r"-?\d+(?:\.\d+)?\s?(?:-|\.\.|to\b)?\s?\d*(?:\.\d+)?\s?(?:degs?\b|degrees?\b|[\u00b0\u00ba%]|percent\b|pct\b)"
    r"|(?<!\d)(?:19|20)\d\d[-. ]?\d\d[-. ]?\d\d(?!\d)|\d{1,2}:\d\d|(?<![^\W_])[ft]/?\s?\d+(?:\.\d+)?(?!\w)"
    r"|(?<![^\W_])(?:s/?n|id|asset|inv|set|case|lens|position|pos|mark|m)[\s.:]?\d+(?![\w.])",
    re.IGNORECASE,
)
LEAST_MM = {
    "long": 10.0,
    "deep": 4.0,
    "wide": 20.0,
    "high": 20.0,
    "thick": 0.0,
    "round": 20.0,
    "corner": 2.0,
    "out": 10.0,
    "at": 5.0,
    "": 60.0,
    "seal": 40.0,
}
MOST_PLACE_MM = 400.0  # a larger number is how far somebody is focused


@dataclass(frozen=True, slots=True)
class Told:
    """A length that a name tells: its value, what it is of ('long', 'at', '' where it does not say), and as it is written."""

    value_mm: float
    what: str
    words: str


@lru_cache(maxsize=512)
def told_lengths(name: str, *, of_glass: bool = False) -> tuple[Told, ...]:
    """The lengths and places that a name tells by a word beside them, and those with mm or cm behind them.

    Glass may be called by its thickness, other parts are by none that is small enough for a lens's.
    """
    text = _bared(name)
    found = [
        _told(match, next(what for what in WHAT if match[what]))
        for pattern in (WORD_AFTER, WORD_BEFORE)
        for match in pattern.finditer(text)
    ]
    found += [_told(match, "corner") for match in RADIUS.finditer(text)]
    found += [_told(match, "at") for match in PLACE.finditer(text)]
    taken = {one.value_mm for one in found}
    found += [told for match in IN_UNITS.finditer(text) if (told := _told(match, "")).value_mm not in taken]
    least = {**LEAST_MM, "": 0.0} if of_glass else LEAST_MM
    return tuple(one for one in found if one.value_mm >= least[one.what] and (one.what != "at" or one.value_mm <= MOST_PLACE_MM))


@lru_cache(maxsize=512)
def bare_lengths(name: str) -> tuple[Told, ...]:
    """Numbers by themselves, by which rings and donuts are called: 'donut 114'."""
    found = (Told(float(match[1]), "", match[1]) for match in BARE.finditer(_bared(name)))
    return tuple(one for one in found if one.value_mm >= LEAST_MM["seal"])


def _bared(name: str) -> str:
    """A name without the numbers in it that are no lengths."""
    text = without_limits(plain_name(name))
    for other in (BARS, FILM, COUNTED, SIZE, OTHER):
        text = other.sub(" ; ", text)
    return text


def _told(match: re.Match[str], what: str) -> Told:
    number, unit = next((match[place], match[place + 1]) for place in _places(match))
    in_mm = {"": 1.0, "mm": 1.0, "cm": CM}.get((unit or "").lower(), INCH)
    return Told(float(number) * in_mm, what, " ".join(match[0].split()).lstrip("; "))


def _places(match: re.Match[str]) -> Iterator[int]:
    """Where the number stands among the groups of a match; its unit stands behind it."""
    return (place for place in range(1, match.re.groups) if (match[place] or "")[:1].isdigit())


def is_same(told_mm: float, value_mm: float) -> bool:
    """Whether a length is the one that a name tells."""
    return abs(told_mm - value_mm) <= max(min(SAME_MM, SMALL_SHARE * told_mm), SAME_SHARE * told_mm)


def is_same_place(told_mm: float, value_mm: float) -> bool:
    """Whether a place is the one that a name tells: they are told in whole mm."""
    return abs(told_mm - value_mm) <= SAME_PLACE_MM
