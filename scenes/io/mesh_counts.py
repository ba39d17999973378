"""How many triangles a mesh file says it holds, read from its own text beside the mesh reader: what is lost in reading shows."""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any
from xml.parsers import expat

import numpy as np

from scenes.io.mesh_damage import DamagedMeshError
from scenes.io.obj_text import obj_faces

MOST_FACES = 4_000_000
LARGEST_UNPACKED = 200_000_000  # bytes of all members of a 3MF: a million triangles take half of it
DEEPEST = 16  # parts within parts
RELATIONS, MODEL_RELATION = "_rels/.rels", "/3dmodel"  # of a 3MF package


def stated_faces(data: bytes, kind: str) -> int:
    """Triangles, copies of bodies counted, polygons as the triangles they make. DamagedMeshError or a parser's error."""
    counts = {"stl": _stl, "obj": obj_faces, "ply": _ply, "3mf": _3mf, "glb": _glb}
    return counts[kind](data)


STL_CORNER = re.compile(rb"(?m)^\s*vertex\s")


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
    opened, closed = text.count(b"facet normal"), text.count(b"endfacet")
    if opened != closed or not text.rstrip().splitlines()[-1].lstrip().startswith(b"endsolid"):
        raise DamagedMeshError("it is cut short: its last solid does not end; export it again")
    odd = next((n for n, facet in enumerate(text.split(b"endfacet")[:-1], 1) if len(STL_CORNER.findall(facet)) != 3), None)
    if odd is not None:
        raise DamagedMeshError(f"its facet {odd} has not three corners; export it again")
    return closed


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
    counts = dict(elements)
    if counts.get("tristrips"):
        raise DamagedMeshError("it holds strips; export it as triangles")
    if "ascii" in next((words for words in lines if words[:1] == ["format"]), []):
        return _ply_text_faces(body, elements, _before_list(lines))
    _, _, rest = body.partition(b"\n")
    return _ply_binary_faces(rest, elements, lines)


def _before_list(lines: list[list[str]]) -> int:
    """How many values stand before the list of corners in a line of a face."""
    start = next((k for k, words in enumerate(lines) if words[:2] == ["element", "face"]), len(lines))
    kinds = [words[1] for words in lines[start:] if words[:1] == ["property"]]
    return kinds.index("list") if "list" in kinds else 0


def _ply_text_faces(body: bytes, elements: list[tuple[str, int]], before: int) -> int:
    rows = [words for line in body.splitlines() if (words := line.split())]
    stated = sum(count for _, count in elements)
    if len(rows) != stated:
        wrong = "is cut short" if len(rows) < stated else "contradicts itself"
        raise DamagedMeshError(f"it {wrong}: its header states {stated} lines of data, {len(rows)} are there; export it again")
    start = 0
    for name, count in elements:
        if name == "face":
            faces = rows[start : start + count]
            if any(len(row) <= before or len(row) < before + 1 + int(row[before]) or int(row[before]) < 3 for row in faces):
                raise DamagedMeshError("it is cut short within a face; export it again")
            return sum(int(row[before]) - 2 for row in faces)
        start += count
    return 0


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


def _3mf(data: bytes) -> int:
    """3MF: the triangles of each object, and how often the build asks for it, by way of other objects or not."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        unpacked = sum(member.file_size for member in archive.infolist())
        if unpacked > LARGEST_UNPACKED:
            raise DamagedMeshError(
                f"it unpacks to {unpacked / 1e6:.0f} MB, at most {LARGEST_UNPACKED // 1_000_000} MB are read; export it coarser"
            )
        models = [name for name in archive.namelist() if "3d/3dmodel.model" in name.lower()]
        if not models:
            raise DamagedMeshError("it holds no 3D model; export it again")
        _only_that_model(archive, models[0])
        model = archive.read(models[0])
    if b"<!DOCTYPE" in model or b"<!ENTITY" in model:
        raise DamagedMeshError("it declares entities, which 3MF forbids; export it again")
    return _3mf_model(model)


def _only_that_model(archive: zipfile.ZipFile, read: str) -> None:
    """The package's relations say which part is its model (3MF core specification, section 2.2.1): it has to be the one read."""
    if RELATIONS not in archive.namelist():
        return
    named: list[str] = []

    def start(tag: str, attributes: dict[str, str]) -> None:
        if tag.rpartition(" ")[2] == "Relationship" and attributes.get("Type", "").endswith(MODEL_RELATION):
            named.append(attributes.get("Target", "").lstrip("/"))

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = start
    parser.Parse(archive.read(RELATIONS), True)
    other = next((name for name in named if name.lower() != read.lower()), None)
    if other is not None:
        raise DamagedMeshError(f'its package names "{other[:60]}" as its model, not "{read[:60]}"; export it as one model')


# Words in the addresses of 3MF extensions that leave shapes alone, or are looked at here: production.
MF_BODIES = {"beamlattice", "booleanshape", "displacementmesh", "volumetricstack", "implicitfunction"}  # of other extensions
MF_PLAIN = ("material", "production", "trianglesets", "securecontent")


def _3mf_model(model: bytes) -> int:
    own: dict[str, int] = defaultdict(int)
    components: dict[str, list[str]] = defaultdict(list)
    items: list[str] = []
    inside = ""
    spaces: dict[str, str] = {}

    def declare(prefix: str | None, address: str | None) -> None:
        spaces[prefix or ""] = address or ""

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal inside
        tag = tag.rpartition(" ")[2]
        if tag in {"component", "item"} and any(key.endswith("path") for key in attributes):
            raise DamagedMeshError("its bodies lie in several files of the package; export it as one body or as STL")
        if tag in MF_BODIES:
            raise DamagedMeshError(f"its bodies are made of more than triangles ({tag}); export them as triangles")
        match tag:
            case "model":
                _only_plain_extensions(attributes.get("requiredextensions", ""), spaces)
            case "object":
                inside = attributes["id"]
                own[inside] += 0
            case "triangle":
                own[inside] += 1
            case "component":
                components[inside].append(attributes["objectid"])
            case "item":
                items.append(attributes["objectid"])

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler, parser.StartNamespaceDeclHandler = start, declare
    parser.Parse(model, True)
    faces = _instances(own, components)
    _all_built(own, components, items)
    return sum(faces(item) for item in items)


def _only_plain_extensions(prefixes: str, spaces: Mapping[str, str]) -> None:
    """3MF core specification, section 2.3.2: a reader must refuse a file that needs an extension which it does not know."""
    for prefix in prefixes.split():
        if not any(word in spaces.get(prefix, "") for word in MF_PLAIN):
            raise DamagedMeshError(f'it needs the extension "{prefix[:20]}" of 3MF; export it as plain triangles')


def _all_built(own: Mapping[str, int], components: Mapping[str, list[str]], items: Sequence[str]) -> None:
    """Refuse bodies that the build does not ask for: one that has lost its item may be the part that is meant."""
    built, waiting = set[str](), list(items)
    while waiting:
        name = waiting.pop()
        if name not in built:
            built.add(name)
            waiting += components.get(name, [])
    if any(count and name not in built for name, count in own.items()):
        raise DamagedMeshError("it holds bodies that are not in its build; delete them or put them in, and export it again")


def _instances(own: Mapping[str, int], components: Mapping[str, list[str]]) -> Callable[[str], int]:
    @cache
    def faces(name: str, depth: int = 0) -> int:
        if name not in own or depth > DEEPEST:
            raise DamagedMeshError(f'its object "{name}" is missing or holds itself; export it again')
        return own[name] + sum(faces(part, depth + 1) for part in components.get(name, []))

    return faces


GLB_PLAIN = ("KHR_materials", "KHR_texture", "KHR_lights", "EXT_texture", "KHR_xmp")  # extensions that leave shapes alone


def _glb(data: bytes) -> int:
    """Binary glTF 2.0: the head states the file's size; each node of the scene puts one mesh."""
    magic, _, length = struct.unpack("<4sII", data[:12])
    if magic != b"glTF" or length != len(data):
        raise DamagedMeshError(f"its head states {length} bytes, {len(data)} are there; export it again")
    size, _ = struct.unpack("<I4s", data[12:20])
    tree = json.loads(data[20 : 20 + size])
    foreign = [name for name in tree.get("extensionsRequired", []) if not name.startswith(GLB_PLAIN)]
    if foreign:
        raise DamagedMeshError(f"it needs {foreign[0]}; export it as plain triangles")
    _glb_is_plain(tree)
    if any(accessor["count"] > 3 * MOST_FACES for accessor in tree.get("accessors", [])):
        return 1 + MOST_FACES
    meshes = [_glb_mesh(tree, mesh) for mesh in tree.get("meshes", [])]
    scene = tree.get("scenes", [{}])[tree.get("scene", 0)]
    _glb_all_shown(tree, scene)
    return sum(_glb_node(tree, meshes, node, 0) for node in scene.get("nodes", []))


def _glb_all_shown(tree: dict[str, Any], scene: dict[str, Any]) -> None:
    """Refuse bodies that the file's scene does not show: they may be the part that is meant."""
    nodes, shown, waiting = tree.get("nodes", []), set[int](), list(scene.get("nodes", []))
    while waiting:
        node = waiting.pop()
        if node not in shown:
            shown.add(node)
            waiting += nodes[node].get("children", [])
    placed = {found["mesh"] for number, found in enumerate(nodes) if "mesh" in found and number in shown}
    lost = [number for number, found in enumerate(nodes) if "mesh" in found and number not in shown]
    if lost or placed != set(range(len(tree.get("meshes", [])))):
        raise DamagedMeshError("it holds bodies that its scene does not show; delete them or show them, and export it again")


GLB_BYTES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}  # of a component; glTF 2.0 specification, section 3.6.2.2
GLB_FLOAT = 5126  # without an extension positions are floats; glTF 2.0 specification, section 3.7.2.1
GLB_NUMBERS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
GLB_PADDING = 4
GLB_COPIES = "EXT_mesh_gpu_instancing"


def _glb_is_plain(tree: dict[str, Any]) -> None:
    """Refuse what moves, copies or replaces corners in ways that the mesh reader passes over, and data that nothing names."""
    nodes, accessors = tree.get("nodes", []), tree.get("accessors", [])
    odd = {
        "copies of a body (EXT_mesh_gpu_instancing)": any(
            "EXT_mesh_gpu_instancing" in node.get("extensions", {}) for node in nodes
        ),
        "a body bent by bones": any("skin" in node and "mesh" in node for node in nodes),
        "morph targets": any(one.get("targets") for mesh in tree.get("meshes", []) for one in mesh["primitives"]),
        "sparse data": any("sparse" in accessor for accessor in accessors),
    }
    found = next((what for what, there in odd.items() if there), None)
    if found:
        raise DamagedMeshError(f"it holds {found}; export it as plain triangles")
    users = Counter(accessor.get("bufferView") for accessor in accessors)
    for accessor in accessors:
        view = accessor.get("bufferView")
        size = GLB_BYTES[accessor["componentType"]] * GLB_NUMBERS[accessor["type"]]
        held = None if view is None else tree["bufferViews"][view]
        if held is None or users[view] > 1 or held.get("byteStride", size) != size:
            continue
        used = accessor.get("byteOffset", 0) + accessor["count"] * size
        if not 0 <= held["byteLength"] - used < GLB_PADDING:
            raise DamagedMeshError(f"it states {used} bytes of data where {held['byteLength']} are; export it again")


def _glb_mesh(tree: dict[str, Any], mesh: dict[str, Any]) -> int:
    faces = 0
    for primitive in mesh["primitives"]:
        if primitive.get("mode", 4) != 4:
            raise DamagedMeshError("it holds points, lines or strips; export it as triangles")
        if tree["accessors"][primitive["attributes"]["POSITION"]]["componentType"] != GLB_FLOAT:
            raise DamagedMeshError("its corners are not held as plain numbers; export it as plain triangles")
        accessor = tree["accessors"][primitive.get("indices", primitive["attributes"]["POSITION"])]
        faces += accessor["count"] // 3
    return faces


def _glb_node(tree: dict[str, Any], meshes: list[int], node: int, depth: int) -> int:
    if depth > DEEPEST:
        raise DamagedMeshError(f"its nodes lie more than {DEEPEST} deep in each other; export it as one body")
    found = tree["nodes"][node]
    own = meshes[found["mesh"]] if "mesh" in found else 0
    return own + sum(_glb_node(tree, meshes, child, depth + 1) for child in found.get("children", []))
