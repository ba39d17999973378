"""Names of a scene's lenses and lights, for Tab in a shell: read from the scene file on the line, which need not be right yet."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

Complete = Callable[[click.Context, click.Parameter, str], list[str]]


def names_of(table: str) -> Complete:
    """Completes names of the scene's [[table]] entries; nothing where there is no scene on the line, or it is no TOML."""

    def complete(ctx: click.Context, _param: click.Parameter, begun: str) -> list[str]:
        # Where the line ends in an option without its value, click leaves the words before it unread, in `args`.
        on_the_line = [Path(word) for word in (ctx.params.get("scene"), *ctx.args) if word]
        names = next((_names(path, table) for path in on_the_line if path.is_file()), [])
        return [name for name in names if name.lower().startswith(begun.lower())]

    return complete


def _names(scene: Path, table: str) -> list[str]:
    from scenes.io.reading import read_text
    from scenes.scene_file.errors import SceneError

    try:
        entries: Any = tomllib.loads(read_text(scene)).get(table, [])
    except (SceneError, tomllib.TOMLDecodeError):
        return []
    entries = entries if isinstance(entries, list) else [entries]
    return [entry["name"] for entry in entries if isinstance(entry, dict) and isinstance(entry.get("name"), str)]
