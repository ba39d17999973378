"""Group codes that a line, curve, block or layer of a DXF cannot have: a digit that changed there hides a bulge, scale or turn.

DXF reference, "Common Group Codes for Entities", the ENTITIES, BLOCKS and TABLES (LAYER) sections, and "Extended Data".
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence

from scenes.io.library_remarks import printable

LONGEST_WORD = 40  # of a file, shown
REMARK, MARKER, GROUP = 999, 100, 102
DIRECTION = (210, 220, 230)
PLACE = (10, 20, 30)
FIRST_EXTENDED, EXTENDED_OF = 1000, 1001  # what programs keep with a thing, and whose it is, which comes first
COMMON = {5, 6, 8, MARKER, 330, 360, 48, 60, 62, 67, 410, 420, 430, 440, 370, 380, 390, 347, 348, 284, REMARK}
COMMON |= {38, 39, *DIRECTION}  # height and thickness in files of old
COMMON |= {92, 160, 310}  # a picture of it for programs that do not know it
OWN = {
    "LINE": {*PLACE, 11, 21, 31},
    "CIRCLE": {*PLACE, 40},
    "ARC": {*PLACE, 40, 50, 51},
    "ELLIPSE": {*PLACE, 11, 21, 31, 40, 41, 42},
    "SPLINE": {*range(70, 75), *range(40, 45), *range(10, 14), *range(20, 24), *range(30, 34)},
    "LWPOLYLINE": {90, 70, 43, *PLACE, 40, 41, 42, 91},
    "POLYLINE": {66, *PLACE, *range(70, 76), 40, 41},
    "VERTEX": {*PLACE, 40, 41, 42, 50, *range(70, 75), 91},
    "INSERT": {66, 2, *PLACE, *range(41, 46), 50, 70, 71},
    "BLOCK": {*range(1, 5), *PLACE, 70},
}
ALLOWED = {head: COMMON | own for head, own in OWN.items()}
ALLOWED["LAYER"] = {2, 5, 6, 62, 70, MARKER, 290, 330, 347, 348, 360, 370, 390, 420, 430, 440, REMARK}
FACES = range(71, 75)  # of VERTEX, for surfaces: 0 in a line
OF_SURFACE = 64 | 128  # VERTEX, 70
BEFORE_PLACE = {48, 60}  # of every thing before its place; all of these where it states its markers
BEFORE_PLACE_MARKED = {*BEFORE_PLACE, 62, 67, 92, 160, 370, 420, 440}
WHOLE = {60, 62, 66, 67, *range(71, 76), *range(90, 93), 160, 290, 370, 420, 440}  # 70 some programs write with a point
WHOLE_NUMBER = re.compile(r"\s*[+-]?\d+\s*")
LAYER_STATES = (62, 70)  # of LAYER: below 0 it is off, and whether it is frozen
LAYOUTS = ("*MODEL_SPACE", "*PAPER_SPACE", "$MODEL_SPACE", "$PAPER_SPACE")
SOLID, FLAT_MARKER = 8, "AcDb2dPolyline"  # POLYLINE, 70: one in space
Tags = Sequence[tuple[int, str]]


def foreign_words(found: Sequence[tuple[str, Tags]]) -> str:
    """The first thing that holds what none of its kind has, or lacks what all have; words that go on after "damaged: "."""
    for head, tags in found:
        if head in ALLOWED and (words := _foreign(head, tags) or _direction(head, tags) or _lacking(head, tags)):
            return words
    return _layer_words([tags for head, tags in found if head == "LAYER"])


def _foreign(head: str, tags: Tags) -> str:
    placed, is_marked = False, any(code == MARKER for code, _ in tags)
    early = BEFORE_PLACE_MARKED if is_marked else BEFORE_PLACE
    is_of_surface = any(code == 70 and _whole(value) & OF_SURFACE for code, value in tags)
    try:
        for code, value in _own(tags):
            if code not in ALLOWED[head]:
                return f"{head} holds the group code {code}, which no {head} has"
            if placed and code in early:
                return f"{head} states its group code {code} behind its place"
            if code in WHOLE and not WHOLE_NUMBER.fullmatch(value):
                return f"{head} states {printable(value[:LONGEST_WORD])} for its group code {code}, which is a whole number"
            if head == "VERTEX" and code in FACES and not is_of_surface and _whole(value):
                return f"VERTEX of a line holds the group code {code}, which is a surface's"
            placed = placed or code == PLACE[0]
    except ValueError as error:
        return f"{head} {error}"
    return ""


def _own(tags: Tags) -> Iterator[tuple[int, str]]:
    """What a thing holds of itself: without groups of programs (102) and extended data; ValueError with words for the odd."""
    is_in_group = is_extended = False
    for code, value in tags:
        if code == GROUP and value.startswith("{") and not is_in_group:
            is_in_group = True
        elif code == GROUP and value.startswith("}") and is_in_group:
            is_in_group = False
        elif code == EXTENDED_OF:
            is_extended = True
        elif code >= FIRST_EXTENDED:
            if not is_extended:
                raise ValueError(f"holds the group code {code} of extended data, and no name whose it is (1001)")
        elif not is_in_group:
            is_extended = is_extended and code == REMARK
            yield code, value
    if is_in_group:
        raise ValueError("holds a group (102) that does not end")


def _direction(head: str, tags: Tags) -> str:
    """A direction of which a number is lost: readers take 0 or a direction of their own for it."""
    codes = [code for code, _ in _own(tags) if code != REMARK]
    stated = [place for place, code in enumerate(codes) if code in DIRECTION]
    if stated and codes[stated[0] : stated[0] + len(DIRECTION)] != list(DIRECTION):
        return f"{head} states its direction (210, 220, 230) in part, or apart"
    return ""


def _lacking(head: str, tags: Tags) -> str:
    values = dict(reversed(tags))
    if head == "BLOCK" and not values.get(2, "").upper().startswith(LAYOUTS):
        lost = next((code for code in PLACE[:2] if code not in values), None)
        return "" if lost is None else f"BLOCK lacks its group code {lost}, its base point"
    if head == "POLYLINE" and _whole(values.get(70, "0")) & SOLID and (MARKER, FLAT_MARKER) in tags:
        return "POLYLINE states that it lies in space, and that it is flat"
    return ""


def _layer_words(layers: Sequence[Tags]) -> str:
    """A layer that does not say whether it is shown, as others in the file do."""
    stated = Counter(code for tags in layers for code in {code for code, _ in tags})
    lost = next((code for code in LAYER_STATES if 0 < stated[code] < len(layers)), None)
    return "" if lost is None else f"LAYER lacks its group code {lost}, which others of its layers have"


def _whole(value: str) -> int:
    try:
        return int(float(value))
    except (ValueError, OverflowError):
        return 0
