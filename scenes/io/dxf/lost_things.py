"""Numbers (handles) in a DXF that name nothing in it, and layers that it does not have: something of it is lost.

Each is a caution, but for a group that has lost a member and a drawing of one outline: that may be the plate's edge. DXF reference:
GROUP, SORTENTSTABLE, DIMASSOC, "Common Group Codes for Entities" (102, {ACAD_REACTORS) and "Extended Data" (1005).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

from scenes.io.dxf.doubts import quote
from scenes.io.dxf.tags import Tag, numbered_tags, things
from scenes.io.library_remarks import printable

HANDLES, GROUP_OF_CODES, MARKER = {5, 105}, 102, 100
REACTORS = "{ACAD_REACTORS"
OWNER, LINK, OF_XDATA = 330, 331, 1005
NOTHING = 0  # a handle that is meant to name nothing
WITH_LAYERS = "AC1015"  # R2000: from then on every layer that is used stands in the table
CHAINED, MOST_IN_GAP, LEAST_IN_ROW = {"LINE", "ARC"}, 3, 4
JOINED = 1e-6  # units of the drawing, between one line's end and the next one's start
Found = Sequence[tuple[str, Sequence[Tag]]]


def things_of(data: bytes) -> Found:
    """Every thing of the file's text and what it holds."""
    return list(things([(code, value) for code, value, _ in numbered_tags(data)]))


def lost_member(found: Found) -> str:
    """The number of a thing that a group has lost while it still has others; empty where none has."""
    held = _held(found)
    for head, own in found:
        members = [number for code, value in own if code == 340 and (number := _number(value))] if head == "GROUP" else []
        lost = [number for number in members if number not in held]
        if lost and len(lost) < len(members):
            return f"{lost[0]:X}"
    return ""


def handle_doubts(found: Found) -> Iterator[str]:
    """The first handle of a thing that the file does not have."""
    held = _held(found)
    for head, own in found:
        for where, value in _named(head, own):
            number = _number(value)
            if number and number not in held:
                yield f"{where} names a thing by the number {number:X}, which nothing in its file has; has a line been lost?"
                return


def _named(head: str, own: Sequence[Tag]) -> Iterator[tuple[str, str]]:
    """Handles of drawn things that a thing names, and where it does."""
    if head == "GROUP":
        yield from (("a group of its drawing", value) for code, value in own if code == 340)
    elif head == "SORTENTSTABLE":
        yield from (("the order in which its drawing is shown", value) for code, value in own if code == LINK)
    elif head == "DIMASSOC":
        start = next((at for at, (code, _) in enumerate(own) if code == MARKER), len(own))
        yield from (("a dimension of its drawing", value) for code, value in own[start:] if code in {OWNER, LINK})
    elif head not in {"DICTIONARY", "SECTION"}:
        yield from ((f"its {printable(head[:40])}", value) for value in _reactors(own))
    yield from ((f"its {printable(head[:40])}", value) for code, value in own if code == OF_XDATA)


def _reactors(own: Sequence[Tag]) -> Iterator[str]:
    is_within = False
    for code, value in own:
        if code == GROUP_OF_CODES:
            is_within = value == REACTORS
        elif is_within and code == OWNER:
            yield value


def _held(found: Found) -> set[int]:
    stated = (next((value for code, value in own if code in HANDLES), "") for head, own in found if head != "SECTION")
    return {number for value in stated if (number := _number(value)) is not None}


def _number(value: str) -> int | None:
    try:
        return int(value, 16)
    except ValueError:
        return None


def layer_table_doubts(document: Any, found: Found, under: Sequence[str]) -> Iterator[str]:
    """The first layer with lines read that the drawing's table does not have: it may have been off or frozen."""
    head = next((own for kind, own in found if kind == "SECTION" and (2, "HEADER") in own), ())
    version = next((value for (code, name), (_, value) in pairwise(head) if (code, name) == (9, "$ACADVER")), "")
    if version < WITH_LAYERS or not any(kind == "LAYER" for kind, _ in found):  # its reader makes a table of its own
        return
    for name in under:
        if name not in document.layers:
            yield f'its file does not say what its layer "{quote(name)}" is like; has it been off or frozen?'
            return


def row_doubts(found: Found) -> Iterator[str]:
    """The first lines numbered in a row and drawn end to end, but for a few numbers that nothing has."""
    held, row = _held(found), list[tuple[int, str, Sequence[Tag]]]()
    for head, own in [*found, ("", ())]:
        number = _number(next((value for code, value in own if code in HANDLES), ""))
        goes_on = head in CHAINED and number is not None
        if row and not (goes_on and number is not None and 0 < number - row[-1][0] <= MOST_IN_GAP + 1):
            if words := _gap_words(row, held):
                yield words
                return
            row = []
        if goes_on and number is not None:
            row.append((number, head, own))


def _gap_words(row: Sequence[tuple[int, str, Sequence[Tag]]], held: set[int]) -> str:
    gaps = [at for at in range(1, len(row)) if row[at][0] - row[at - 1][0] > 1]
    if len(gaps) != 1 or len(row) < LEAST_IN_ROW:
        return ""
    (first, kind, before), (second, other_kind, behind) = row[gaps[0] - 1 : gaps[0] + 1]
    if {kind, other_kind} != {"LINE"} or any(number in held for number in range(first + 1, second)):
        return ""
    if not _is_joined(dict(reversed(before)), dict(reversed(behind))):
        return ""
    return (
        f"its file numbers its lines in a row from {row[0][0]:X} to {row[-1][0]:X}, and nothing in it has a number between "
        f"{first:X} and {second:X}; has a line been lost?"
    )


def _is_joined(before: dict[int, str], behind: dict[int, str]) -> bool:
    """Whether one line ends where the next starts."""
    try:
        return all(abs(float(before[code + 1]) - float(behind[code])) < JOINED for code in (10, 20))
    except (KeyError, ValueError):
        return False
