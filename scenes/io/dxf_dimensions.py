"""Dimensions and words of a DXF that tell other sizes than its lines have: it is to a scale, or a size was overwritten."""

from __future__ import annotations

import math
import re
from typing import Any

from scenes.io.library_remarks import printable

SAME_SHARE = 0.02  # a written size is rounded by less
ANGULAR = {2, 5}  # DXF reference, DIMENSION, group code 70, lowest three bits
ORDINATE = 6
# Factors that only tell another unit than the drawing's: mm, cm, m, inch, foot against each other.
UNITS_MM = (1.0, 10.0, 1000.0, 25.4, 304.8)
UNIT_FACTORS = tuple(a / b for a in UNITS_MM for b in UNITS_MM)
# A size as people write it: how often, radius or diameter, the number, its unit, a tolerance or a remark that such have.
WRITTEN = re.compile(
    r"\(?\s*(?:\d+\s*[x×*]\s*)?(?:\\U\+2205|[rdø⌀∅])?\s*(\d+(?:[.,]\d+)?)\s*(?:mm|cm|m|in|\"|'')?"
    r"(?:\s*(?:ref|typ|max|min|nom)\.?|\s*[±+\-/\[(].*|\s*\n.*)?\s*\)?",
    re.IGNORECASE | re.DOTALL,
)
MEASURED = "<>"  # in a dimension's text: the size that it measures itself
WORD = "scale|ma(?:ß|ss|sz)stab|[eé]chelle|escala|scala|schaal|skala"
NUMBER = r"\d+(?:[.,]\d+)?"
SCALE = re.compile(
    rf"\b(?:{WORD})\b\s*[:=]?\s*(?P<a>{NUMBER})\s*(?:[:/]\s*(?P<b>{NUMBER})|(?P<percent>%))?"
    rf"|\b(?P<c>{NUMBER})\s*[:/]\s*(?P<d>{NUMBER})\s*(?:{WORD})\b",
    re.IGNORECASE,
)

# The scales of ISO 5455, as a title block holds them without the word. No aspect ratio is one but 2:1, and that is asked about.
STEP = "2|5|10|20|50|100"
BY_NUMBERS = re.compile(rf"(?<![\d.,:/])(?:1\s*:\s*(?:{STEP})|(?:{STEP})\s*:\s*1)(?![\d:/]|[.,]\d)")
BY_WORDS = re.compile(r"\b(?:half|double|twice|quarter)[ -](?:full[ -])?(?:size|scale)\b", re.IGNORECASE)


def other_scale(dimension: Any) -> str:
    """What a dimension tells against its own lines, in words; empty where nothing does."""
    kind = dimension.dxf.get("dimtype", 0) & 7
    if kind in ANGULAR:
        return ""
    factor = abs(float(dimension.override().get("dimlfac", 1.0) or 1.0))
    if not _is_unit(factor):
        return f"its dimensions count {factor:g} times what is drawn"
    drawn, written = _drawn(dimension), _written(str(dimension.dxf.get("text", "")))
    if kind == ORDINATE or written is None or not drawn or _is_unit(written / drawn):
        return ""
    return f"a dimension says {printable(str(dimension.dxf.text)[:20])} where {drawn:.4g} is drawn"


def stated_scale(words: str) -> str:
    """The part of a text that says that a drawing is to a scale other than 1 : 1; empty where none does."""
    for found in SCALE.finditer(words):
        over, under = (_number(found[one] or found[other] or "1") for one, other in (("a", "c"), ("b", "d")))
        if not math.isclose(over, under * (100.0 if found["percent"] else 1.0)):
            return found[0].strip()
    told = BY_NUMBERS.search(words) or BY_WORDS.search(words)
    return told[0].strip() if told else ""


def _number(word: str) -> float:
    return float(word.replace(",", "."))


def _is_unit(factor: float) -> bool:
    return any(math.isclose(factor, unit, rel_tol=SAME_SHARE) for unit in UNIT_FACTORS)


def _drawn(dimension: Any) -> float:
    measured = dimension.get_measurement()
    return abs(float(measured)) if isinstance(measured, int | float) else 0.0


def _written(text: str) -> float | None:
    """The size that stands in place of the measured one, where it is a plain number."""
    from ezdxf.tools.text import fast_plain_mtext

    found = None if MEASURED in text else WRITTEN.fullmatch(str(fast_plain_mtext(text)).strip())
    size = _number(found[1]) if found else 0.0
    return size or None
