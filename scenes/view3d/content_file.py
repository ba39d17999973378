"""Scene3D <-> named arrays, to hand a picture to another process: numbers and JSON, nothing that could run code when read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import StrEnum
from types import UnionType
from typing import Any, get_args, get_origin, get_type_hints

import numpy as np
from numpy.typing import NDArray

from scenes.view3d.content import Scene3D

TREE = "tree"


def packed(scene: Scene3D) -> dict[str, NDArray[Any]]:
    """The scene as arrays by name, ready for an .npz file; the array called 'tree' holds everything else as JSON."""
    arrays: dict[str, NDArray[Any]] = {}
    tree = json.dumps(_tree(scene, arrays)).encode()
    return {**arrays, TREE: np.frombuffer(tree, dtype=np.uint8)}


def unpacked(arrays: Mapping[str, NDArray[Any]]) -> Scene3D:
    """The scene of `packed` arrays."""
    scene = _value(Scene3D, json.loads(bytes(arrays[TREE])), arrays)
    assert isinstance(scene, Scene3D)
    return scene


def _tree(value: Any, arrays: dict[str, NDArray[Any]]) -> Any:
    if is_dataclass(value):
        return {field.name: _tree(getattr(value, field.name), arrays) for field in fields(value)}
    if isinstance(value, np.ndarray):
        arrays[f"a{len(arrays)}"] = value
        return f"a{len(arrays) - 1}"
    if isinstance(value, tuple | list):
        return [_tree(item, arrays) for item in value]
    return value


def _value(kind: Any, tree: Any, arrays: Mapping[str, NDArray[Any]]) -> Any:
    origin = get_origin(kind)
    if origin is UnionType:
        return None if tree is None else _value(next(k for k in get_args(kind) if k is not type(None)), tree, arrays)
    if origin is tuple:
        kinds = get_args(kind)
        each = [kinds[0]] * len(tree) if kinds[-1] is Ellipsis else kinds
        return tuple(_value(k, item, arrays) for k, item in zip(each, tree, strict=True))
    if origin is np.ndarray:
        return np.array(arrays[tree])
    if is_dataclass(kind):
        hints = get_type_hints(kind)
        make: Any = kind
        return make(**{name: _value(hints[name], item, arrays) for name, item in tree.items()})
    return kind(tree) if isinstance(kind, type) and issubclass(kind, StrEnum) else tree
