"""Units of length and amounts of them as people write them on drawings: fractions of an inch, feet and inches, marks."""

from __future__ import annotations

import re

MIL_MM, INCH_MM, FOOT_MM = 0.0254, 25.4, 304.8
UNIT_WORDS = {
    0.001: r"[uμ]m|mi[ck]rons?",
    MIL_MM: r"mils?|thou",
    1.0: r"mm|mill?im[eèé]t(?:er|re|ro|ri)[sn]?|мм|毫米",
    10.0: r"cm|[cz]ent[ií]m[eèé]t(?:er|re|ro|ri)[sn]?|см|厘米",
    100.0: r"dm|de[cz][ií]m[eèé]t(?:er|re|ro|ri)[sn]?",
    INCH_MM: r"in|inch(?:es)?|zoll|pouces?|pulgadas?|pollic[ei]|дюйм\w*|英寸|\"|''",
    FOOT_MM: r"ft|feet|foot|'",
    1000.0: r"m|met(?:er|re)s?|m[eè]tres?",
}
UNIT_NAMES = {0.001: "µm", 1.0: "mm", 10.0: "cm", 100.0: "dm", 1000.0: "m", INCH_MM: "inches", FOOT_MM: "feet"}
LENGTH = rf"(?:{'|'.join(UNIT_WORDS.values())})(?!\w)"
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
