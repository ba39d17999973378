"""A scene file's text with other values in place of some; comments and order stay."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import Item

from scenes.scene_file.key_paths import with_values
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import places_of


def rewritten(text: str, scene: Scene, values: Mapping[str, Any], comments: Mapping[str, str]) -> str:
    """The text of a scene file with values at key paths in place of its own, each with a comment before the one it has."""
    document = tomlkit.parse(text)
    tables = with_values(scene, document.unwrap(), values)
    for path in values:
        for place, key, _ in places_of(scene, path, tables=True):
            _put(document, tables, (*place, key), comments.get(path, ""))
    made = tomlkit.dumps(document)
    return made if made.endswith("\n") else f"{made}\n"  # a file that stops in a line may pass for half saved


def tables_text(tables: Mapping[str, Any]) -> str:
    """Tables as the text of a scene file: for a scene that has none of its own any more."""
    return tomlkit.dumps(tables)


def _put(document: Any, tables: Mapping[str, Any], place: tuple[str | int, ...], comment: str) -> None:
    """Copy the value at a place of the changed tables into the document; tables that it lacks are made."""
    here, source = document, tables
    inline: Item | None = None  # the one-line table or list that holds the place: its line takes the comment
    for step in place[:-1]:
        if isinstance(here, list) or isinstance(step, str):
            if isinstance(step, str) and step not in here:
                here[step] = tomlkit.table() if inline is None else tomlkit.inline_table()
            here, source = here[step], source[step]  # type: ignore[index]
        if inline is None and isinstance(here, tomlkit.items.InlineTable | tomlkit.items.Array):
            inline = here
    key = place[-1]
    here[key] = source[key]  # type: ignore[index]
    item = inline or (here.item(key) if hasattr(here, "item") else here[key])
    if comment and isinstance(item, Item):
        _remark(item, comment)


def _remark(item: Item, comment: str) -> None:
    old = item.trivia.comment.removeprefix("#").strip()
    if not old.startswith(comment):  # a pair, or a second value of one line, is set twice
        item.comment(f"{comment}; {old}" if old else comment)
