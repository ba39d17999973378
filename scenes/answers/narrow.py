"""A page for a terminal that is narrower than it: paragraphs wrapped anew, rows of tables broken between their columns."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
from collections.abc import Iterator, Sequence

from scenes.runtime.page import WIDTH

LEAST = 60  # columns; a terminal that is narrower still breaks lines itself
GAP = re.compile(r" {2,}")
RULE = re.compile(r"[-=]{20,}")
FURTHER = 4  # columns that a row's second line is set in


def for_terminal(text: str) -> str:
    """The page as the terminal has room for it; as it is where it goes to a file or another program."""
    columns = max(shutil.get_terminal_size().columns, LEAST) if sys.stdout.isatty() else WIDTH
    return text if columns >= WIDTH else narrowed(text, columns)


def narrowed(text: str, columns: int) -> str:
    """The page in so many columns: no word is lost, and no line is longer that can be broken."""
    lines = text.split("\n")
    return "\n".join(line for paragraph in _paragraphs(lines) for line in _fitted(paragraph, columns))


def _paragraphs(lines: Sequence[str]) -> Iterator[list[str]]:
    """Lines that were one paragraph before it was wrapped to a page: the next one's first word had no room."""
    open_: list[str] = []
    for line in lines:
        if open_ and not _goes_on(open_[-1], line):
            yield open_
            open_ = []
        open_.append(line)
    yield open_


def _goes_on(line: str, more: str) -> bool:
    words = more.split()
    return bool(words) and _is_prose(line) and _is_prose(more) and len(line) + 1 + len(words[0]) > WIDTH


def _is_prose(line: str) -> bool:
    return bool(line.strip()) and not GAP.search(line.strip()) and not RULE.fullmatch(line.strip())


def _fitted(paragraph: Sequence[str], columns: int) -> list[str]:
    first = paragraph[0]
    if len(paragraph) == 1 and len(first) <= columns:
        return [first]
    if RULE.fullmatch(first.strip()):
        return [first[:columns]]
    indent = len(first) - len(first.lstrip())
    if len(paragraph) == 1 and GAP.search(first.strip()):
        return list(_row(first.strip(), indent, columns))
    hanging = len(paragraph[1]) - len(paragraph[1].lstrip()) if len(paragraph) > 1 else indent
    words = " ".join(line.strip() for line in paragraph)
    return textwrap.wrap(words, columns, initial_indent=" " * indent, subsequent_indent=" " * hanging, break_long_words=False)


def _row(row: str, indent: int, columns: int) -> Iterator[str]:
    """A row of a table, broken between columns; a column that is too long by itself is wrapped."""
    line = " " * indent
    for cell, gap in zip(GAP.split(row), ["", *GAP.findall(row)], strict=True):
        if len(line + gap + cell) <= columns:
            line += gap + cell
            continue
        if line.strip():
            yield line
            line = " " * (indent + FURTHER)
        *whole, line = textwrap.wrap(cell, columns, initial_indent=line, subsequent_indent=" " * (indent + FURTHER))
        yield from whole
    yield line
