"""What a library remarks in its log while it reads a damaged file, kept from the terminal."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache

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


class _Hush(logging.Filter):
    """Keeps a library's remarks while somebody listens in any thread; each thread is told its own."""

    def __init__(self, library: str) -> None:
        super().__init__()
        self.library = library
        self.lock = threading.Lock()
        self.listening: list[tuple[int, list[str]]] = []  # thread, what was said in it

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether a record goes on to where records go."""
        with self.lock:
            own = [said for thread, said in self.listening if thread == threading.get_ident()]
            if own:
                own[-1].append(record.getMessage())
            return not self.listening


@lru_cache
def _hush_of(library: str) -> _Hush:
    hush = _Hush(library)
    logging.getLogger(library).addFilter(hush)
    return hush


@contextmanager
def remarks_of(library: str) -> Iterator[list[str]]:
    """The remarks made meanwhile in this thread; nothing of the file that they quote is printed. Stills are read by threads."""
    hush, one = _hush_of(library), (threading.get_ident(), list[str]())
    with hush.lock:
        hush.listening.append(one)
    try:
        yield one[1]
    finally:
        with hush.lock:
            hush.listening = [other for other in hush.listening if other is not one]
