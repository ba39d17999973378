"""A moment in which a request to end waits, and what has been put in its place by then: said when a run is stopped after it."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

ASKED_BY = ("SIGINT", "SIGTERM", "SIGHUP", "SIGALRM")  # the last asks again for those before it; not all are known on Windows

placed: list[Path] = []  # folders that hold a new result of this run, whole, as people named them


@contextmanager
def undisturbed() -> Iterator[None]:
    """Have Ctrl-C and other requests to end wait until the block is through; they are heard right after it.

    Python hands signals to its main thread alone, so that elsewhere there is nothing to keep off.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    handlers = _heeded()
    waiting: list[int] = []
    is_through = False

    def wait(number: int, frame: FrameType | None) -> None:
        if not is_through:
            waiting.append(number)
        elif callable(handlers[number]):  # interrupted while handlers were put back: this one is still there, and changes nothing
            handlers[number](number, frame)
        else:
            _put_back({number: handlers[number]})
            signal.raise_signal(number)

    try:
        for number in handlers:
            signal.signal(number, wait)
        yield
    finally:
        is_through = True
        _put_back(handlers)
        for number in waiting[:1]:
            signal.raise_signal(number)


def _heeded() -> dict[int, Any]:
    """What each request to end calls; not those that are ignored, as in the background, or are answered outside of Python."""
    known = [getattr(signal, name) for name in ASKED_BY if hasattr(signal, name)]
    handlers = {number: signal.getsignal(number) for number in known}
    return {number: handler for number, handler in handlers.items() if handler not in {None, signal.SIG_IGN}}


def _put_back(handlers: Mapping[int, Any]) -> None:
    for number, handler in handlers.items():
        signal.signal(number, handler)
