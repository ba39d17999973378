"""What goes to the terminal: names from files and command lines cannot steer it, and no letter that it lacks ends the run."""

from __future__ import annotations

import errno
import logging
import os
import re
import sys
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from scenes.runtime.colour import coloured, wants_colour

# Besides control characters: what ends lines or turns the direction of writing, so that text reads as something else.
UNIN_DOUBT = {0x2028, 0x2029, *range(0x202A, 0x202F), *range(0x2066, 0x206A)}


FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO}
WAY_OUT = "print to the screen, or free the disk that it goes to; files that --out asked for are there"


IN_DOUBT = re.compile(r"[^\n\t -~]")  # what needs a closer look: all but line ends, tabs and printable ASCII


def hush_libraries() -> None:
    """Keep from the terminal what the drawing library logs of its own fonts and caches: there nobody can do anything about it."""
    logging.getLogger("matplotlib").addHandler(logging.NullHandler())


def visible(text: str) -> str:
    """The text with control characters written out as numbers; line ends and tabs stay."""
    return IN_DOUBT.sub(lambda found: _visible(found[0]), text)


def _visible(letter: str) -> str:
    if letter in "\n\t" or (unicodedata.category(letter) not in {"Cc", "Cs"} and ord(letter) not in UNIN_DOUBT):
        return letter
    return letter.encode("unicode_escape", "surrogatepass").decode("ascii")


class VisibleStream:
    """A text stream that writes out control characters, and letters that its encoding lacks.

    Where it can hold no more, as a file on a full disk, it says so by the name `called`; without one it goes on in silence.
    """

    def __init__(self, stream: Any, called: str = "") -> None:
        self.unfiltered, self._called = stream, called
        self._in_colour = wants_colour(stream, os.environ)

    def write(self, text: str) -> int:
        """Write the text; the count of letters asked for comes back."""
        shown = coloured(visible(text)) if self._in_colour else visible(text)
        with self._told():
            try:
                self.unfiltered.write(shown)
            except UnicodeEncodeError as error:
                self.unfiltered.write(shown.encode(error.encoding, "backslashreplace").decode(error.encoding))
        return len(text)

    def flush(self) -> None:
        """Send on what was written."""
        with self._told():
            self.unfiltered.flush()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            if error.errno not in FULL:  # a reader that went away has its own way out
                raise
            if self._called:
                raise OSError(error.errno, f"cannot be written ({error.strerror}); {WAY_OUT}", self._called) from None

    def __getattr__(self, name: str) -> Any:
        if name == "buffer":  # the way round `write`
            raise AttributeError(name)
        return getattr(self.unfiltered, name)


@contextmanager
def visible_streams() -> Iterator[None]:
    """Have all that is written to stdout and stderr be visible; where they are closed, as without a console, it goes nowhere."""
    before = sys.stdout, sys.stderr
    _fill_closed_numbers()
    streams: Any = sys
    with os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", encoding="utf-8") as nowhere:
        out, err = (nowhere if stream is None else stream for stream in before)
        streams.stdout, streams.stderr = VisibleStream(out, "standard output"), VisibleStream(err)
        try:
            yield
        finally:
            sys.stdout, sys.stderr = before


def _fill_closed_numbers() -> None:
    """Give the three standard streams' numbers to nothing where they are free, else a file gets one, and what is printed."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
