"""How many triangles a mesh file says it holds, read from its own text beside the mesh reader: what is lost in reading shows."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from scenes.io.library_remarks import printable
from scenes.io.meshes.damage import DamagedMeshError, few_enough_bodies, no_triangles
from scenes.io.meshes.glb import faces_of_glb
from scenes.io.meshes.obj_text import obj_faces
from scenes.io.meshes.shapes_3mf import faces_of_3mf

MOST_FACES = 1_000_000  # these take close to 1 GB in reading


def stated_faces(data: bytes, kind: str) -> int:
    """Triangles, copies of bodies counted, polygons as the triangles they make. DamagedMeshError or a parser's error."""
    counts = {"stl": _stl, "obj": obj_faces, "ply": _ply, "3mf": faces_of_3mf, "glb": faces_of_glb}
    return counts[kind](data)


STL_CORNER = re.compile(rb"(?m)^\s*vertex(?:[^\S\n]+\S+){3}\s*$")
EMPTY_SOLID = re.compile(rb"(?mi)^[^\S\n]*solid\b([^\n]*)\n\s*(?:end)?solid\b")

SOLID_NAME = re.compile(rb"(?mi)^[^\S\n]*((?:end)?solid)\b([^\r\n]*)")


def _stl(data: bytes) -> int:
    """Binary STL: 80 bytes, the count, 50 bytes a triangle; ASCII STL: `endfacet` closes each. As the 1989 specification has it."""
    count = int.from_bytes(data[80:84], "little")
    if len(data) >= 84 and len(data) == 84 + 50 * count:
        return _none_blank(data, count)
    text = data.lower()
    if not text.lstrip().startswith(b"solid") or b"facet" not in text:
        raise DamagedMeshError(
            f"its head states {count} triangles and its size holds {max(len(data) - 84, 0) / 50:g}; export it again"
        )
    few_enough_bodies(text.count(b"endsolid"))
    if empty := EMPTY_SOLID.search(data):
        raise no_triangles(empty[1].decode("utf-8", "replace").strip())
    opened, closed = text.count(b"facet normal"), text.count(b"endfacet")
    if opened != closed or not text.rstrip().splitlines()[-1].lstrip().startswith(b"endsolid"):
        raise DamagedMeshError("it is cut short: its last solid does not end; export it again")
    _ends_by_its_name(data)
    odd = next((n for n, facet in enumerate(text.split(b"endfacet")[:-1], 1) if len(STL_CORNER.findall(facet)) != 3), None)
    if odd is not None:
        raise DamagedMeshError(f"its facet {odd} has not three corners of three numbers; export it again")
    return closed


def _ends_by_its_name(data: bytes) -> None:
    """Refuse a text that stops within the name that closes its last solid: more solids may have followed."""
    if data.endswith((b"\n", b"\r")):
        return
    named = [(kind.lower(), name) for kind, name in SOLID_NAME.findall(data)]
    opened, closed = ([b" ".join(name.lower().split()) for kind, name in named if kind == one] for one in (b"solid", b"endsolid"))
    if not opened or len(opened) != len(closed):
        return
    whole, last = opened[-1], closed[-1]
    within_word = bool(last) and not whole[len(last) :].startswith(b" ")
    begun = data.endswith((b" ", b"\t")) or (len(closed) > 1 and opened[:-1] == closed[:-1])
    if whole.startswith(last) and whole != last and (within_word or begun):
        name = printable(whole.decode("utf-8", "replace")[:40])
        raise DamagedMeshError(f'it is cut short within the line that ends its solid "{name}"; export it again')


def _none_blank(data: bytes, count: int) -> int:
    """The count, where no triangle is all zeros: so a copy ends that was never written to its end."""
    blank = ~np.frombuffer(data, dtype=np.uint8, offset=84).reshape(count, 50).any(axis=1)
    if blank.any():
        first = int(np.argmax(blank)) + 1
        raise DamagedMeshError(
            f"its triangle {first} holds nothing but zeros, as in a copy that was cut off; copy or export it again"
        )
    return count


def _ply(data: bytes) -> int:
    """PLY: the header states how many of each element follow, and in which order."""
    head, mark, body = data.partition(b"end_header")
    if not mark:
        raise DamagedMeshError("its header does not end; export it again")
    lines = [line.split() for line in head.decode("ascii", "replace").splitlines()]
    elements = [(words[1], int(words[2])) for words in lines if words[:1] == ["element"]]
    names = [name for name, _ in elements]
    double = next((name for name in names if names.count(name) > 1), None)
    if double is not None:  # its reader takes the last of them
        raise DamagedMeshError(f'its header states its element "{printable(double[:20])}" twice; export it again')
    _each_property_once(lines, names)
    _no_other_shapes(elements, lines)
    if "ascii" in next((words for words in lines if words[:1] == ["format"]), []):
        return _ply_text_faces(body, elements, lines)
    _, _, rest = body.partition(b"\n")
    return _ply_binary_faces(rest, elements, lines)


# Elements of programs' own that hold no shape: colours, where a scan was taken from, places in several pictures.
PLY_PLAIN = {"vertex", "face", "material", "camera", "texture", "multi_texture_vertex", "multi_texture_face"}
PLY_CORNERS = ("vertex_indices", "vertex_index")


def _no_other_shapes(elements: list[tuple[str, int]], lines: list[list[str]]) -> None:
    """Refuse strips, edges and elements that are not known, and a face's list beside its corners: its reader passes over them."""
    for name, count in elements:
        if count and name not in PLY_PLAIN:
            what = {"tristrips": "strips", "edge": "edges"}.get(name, f'{count} of an element "{printable(name[:20])}"')
            raise DamagedMeshError(f"it holds {what}, which may be shapes and cannot be read; export it as triangles alone")
    of_faces = _properties(lines, "face") if "face" in dict(elements) else []
    lists = [name for kind, *types, name in of_faces if kind == "list" and types[-1] in PLY_NUMBERS]
    other = [name for name in lists if name not in PLY_CORNERS] or lists[1:]
    if other:
        raise DamagedMeshError(
            f'a face of it has a list "{printable(other[0][:20])}", which may be more corners and cannot be read; export it as '
            "triangles alone"
        )


def _each_property_once(lines: list[list[str]], elements: list[str]) -> None:
    for element in elements:
        names = [words[-1] for words in _properties(lines, element)]
        double = next((name for name in names if names.count(name) > 1), None)
        if double is not None:
            raise DamagedMeshError(
                f'its header states "{printable(double[:20])}" twice for each {printable(element[:20])}; export it again'
            )


def _before_list(lines: list[list[str]]) -> int:
    """How many values stand before the list of corners in a line of a face."""
    start = next((k for k, words in enumerate(lines) if words[:2] == ["element", "face"]), len(lines))
    kinds = [words[1] for words in lines[start:] if words[:1] == ["property"]]
    return kinds.index("list") if "list" in kinds else 0


def _ply_text_faces(body: bytes, elements: list[tuple[str, int]], lines: list[list[str]]) -> int:
    before = _before_list(lines)
    rows = [words for line in body.splitlines() if (words := line.split())]
    stated = sum(count for _, count in elements)
    if len(rows) != stated:
        wrong = "is cut short" if len(rows) < stated else "contradicts itself"
        raise DamagedMeshError(f"it {wrong}: its header states {stated} lines of data, {len(rows)} are there; export it again")
    start, triangles = 0, 0
    for name, count in elements:
        own = rows[start : start + count]
        if name == "face":
            if any(len(row) <= before or len(row) < before + 1 + int(row[before]) or int(row[before]) < 3 for row in own):
                raise DamagedMeshError("it is cut short within a face; export it again")
            triangles = sum(int(row[before]) - 2 for row in own)
        _held_by_their_types(own, _properties(lines, name))
        _rows_in_full(own, [words[0] == "list" for words in _properties(lines, name)], name)
        start += count
    return triangles


def _held_by_their_types(rows: list[list[bytes]], properties: list[list[str]]) -> None:
    """Refuse places that a whole number's type cannot hold as they are written: its reader would cut them off or turn them over."""
    for column, (kind, *_, name) in enumerate(properties):
        if kind == "list":
            return  # what stands behind one has no column of its own
        whole = kind.removeprefix("u") in PLY_WHOLE and name in PLACES
        bits = 8 * PLY_BYTES.get(kind, 0) - (0 if kind.startswith("u") else 1)
        least, most = (0 if kind.startswith("u") else -(2**bits)), 2**bits - 1
        if whole and not all(_is_whole(row[column]) and least <= int(row[column]) <= most for row in rows if len(row) > column):
            raise DamagedMeshError(f"a place of it is no number of its property {kind} {name}; export it again")


def _is_whole(word: bytes) -> bool:
    return word.removeprefix(b"-").removeprefix(b"+").isdigit()


def _rows_in_full(rows: list[list[bytes]], lists: list[bool], name: str) -> None:
    """Refuse a row with more or fewer numbers than the header asks for: in it one was lost, or two ran into another."""
    for row in rows:
        asked = 0
        for is_list in lists:
            asked += 1 + (int(row[asked]) if is_list and asked < len(row) else 0)
        if asked != len(row):
            raise DamagedMeshError(
                f"a {printable(name[:20])} of it has {len(row)} numbers where its header asks for {asked}; export it again"
            )


PLACES = {"x", "y", "z"}
PLY_WHOLE = {"char", "short", "int", "int8", "int16", "int32"}
PLY_NUMBERS = {*PLY_WHOLE, *(f"u{kind}" for kind in PLY_WHOLE)}  # that corners may be named by
PLY_BYTES = {
    "char": 1, "uchar": 1, "int8": 1, "uint8": 1, "short": 2, "ushort": 2, "int16": 2, "uint16": 2,
    "int": 4, "uint": 4, "int32": 4, "uint32": 4, "float": 4, "float32": 4, "double": 8, "float64": 8,
}  # fmt: skip


def _ply_binary_faces(body: bytes, elements: list[tuple[str, int]], lines: list[list[str]]) -> int:
    """Triangles of a binary body whose lists are of one length, which are all that the reader knows; its size must fit."""
    order = "big" if any("binary_big_endian" in words for words in lines) else "little"
    at, faces = 0, 0
    for name, count in elements:
        size, corners = _ply_row(body, at, _properties(lines, name), order)
        at += size * count
        faces += count * (corners - 2) if name == "face" else 0
    if at != len(body):
        raise DamagedMeshError(f"its header asks for {at} bytes of data, {len(body)} are there; export it again as triangles")
    return max(faces, 0)


def _properties(lines: list[list[str]], name: str) -> list[list[str]]:
    start = next(k for k, words in enumerate(lines) if words[:2] == ["element", name]) + 1
    end = next((k for k in range(start, len(lines)) if lines[k][:1] == ["element"]), len(lines))
    return [words[1:] for words in lines[start:end] if words[:1] == ["property"]]


def _ply_row(body: bytes, at: int, properties: list[list[str]], order: Any) -> tuple[int, int]:
    """(bytes of a row, entries of its last list) by the first row that starts at `at`."""
    size, entries = 0, 0
    for kind, *rest in properties:
        if kind != "list":
            size += PLY_BYTES[kind]
            continue
        wide = PLY_BYTES[rest[0]]
        entries = max(entries, int.from_bytes(body[at + size : at + size + wide], order))
        size += wide + entries * PLY_BYTES[rest[1]]
    return size, entries
