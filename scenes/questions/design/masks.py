"""A mask for each group of lenses in place of a scene's one mask: its tables, and its text, so arranged; and who shares one."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Sequence
from typing import Any

from scenes.questions.design.arranged import Many, arranged_text, put, rows_of
from scenes.scene_file.tables.design import MASKS
from scenes.states.load import Loaded, with_tables

MASK_PATH = re.compile(r"box\.mask(?:\[[^\]]*\])?\.")
Groups = tuple[tuple[str, ...], ...]  # names of the lenses that share each mask


def groups_of(value: int | Groups, lenses: Sequence[str]) -> Groups:
    """The lenses that share each mask; of a mere number of masks any that there may be."""
    if not isinstance(value, int):
        return value
    alone = min(value, len(lenses)) - 1
    return (*((name,) for name in lenses[:alone]), tuple(lenses[alone:]))


def group_words(groups: int | Groups) -> str:
    """'one mask', '2 masks: 18, 21; 35'."""
    if isinstance(groups, int) or len(groups) == 1:
        return "one mask"
    return f"{len(groups)} masks: {'; '.join(', '.join(group) for group in groups)}"


def without_number(path: str) -> str:
    """The path of a mask's key, whichever mask it is; any other path as it is."""
    return MASK_PATH.sub("box.mask.", path, count=1)


def with_masks(loaded: Loaded, groups: Groups) -> Loaded:
    """The scene with a mask for each group; SceneError where that is no scene any more."""
    tables = copy.deepcopy(dict(loaded.tables))
    _arrange(tables, groups, list)
    return with_tables(loaded, tables)


def text_with_masks(text: str, loaded: Loaded, groups: Groups) -> str:
    """The same as text, with the comments of what stays."""
    return arranged_text(text, with_masks(loaded, groups).tables, lambda document, many: _arrange(document, groups, many))


def _arrange(tables: Any, groups: Groups, many: Many) -> None:
    """Put a mask for each group in place of the one, and name each where the one was named; one mask for all stays as it is."""
    free = [row for row in tables["design"]["free"] if row["of"] != MASKS]
    if len(groups) == 1:
        put(tables["design"], "free", free, many)
        return
    (mask,) = rows_of(tables["box"], "mask")
    old = mask.get("name", "mask")
    names = [f"{old} {number}" for number in range(1, len(groups) + 1)]
    put(tables["box"], "mask", [_of(mask, name, group) for name, group in zip(names, groups, strict=True)], many)
    put(tables["design"], "free", list(_each(free, names, old)), many)
    if "tolerance" in tables:
        put(tables, "tolerance", list(_each(tables["tolerance"], names, old)), many)
    for key in ("part", "hole"):
        if key in tables.get("make", {}):
            put(tables["make"], key, list(_each(tables["make"][key], names, old)), many)


def _of(mask: Any, name: str, lenses: Sequence[str]) -> Any:
    found = copy.deepcopy(mask)
    found["name"], found["lenses"] = name, list(lenses)
    return found


def _each(rows: Sequence[Any], names: Sequence[str], old: str) -> Iterator[Any]:
    """Rows, those about the one mask once for each of the new ones."""
    for row in rows:
        of = row.get("of", "")
        if MASK_PATH.match(of) is None and of != old:
            yield row
            continue
        for name in names:
            found = copy.deepcopy(row)
            found["of"] = name if of == old else MASK_PATH.sub(f"box.mask[{name}].", of, count=1)
            yield found
