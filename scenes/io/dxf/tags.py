"""What a DXF's own text says against itself, tag by tag: damage that its reader would pass over, for it takes what it can get."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice

from scenes.io.dxf.foreign_codes import foreign_words
from scenes.io.dxf.splines import spline_words
from scenes.io.dxf.swallowed import Numbered, marker_words, swallowed_words
from scenes.io.library_remarks import printable

LONGEST_WORD = 40  # of a file, shown
Tag = tuple[int, str]  # group code, value; DXF reference, "About the DXF Format"

# Subclass markers (group code 100) and what they stand in: one in another entity is all that is left of a lost head.
MARKED = {
    "AcDbLine": {"LINE"},
    "AcDbPolyline": {"LWPOLYLINE"},
    "AcDbCircle": {"CIRCLE", "ARC"},
    "AcDbArc": {"ARC"},
    "AcDbEllipse": {"ELLIPSE"},
    "AcDbSpline": {"SPLINE", "HELIX"},
    "AcDb2dPolyline": {"POLYLINE"},
    "AcDb3dPolyline": {"POLYLINE"},
    "AcDb2dVertex": {"VERTEX"},
    "AcDb3dPolylineVertex": {"VERTEX"},
    "AcDbBlockReference": {"INSERT"},
}
PLACE, SECOND, HEIGHT = (10, 20), (11, 21), 30
NEEDED = {
    "LINE": (*PLACE, *SECOND),
    "CIRCLE": (*PLACE, 40),
    "ARC": (*PLACE, 40, 50, 51),
    "ELLIPSE": (*PLACE, *SECOND, 40),
    "VERTEX": PLACE,
    "INSERT": (2, *PLACE),
}
PLACED_ONCE = {*NEEDED, "BLOCK", "TEXT", "MTEXT", "POINT", "DIMENSION", "TOLERANCE"}
PLACED_AGAIN = {"ATTDEF", "ATTRIB"}  # from R2018 on these state their second place with each of their markers
SCALES = (41, 42, 43)  # of INSERT; readers take 0 for 1
ACROSS, UP_OR_AHEAD = (
    {*range(10, 19)},
    {*range(20, 29), *range(30, 38)},
)  # x, y, z of places; 38 and 39 are a height and a thickness
REMARK = 999
DIRECTION = (210, 220, 230)  # DXF reference, extrusion direction: which side of its plane is up
RATIO, LEAST_RATIO, ROUNDED = 40, 1e-6, 1e-9  # DXF reference, ELLIPSE: short axis to long; the least that drawing programs take
NUMBERS = {*range(10, 100), *range(110, 150), *range(210, 240)}  # DXF reference, "Group Code Value Types"
ONCE = {*range(10, 60), 70, 71, 90, *range(210, 240)}  # of what is one line, curve or copy
OF_CORNERS = {20, 40, 41, 42, 91}  # of LWPOLYLINE: what each corner may have once, behind its 10
PLURAL = {"LWPOLYLINE": {10, 30, *OF_CORNERS}, "SPLINE": {*range(10, 13), *range(20, 23), *range(30, 33), 40, 41}}
SHAPED = {*NEEDED, *PLURAL, "BLOCK"}
EMBEDDED = 101  # what follows belongs to an object within the entity


def contradiction(data: bytes) -> str:
    """What in the file's text cannot be whole, in words that go on after "damaged: "; empty where nothing is found."""
    try:
        numbered = list(numbered_tags(data))
    except ValueError as error:
        return str(error)
    tags = [(code, value) for code, value, _ in numbered]
    found = list(things(tags))
    words = _units_words(tags) or next((words for head, own in found if (words := _words(head, own))), "")
    return words or swallowed_words(numbered) or foreign_words(found)


FRAMES = {"SECTION", "ENDSEC", "BLOCK", "ENDBLK", "VERTEX", "SEQEND", "ATTRIB", "VIEWPORT", "EOF"}  # what holds or ends others


def entity_heads(data: bytes) -> Iterator[tuple[str, bool]]:
    """The kind of every thing in the file's text, and whether it stands among the entities or in a block."""
    lines = data.splitlines()
    section, awaited = "", False
    for code, value in zip(lines[::2], lines[1::2], strict=False):
        word, number = value.strip().upper().decode("ascii", "replace"), code.strip()
        if awaited and number == b"2":
            section = word
        if number == b"0":
            awaited = word == "SECTION"
            yield word, section in {"ENTITIES", "BLOCKS"} and word not in FRAMES


def numbered_tags(data: bytes) -> Iterator[Numbered]:
    """Group codes and values with their lines, up to the end of the file; ValueError with words where one cannot be told."""
    lines = data.splitlines()
    for number in range(0, len(lines) - 1, 2):
        code = lines[number].strip()
        if not code.removeprefix(b"-").isdigit():
            raise ValueError(f"its line {number + 1} should hold a group code")
        value = lines[number + 1].strip().decode("utf-8", "replace")
        if int(code) in NUMBERS and "_" in value:  # Python's readers pass it over
            raise ValueError(f'its line {number + 2} holds "{printable(value[:LONGEST_WORD])}" for a number')
        yield int(code), value, number + 1
        if (int(code), value) == (0, "EOF"):
            return


def things(tags: Sequence[Tag]) -> Iterator[tuple[str, list[Tag]]]:
    """The kind of every thing in the file's text and what it holds."""
    starts = [number for number, (code, _) in enumerate(tags) if code == 0]
    for start, end in zip(starts, [*starts[1:], len(tags)], strict=True):
        yield tags[start][1].upper(), list(tags[start + 1 : end])


def _units_words(tags: Sequence[Tag]) -> str:
    stated = sorted({tags[number + 1][1] for number, tag in enumerate(tags[:-1]) if tag == (9, "$INSUNITS")})
    if len(stated) < 2:
        return ""
    return f"it states more than one unit ($INSUNITS = {', '.join(printable(one[:LONGEST_WORD]) for one in stated)})"


def _words(head: str, tags: Sequence[Tag]) -> str:
    markers = Counter(value for code, value in tags if code == 100 and value in MARKED)
    for marker, count in markers.items():
        if head not in MARKED[marker] or count > 1:
            return f"{max(MARKED[marker])} has lost its head and stands in {printable(head[:LONGEST_WORD])}"
    codes = Counter(_own_codes(tags))
    words = marker_words(head, (value for code, value in tags if code == 100))
    words = words or (_corner_words(tags, codes) if head == "LWPOLYLINE" else spline_words(tags) if head == "SPLINE" else "")
    if words:
        return words
    if (head in PLACED_ONCE and max(codes[code] for code in (*PLACE, *SECOND)) > 1) or (head in PLACED_AGAIN and _is_torn(tags)):
        return f"{head} has more than one place"
    if head == "INSERT" and any(code in SCALES and _is_zero(value) for code, value in tags):
        named = next((value for code, value in tags if code == 2), "")
        return f'it puts its block "{printable(named[:LONGEST_WORD])}" at a scale of 0'
    missing = [code for code in NEEDED.get(head, ()) if not codes[code]]
    if missing:
        return f"{head} lacks its group code {missing[0]}"
    if head in SHAPED and (words := _parted_words(head, tags) or _shape_words(head, dict(reversed(tags)))):
        return words
    once = ONCE - PLURAL.get(head, set()) if head in {*NEEDED, *PLURAL} else ()
    twice = next((code for code in sorted(once) if codes[code] > 1), None)
    return "" if twice is None else f"{head} states its group code {twice} more than once"


def _parted_words(head: str, tags: Sequence[Tag]) -> str:
    """What stands between the numbers of a place, or turns them round: readers take such a place for the origin."""
    codes = [code for code, _ in tags if code != REMARK]
    for before, code, behind in zip([0, *codes], codes, [*codes[1:], 0], strict=False):
        if (code in ACROSS and behind != code + 10) or (code in UP_OR_AHEAD and before != code - 10):
            return f"{head} has a place whose numbers do not stand together"
    return ""


def _shape_words(head: str, values: Mapping[int, str]) -> str:
    """Numbers that a reader would put right in its own way: a direction of no length, and an ellipse higher than it is wide."""
    if any(code in values for code in DIRECTION) and all(_is_zero(values.get(code, "0")) for code in DIRECTION):
        return f"{head} lies in a plane of no direction"
    ratio = _number(values.get(RATIO, "")) if head == "ELLIPSE" else 1.0
    if ratio is not None and not LEAST_RATIO <= abs(ratio) <= 1.0 + ROUNDED:
        return f"ELLIPSE states that its short axis is {ratio:g} times its long one"
    return ""


def _is_torn(tags: Sequence[Tag]) -> bool:
    """Whether its places stand there with more than one number each."""
    own = islice(tags, sum(1 for _ in _own_codes(tags)))
    stated = {(code, _number(value)) for code, value in own if code in {*PLACE, *SECOND}}
    return len(stated) > len({code for code, _ in stated})


def _is_zero(value: str) -> bool:
    return _number(value) == 0.0


def _number(value: str) -> float | None:
    try:
        return float(value)
    except ValueError:
        return None


def _own_codes(tags: Sequence[Tag]) -> Iterator[int]:
    for code, _ in tags:
        if code == EMBEDDED:
            return
        yield code


def _corner_words(tags: Sequence[Tag], codes: Counter[int]) -> str:
    """A polyline states its corners; one that is lost could be the one that reached in."""
    stated = next((value for code, value in tags if code == 90), "none")
    found = f"{codes[10]} x and {codes[20]} y" if codes[10] != codes[20] else str(codes[10])
    if stated != found:
        return f"LWPOLYLINE states {printable(stated[:LONGEST_WORD])} corners and holds {found}"
    heights = [_number(value) for code, value in tags if code == HEIGHT]  # DXF gives it none; some programs write one throughout
    if heights and (len(heights) != codes[10] or len(set(heights)) > 1 or None in heights):
        return f"LWPOLYLINE of {codes[10]} corners holds a z (30) of {len(heights)} of them, or z that differ"
    return _corner_by_corner(code for code, _ in tags)


def _corner_by_corner(codes: Iterable[int]) -> str:
    """What a corner states twice: which of the two holds nobody knows, and a bulge that was lost there may reach in elsewhere."""
    seen: set[int] | None = None
    for code in codes:
        if code == PLACE[0]:
            seen = set()
        elif code in OF_CORNERS and seen is None:
            return f"LWPOLYLINE states its group code {code} before its first corner"
        elif code in OF_CORNERS and seen is not None:
            if code in seen:
                return f"LWPOLYLINE states its group code {code} more than once for a corner"
            seen.add(code)
    return ""
