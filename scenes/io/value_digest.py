"""Values of ours -> one digest of all that they hold, the same in every process.

A pickle would not do: it follows the order of sets, which is another in each process. Frozen values are read once, for the states
of a run share most of theirs.
"""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import numpy as np

from raytrace.kept import Kept

KEPT = 1024  # frozen values that are known by their digest


def value_digest(*values: Any) -> str:
    """SHA-256 of values, nested as they come; equal only where all within is equal."""
    return hashlib.sha256(_told(values)).hexdigest()


def _told(value: Any) -> bytes:
    """A value as bytes that no other value has."""
    kind = type(value).__qualname__.encode()
    return b"%d:%s%s" % (len(kind), kind, _content(value))


def _content(value: Any) -> bytes:
    if value is None or isinstance(value, bool | int | str | bytes | float):
        return _counted([repr(value).encode("utf-8", "surrogatepass")])  # of a float the shortest digits that are this and no other
    if isinstance(value, np.ndarray | np.generic):
        return _counted([str((value.dtype.str, value.shape)).encode(), value.tobytes()])
    if isinstance(value, Enum):
        return _told(value.value)
    if isinstance(value, Mapping):
        return _counted([_told(part) for pair in value.items() for part in pair])
    if isinstance(value, set | frozenset):
        return _counted(sorted(map(_told, value)))
    if isinstance(value, tuple | list):
        return _counted(list(map(_told, value)))
    return _of_object(value)


def _of_object(value: Any) -> bytes:
    if is_dataclass(value):
        return _of_frozen(value) if _is_frozen(value) else _of_fields(value)
    if hasattr(value, "model_fields_set"):  # a table of the scene
        return _of_frozen(value) if value.model_config.get("frozen") else _of_fields(value)
    return _counted([pickle.dumps(value, protocol=5)])


def _is_frozen(value: Any) -> bool:
    return bool(value.__dataclass_params__.frozen)


def _of_fields(value: Any) -> bytes:
    """The digest of what a dataclass or table holds, and of the latter which values were written."""
    if is_dataclass(value):
        told = _counted([_told(getattr(value, field.name)) for field in fields(value)])
    else:
        told = _counted([_told(value.__dict__), _told(value.model_fields_set)])
    return hashlib.sha256(told).digest()


_of_frozen: Kept[Any, bytes] = Kept(_of_fields, KEPT)


def _counted(parts: list[bytes]) -> bytes:
    return b"".join([b"%d;" % len(parts), *(b"%d;%s" % (len(part), part) for part in parts)])
