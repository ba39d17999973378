"""The tables of an answer's JSON as CSV: one file for each list of rows, beside the JSON."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

PARENT = "of"  # column that says which row of the table above a row belongs to


def csv_files(name: str, data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """CSV texts by file name, 'NAME-KEY.csv', of every list of rows in the data.

    A value in a value gets a column 'outer.inner'; a list of plain values stands in one cell, parted by spaces; rows within a row
    are a table of their own, 'NAME-KEY-INNER.csv', whose first column says whose they are.
    """
    for key, value in data.items():
        if is_rows(value):
            yield from _table(f"{name}-{key}", [("", row) for row in value])


def is_rows(value: Any) -> bool:
    """Whether a value is a list of rows."""
    return isinstance(value, list | tuple) and bool(value) and all(isinstance(row, Mapping) for row in value)


def _table(name: str, rows: Sequence[tuple[str, Mapping[str, Any]]]) -> Iterator[tuple[str, str]]:
    cells = [{**({PARENT: parent} if parent else {}), **dict(_cells(row))} for parent, row in rows]
    heads = list(dict.fromkeys(head for row in cells for head in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, heads, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(cells)
    yield f"{name}.csv", text.getvalue()
    inner = list(dict.fromkeys(key for _, row in rows for key, value in row.items() if is_rows(value)))
    for key in inner:
        held = [(_name_of(row, number), one) for number, (_, row) in enumerate(rows, 1) for one in row.get(key) or ()]
        yield from _table(f"{name}-{key}", held)


def _name_of(row: Mapping[str, Any], number: int) -> str:
    """What a row is called: its key or name, else its number."""
    return str(next((row[word] for word in ("key", "name", "lens") if word in row), number))


def _cells(row: Mapping[str, Any], lead: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in row.items():
        if isinstance(value, Mapping):
            yield from _cells(value, f"{lead}{key}.")
        elif not is_rows(value):
            yield f"{lead}{key}", _cell(value)


def _cell(value: Any) -> Any:
    if isinstance(value, list | tuple):
        plain = all(isinstance(one, str | int | float) for one in value)
        return " ".join(map(str, value)) if plain else json.dumps(value, ensure_ascii=False)
    return "" if value is None else str(value).lower() if isinstance(value, bool) else value
