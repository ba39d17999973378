"""Progress of long work: a bar with the time left on a terminal, a line now and then everywhere else."""

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Protocol, TextIO

import click

from scenes.runtime.terminal import visible

LINE_EVERY_S = 30.0


class Tick(Protocol):
    """Says that some steps are done and what is being worked on."""

    def __call__(self, steps: int, doing: str = "") -> None:
        """Count `steps` more as done."""


def silent(steps: int, doing: str = "") -> None:
    """A tick that nobody sees."""


def saying(tick: Tick, words: str) -> Tick:
    """A tick that says something more, each time, ahead of what is being worked on."""

    def said(steps: int, doing: str = "") -> None:
        tick(steps, f"{words}; {doing}" if doing else words)

    return said


class _Lines:
    """A tick that writes a line when enough time has gone by: for logs, and for whoever waits at the end of a pipe."""

    def __init__(self, total: int, label: str, stream: TextIO) -> None:
        self._total, self._label, self._stream, self._done = max(total, 1), label, stream, 0
        self._began = self._said = time.monotonic()

    def __call__(self, steps: int, doing: str = "") -> None:
        self._done += steps
        now = time.monotonic()
        if now - self._said >= LINE_EVERY_S and self._done < self._total:
            self._said = now
            words = f"{self._label}: {self._how_far(now - self._began)}"
            click.echo(visible(f"{words} ({doing})" if doing else words), file=self._stream)

    def _how_far(self, gone_s: float) -> str:
        if not self._done:  # nobody knows how long it takes
            return f"{_time_words(gone_s)} gone by"
        left_s = gone_s * (self._total - self._done) / self._done
        return f"{100 * self._done // self._total} % done, about {_time_words(left_s)} left"


def _time_words(seconds: float) -> str:
    return f"{max(round(seconds), 1)} s" if seconds < 100 else f"{round(seconds / 60)} min"


@contextmanager
def progress(total: int, label: str, stream: TextIO | None = None) -> Iterator[Tick]:
    """A tick to call while working; on `stream` (stderr) a bar with estimate where that is a terminal, else a line now and then."""
    stream = sys.stderr if stream is None else stream
    if not stream.isatty():
        yield _Lines(total, label, stream)
        return
    own = getattr(stream, "unfiltered", stream)  # the bar itself moves the cursor; what it is told to show must not
    bar: Any = click.progressbar(
        length=total, label=visible(label), file=own, show_eta=True, item_show_func=lambda doing: visible(doing or "")
    )

    def tick(steps: int, doing: str = "") -> None:
        bar.update(steps, doing)
        if not steps:  # of itself the bar is drawn anew by steps alone
            bar.current_item = doing
            bar.render_progress()

    with bar:
        yield tick


def tell(sentence: str, stream: TextIO | None = None) -> None:
    """A sentence for whoever waits at a terminal (stderr); silence everywhere else."""
    stream = sys.stderr if stream is None else stream
    if stream.isatty():
        click.echo(sentence, file=stream)
