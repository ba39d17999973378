"""What an answer's page is made of, in reading order."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from scenes.answers.table import Table
from scenes.runtime.page import clipped, wrapped


@dataclass(frozen=True, slots=True)
class Heading:
    """The first line of a page or a part of it."""

    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Sentences, wrapped; `hanging` stands before every line but the first where that is not the indent."""

    text: str
    indent: str = ""
    hanging: str | None = None


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines that are laid out already."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Note:
    """Something worth knowing; a dash before it."""

    text: str
    indent: str = ""


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do now."""

    text: str
    indent: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """An empty line."""


Block = Heading | Paragraph | Lines | Note | NextStep | Gap | Table[Any]


def page_lines(blocks: Iterable[Block]) -> list[str]:
    """The page, line by line, without spaces at the ends."""
    return [line.rstrip() for block in blocks for line in block_lines(block)]


def block_lines(block: Block) -> Iterator[str]:
    """The lines of one block."""
    match block:
        case Heading():
            yield clipped(block.text)
        case Paragraph():
            yield from wrapped(block.text, block.indent, hanging=block.hanging)
        case Lines():
            yield from block.lines
        case Note():
            yield from wrapped(f"- {block.text}", block.indent)
        case NextStep():
            yield from wrapped(f"Next: {block.text}", block.indent, hanging=2 * block.indent)
        case Gap():
            yield ""
        case Table():
            yield from block.lines()
