"""What a binary glTF file holds beside the bodies that it shows at rest: corners without a face, lists that nothing uses, moves.

Mesh readers pass over all of it: a body whose faces were lost, or that moves into the picture, would be missing without a word.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenes.io.library_remarks import printable
from scenes.io.meshes.damage import DamagedMeshError, all_corners_used, no_triangles

COMPONENTS = {5121: "<u1", 5123: "<u2", 5125: "<u4"}  # that triangles name corners by; glTF 2.0 specification, section 3.7.2.1
FLOAT = 5126
BYTES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}  # of a component; glTF 2.0 specification, section 3.6.2.2
NUMBERS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
MOST_PADDING = 64  # bytes between stretches of data, to begin the next at an even place: a body takes more
TRIANGLE_BYTES = 36  # of its corners; within a stretch lists begin at the next even place
POINTER = "KHR_animation_pointer"


def nothing_left_over(tree: dict[str, Any], binary: bytes) -> None:
    """DamagedMeshError where corners, lists of corners or moves would be passed over; lists of other things are left alone."""
    for number, mesh in enumerate(tree.get("meshes", [])):
        if not mesh["primitives"] or not all(_has_triangles(tree, one) for one in mesh["primitives"]):
            raise no_triangles(str(mesh.get("name", number)))
    _lists_used(tree)
    _views_used(tree)
    _bytes_used(tree, len(binary))
    _corners_used(tree, binary)
    _none_moves(tree)


def _primitives(tree: dict[str, Any]) -> list[dict[str, Any]]:
    return [one for mesh in tree.get("meshes", []) for one in mesh["primitives"]]


def _has_triangles(tree: dict[str, Any], primitive: dict[str, Any]) -> bool:
    named = tree["accessors"][primitive.get("indices", primitive["attributes"]["POSITION"])]
    return bool(named["count"] >= 3)


def _lists_used(tree: dict[str, Any]) -> None:
    """Refuse a list that could be of corners or of triangles and that nothing names: a body's, without its mesh."""
    used = set[Any]()
    for primitive in _primitives(tree):
        used |= {primitive.get("indices"), *primitive["attributes"].values()}
    for animation in tree.get("animations", []):
        used |= {sampler.get(end) for sampler in animation.get("samplers", []) for end in ("input", "output")}
    used |= {skin.get("inverseBindMatrices") for skin in tree.get("skins", [])}
    for number, accessor in enumerate(tree.get("accessors", [])):
        of_corners = accessor["type"] == "VEC3" and accessor["componentType"] == FLOAT
        of_triangles = accessor["type"] == "SCALAR" and accessor["componentType"] in COMPONENTS
        if number not in used and (of_corners or of_triangles):
            raise DamagedMeshError(
                f"it holds a list of {accessor['count']} {'places' if of_corners else 'whole numbers'} that no body uses, as where "
                "a body is lost; export it again"
            )


def _views_used(tree: dict[str, Any]) -> None:
    """Refuse a stretch of data that no list and no picture lies in; extensions of others may name one by keys of their own."""
    if any(not name.startswith("KHR_") for name in tree.get("extensions", {})):
        return
    used = set(_values_of("bufferView", tree))
    for number, view in enumerate(tree.get("bufferViews", [])):
        if number not in used:
            raise DamagedMeshError(
                f"it holds {view['byteLength']} bytes of data that nothing names, as where a body is lost; export it again"
            )


def _bytes_used(tree: dict[str, Any], held: int) -> None:
    """Refuse bytes of the file's own data that lie in no stretch of it, or in a stretch with lists and in none of these."""
    views = tree.get("bufferViews", [])
    _no_gap([(view.get("byteOffset", 0), view["byteLength"]) for view in views], held)
    lists: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for accessor in tree.get("accessors", []):
        if "bufferView" in accessor:
            step = views[accessor["bufferView"]].get("byteStride", BYTES[accessor["componentType"]] * NUMBERS[accessor["type"]])
            lists[accessor["bufferView"]].append((accessor.get("byteOffset", 0), accessor["count"] * step))
    for number, stretches in lists.items():
        _no_gap(stretches, views[number]["byteLength"], TRIANGLE_BYTES)


def _no_gap(stretches: list[tuple[int, int]], held: int, least: int = MOST_PADDING) -> None:
    end = 0
    for start, size in (*sorted(stretches), (held, 0)):
        if start - end >= least:
            raise DamagedMeshError(
                f"it holds {start - end} bytes of data that nothing names, as where a body is lost; export it again"
            )
        end = max(end, start + size)


def _values_of(key: str, part: Any) -> Iterator[Any]:
    """Every value of this key, however deep."""
    if isinstance(part, dict):
        if key in part:
            yield part[key]
        part = list(part.values())
    for inner in part if isinstance(part, list) else ():
        yield from _values_of(key, inner)


def _corners_used(tree: dict[str, Any], binary: bytes) -> None:
    """Refuse corners that no face uses; bodies of several colours may share one list of them."""
    lists: dict[int, list[int | None]] = defaultdict(list)
    for primitive in _primitives(tree):
        lists[primitive["attributes"]["POSITION"]].append(primitive.get("indices"))
    used, corners = 0, 0
    for number, indices in lists.items():
        count = tree["accessors"][number]["count"]
        marks = np.zeros(count, dtype=np.bool_)
        for one in indices:
            named = np.arange(count - count % 3) if one is None else _whole_numbers(tree, one, binary)
            marks[named[named < count]] = True  # what lies beyond is told when faces are read
        used, corners = used + int(np.count_nonzero(marks)), corners + count
    all_corners_used(used, corners)


def _whole_numbers(tree: dict[str, Any], number: int, binary: bytes) -> NDArray[np.int64]:
    """The numbers of corners in a list of triangles; places left at the end, too few for a triangle, name none."""
    accessor = tree["accessors"][number]
    view = tree["bufferViews"][accessor["bufferView"]]
    kind = np.dtype(COMPONENTS[accessor["componentType"]])
    start, step = view.get("byteOffset", 0) + accessor.get("byteOffset", 0), view.get("byteStride", kind.itemsize)
    count = accessor["count"] - accessor["count"] % 3
    return np.ndarray((count,), dtype=kind, buffer=binary, offset=start, strides=(step,)).astype(np.int64)


def _none_moves(tree: dict[str, Any]) -> None:
    """Refuse animations that move a body, or what it hangs on: only its pose at rest is read."""
    nodes = tree.get("nodes", [])
    for animation in tree.get("animations", []):
        for channel in animation.get("channels", []):
            moved = _moved_node(channel.get("target", {}))
            if moved is not None and _carries_a_body(nodes, moved):
                name = printable(str(nodes[moved].get("name", moved))[:40])
                raise DamagedMeshError(
                    f'its animation moves "{name}", and only one pose can be read; export it without animation, as it stands '
                    "before the lens"
                )


def _moved_node(target: dict[str, Any]) -> int | None:
    """The node that a channel moves (glTF 2.0 specification, section 3.11), also by a path such as /nodes/2/translation."""
    pointer = target.get("extensions", {}).get(POINTER, {}).get("pointer", "")
    if pointer.startswith("/nodes/"):
        return int(pointer.split("/")[2])
    return target.get("node")


def _carries_a_body(nodes: list[dict[str, Any]], node: int) -> bool:
    """Whether a mesh hangs on a node; nodes are known to be a tree."""
    waiting = [node]
    while waiting:
        found = nodes[waiting.pop()]
        if "mesh" in found:
            return True
        waiting += found.get("children", [])
    return False
