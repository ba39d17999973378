"""What a binary glTF file says of its own shapes: how many triangles its scene shows, where, and that nothing replaces corners."""

from __future__ import annotations

import struct
from collections import Counter
from difflib import get_close_matches
from typing import Any

import numpy as np

from scenes.io.json_keys import json_of
from scenes.io.library_remarks import printable, short_words
from scenes.io.meshes.damage import STATED_SHARE, DamagedMeshError, few_enough_bodies, has_no_room, unlike_stated
from scenes.io.meshes.glb_leftovers import BYTES, NUMBERS, nothing_left_over

MOST_CORNERS = 12_000_000  # of any list in the file: more would fill the memory before triangles are counted
DEEPEST = 16  # nodes within nodes
GLB_PLAIN = (
    "KHR_materials",
    "KHR_texture",
    "KHR_lights",
    "EXT_lights",
    "EXT_texture",
    "KHR_xmp",
)  # extensions that leave shapes alone
GLB_SHAPING = ("scenes", "nodes", "meshes", "accessors", "bufferViews", "buffers")  # whose extensions may not


def faces_of_glb(data: bytes) -> int:
    """Binary glTF 2.0: the head states the file's size; each node of the scene puts one mesh."""
    magic, _, length = struct.unpack("<4sII", data[:12])
    if magic != b"glTF" or length != len(data):
        raise DamagedMeshError(f"its head states {length} bytes, {len(data)} are there; export it again")
    size, _ = struct.unpack("<I4s", data[12:20])
    tree = _glb_json(data[20 : 20 + size])
    _glb_is_known(tree)
    shaping = [*_primitives(tree), *(one for key in GLB_SHAPING for one in tree.get(key, []))]
    stated = [*tree.get("extensionsRequired", []), *(name for one in shaping for name in one.get("extensions", {}))]
    foreign = [name for name in stated if name != GLB_COPIES and not name.startswith(GLB_PLAIN)]
    if foreign:
        raise DamagedMeshError(f"it needs {foreign[0]}; export it as plain triangles")
    _glb_is_plain(tree)
    few_enough_bodies(len(tree.get("nodes", [])))
    _glb_is_a_tree(tree)
    for node in tree.get("nodes", []):
        _glb_has_a_place(node)
    if any(accessor["count"] > MOST_CORNERS for accessor in tree.get("accessors", [])):
        return MOST_CORNERS
    meshes = [_glb_mesh(tree, mesh) for mesh in tree.get("meshes", [])]
    scene = tree.get("scenes", [{}])[tree.get("scene", 0)]
    _glb_all_shown(tree, scene)
    nothing_left_over(tree, data[28 + size :])
    _glb_as_large_as_stated(tree, data[28 + size :])
    return sum(_glb_node(tree, meshes, node, 0) for node in scene.get("nodes", []))


def _glb_json(text: bytes) -> Any:
    try:
        return json_of(text)
    except ValueError as fault:
        raise DamagedMeshError(f"its JSON cannot be read, {short_words(fault)}; export it again") from None


# What shapes are told by; glTF 2.0 specification, section 5: properties of each.
GLB_KEYS = {
    "file": (
        "accessors",
        "animations",
        "bufferViews",
        "buffers",
        "extensionsRequired",
        "meshes",
        "nodes",
        "scene",
        "scenes",
        "skins",
    ),
    "scene": ("nodes",),
    "node": ("children", "matrix", "mesh", "rotation", "scale", "skin", "translation", "weights"),
    "mesh": ("primitives", "weights"),
    "primitive": ("attributes", "indices", "mode", "targets"),
    "accessor": ("bufferView", "byteOffset", "componentType", "count", "normalized", "sparse", "type"),
    "bufferView": ("buffer", "byteLength", "byteOffset", "byteStride"),
}
SPOILT_LIKENESS = 0.75  # a name this near to one of these is one that was spoilt; others, but in a node, are programs' own
READ_VERSION = "2."


def _glb_is_known(tree: dict[str, Any]) -> None:
    """Refuse another version, names with a spoilt letter, and any other in a node: what they tell would be passed over."""
    asset = tree.get("asset", {})
    version = str(asset.get("minVersion", asset.get("version", READ_VERSION)))
    if not version.startswith(READ_VERSION):
        raise DamagedMeshError(f"it is of version {printable(version[:20])} of glTF; export it as version 2.0")
    for kind, known in GLB_KEYS.items():
        own = {"file": [tree], "primitive": _primitives(tree), "mesh": tree.get("meshes", [])}
        things = own[kind] if kind in own else tree.get(f"{kind}s", [])
        for key in {key for thing in things for key in thing} - set(known) - GLB_OTHER:
            if kind == "node" or get_close_matches(key, known, 1, SPOILT_LIKENESS):
                raise DamagedMeshError(f'a {kind} has a "{printable(key[:20])}", which glTF does not know; export it again')


GLB_OTHER = {
    "name", "extensions", "extras", "camera", "material", "min", "max", "target",
    "asset", "cameras", "extensionsUsed", "images", "materials", "samplers", "textures",
}  # fmt: skip


def _primitives(tree: dict[str, Any]) -> list[dict[str, Any]]:
    return [one for mesh in tree.get("meshes", []) for one in mesh["primitives"]]


def _glb_is_a_tree(tree: dict[str, Any]) -> None:
    """Refuse a node within two others, which glTF 2.0 forbids (section 3.5.2): so a small file could hold bodies without end.

    One that its scene names and another node holds, too, would be put without the place of that one.
    """
    within = Counter(child for node in tree.get("nodes", []) for child in node.get("children", []))
    if any(count > 1 for count in within.values()):
        raise DamagedMeshError("a node of it lies in two others; export it again")
    if any(node in within for scene in tree.get("scenes", []) for node in scene.get("nodes", [])):
        raise DamagedMeshError("a node of it lies in another and stands by itself, too; export it again")


def _glb_has_a_place(node: dict[str, Any]) -> None:
    """Refuse a node that states its place twice, or one that shrinks a body to nothing, as some programs hide it."""
    if "matrix" in node and {"translation", "rotation", "scale"} & set(node):
        raise DamagedMeshError("a node of it states its place twice, by a matrix and by parts; export it again")
    matrix = np.array(node.get("matrix", np.eye(4)), dtype=np.float64).reshape(4, 4).T  # stored by columns; section 3.5.3
    if not np.array_equal(matrix[3], [0, 0, 0, 1]):
        raise DamagedMeshError("a node of it has a matrix that is no place and size; export it again")
    turn = np.array(node.get("rotation", (0.0, 0.0, 0.0, 1.0)), dtype=np.float64)
    if abs(float(np.linalg.norm(turn)) - 1.0) > STATED_SHARE:  # NaN is told where corners are
        raise DamagedMeshError("a node of it has a rotation that is no turn; export it again")
    if has_no_room(matrix[:3, :3] * np.array(node.get("scale", (1.0, 1.0, 1.0)), dtype=np.float64)):
        raise DamagedMeshError("a node of it shrinks to nothing; delete it, or give it its size, and export it again")


def _glb_as_large_as_stated(tree: dict[str, Any], binary: bytes) -> None:
    """The list of corners states its smallest and largest (section 3.7.2.1): corners that were lost or spoilt lie elsewhere."""
    for number in {one["attributes"]["POSITION"] for one in _primitives(tree)}:
        accessor = tree["accessors"][number]
        view = tree["bufferViews"][accessor["bufferView"]]
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        shape, steps = (accessor["count"], 3), (view.get("byteStride", 12), 4)
        corners = np.ndarray(shape, dtype="<f4", buffer=binary, offset=start, strides=steps).astype(np.float64)
        found = np.stack([corners.min(axis=0), corners.max(axis=0)])
        stated = np.array([accessor.get(key, there) for key, there in zip(("min", "max"), found, strict=True)], dtype=np.float64)
        if unlike := unlike_stated(found, stated):
            there, told = map(_words, unlike)
            raise DamagedMeshError(f"it holds corners that reach to {there} where it states {told}; export it again")


def _words(place: Any) -> str:
    return ", ".join(f"{value:.4g}" for value in place)


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


GLB_FLOAT = 5126  # without an extension positions are floats; glTF 2.0 specification, section 3.7.2.1
GLB_WHOLE = (5121, 5123, 5125)  # that triangles name corners by; section 3.7.2.1
GLB_PADDING = 4
GLB_COPIES = "EXT_mesh_gpu_instancing"


def _glb_is_plain(tree: dict[str, Any]) -> None:
    """Refuse what moves, copies or replaces corners in ways that the mesh reader passes over, and data that nothing names."""
    nodes, accessors = tree.get("nodes", []), tree.get("accessors", [])
    odd = {
        f"copies of a body ({GLB_COPIES})": any(GLB_COPIES in node.get("extensions", {}) for node in nodes),
        "a camera": any("camera" in node for node in nodes),
        "a body bent by bones": any("skin" in node and "mesh" in node for node in nodes),
        "morph targets": any(one.get("targets") for mesh in tree.get("meshes", []) for one in mesh["primitives"]),
        "sparse data": any("sparse" in accessor for accessor in accessors),
        "data beside its own": len(tree.get("buffers", [])) > 1 or any("uri" in buffer for buffer in tree.get("buffers", [])),
    }
    found = next((what for what, there in odd.items() if there), None)
    if found:
        raise DamagedMeshError(f"it holds {found}; export it as plain triangles")
    users = Counter(accessor.get("bufferView") for accessor in accessors)
    for accessor in accessors:
        view = accessor.get("bufferView")
        size = BYTES[accessor["componentType"]] * NUMBERS[accessor["type"]]
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
        if "indices" in primitive and accessor["componentType"] not in GLB_WHOLE:
            raise DamagedMeshError(f"its corners are named by numbers of type {accessor['componentType']}; export it again")
        if accessor["count"] % 3:
            raise DamagedMeshError(f"its triangles have {accessor['count']} corners, which makes no whole number; export it again")
        faces += accessor["count"] // 3
    return faces


def _glb_node(tree: dict[str, Any], meshes: list[int], node: int, depth: int) -> int:
    if depth > DEEPEST:
        raise DamagedMeshError(f"its nodes lie more than {DEEPEST} deep in each other; export it as one body")
    found = tree["nodes"][node]
    own = meshes[found["mesh"]] if "mesh" in found else 0
    return own + sum(_glb_node(tree, meshes, child, depth + 1) for child in found.get("children", []))
