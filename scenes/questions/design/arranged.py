"""A scene's text with its tables arranged anew: comments stay with what stays."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import tomlkit

Many = Callable[[Sequence[Any]], Any]


def arranged_text(text: str, expected: Mapping[str, Any], arrange: Callable[[Any, Many], None]) -> str:
    """The text arranged; without its comments where it would not be the expected tables otherwise."""
    document = tomlkit.parse(text)
    arrange(document, _tables_of)
    found = tomlkit.dumps(document)
    return found if tomlkit.parse(found).unwrap() == expected else tomlkit.dumps(expected)


def _tables_of(rows: Sequence[Any]) -> Any:
    found = tomlkit.aot()
    for row in rows:
        found.append(row)
    return found


def put(table: Any, key: str, rows: Sequence[Any], many: Many) -> None:
    """Set an array of tables, or forget it where there are none; as it was where nothing changes."""
    own = rows_of(table, key)
    if len(rows) == len(own) and all(a is b for a, b in zip(rows, own, strict=True)):
        return
    if rows:
        table[key] = many(rows)
    else:
        del table[key]


def rows_of(table: Any, key: str) -> list[Any]:
    """The tables under a key, be it an array of them or one alone."""
    return list(table[key]) if isinstance(table[key], list) else [table[key]]
