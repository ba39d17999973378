"""Values of a scene changed by their key paths, in the tables as written: what comes out is checked as any scene file is."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from scenes.scene_file.messages import KeyPath, shown
from scenes.scene_file.tables.fields import Table
from scenes.scene_file.tables.tolerance_paths import ACROSS, DIRECTIONS, SIZES, PathError, at_path, places_of


def with_values(scene: Table, tables: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """The tables with other values at paths such as 'box.hood.front_mm', 'lens[18].focal_mm' or 'box.hood'; None takes a key away.

    Arrays and numbers of numpy count as TOML's. PathError, which begins with the path, with a way out where one leads nowhere.
    """
    changed = deepcopy(dict(tables))
    for path, value in values.items():
        try:
            for place, key, part in places_of(scene, path, tables=True):
                _put(_table_at(changed, place), key, part, _plain(value), getattr(at_path(scene, place), key))
        except PathError as error:
            raise PathError(f"{path or chr(34) * 2}: {error}") from None
    return changed


def _plain(value: Any) -> Any:
    """A value as a TOML file would hold it; PathError for one of a kind that no TOML file has, which would not be checked."""
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if value is None or isinstance(value, bool | int | float | str):
        return value
    raise PathError(f"must be given a number, a text, an array or a table, got a {type(value).__name__}")


def _put(table: dict[str, Any], key: str, part: str, value: Any, known: Any) -> None:
    """Set a key, or one of the two values of a pair; `known` is the pair where the table does not have it written."""
    if part:
        table[key] = _with_part(table.get(key, known), part, value)
    elif value is None:
        table.pop(key, None)
    else:
        table[key] = value


def _table_at(tables: dict[str, Any], place: KeyPath) -> dict[str, Any]:
    """The table at a path; one that the scene implies is made. A single table may stand for an array of one."""
    here: Any = tables
    for step in place:
        if isinstance(step, str):
            here = here.setdefault(step, {})
        elif isinstance(here, list):
            here = here[step]
    assert isinstance(here, dict)
    return here


def _with_part(pair: Any, part: str, value: Any) -> Any:
    """A pair with one of its two changed: right or up, width or height, horizontal or vertical."""
    for names in (ACROSS, SIZES):
        if part in names and isinstance(pair, list | tuple) and len(pair) == len(names):
            return [value if name == part else old for name, old in zip(names, pair, strict=True)]
    if part in DIRECTIONS and pair is not None:
        both = pair if isinstance(pair, dict) else dict.fromkeys(DIRECTIONS, pair)
        return {**both, part: value}
    raise PathError(f"names {part} of a value that is no pair, {shown(pair)}; write the key alone")
