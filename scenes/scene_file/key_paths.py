"""Values of a scene changed by their key paths, in the tables as written: what comes out is checked as any scene file is."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from scenes.scene_file.messages import KeyPath, shown
from scenes.scene_file.tables.fields import Table
from scenes.scene_file.tables.tolerance_paths import ACROSS, DIRECTIONS, SIZES, PathError, places_of


def with_values(scene: Table, tables: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """The tables with other values at paths such as 'box.hood.front_mm' or 'lens[18].focal_mm'; None takes a key away.

    PathError with a way out where a path leads nowhere.
    """
    changed = deepcopy(dict(tables))
    for path, value in values.items():
        for place, key, part in places_of(scene, path):
            table = _table_at(changed, place)
            if value is None:
                table.pop(key, None)
            else:
                table[key] = _with_part(table.get(key), part, value) if part else value
    return changed


def _table_at(tables: dict[str, Any], place: KeyPath) -> dict[str, Any]:
    """The table at a path; one that the scene implies is made."""
    here: Any = tables
    for step in place:
        if isinstance(step, str):
            here = here.setdefault(step, {})
        elif isinstance(here, list):
            here = here[step]
    return dict(here) if not isinstance(here, dict) else here


def _with_part(pair: Any, part: str, value: Any) -> Any:
    """A pair with one of its two changed: right or up, width or height, horizontal or vertical."""
    for names in (ACROSS, SIZES):
        if part in names and isinstance(pair, list):
            return [value if name == part else old for name, old in zip(names, pair, strict=True)]
    if part in DIRECTIONS:
        both = pair if isinstance(pair, dict) else dict.fromkeys(DIRECTIONS, pair)
        return {**both, part: value}
    raise PathError(f"names {part} of a value that is no pair, {shown(pair)}; write the key alone")
