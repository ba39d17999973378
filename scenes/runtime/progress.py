"""Progress of long work: a bar with the time left on a terminal, silence everywhere else."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Protocol, TextIO

import click

from scenes.runtime.terminal import visible


class Tick(Protocol):
    """Says that some steps are done and what is being worked on."""

    def __call__(self, steps: int, doing: str = "") -> None:
        """Count `steps` more as done."""


def silent(steps: int, doing: str = "") -> None:
    """A tick that nobody sees."""


@contextmanager
def progress(total: int, label: str, stream: TextIO | None = None) -> Iterator[Tick]:
    """A tick to call while working; its bar with estimate shows only where `stream` (stderr) is a terminal."""
    stream = sys.stderr if stream is None else stream
    if not stream.isatty():
        yield silent
        return
    own = getattr(stream, "unfiltered", stream)  # the bar itself moves the cursor; what it is told to show must not
    bar: Any = click.progressbar(
        length=total, label=visible(label), file=own, show_eta=True, item_show_func=lambda doing: visible(doing or "")
    )
    with bar:
        yield lambda steps, doing="": bar.update(steps, doing)


def tell(sentence: str, stream: TextIO | None = None) -> None:
    """A sentence for whoever waits at a terminal (stderr); silence everywhere else."""
    stream = sys.stderr if stream is None else stream
    if stream.isatty():
        click.echo(sentence, file=stream)
