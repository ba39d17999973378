"""What a library remarks in its log while it reads a damaged file, kept from the terminal."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager

LONGEST_WORDS = 200  # of what a library says about an error: some quote the whole file


def short_words(error: Exception) -> str:
    """What an error of a library says, in one line of bounded length."""
    words = in_one_line(str(error)) or type(error).__name__
    return words if len(words) <= LONGEST_WORDS else f"{words[:LONGEST_WORDS]}..."


def in_one_line(words: str) -> str:
    """Words of a library, which may quote the file, in one line and without its control characters."""
    return printable(" ".join(words.split()))


def printable(words: str) -> str:
    """Words of a file as they may be shown: a question mark for each control character."""
    return "".join(letter if letter.isprintable() else "?" for letter in words)


@contextmanager
def remarks_of(library: str) -> Iterator[list[str]]:
    """The remarks made meanwhile; nothing of the file that they quote is printed."""
    said: list[str] = []

    class Listener(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            said.append(record.getMessage())

    log, listener = logging.getLogger(library), Listener()
    before = log.propagate
    log.addHandler(listener)
    log.propagate = False
    try:
        yield said
    finally:
        log.propagate = before
        log.removeHandler(listener)
