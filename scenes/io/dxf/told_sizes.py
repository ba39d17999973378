"""Sizes that the words of a drawing give its cut-out, held against its outlines: the plate's edge has none of them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from geometry.mesh_import import MM_PER_UNIT
from scenes.io.dxf.elsewhere import CUT_OUT

Size = tuple[float, ...]  # width and height, or one of the two

NUMBER = r"(?<![\w.,/])(\d{1,4}(?:[.,]\d+)?)"
UNIT = r"\s*(?:mm|cm|in(?:ch)?|\"|”)?"
BETWEEN = r"\s*(?:[x×*]|\b(?:by|mal|par|por|per|op|на)\b)\s*"
BEHIND = r"(?:\s*(?:±|\+/-)\s*\d+(?:[.,]\d+)?)?(?:\s*(?:ref|typ|nom|max|min|inside|clear|clr)\b\.?)?"
CORNERS = r"(?:[\s,;]*R\s*\d+(?:[.,]\d+)?(?:\s*mm)?)?"  # their radius
PAIR = re.compile(
    rf"(?<![\w.,/])(\d{{1,4}}(?:[.,]\d+)?){UNIT}{BETWEEN}(\d{{1,4}}(?:[.,]\d+)?)(?![\w.,]*\d)(?!\s*[x×*])", re.IGNORECASE
)
ACROSS = r"w(?:idth|ide)?|b(?:reite?|reit|reedte)?|largeurs?|larg|larghezza|ancho|anchura|largura|bredd(?:e)?"
UPRIGHT = r"h(?:eight|igh|(?:ö|oe)he|och|auteur|aut|oogte)?|altezza|alto|altura|tall|h(?:ø|ö)jd(?:e)?|l(?:ength)?"
SIDE = rf"(?:{ACROSS}|{UPRIGHT})"
PAIR_LINE = re.compile(
    rf"[\s(\[]*{NUMBER}{UNIT}{BEHIND}\s*(?:{SIDE}\b\.?)?{BETWEEN}(\d{{1,4}}(?:[.,]\d+)?){UNIT}{BEHIND}\s*(?:{SIDE}\b)?{CORNERS}[\s.)\]]*",
    re.IGNORECASE,
)
LABELLED = re.compile(
    rf"(?<!\w){SIDE}\.?\s*[=:]?\s*(\d{{1,4}}(?:[.,]\d+)?){UNIT}{BEHIND}\s*[x×*,;/&+-]?\s*{SIDE}\.?\s*[=:]?\s*(\d{{1,4}}(?:[.,]\d+)?){UNIT}{BEHIND}"
    rf"(?![\w.,]*\d)|{NUMBER}{UNIT}{BEHIND}\s*{SIDE}\b\.?\s*[x×*,;/&+-]?\s*(\d{{1,4}}(?:[.,]\d+)?){UNIT}{BEHIND}\s*{SIDE}\b",
    re.IGNORECASE,
)
ROUND = re.compile(
    r"(?:[øØ⌀∅ϕφΦ]|%%c|[□▢◻⬜]|\bsq(?:uare)?\b\.?|\b(?:dia(?:m(?:eter|[èe]tre|etro)?)?|durchmesser|di[áa]metro|doorsnede|diam)\b\.?)\s*[=:]?\s*(\d{1,4}(?:[.,]\d+)?)"
    rf"(?![.,]?\d){UNIT}{BEHIND}|{NUMBER}{UNIT}{BEHIND}\s*(?:dia(?:meter)?\b\.?|durchmesser\b|sq(?:uare)?\b\.?|[øØ⌀∅])",
    re.IGNORECASE,
)
WIDE = re.compile(
    rf"{NUMBER}{UNIT}{BEHIND}[ -]*(?:wide|high|tall|across|breit|hoch|(?:de\s+)?(?:large(?:ur)?|haut(?:eur)?|ancho|alto)"
    r"|larghezza|altezza|breed|hoog)\b"
    r"|\b(?:width|height|breite|h(?:ö|oe)he|largeur|hauteur|ancho|anchura|altura|larghezza|altezza|breedte|hoogte)"
    rf"\s*(?:of|von|de|di|van|=|:)?\s*(\d{{1,4}}(?:[.,]\d+)?)(?![.,]?\d){UNIT}{BEHIND}",
    re.IGNORECASE,
)
AMOUNT_HERE = rf"\d{{1,4}}(?:[.,]\d+)?{UNIT}{BEHIND}"
OF_CUT_OUT = rf"(?:\b(?:{CUT_OUT}|masks?|mattes?)\b[\s:,-]*)?"


def _one_side(words: str) -> re.Pattern[str]:
    """One side of a size that stands by itself, as "W 76", "(54 HIGH)" or "cut-out width: 76 mm"."""
    named = rf"(?<![^\W_])(?:{words})(?:\b|(?=\d))\.?"
    return re.compile(
        rf"[\s(\[]*{OF_CUT_OUT}(?:{named}\s*[=:]?\s*{AMOUNT_HERE}|{AMOUNT_HERE}[\s(-]*{named})[\s.)\]]*", re.IGNORECASE
    )


ONE_ACROSS, ONE_UPRIGHT = _one_side(ACROSS), _one_side(UPRIGHT)
DIGITS = re.compile(r"\d+(?:[.,]\d+)?")
MOST_SIDES = 40  # of each kind: a drawing with more gives those of other things
SIZED = re.compile(rf"\b(?:{CUT_OUT})\b|cut[ -]?outs?\b|opening|aperture|ausschnitt|[öo]ffnung|d[ée]coupe", re.IGNORECASE)
MASKED = re.compile(r"\b(?:masks?|mattes?|masque|maske|blende|maschera|m[áa]scara|masker)\b", re.IGNORECASE)
# Of which else a width or a diameter may be told on the drawing of a cut-out.
OTHERS = (
    r"filters?|hoods?|plates?|brackets?|stock|sheets?|rods?|slots?|tabs?|strips?|tape|trays?|stages?|bands?|holders?|frames?|gates?"
)
OTHERS += r"|sensors?|box|seal|bars?|screws?|holes?|magnets?|pads?|rims?|flags?|lips?|ledges?|flanges?|edges?|filter\w*|platte\w*"
OTHERS += r"|halter\w*|blech\w*|stange\w*|rahmen\w*"
OTHERS += r"|plaque|t[ôo]le|tige|cadre|piastra|lastra|asta|telaio|placa|chapa|varilla|marco|plaat|stang"
OTHER = re.compile(rf"\b(?:{OTHERS})\b", re.IGNORECASE)
OF_LENS = re.compile(
    r"\b(?:lens(?:es)?|fronts?|barrels?|objekti[vf]\w*|optik\w*|objectif|obiettivo|objetivo|optique)\b", re.IGNORECASE
)
INCHES = re.compile(r"\d\s*(?:\"|”|in(?:ch(?:es)?)?\b)", re.IGNORECASE)
SAME_SHARE = 0.02  # sizes in words are rounded by less
FILTERS_IN = {(3.0, 3.0), (4.0, 4.0), (4.0, 5.65), (5.0, 5.0), (5.65, 5.65), (4.0, 6.0), (6.0, 6.0), (6.6, 6.6)}  # common practice
LEAST_MM, LEAST_OTHER_MM = 40.0, 15.0  # the long and the short side of a cut-out, below which a bare size is that of a format


def another_size(text: str, sizes_mm: Sequence[tuple[float, float]], unit_mm: float) -> bool:
    """Whether a text gives the cut-out a size that none of these outlines has (the first is that of all of them)."""
    units = {1.0, unit_mm} | ({MM_PER_UNIT["in"]} if INCHES.search(text) else set())
    told = [size for size in _told(text) if size not in FILTERS_IN]
    if any(_is_size(size, sizes_mm, units) for size in told):
        return False
    pairs = [size for size in told if len(size) == 2 and SIZED.search(text)]
    return bool(pairs) or any(_is_smaller(size, sizes_mm[0], unit) for size in told for unit in units)


def size_in_two_texts(texts: Iterable[str], sizes_mm: Sequence[tuple[float, float]], unit_mm: float) -> tuple[str, str] | None:
    """The two texts, or lines of one, that together give the cut-out a size that none of these outlines has; None where none do."""
    lines = [line.strip() for text in texts if SIZED.search(text) or not OTHER.search(text) for line in text.splitlines()]
    across, upright = (
        [line for line in dict.fromkeys(lines) if one.fullmatch(line)][:MOST_SIDES] for one in (ONE_ACROSS, ONE_UPRIGHT)
    )
    pairs = {(one, other): (_side(one), _side(other)) for one in across for other in upright}
    units = {words: {1.0, unit_mm} | ({MM_PER_UNIT["in"]} if INCHES.search(" ".join(words)) else set()) for words in pairs}
    if any(_is_size(size, sizes_mm, units[words]) for words, size in pairs.items()):
        return None
    smaller = (words for words, size in pairs.items() if any(_is_smaller(size, sizes_mm[0], unit) for unit in units[words]))
    return next(smaller, None)


def _side(line: str) -> float:
    found = DIGITS.search(line)
    return float(found[0].replace(",", ".")) if found else 0.0


def _told(text: str) -> Iterator[Size]:
    """The sizes of a text that are those of a cut-out, by its words or because a line holds nothing else."""
    if SIZED.search(text):
        yield from _sizes(text, PAIR, LABELLED)
    if not OTHER.search(text):
        of_cut_out = bool(SIZED.search(text))
        if of_cut_out or MASKED.search(text):
            yield from _sizes(text, WIDE, LABELLED, PAIR)
        if of_cut_out and not OF_LENS.search(text):
            yield from _sizes(text, ROUND)
    for line in text.splitlines():
        for shape in (PAIR_LINE, LABELLED, ROUND, WIDE):
            if found := shape.fullmatch(line.strip().strip("()[].;")):
                yield _numbers(found)


def _sizes(text: str, *shapes: re.Pattern[str]) -> Iterator[Size]:
    for shape in shapes:
        for found in shape.finditer(text):
            yield _numbers(found)


def _numbers(found: re.Match[str]) -> Size:
    return tuple(float(digits.replace(",", ".")) for digits in found.groups() if digits)


def _is_size(size: Size, sizes_mm: Sequence[tuple[float, float]], units: set[float]) -> bool:
    """Whether an outline is as wide and high as told in one of the units, either way about, or one of the two."""
    told = [tuple(unit * side for side in order) for order in (size, size[::-1]) for unit in units]
    return any(
        all(_same(a, b) for a, b in zip(one, outline, strict=False))
        for one in told
        for sides in sizes_mm
        for outline in (sides, sides[::-1])
    )


def _is_smaller(size: Size, read_mm: tuple[float, float], unit_mm: float) -> bool:
    """Whether a size could be that of a cut-out smaller than was read: a larger one is the plate's."""
    told, read = sorted(unit_mm * side for side in size), sorted(read_mm)
    if told[-1] < LEAST_MM or told[0] < LEAST_OTHER_MM:
        return False
    if len(told) == 1:
        return told[0] < read[-1] * (1.0 - SAME_SHARE)
    return any(a < b * (1.0 - SAME_SHARE) for a, b in zip(told, read, strict=True))


def _same(one: float, other: float) -> bool:
    return abs(one / other - 1.0) <= SAME_SHARE
