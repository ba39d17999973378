"""A page of text: its width, lines that wrap, names that are cut, and the cautions every answer shares."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH = 100  # columns
SHOOT_CAUTION = "A prediction is no substitute for the test shoot: confirm it with the real lens, box and filters."


def wrapped(text: str, indent: str = "", *, hanging: str | None = None, width: int = WIDTH) -> list[str]:
    """A paragraph on lines of at most `width` columns; what follows a dash stands under its own words.

    `hanging` stands before every line but the first, in place of the indent.
    """
    if hanging is None:
        hanging = indent + ("  " if text.startswith("- ") else "")
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=hanging)


def clipped(line: str, width: int = WIDTH) -> str:
    """A line cut to a width, the cut marked."""
    return line if len(line) <= width else f"{line[: width - 1]}…"


def listed(words: Sequence[str], last: str = "and") -> str:
    """Words in a sentence: 'a, b and c'."""
    return f"{', '.join(words[:-1])} {last} {words[-1]}" if len(words) > 1 else "".join(words)


def counted(count: int, one: str, many: str = "") -> str:
    """'1 state', '3 states', '2 boxes'."""
    return f"{count} {one if count == 1 else many or one + 's'}"
