"""Scene3D <-> named arrays, to hand a picture to another process: numbers and JSON, nothing that could run code when read."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenes.view3d.content import Heatmap, Label, Line, Place, RayFate, RayPath, Scene3D, Solid, View

TREE, ARRAY = "tree", "array"
THINGS: dict[str, Callable[..., Any]] = {kind.__name__: kind for kind in (Scene3D, Solid, RayPath, Heatmap, Line, Label)}
WORDS: dict[str, Callable[[str], StrEnum]] = {kind.__name__: kind for kind in (View, RayFate, Place)}


def packed(scene: Scene3D) -> dict[str, NDArray[Any]]:
    """The scene as arrays by name, ready for an .npz file; the array called 'tree' holds everything else as JSON."""
    arrays: dict[str, NDArray[Any]] = {}
    tree = json.dumps(_tree(scene, arrays)).encode()
    return {**arrays, TREE: np.frombuffer(tree, dtype=np.uint8)}


def unpacked(arrays: Mapping[str, NDArray[Any]]) -> Scene3D:
    """The scene of `packed` arrays."""
    scene = _value(json.loads(bytes(arrays[TREE])), arrays)
    assert isinstance(scene, Scene3D)
    return scene


def _tree(value: Any, arrays: dict[str, NDArray[Any]]) -> Any:
    """A value as JSON: things, words of an enumeration and arrays as an object whose one key is the kind, tuples as lists."""
    kind = type(value).__name__
    if is_dataclass(value):
        return {kind: {field.name: _tree(getattr(value, field.name), arrays) for field in fields(value)}}
    if isinstance(value, StrEnum):
        return {kind: value.value}
    if isinstance(value, np.ndarray):
        arrays[f"a{len(arrays)}"] = value
        return {ARRAY: f"a{len(arrays) - 1}"}
    if isinstance(value, tuple | list):
        return [_tree(item, arrays) for item in value]
    return value


def _value(tree: Any, arrays: Mapping[str, NDArray[Any]]) -> Any:
    """The value of `_tree`; a kind that is neither in THINGS nor in WORDS is a KeyError."""
    if isinstance(tree, list):
        return tuple(_value(item, arrays) for item in tree)
    if not isinstance(tree, dict):
        return tree
    ((kind, held),) = tree.items()
    if kind == ARRAY:
        return np.array(arrays[held])
    if kind in WORDS:
        return WORDS[kind](held)
    return THINGS[kind](**{name: _value(item, arrays) for name, item in held.items()})
