"""Dimensions and words of a DXF that tell other sizes than its lines have: it is to a scale, or a size was overwritten."""

from __future__ import annotations

import math
import re
import unicodedata
from typing import Any

from scenes.io.library_remarks import printable

SAME_SHARE = 0.02  # a written size is rounded by less
ANGULAR = {2, 5}  # DXF reference, DIMENSION, group code 70, lowest three bits
ORDINATE = 6
# Factors that only tell another unit than the drawing's: mm, cm, m, inch, foot against each other.
UNITS_MM = (1.0, 10.0, 1000.0, 25.4, 304.8)
UNIT_FACTORS = tuple(a / b for a in UNITS_MM for b in UNITS_MM)
# A size as people write it: how often, radius or diameter, the number, its unit, a tolerance, fit or remark that such have.
BEFORE_SIZE = r"(?:\d+\s*[x×*]\s*)?(?:~|≈|about|approx\.?|ca\.?|(?!note|item|pos)[a-z]{1,12}\s*[=:])?\s*"
BEFORE_SIZE += r"(?:\\U\+2205|s?[rdø⌀∅]|[□▢◻⬜]|sq\.?)?"
SIZE_WORDS = "ref|typ|max|min|nom|wide|width|height|across|cut(?:[ -]?out)?|opening|clear|square|sq|inside|outside|id|od"
FIT = r"(?:[a-ln-z]|[a-z]{2})(?:[5-9]|1[0-8])\b.*"  # ISO 286-1: letters of the place, number of the grade; M6 to M18 are screws
WRITTEN = re.compile(
    rf"\(?\s*{BEFORE_SIZE}\s*(\d+(?:[.,]\d+)?)\s*(?:mm|cm|m|in|\"|'')?"
    rf"(?:\s*(?:{SIZE_WORDS})\.?|\s*{FIT}|\s*[±+\-/\[(].*|\s*\n.*)?\s*\)?",
    re.IGNORECASE | re.DOTALL,
)
MEASURED = "<>"  # in a dimension's text: the size that it measures itself
WORD = "scale|ma(?:ß|ss|sz)stab|[eé]chelle|escala|scala|schaal|skala|масштаб|m[eě][rř][ií]tko|mierka"
SAID = rf"(?:\b(?:{WORD})\b(?:\s*(?:factor|faktor))?|比例尺?|尺度|[縮缩]尺)"
NUMBER = r"\d+(?:[.,]\d+)?"
RATIO_SIGNS = str.maketrans(
    {"∶": ":", "ː": ":", "꞉": ":", "∕": "/", "⁄": "/", "÷": ":"}
)  # as people and fonts have them for a colon
OVER = r"(?:[:/=-]|to\b|zu\b|auf\b)"
SCALE = re.compile(
    rf"{SAID}\s*[:=]?\s*[x×*]?\s*(?P<a>{NUMBER})\s*(?:{OVER}\s*(?P<b>{NUMBER})|(?P<percent>%))?"
    rf"|\b(?P<c>{NUMBER})\s*(?:[x×*]|[:/]\s*(?P<d>{NUMBER}))\s*(?:{WORD})\b"
    rf"|\bM\s*(?P<e>{NUMBER})\s*:\s*(?P<f>{NUMBER})\b(?!\s*[a-z×])"
    rf"|(?P<g>{NUMBER})\s*\"\s*=\s*(?P<h>{NUMBER})\s*[\"']",
    re.IGNORECASE,
)

# The scales of ISO 5455, and 2.5, 3, 4 and 25 that people use besides, as a title block holds them without the word.
# No aspect ratio is one but 2:1, and that is asked about.
STEP = "2|2[.,]5|3|4|5|10|20|25|50|100"
BY_NUMBERS = re.compile(rf"(?<![\d.,:/])(?:1\s*:\s*(?:{STEP}|0[.,]\d+)|(?:{STEP})\s*:\s*1)(?![\d:/]|[.,]\d)")
BY_WORDS = re.compile(
    r"\b(?:half|double|twice|quarter)[ -](?:full[ -])?(?:size|scale)\b"
    rf"|{SAID}\s*[:=]?\s*(?:half|double|twice|quarter|none)\b"
    r"|\bnot\s+(?:drawn\s+)?(?:to|at|in)\s+(?:full\s+)?(?:scale|size)\b|\bn\.?t\.?s\b"
    r"|\b(?:nicht\s+|un)(?:ma(?:ß|ss|sz)st[aä]e?blich|im\s+ma(?:ß|ss|sz)stab)|\b(?:sin|fuori|hors)\s+(?:escala|scala|[eé]chelle)\b"
    r"|\b(?:no|non|niet)\s+(?:a|in|op)\s+(?:escala|scala|schaal)\b|\bpas\s+[aà]\s+l.[eé]chelle\b"
    rf"|\bdrawn\s+(?:at\s+)?(?:[x×]\s*(?!1\b){NUMBER}|(?!1\s*[x×]){NUMBER}\s*[x×](?!\s*\d))",
    re.IGNORECASE,
)


def other_scale(dimension: Any) -> str:
    """What a dimension tells against its own lines, in words; empty where nothing does."""
    kind = dimension.dxf.get("dimtype", 0) & 7
    if kind in ANGULAR:
        return ""
    factor = abs(float(dimension.override().get("dimlfac", 1.0) or 1.0))
    if not _is_unit(factor):
        return f"its dimensions count {factor:g} times what is drawn"
    drawn = _drawn(dimension)
    if kind == ORDINATE or not drawn:
        return ""
    written, measured = _written(str(dimension.dxf.get("text", ""))), float(dimension.dxf.get("actual_measurement", 0.0))
    if written is not None and not _is_unit(written / drawn):
        return f"a dimension says {printable(str(dimension.dxf.text)[:20])} where {drawn:.4g} is drawn"
    if measured > 0.0 and not _is_unit(measured / drawn):  # programs that have not measured write 0 or -1
        return f"a dimension has measured {measured:.4g} where {drawn:.4g} is drawn"
    return ""


def stated_scale(words: str) -> str:
    """The part of a text that says that a drawing is to a scale other than 1 : 1; empty where none does."""
    words = unicodedata.normalize("NFKC", words.translate(RATIO_SIGNS)).translate(RATIO_SIGNS)
    for found in SCALE.finditer(words):
        over, under = (_number(next((found[one] for one in group if found[one]), "1")) for group in ("aceg", "bdfh"))
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
