"""A lens read from metadata as TOML text to put into a scene file, each value with where it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from scenes.lens_data.rows import LensTable


def lens_text(table: LensTable, files: Sequence[str]) -> str:
    """The [[lens]] with its [[lens.state]] rows; before them, as comments, the camera of the samples and what has to be asked."""
    document = tomlkit.document()
    document.add(tomlkit.comment(f"A lens for a scene file, from {', '.join(files)}. Measures of front and barrel are yours."))
    for caution in table.cautions:
        document.add(tomlkit.comment(f"Check: {caution}."))
    for line in _camera_lines(table.camera):
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    lens = _table(table.values, table.notes)
    rows = AoT([])
    for row in table.rows:
        one = _table(row.values, {})
        one.comment(row.note)
        rows.append(one)
    lens.add(tomlkit.nl())
    lens.append("state", rows)
    document.append("lens", AoT([lens]))
    return tomlkit.dumps(document)


def _camera_lines(camera: dict[str, Any]) -> list[str]:
    if not camera:
        return []
    return [
        "The camera of these samples, for your [camera]:",
        *(f"  {key} = {tomlkit.item(value).as_string()}" for key, value in camera.items()),
    ]


def _table(values: dict[str, Any], notes: dict[str, str]) -> Table:
    table = tomlkit.table()
    for key, value in values.items():
        item = (
            tomlkit.inline_table().append("horizontal", value["horizontal"]).append("vertical", value["vertical"])
            if isinstance(value, dict)
            else tomlkit.item(value)
        )
        if key in notes:
            item.comment(notes[key])
        table.add(key, item)
    return table
