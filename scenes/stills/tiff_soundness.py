"""What a TIFF says against itself: its tags, and the places and lengths of its strips or tiles.

Libraries read on past most of this with black, or with other rows, in place of what is lost. Source: TIFF revision 6.0 and, for
64-bit files, the BigTIFF design of its library's authors.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

WIDTH, HEIGHT, COMPRESSION, PHOTOMETRIC, ROWS_PER_STRIP, PREDICTOR = 256, 257, 259, 262, 278, 317
PLACES, LENGTHS = (273, 324), (279, 325)  # StripOffsets and TileOffsets, StripByteCounts and TileByteCounts
NEEDED = (WIDTH, HEIGHT, PHOTOMETRIC)  # without these no picture is told
PRIVATE = 32_768  # the first number that anybody may use. Source: TIFF revision 6.0, section 8, "Private Fields"
SIZES = {
    1: 1,
    2: 1,
    3: 2,
    4: 4,
    5: 8,
    6: 1,
    7: 1,
    8: 2,
    9: 4,
    10: 8,
    11: 4,
    12: 8,
    13: 4,
    16: 8,
    17: 8,
    18: 8,
}  # bytes, by data type
WHOLE = {3, 4, 16}  # SHORT, LONG and LONG8: the types of what a picture is read by
SINGLE = {WIDTH, HEIGHT, COMPRESSION, PHOTOMETRIC, 266, 274, 277, ROWS_PER_STRIP, 284, PREDICTOR, 322, 323}  # one whole number each
LISTS = {258, 338, 339, *PLACES, *LENGTHS}  # one whole number for each colour, strip or tile
TEXTS = {269, 270, 271, 272, 285, 305, 306, 315, 316, 333, 337}  # names of files, makers, programs, people
RATIOS = {282, 283, 286, 287, 318, 319, 529, 532}  # resolutions, places on a sheet, points of colour
TEXT, RATIO = {1, 2, 7}, {5, 10, 11, 12}  # data types: some programs write texts as bytes, ratios as floats
UNPACKED, AS_JPEG = 1, 7  # of the tag Compression
FAX = {2, 3, 4}  # which have black and white alone
EXACT = {5, 8, 32773, 32946, 34925, 50000, 50013}  # LZW, deflate, PackBits, LZMA, Zstandard: they unpack to the very bytes
SPARE = 64  # bytes to unpack beyond what is needed, to see that there are more
JPEG_END = b"\xff\xd9"  # ITU-T T.81, table B.1: end of image


@dataclass(frozen=True, slots=True)
class Tag:
    """A tag of the first page: its number, data type, count of values, and where these stand in the file."""

    code: int
    kind: int
    count: int
    place: int

    @property
    def length(self) -> int:
        """Bytes of its values; 0 where the data type is unknown."""
        return SIZES.get(self.kind, 0) * self.count


def insist_on_sound(data: bytes, page: Any) -> None:
    """Raise ValueError with what is wrong; `page` is the first page as its library reads it."""
    tags, taken = _tags(data)
    _insist_on_tags(tags)
    _insist_on_ways(page)
    pieces = _pieces(page)
    _insist_on_places([*taken, *((tag.place, tag.length) for tag in tags)], pieces, len(data))
    for k, (place, length) in enumerate(pieces):
        _insist_on_contents(data[place : place + length], k, page)


def _tags(data: bytes) -> tuple[list[Tag], list[tuple[int, int]]]:
    """Tags of the first page in the order of the file, and place and length of what tells where they are."""
    order = "<" if data[:2] == b"II" else ">"
    big = struct.unpack_from(f"{order}H", data, 2)[0] == 43
    head, count_as, tag_as, room = (16, "Q", "HHQ", 8) if big else (8, "H", "HHI", 4)
    (place,) = struct.unpack_from(order + ("Q" if big else "I"), data, head - room)
    try:
        (count,) = struct.unpack_from(order + count_as, data, place)
        begin, size = place + struct.calcsize(order + count_as), struct.calcsize(order + tag_as) + room
        found = []
        for at in range(begin, begin + size * min(count, len(data) // size + 1), size):
            code, kind, values = struct.unpack_from(order + tag_as, data, at)
            inside = at + size - room
            far = SIZES.get(kind, 0) * values > room
            (where,) = struct.unpack_from(order + ("Q" if big else "I"), data, inside) if far else (inside,)
            found.append(Tag(code, kind, values, where))
    except struct.error:
        raise ValueError("its list of tags ends too soon") from None
    return found, [(0, head), (place, begin - place + size * count + room)]


def _insist_on_tags(tags: list[Tag]) -> None:
    """Each tag once, in ascending order, of a number and a type that there are.

    Programs that write TIFF keep the order, since "the entries in an IFD must be sorted in ascending order by Tag" (section 2):
    the libraries that most of them write with do so whatever they are handed. A tag out of its place is therefore taken for a tag
    whose number is spoilt, such as a compression or an orientation that is lost with it, and not for another habit.
    """
    for before, tag in pairwise(tags):
        if tag.code == before.code:
            raise ValueError(f"its tag {tag.code} is there twice")
        if tag.code < before.code:
            raise ValueError(f"its tag {tag.code} stands behind {before.code}, where TIFF has them in ascending order")
    missing = set(NEEDED) - {tag.code for tag in tags}
    if missing:
        raise ValueError(f"its tag {min(missing)} is missing")
    for tag in tags:
        _insist_on_tag(tag)


def _insist_on_tag(tag: Tag) -> None:
    import tifffile

    known = tag.code in tifffile.TIFF.TAGS
    if not known and (tag.code < PRIVATE or tag.code - PRIVATE in SINGLE | LISTS):  # the latter with its first bit spoilt
        raise ValueError(f"its tag {tag.code} is none that TIFF knows")
    if known and tag.kind not in SIZES:
        raise ValueError(f"its tag {tag.code} is of the data type {tag.kind}, which TIFF does not know")
    for codes, kinds, words in ((SINGLE | LISTS, WHOLE, "whole numbers"), (TEXTS, TEXT, "text"), (RATIOS, RATIO, "ratios")):
        if tag.code in codes and tag.kind not in kinds:
            raise ValueError(f"its tag {tag.code} is of the data type {tag.kind}, where it holds {words}")
    if tag.code in SINGLE and tag.count != 1:
        raise ValueError(f"its tag {tag.code} holds {tag.count} numbers in place of one")


def _insist_on_ways(page: Any) -> None:
    """Ways of packing that there are, and that go with the codes.

    The predictor is 1 for none, 2 for differences of whole numbers, 3 of floats; colours lie together (1) or in planes (2). Source:
    TIFF revision 6.0, tag 284 and sections 10, 11 and 14; its Technical Note 3.
    """
    if page.predictor not in {1, 2, 3} or (page.predictor == 3 and page.sampleformat != 3):
        raise ValueError(f"its predictor is {int(page.predictor)}, which does not go with its codes")
    if page.planarconfig not in {1, 2}:
        raise ValueError(f"its colours lie as {int(page.planarconfig)} says, which TIFF does not know")
    if page.compression in FAX and page.bitspersample != 1:
        raise ValueError("it is packed as a fax, which does not go with its codes")


def _pieces(page: Any) -> list[tuple[int, int]]:
    """Place and length of each strip or tile."""
    places, lengths = list(page.dataoffsets), list(page.databytecounts)
    if not lengths and page.compression == UNPACKED:  # older programs leave the lengths out, which say nothing new then
        lengths = [_needs(k, page)[0] for k in range(len(places))]
    if len(lengths) != len(places):
        raise ValueError(f"it tells places of {len(places)} strips or tiles and lengths of {len(lengths)}")
    return list(zip(places, lengths, strict=True))


def _insist_on_places(taken: list[tuple[int, int]], pieces: list[tuple[int, int]], size: int) -> None:
    """Refuse strips or tiles without a byte, beyond the file, or upon each other, the tags or their values.

    Values of two tags may share their bytes, as those of both resolutions do.
    """
    for place, length in pieces:
        if length <= 0:
            raise ValueError("a strip or tile of it is empty")
        if place + length > size:
            raise ValueError(f"a strip or tile of it lies beyond its end: bytes {place} to {place + length} of {size}")
    spans = sorted([(place, place + length, True) for place, length in pieces] + _joined(taken))
    for (_, end, one), (begin, _, other) in pairwise(spans):
        if begin < end and (one or other):
            raise ValueError(f"a strip or tile of it lies upon another, or upon its tags: byte {begin} is in both")


def _joined(taken: list[tuple[int, int]]) -> list[tuple[int, int, bool]]:
    """Spans in order, those that touch or overlap as one."""
    found: list[tuple[int, int, bool]] = []
    for place, length in sorted(taken):
        if found and place <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], place + length), False)
        elif length:
            found.append((place, place + length, False))
    return found


def _insist_on_contents(packed: bytes, k: int, page: Any) -> None:
    """Refuse a strip or tile that unpacks to more or fewer bytes, or as JPEG to another size, than its place needs."""
    needed = _needs(k, page)
    if page.compression == AS_JPEG:
        _insist_on_jpeg(packed, k, page)
    elif needed and page.compression == UNPACKED and len(packed) not in needed:
        raise ValueError(f"strip or tile {k + 1} of it has {len(packed)} bytes, where its size needs {needed[0]}")
    elif needed and page.compression in EXACT:
        length = len(_unpacked(packed, page, needed[-1] + SPARE))
        if length not in needed:
            more = "or more " if length == needed[-1] + SPARE else ""
            raise ValueError(f"strip or tile {k + 1} of it unpacks to {length} {more}bytes, where its size needs {needed[0]}")


def _unpacked(packed: bytes, page: Any, most: int) -> bytes:
    import imagecodecs
    import tifffile

    if page.fillorder == 2:
        packed = bytes(imagecodecs.bitorder_decode(packed))
    return bytes(tifffile.TIFF.DECOMPRESSORS[page.compression](packed, out=most))


def _needs(k: int, page: Any) -> tuple[int, ...]:
    """Bytes that strip or tile number `k`, from 0, may unpack to: some programs fill the last strip. Empty for odd bits."""
    if not isinstance(page.bitspersample, int):
        return ()
    width, rows = _across_and_rows(k, page)
    samples = 1 if page.planarconfig == 2 else page.samplesperpixel
    row = -(-width * samples * page.bitspersample // 8)
    return tuple(row * count for count in rows)


def _across_and_rows(k: int, page: Any) -> tuple[int, tuple[int, ...]]:
    """Pixels across, and the rows that there may be."""
    if page.is_tiled:
        return page.tilewidth, (page.tilelength,)
    rows = min(page.rowsperstrip, page.imagelength)
    strips = -(-page.imagelength // rows)
    last = page.imagelength - (k % strips) * rows
    return page.imagewidth, (rows,) if last >= rows else (last, rows)


def _insist_on_jpeg(packed: bytes, k: int, page: Any) -> None:
    across, rows = _across_and_rows(k, page)
    samples = 1 if page.planarconfig == 2 else page.samplesperpixel
    frame = next(_frames(packed), None)
    if frame is None or JPEG_END not in packed[-16:]:
        raise ValueError(f"strip or tile {k + 1} of it is no whole JPEG")
    if frame not in {(across, count, samples) for count in rows}:
        held, needed = ("{} x {} pixels of {} colours".format(*one) for one in (frame, (across, rows[0], samples)))
        raise ValueError(f"strip or tile {k + 1} of it is {held}, where its size needs {needed}")


def _frames(packed: bytes) -> Iterator[tuple[int, int, int]]:
    """Width, height and number of colours of JPEG data, from the frame header. Source: ITU-T T.81, B.2.2."""
    at = 2
    while at + 9 < len(packed) and packed[at] == 0xFF:
        marker = packed[at + 1]
        if 0xC0 <= marker <= 0xCF and marker not in {0xC4, 0xC8, 0xCC}:
            height, width, colours = struct.unpack_from(">HHB", packed, at + 5)
            yield width, height, colours
        at += 2 + struct.unpack_from(">H", packed, at + 2)[0]
