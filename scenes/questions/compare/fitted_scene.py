"""The scene file with fitted values in place of the nominal ones; comments and order stay, each value says where it comes from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import Item

from scenes.questions.compare.verdict import Comparison
from scenes.scene_file.key_paths import with_values
from scenes.scene_file.messages import plain
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.tolerance_paths import places_of


def fitted_text(text: str, scene: Scene, found: Comparison) -> str:
    """The text of the scene file with every value that the stills tell; the same text where they tell none."""
    document = tomlkit.parse(text)
    rows = zip(found.notes.unknowns, found.values, found.sigmas, found.told, strict=True)
    values = {item.path: (round(float(value), 2), float(sigma)) for item, value, sigma, told in rows if told}
    tables = with_values(scene, document.unwrap(), {path: value for path, (value, _) in values.items()})
    for path, (_, sigma) in values.items():
        for place, key, _ in places_of(scene, path):
            _put(
                document,
                tables,
                (*place, key),
                f"fitted to the stills of {found.notes.file_name}, standard error {plain(round(sigma, 3))}",
            )
    return tomlkit.dumps(document)


def _put(document: Any, tables: Mapping[str, Any], place: tuple[str | int, ...], comment: str) -> None:
    """Copy the value at a place of the changed tables into the document; tables that it lacks are made."""
    here, source = document, tables
    inline = False
    for step in place[:-1]:
        if isinstance(here, list) or isinstance(step, str):
            if isinstance(step, str) and step not in here:
                here[step] = tomlkit.inline_table() if inline else tomlkit.table()
            here, source = here[step], source[step]  # type: ignore[index]
        inline = inline or isinstance(here, tomlkit.items.InlineTable)
    key = place[-1]
    here[key] = source[key]  # type: ignore[index]
    item = here.item(key) if hasattr(here, "item") else here[key]
    if isinstance(item, Item) and not inline:
        old = item.trivia.comment.removeprefix("#").strip()
        item.comment(f"{comment}; {old}" if old else comment)
