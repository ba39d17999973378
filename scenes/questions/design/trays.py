"""Which trays a design has and in which order from the lens on: a scene's tables, and its text, with the others left out."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from scenes.questions.design.arranged import Many, arranged_text, put, rows_of
from scenes.scene_file.tables.design import TRAYS, tray_of
from scenes.states.load import Loaded, with_tables


def with_trays(loaded: Loaded, names: Sequence[str]) -> Loaded:
    """The scene with some of its trays alone, in this order; SceneError where that is no scene any more."""
    tables = copy.deepcopy(dict(loaded.tables))
    _arrange(tables, names, list)
    return with_tables(loaded, tables)


def text_with_trays(text: str, loaded: Loaded, names: Sequence[str]) -> str:
    """The same as text, with the comments of what stays."""
    return arranged_text(text, with_trays(loaded, names).tables, lambda document, many: _arrange(document, names, many))


def _arrange(tables: Any, names: Sequence[str], many: Many) -> None:
    """Put the trays of these names at their places; forget the others, and all rows that name them."""
    trays = {row["name"]: row for row in rows_of(tables["box"], "stage")}
    for name, at_mm in places_mm(trays, names).items():
        trays[name]["at_mm"] = at_mm
    put(tables["box"], "stage", [trays[name] for name in names], many)
    gone = set(trays) - set(names)
    put(tables["design"], "free", [row for row in tables["design"]["free"] if _stays(row["of"], gone)], many)
    if "tolerance" in tables:
        put(tables, "tolerance", [row for row in tables["tolerance"] if _stays(row["of"], gone)], many)
    if "part" in tables.get("make", {}):
        put(tables["make"], "part", [row for row in tables["make"]["part"] if row["of"] not in gone], many)


def _stays(of: str, gone: set[str]) -> bool:
    return of != TRAYS and tray_of(of) not in gone


def places_mm(trays: Mapping[str, Mapping[str, Any]], names: Sequence[str]) -> dict[str, float]:
    """at_mm of some trays in a new order: from where the first of all stands, with the least gap that any two of them have."""
    rising = sorted(trays.values(), key=lambda row: row["at_mm"])
    gaps_mm = (front["at_mm"] - rear["at_mm"] - rear["depth_mm"] for rear, front in pairwise(rising))
    gap_mm = max(min(gaps_mm, default=0.0), 0.0)  # below 0 where lenses have trays of their own at one place
    at_mm, found = rising[0]["at_mm"] if rising else 0.0, {}
    for name in names:
        found[name] = round(at_mm, 4)
        at_mm += trays[name]["depth_mm"] + gap_mm
    return found
