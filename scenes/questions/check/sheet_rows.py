"""What stands where on contact sheets, as values: loads nothing that draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from raytrace.optics.camera import Guide
from raytrace.shares import VignetteMap

COLUMNS, ROWS = 4, 3  # as many as stay readable when the sheet is printed at half its area
NOT_COMPUTED = "not computed"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetEntry:
    """One state on a contact sheet.

    `lens` names the row and `column` focus, zoom and stop. A state that failed has no map and says why in `note`.
    `worst_stops` and `where` come from the verdict where it looked closer than the map; else the map tells. Where nothing is lost
    `room` says how much there is to the part named by `nearest`.
    """

    lens: str
    column: str
    map_: VignetteMap | None
    guides: tuple[Guide, ...] = ()
    verdict_word: str = NOT_COMPUTED
    blame: str | None = None
    worst_stops: float | None = None
    where: str = ""
    note: str = ""
    room: str = ""
    nearest: str = ""


Row = tuple[str, tuple[SheetEntry | None, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sheet: its rows of lenses, its title, and the verdict words of all states, on whichever sheet they are."""

    rows: tuple[Row, ...]
    title: str
    verdict_words: tuple[str, ...]


def sheets(entries: Sequence[SheetEntry], *, title: str) -> list[Sheet]:
    """All states shared out to sheets: a row for each lens, a column for each focus and stop; as many sheets as it takes."""
    rows, words = sheet_rows(entries), tuple(entry.verdict_word for entry in entries)
    pages = [tuple(rows[first : first + ROWS]) for first in range(0, len(rows), ROWS)] or [()]
    return [
        Sheet(rows=page, title=title if len(pages) == 1 else f"{title} · sheet {number} of {len(pages)}", verdict_words=words)
        for number, page in enumerate(pages, 1)
    ]


def sheet_rows(entries: Sequence[SheetEntry]) -> list[Row]:
    """Lenses in their order with their states; states stand under each other by column name where these are few enough.

    A lens with more states than a sheet has columns goes on in the next row.
    """
    columns = list(dict.fromkeys(entry.column for entry in entries))
    rows: list[Row] = []
    for lens in dict.fromkeys(entry.lens for entry in entries):
        states = [entry for entry in entries if entry.lens == lens]
        by_column = {entry.column: entry for entry in states}
        if len(columns) <= COLUMNS and len(by_column) == len(states):
            rows.append((lens, tuple(by_column.get(column) for column in columns)))
        else:
            rows += [(lens, tuple(states[first : first + COLUMNS])) for first in range(0, len(states), COLUMNS)]
    return rows
