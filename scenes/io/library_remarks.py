"""What a library remarks in its log while it reads a damaged file, kept from the terminal."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager


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
