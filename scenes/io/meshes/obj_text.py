"""Wavefront OBJ as plain text: corners, and triangles by the numbers of their corners. Opens nothing.

Mesh readers take corners that count back from the end for corners of the whole file, and pass over what they do not know:
both would put a body elsewhere, or nowhere, without a word.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping
from itertools import pairwise

from scenes.io.half_saved import has_blanks, is_half_saved
from scenes.io.library_remarks import printable
from scenes.io.meshes.damage import DamagedMeshError, all_corners_used, no_triangles, plain_number

# Curves and surfaces, and what is left of them where their own lines are lost.
FREE_FORM = set(b"curv curv2 surf cstype vp deg bmat step parm trim hole scrv sp con".split())
ELSEWHERE = {b"call", b"csh"}  # more of the model in another file, or by a command
SHAPELESS = set(
    b"vt vn g s mg o bevel c_interp d_interp lod usemtl mtllib usemap maplib shadow_obj trace_obj ctech stech end".split()
)
PLACE_WORDS = (3, 4, 6, 7)  # x y z, and with a weight, a colour, both
BARE = {b"l", b"p"}  # lines and points: a bar drawn as these would be passed over
FACES = {b"f", b"fo"}  # fo: a face, of the format's first years
NAMES = (b"o", b"g")  # of bodies, and of groups, in which faces or whole bodies lie
SHAPES = {b"v", *FACES}  # programs may put the corners of a body under one name, its faces under the next
NOBODY = {b"", b"default", b"off", b"(null)"}  # groups of these names are of no body
GOES_ON = {b"v", b"vt", b"vn", *FACES}  # on the next line, where numbers are many
JOINED = b" \0 "
# Line ends of old systems, and others that editors show: behind a remark or a name, a whole body would be more of its words.
FOREIGN_END = re.compile(rb"\r(?![\r\n])|[\v\f]|\xc2\x85|\xe2\x80[\xa8\xa9]")
# A corner or face that was put out by hand; no program remarks such.
PUT_OUT = re.compile(rb"(?m)^[ \t]*#[# \t]*(?:v(?:[ \t]+[-+.\deE]+){3,7}|f(?:[ \t]+-?\d+(?:/[-\d]*){0,2}){3,})[ \t]*\r?$")


def obj_faces(data: bytes) -> int:
    """Triangles of the file: a face of n corners is n - 2 of them. DamagedMeshError where it cannot be read whole.

    Corners are written before the faces that use them: some that none uses are what is left where faces are lost.
    """
    if is_half_saved(data):
        raise DamagedMeshError(
            f"it ends in the middle of a line after {len(data)} bytes, as if saved or copied by half; export it again"
        )
    _ends_whole(data)
    if has_blanks(data):
        raise DamagedMeshError("it holds bytes that no text has, as where a disk was never written; export it again")
    faces, corners, used, numbers = 0, 0, set[int](), set[int]()
    for kind, words in _none_empty(_lines(data)):
        if kind == b"v":
            corners += 1
            numbers.add(len(words))
        elif kind in FACES:
            used.update(_corner(word, corners) for word in words)
            faces += _triangles(len(words))
    if len(numbers) > 1:  # a blank within a number makes two of it
        raise DamagedMeshError(f"some corners of it have {min(numbers)} numbers, and some {max(numbers)}; export it again")
    all_corners_used(len(used & set(range(1, corners + 1))), corners)
    return faces


def _ends_whole(data: bytes) -> None:
    """Refuse a text that stops within the line that begins a body or group: its name is gone, and all that followed."""
    last = data[data.rfind(b"\n") + 1 :].split()
    if len(last) == 1 and last[0] in NAMES:
        raise DamagedMeshError(f'it is cut short: its last line is "{last[0].decode()}" without a name or an end; export it again')


def obj_doubts(data: bytes) -> tuple[str, ...]:
    """What may be wrong with a file that was read: one that stops within a line may have lost those behind it."""
    if b"\n" not in data or data.endswith((b"\n", b"\r")):
        return ()
    return ("the last line of its file has no end, and all others have one: is the file whole? If in doubt, export it again",)


def plain_obj(data: bytes) -> bytes:
    """The same mesh in corners and triangles alone, each corner by its number in the whole file."""
    text, corners = io.BytesIO(), 0
    for kind, words in _lines(data):
        if kind == b"v":
            corners += 1
            text.write(b"v " + b" ".join(_place(words)) + b"\n")
        elif kind in FACES:
            numbers = [_corner(word, corners) for word in words]
            text.writelines(b"f %d %d %d\n" % (numbers[0], b, c) for b, c in pairwise(numbers[1:]))
    return text.getvalue()


def _lines(data: bytes) -> Iterator[tuple[bytes, list[bytes]]]:
    """Each line's first word and the others, without remarks; lines go on after a backslash."""
    if foreign := FOREIGN_END.search(data):
        number = data.count(b"\n", 0, foreign.start()) + 1
        raise DamagedMeshError(f"its line {number} ends as OBJ does not know, as on an old system; export it again")
    if out := PUT_OUT.search(data):
        number = data.count(b"\n", 0, out.start()) + 1
        raise DamagedMeshError(f"its line {number} is a corner or face behind a #; delete the line, or take the # away")
    for line in io.BytesIO(data.replace(b"\\\r\n", JOINED).replace(b"\\\n", JOINED)):
        kind, *words = _whole_line(line.split()) or [b""]
        if kind in FREE_FORM:
            raise DamagedMeshError(f"it holds free-form surfaces ({kind.decode()}); export it as triangles")
        if kind in BARE:
            raise DamagedMeshError("it holds points or lines; export it as triangles, or delete them")
        if kind in ELSEWHERE:
            raise DamagedMeshError(f"a part of it is in another file ({kind.decode()}); export it as one")
        if kind and kind != b"v" and kind not in FACES and kind not in SHAPELESS:
            word = printable(kind[:20].decode("ascii", "replace"))
            raise DamagedMeshError(f'it holds a line "{word}", which OBJ does not know; export it again')
        yield kind, words


def _none_empty(lines: Iterator[tuple[bytes, list[bytes]]]) -> Iterator[tuple[bytes, list[bytes]]]:
    """The same lines. DamagedMeshError where nothing lies under the name of a body or group, to the next of its kind or the end."""
    empty: dict[bytes, bytes] = {}
    for kind, words in lines:
        if kind in NAMES:
            _has_shapes(empty, kind)
            empty[kind] = b" ".join(words)
        elif kind in SHAPES:
            empty.clear()
        yield kind, words
    for kind in NAMES:
        _has_shapes(empty, kind)


def _has_shapes(empty: Mapping[bytes, bytes], kind: bytes) -> None:
    if empty.get(kind, b"").lower() not in NOBODY:
        raise no_triangles(empty[kind].decode("utf-8", "replace"))


def _whole_line(words: list[bytes]) -> list[bytes]:
    """Words of a line that may go on behind a backslash, without its remark.

    One at the end of a remark or a name, such as a folder's, would take the next line for more of it: a face was lost so.
    """
    mark, told = JOINED.strip(), _before_remark(words)
    if words.count(mark) > told.count(mark) or (mark in told and told[0] not in GOES_ON):
        raise DamagedMeshError("a remark or name of it ends with a backslash, which joins the next line to it; delete that one")
    return [word for word in told if word != mark]


def _before_remark(words: list[bytes]) -> list[bytes]:
    """Words up to a remark; the # of a number that is none, 1.#IND, begins no remark."""
    return next((words[:place] for place, word in enumerate(words) if word.startswith(b"#")), words)


def _place(words: list[bytes]) -> list[bytes]:
    """The three numbers of a corner; a weight and a colour may follow them."""
    if len(words) not in PLACE_WORDS:
        raise DamagedMeshError(f"a corner of it has {len(words)} numbers; export it again")
    return words[:3]


def _triangles(corners: int) -> int:
    if corners < 3:
        raise DamagedMeshError("it is cut short: a face has fewer than three corners; export it again")
    return corners - 2


def _corner(word: bytes, before: int) -> int:
    """The number of a face's corner, from 1 on; negative ones count back from the last corner before."""
    number = int(plain_number(word.partition(b"/")[0].decode("ascii", "replace")))
    if number == 0 or before + 1 + number < 1:
        raise DamagedMeshError(f"a face names a corner {number}, which is not there; export it again")
    return number if number > 0 else before + 1 + number
