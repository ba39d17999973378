"""A table: one row object gives one line for people and one object for programs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest
from operator import attrgetter
from typing import Any, Generic, TypeVar

from scenes.runtime.page import WIDTH, clipped, wrapped

Row = TypeVar("Row")
GAP = "  "


def as_is(value: Any) -> Any:
    """A value that JSON takes as it stands."""
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Column(Generic[Row]):
    """One fact of each row.

    `of` takes it from the row; `words` writes it for people, `data` for programs. A column without `head` is in the JSON alone, one
    without `key` on the page alone. A head may have two lines. `width` is the least it takes; names stand to the left, numbers to
    the right. A last column that `folds` runs on under itself where it is too long for the page.
    """

    of: Callable[[Row], Any]
    head: str = ""
    key: str = ""
    words: Callable[[Any], str] = str
    data: Callable[[Any], Any] = as_is
    width: int = 0
    most: int = WIDTH
    left: bool = False
    folds: bool = False

    def cell(self, row: Row) -> str:
        """What people read."""
        words = self.words(self.of(row))
        return words if self.folds else clipped(words, self.most)

    def value(self, row: Row) -> Any:
        """What programs read."""
        return self.data(self.of(row))


def as_named(*names: str) -> tuple[Column[Any], ...]:
    """Columns for programs alone: facts that the row itself has under these names."""
    return tuple(Column(key=name, of=attrgetter(name)) for name in names)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table(Generic[Row]):
    """Rows under heads. `key` names the rows in the JSON; `foot` stands below a second rule; `notes_of` gives lines under a row.

    Without `heads` the rows go on from a table above.
    """

    columns: Sequence[Column[Row]]
    rows: Sequence[Row]
    title: str = ""
    key: str = ""
    foot: Sequence[Row] = ()
    heads: bool = True
    ruled: bool = True
    indent: str = ""
    gap: str = GAP
    notes_of: Callable[[Row], Sequence[str]] = field(default=lambda _: ())

    def lines(self) -> Iterator[str]:
        """The table for people, none wider than a page."""
        shown = [column for column in self.columns if column.head]
        cells = [[column.cell(row) for column in shown] for row in (*self.rows, *self.foot)]
        heads = _in_rows([column.head.split("\n") for column in shown])
        widths = [_width(column, [line[at] for line in heads], [line[at] for line in cells]) for at, column in enumerate(shown)]
        rule = clipped(self.indent + "-" * (sum(widths) + len(self.gap) * (len(widths) - 1)))
        if self.title:
            yield clipped(f"{self.indent}{self.title}")
        for line in heads if self.heads else ():
            yield from self._row_lines(line, shown, widths)
        if self.heads and self.ruled:
            yield rule
        for place, line in enumerate(cells):
            if self.ruled and self.foot and place == len(self.rows):
                yield rule
            yield from self._row_lines(line, shown, widths)
            if place < len(self.rows):
                yield from self.notes_of(self.rows[place])

    def _row_lines(self, cells: Sequence[str], shown: Sequence[Column[Row]], widths: Sequence[int]) -> list[str]:
        """A row on one line, or on as many as its last column takes."""
        placed = [f"{cell:<{w}}" if column.left else f"{cell:>{w}}" for cell, column, w in zip(cells, shown, widths, strict=True)]
        before = self.indent + "".join(cell + self.gap for cell in placed[:-1])
        if shown[-1].folds and len(before) + len(cells[-1]) > WIDTH:
            return wrapped(cells[-1], before, hanging=" " * len(before))
        return [clipped((before + placed[-1]).rstrip())]

    def data(self) -> list[dict[str, Any]]:
        """The rows for programs, keys in the order of the columns."""
        return [{column.key: column.value(row) for column in self.columns if column.key} for row in self.rows]


def _width(column: Column[Any], heads: Sequence[str], cells: Sequence[str]) -> int:
    """How wide a column is; what folds takes what is left of the page."""
    return max(column.width, *map(len, heads), *(() if column.folds else map(len, cells)))


def _in_rows(columns: Sequence[Sequence[str]]) -> list[list[str]]:
    """Heads of one or more lines, line by line."""
    return [list(row) for row in zip_longest(*columns, fillvalue="")]
