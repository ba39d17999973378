"""Units of length and amounts of them as people write them on drawings: fractions of an inch, feet and inches, marks."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

MIL_MM, PIXEL_MM, POINT_MM = 0.0254, 25.4 / 96, 25.4 / 72  # of pixels and points as the web and type have them (CSS Values 3)
INCH_MM, FOOT_MM = 25.4, 304.8
UNIT_WORDS = {
    0.001: r"[uμ]m|mi[ck]rons?",
    MIL_MM: r"mils?|thou",
    PIXEL_MM: r"px|pixels?",
    POINT_MM: r"pts?|points?",
    1.0: r"mm|mill?im[eèé]t(?:er|re|ro|ri)[sn]?|мм|毫米",
    10.0: r"cm|[cz]ent[ií]m[eèé]t(?:er|re|ro|ri)[sn]?|см|厘米",
    100.0: r"dm|de[cz][ií]m[eèé]t(?:er|re|ro|ri)[sn]?",
    INCH_MM: r"in|inch(?:es)?|zoll|pouces?|pulgadas?|pollic[ei]|дюйм\w*|英寸|\"|''",
    FOOT_MM: r"ft|feet|foot|'",
    1000.0: r"m|met(?:er|re)s?|m[eè]tres?",
}
UNIT_NAMES = {0.001: "µm", 1.0: "mm", 10.0: "cm", 100.0: "dm", 1000.0: "m", INCH_MM: "inches", FOOT_MM: "feet"}
UNIT_MM = {1: INCH_MM, 2: FOOT_MM, 4: 1.0, 5: 10.0, 6: 1000.0, 13: 0.001, 14: 100.0}  # DXF reference, header variable $INSUNITS
LENGTH = rf"(?:{'|'.join(UNIT_WORDS.values())})(?!\w)"
SAME_UNIT = 1e-3  # of a scale between two units, as people round it
FRACTION = r"\d+\s*/\s*(?:2|4|8|16|32|64)(?!\d)"
AMOUNT = rf"(?:(?:\d+[ -]+)?{FRACTION}|\d+(?:[.,]\d+)?)"
QUOTES = str.maketrans(
    {"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "½": " 1/2", "¼": " 1/4", "¾": " 3/4"}
    | {"⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
)  # marks of inches and feet, and fractions in one letter


def length_mm(word: str) -> float | None:
    """How many mm the unit has that a word or mark names; None where it names none."""
    return next((mm for mm, words in UNIT_WORDS.items() if re.fullmatch(words, word, re.IGNORECASE)), None)


def amount(words: str) -> float:
    """The number that an AMOUNT is: 5 1/2 is 5.5."""
    *whole, last = re.split(r"(?<=\d)[ -]+(?=\d)", words.strip())
    over, _, under = last.replace(",", ".").partition("/")
    return sum(map(float, whole)) + float(over) / float(under or 1.0)


def is_of_units(times: float, block: int, drawing_mm: float | None) -> bool:
    """Whether a block is shown at its own size, or at that of its unit in the drawing's; where one states none, in any.

    block: its unit (DXF reference, BLOCK_RECORD, group code 70, by the numbers of $INSUNITS).
    """
    from_mm: Iterable[float] = [UNIT_MM[block]] if block in UNIT_MM else UNIT_MM.values()
    to_mm: Iterable[float] = [drawing_mm] if drawing_mm is not None else UNIT_MM.values()
    return any(math.isclose(times, scale, rel_tol=SAME_UNIT) for scale in (1.0, *(a / b for a in from_mm for b in to_mm)))
