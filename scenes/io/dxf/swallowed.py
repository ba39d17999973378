"""Things of a DXF that have lost their head, or their place in the file: its reader adds them to what stands before, or drops them.

DXF reference: "Common Group Codes for Entities" (5 handle, 6 line type, 8 layer: each once), "BLOCKS Section", "ENTITIES Section",
VERTEX and SEQEND. A drawing in the old form (R12) has no subclass markers by which a lost head could be told.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from scenes.io.library_remarks import printable

LONGEST_WORD = 40  # of a file, shown
Numbered = tuple[int, str, int]  # group code, value, line of the file (from 1)
NAME, REMARK, MARKER = 2, 999, 100
ONE_EACH = {5: "handle", 6: "line type", 8: "layer"}
BARE = {"SEQEND", "ENDBLK"}  # these hold what all entities may, but no place or size
LINE_TYPE_SCALE = 48
SIZES = {*range(10, 60)} - {LINE_TYPE_SCALE}
DRAWN_NAMES = {"LINE", "CIRCLE", "ARC", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE", "VERTEX", "SEQEND", "INSERT"}
TEXT_CODES = {1, 2, 3, 6, 7, 8, MARKER, *range(300, 310), REMARK, *range(1000, 1072)}  # where a word may be a name that people give
HOLDING = {"ENTITIES", "BLOCKS"}
HEADS_ONLY = {*HOLDING, "TABLES", "OBJECTS", "CLASSES"}  # sections of which nothing stands between name and first head
BEFORE = {
    "VERTEX": {"POLYLINE", "VERTEX"},
    "ATTRIB": {"INSERT", "ATTRIB"},
    "SEQEND": {"POLYLINE", "VERTEX", "INSERT", "ATTRIB"},
}
ONE_MARKER = {*DRAWN_NAMES, "HELIX"} - {"SEQEND"}
OWN_MARKERS = {"LWPOLYLINE": {"AcDbEntity", "AcDbPolyline"}}  # its reader takes the corners behind the second marker alone


def swallowed_words(tags: Sequence[Numbered]) -> str:
    """What has lost its head or stands where nothing is read, in words that go on after "damaged: "; empty where nothing has."""
    section, before = "", ""
    for head, line, own in _things(tags):
        if head == "SECTION":
            section = next((value.upper() for code, value, _ in own if code == NAME), "")
        words = _place_words(head, before, section, line) or _swallowing_words(head, section, own)
        if words:
            return words
        section, before = "" if head == "ENDSEC" else section, head
    return ""


def _things(tags: Sequence[Numbered]) -> Iterator[tuple[str, int, Sequence[Numbered]]]:
    starts = [number for number, (code, _, _) in enumerate(tags) if code == 0]
    for start, end in zip(starts, [*starts[1:], len(tags)], strict=True):
        yield tags[start][1].upper(), tags[start][2], tags[start + 1 : end]


def _place_words(head: str, before: str, section: str, line: int) -> str:
    """A thing that stands where its reader takes none."""
    named = f"its line {line} holds {printable(head[:LONGEST_WORD])}"
    if not section and head not in {"SECTION", "ENDSEC", "EOF"}:
        return f"{named} outside of every section"
    if section == "BLOCKS" and before in {"SECTION", "ENDBLK"} and head not in {"BLOCK", "ENDSEC"}:
        return f"{named} outside of every block"
    if section in HOLDING and before not in BEFORE.get(head, {before}):
        return f"{named} behind {printable(before[:LONGEST_WORD])}, which has none"
    return ""


def _swallowing_words(head: str, section: str, own: Sequence[Numbered]) -> str:
    """A thing that holds what belongs to another."""
    foreign = _foreign_lines(head, section, own)
    if foreign is None:
        return ""
    return f"at its line {foreign} {printable(head[:LONGEST_WORD])} holds what belongs to something else, whose head is lost"


def _foreign_lines(head: str, section: str, own: Sequence[Numbered]) -> int | None:
    """The line at which something else begins."""
    told = [tag for tag in own if tag[0] != REMARK]
    if head == "ENDSEC":
        return next((line for _, _, line in told), None)
    if head == "SECTION":
        return next((line for code, _, line in told if code != NAME), None) if section in HEADS_ONLY else None
    if section not in HOLDING:
        return None
    strange = (line for code, value, line in told if _is_strange(head, code, value))
    return next(strange, None) or _told_again((code, line) for code, _, line in told)


def _is_strange(head: str, code: int, value: str) -> bool:
    return (head in BARE and code in SIZES) or (code not in TEXT_CODES and value.upper() in DRAWN_NAMES)


def _told_again(codes: Iterable[tuple[int, int]]) -> int | None:
    seen: set[int] = set()
    for code, line in codes:
        if code in ONE_EACH and code in seen:
            return line
        seen.add(code)
    return None


def marker_words(head: str, markers: Iterable[str]) -> str:
    """Subclass markers told twice, or of another kind, within one line or curve: its reader looks behind the wrong one."""
    counts = Counter(markers)
    twice = next((marker for marker, count in counts.items() if count > 1), None) if head in ONE_MARKER else None
    if twice is not None:
        return f"{head} states its marker {printable(twice[:LONGEST_WORD])} more than once"
    foreign = next((marker for marker in counts if marker not in OWN_MARKERS.get(head, {marker})), None)
    return "" if foreign is None else f"{head} holds the marker {printable(foreign[:LONGEST_WORD])} of something else"
