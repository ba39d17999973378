"""Dimensions of a DXF that tell other sizes than its lines have: it is to a scale, in another unit, or a size was overwritten."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any

from scenes.io.dxf.units import AMOUNT, FOOT_MM, INCH_MM, QUOTES, UNIT_NAMES, amount, length_mm
from scenes.io.library_remarks import printable

SAME_SHARE = 0.02  # a written size is rounded by less
RADIUS, ORDINATE, ARC = (
    4,
    6,
    8,
)  # DXF reference, DIMENSION, group code 70, lowest three bits; of an arc's length the fourth, in R2018
ANGULAR = {2, 5}
OWN_KINDS = {"ARC_DIMENSION": ARC, "LARGE_RADIAL_DIMENSION": RADIUS}  # these state another kind before R2018, or none
UNITS_MM = (1.0, 10.0, 1000.0, INCH_MM, FOOT_MM)  # in which dimensions may be told, whatever the drawing's own is
# A size as people write it: how often, radius or diameter, the number, its unit, a tolerance, fit or remark that such have.
BEFORE_SIZE = r"(?:\d+\s*[x×*]\s*)?(?:~|≈|about|approx\.?|ca\.?|(?!note|item|pos)[a-z]{1,12}\s*[=:])?\s*"
BEFORE_SIZE += r"(?:\\U\+2205|s?[rdø⌀∅]|[□▢◻⬜]|sq\.?)?"
SIZE_WORDS = "ref|typ|max|min|nom|wide|width|height|across|cut(?:[ -]?out)?|opening|clear|square|sq|inside|outside|id|od"
FIT = r"(?:[a-ln-z]|[a-z]{2})(?:[5-9]|1[0-8])\b.*"  # ISO 286-1: letters of the place, number of the grade; M6 to M18 are screws
WRITTEN = re.compile(
    rf"\s*{BEFORE_SIZE}\s*(?:(?P<feet>\d+)\s*'\s*-?\s*)?(?P<size>{AMOUNT})\s*(?P<unit>mm|cm|m|inch(?:es)?|in|\"|'')?"
    rf"(?:\s*(?:{SIZE_WORDS})\.?|\s*{FIT}|\s*[±+\-/].*|\s*\n.*)?\s*",
    re.IGNORECASE | re.DOTALL,
)
FEET = re.compile(r"\s*(\d+)\s*'\s*")
APART = re.compile(r"[\[\]()]|<>")
INCHES_A_FOOT = 12.0
LONGEST_SIZE = 200  # letters: a longer text is no size
MEASURED = "<>"  # in a dimension's text: the size that it measures itself
MEASURED_IN = re.compile(r"<>\s*(mm|cm|inch(?:es)?|in|\"|'')(?!\w)", re.IGNORECASE)
STACKED = re.compile(r"\\S(\d+)\s*[/#^]\s*(\d+);")  # DXF reference, MTEXT: a fraction one over the other
# The places that a dimension measures; DXF reference, DIMENSION, 70, lowest bits: linear, aligned, diameter, radius, ordinate.
HELD = {0: (TWO := ("defpoint2", "defpoint3")), 1: TWO, 3: ("defpoint", "defpoint4"), 4: ("defpoint4",), 6: ("defpoint2",), 8: TWO}
HELD_BY_LARGE = "chord_point"  # the place on its arc of a radius whose middle is off the paper
HELD_BY_PROGRAM = "ACAD_DIMASSOC"  # DXF reference, DIMASSOC: its program measures the model through the window, at any scale
MEASURED_KINDS = range(7)  # of DIMENSION, all that there are
LEAST_ASIDE = 10.0  # in round brackets: a bare number below is a count or a note's


def other_scale(dimension: Any, unit_mm: float = 1.0) -> str:
    """What a dimension tells against its own lines, in words; empty where nothing does. unit_mm: of the drawing."""
    kind = _kind(dimension)
    if kind in ANGULAR:
        return ""
    factor, text = _factor(dimension), str(dimension.dxf.get("text", ""))
    shows_measure = MEASURED in text or not any(letter.isdigit() for letter in text)  # else people read no number with the factor
    if shows_measure and not _is_unit(factor, unit_mm):
        return f"its dimensions count {factor:g} times what is drawn{_no_unit(factor, unit_mm)}"
    if kind == ORDINATE:
        return ""
    return min((_other_size(dimension, drawn, unit_mm) for drawn in _drawn(dimension)), key=len, default="")


def _other_size(dimension: Any, drawn: float, unit_mm: float) -> str:
    """What a dimension tells against a size that is drawn, in the drawing's unit."""
    override, factor, text = dimension.override(), _factor(dimension), str(dimension.dxf.get("text", ""))
    measured = float(dimension.dxf.get("actual_measurement", 0.0))
    found = f"where {drawn:.4g} is drawn" if unit_mm == 1.0 else f"where {drawn:.4g} {UNIT_NAMES[unit_mm]} is drawn"
    for size, size_mm in _written(text):
        if not (_is_unit(size / drawn, unit_mm) if size_mm is None else _same(size * size_mm, drawn * unit_mm)):
            return f"a dimension says {printable(text[:20])} {found}"
    told_mm = _measured_in(text, str(override.get("dimpost", "") or ""))
    if told_mm is not None and not _same(factor * told_mm, unit_mm):
        return f"a dimension says {factor * drawn:.4g} {UNIT_NAMES[told_mm]} {found}"
    if measured > 0.0 and not _is_unit(measured / drawn, unit_mm):  # programs that have not measured write 0 or -1
        return f"a dimension has measured {measured:.4g} {found}"
    return ""


def held_places(dimension: Any) -> tuple[tuple[float, float], ...]:
    """The places on what is drawn that a dimension holds on to, in its drawing's unit; none of those that measure angles."""
    held = (HELD_BY_LARGE,) if dimension.dxftype() == "LARGE_RADIAL_DIMENSION" else HELD.get(_kind(dimension), ())
    places = [dimension.dxf.get(name) for name in held]
    return tuple((float(place[0]), float(place[1])) for place in places if place is not None)


def other_size_on_sheet(dimension: Any, times: float, unit_mm: float) -> str:
    """What a dimension on a sheet tells against the lines in the model, which are this many times as large there; else empty."""
    if _kind(dimension) in {*ANGULAR, ORDINATE}:
        return ""
    return min((_other_on_sheet(dimension, paper, times, unit_mm) for paper in _drawn(dimension)), key=len, default="")


def _other_on_sheet(dimension: Any, paper: float, times: float, unit_mm: float) -> str:
    """The same against one size that it has on the paper."""
    drawn, text = times * paper, str(dimension.dxf.get("text", ""))
    found = f"where {drawn:.4g} {UNIT_NAMES[unit_mm]} is drawn"
    for size, size_mm in _written(text):
        if not (_is_unit(size / drawn, unit_mm) if size_mm is None else _same(size * size_mm, drawn * unit_mm)):
            return f"says {printable(text[:20])} {found}"
    by_program = dimension.has_extension_dict and HELD_BY_PROGRAM in dimension.get_extension_dict()
    if by_program or (text and MEASURED not in text):
        return ""
    factor, measured = _factor(dimension), float(dimension.dxf.get("actual_measurement", 0.0))
    shown = [factor * paper, *(one for one in (measured, factor * measured) if measured > 0.0)]
    return "" if any(_is_unit(size / drawn, unit_mm) for size in shown) else f"says {shown[0]:.4g} {found}"


def _factor(dimension: Any) -> float:
    """How many times what it measures a dimension shows: DXF reference, DIMLFAC, negative for sheets alone."""
    return abs(float(dimension.override().get("dimlfac", 1.0) or 1.0))


def _no_unit(factor: float, unit_mm: float) -> str:
    """That a factor is one between two units, of which neither is the drawing's."""
    between = any(_same(factor, a / b) for a in UNITS_MM for b in UNITS_MM)
    return f", as no unit does against {UNIT_NAMES[unit_mm]}" if between else ""


def _is_unit(factor: float, unit_mm: float) -> bool:
    """Whether a factor only tells another unit than the drawing's."""
    return any(_same(factor, unit_mm / other) for other in (unit_mm, *UNITS_MM))


def _same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=SAME_SHARE)


def _kind(dimension: Any) -> int:
    return OWN_KINDS.get(dimension.dxftype(), int(dimension.dxf.get("dimtype", 0)) & 7)


def _drawn(dimension: Any) -> tuple[float, ...]:
    """The size that a dimension measures, in its drawing's unit; of an arc both ways round, and none where that cannot be told."""
    kind = dimension.dxftype()
    if kind == "ARC_DIMENSION":
        return _arc_lengths(*(dimension.dxf.get(name) for name in ("defpoint4", *TWO)))
    if kind == "LARGE_RADIAL_DIMENSION":
        middle, place = dimension.dxf.get("defpoint"), dimension.dxf.get(HELD_BY_LARGE)
        measured = None if middle is None or place is None else math.dist(middle, place)
    else:
        measured = dimension.get_measurement() if int(dimension.dxf.get("dimtype", 0)) & 15 in MEASURED_KINDS else None
    return (abs(float(measured)),) if isinstance(measured, int | float) and measured else ()


def _arc_lengths(middle: Any, start: Any, end: Any) -> tuple[float, ...]:
    """How long an arc is from start to end, the one way round and the other; none where these do not lie on one."""
    if middle is None or start is None or end is None:
        return ()
    radius = math.dist(middle, start)
    if not radius or not _same(radius, math.dist(middle, end)):
        return ()
    turn = abs(math.atan2(start[1] - middle[1], start[0] - middle[0]) - math.atan2(end[1] - middle[1], end[0] - middle[0]))
    return tuple(radius * angle for angle in (turn, math.tau - turn) if angle)


def _measured_in(text: str, around: str) -> float | None:
    """The unit [mm] that stands behind the size that a dimension measures, in its own text or that of its style."""
    found = MEASURED_IN.search(
        (text if text.strip() else MEASURED).replace(MEASURED, around if MEASURED in around else f"<>{around}")
    )
    return length_mm(found[1]) if found else None


def _written(text: str) -> Iterator[tuple[float, float | None]]:
    """Sizes that stand in place of the measured one or beside it, in brackets or before them, with their unit [mm] if told."""
    from ezdxf.tools.text import fast_plain_mtext

    plain = str(fast_plain_mtext(STACKED.sub(r" \1/\2", text).translate(QUOTES))).strip()
    parts = APART.split(plain) if len(plain) <= LONGEST_SIZE else []
    for place, part in enumerate(parts):
        size, unit_mm = _size(part)
        instead = place == 0 and not plain.startswith(part + MEASURED)
        if size and (instead or unit_mm or size >= LEAST_ASIDE or size % 1.0 or f"[{part}]" in plain):
            yield size, unit_mm


def _size(words: str) -> tuple[float, float | None]:
    """A size and its unit [mm], None where it tells none; 0 where the words are no size."""
    if feet := FEET.fullmatch(words):
        return float(feet[1]), FOOT_MM
    found = WRITTEN.fullmatch(words)
    if found is None:
        return 0.0, None
    if found["feet"]:
        return amount(found["size"]) + INCHES_A_FOOT * float(found["feet"]), INCH_MM
    return amount(found["size"]), length_mm(found["unit"]) if found["unit"] else None
