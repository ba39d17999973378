"""Colour on the terminal: when it is wanted, and that it changes no word."""

import io
import re

import click
import pytest

from scenes.runtime.colour import coloured, wants_colour
from scenes.runtime.terminal import visible_streams

PAGE = "3 of 4 states vignette.\n✗ 24            focus 450 mm\n    -> open the right flag\n✓ 50\n  Next: run it again\nNextdoor ✗\n"


class Terminal(io.StringIO):
    def isatty(self):
        return True


# Sources: https://no-color.org for NO_COLOR (present and not empty); FORCE_COLOR (0 turns it off) as common practice of tools.
@pytest.mark.parametrize(
    ("stream", "environment", "wanted"),
    [
        (Terminal(), {}, True),
        (Terminal(), {"TERM": "dumb"}, False),
        (Terminal(), {"NO_COLOR": "1"}, False),
        (Terminal(), {"NO_COLOR": ""}, True),
        (Terminal(), {"NO_COLOR": "1", "FORCE_COLOR": "1"}, False),
        (io.StringIO(), {}, False),
        (io.StringIO(), {"FORCE_COLOR": "1"}, True),
        (Terminal(), {"FORCE_COLOR": "0"}, False),
    ],
)
def test_colour_goes_to_terminals_unless_the_environment_says_otherwise(stream, environment, wanted, monkeypatch):
    monkeypatch.setattr("sys.platform", "linux")
    assert wants_colour(stream, environment) is wanted


def test_colour_takes_nothing_from_the_words_and_marks_the_leads_of_lines_alone():
    shown = coloured(PAGE)
    assert re.sub(r"\x1b\[[0-9;]*m", "", shown) == PAGE
    assert shown.count("\x1b[0m") == 4
    assert shown.endswith("Nextdoor ✗\n")


@pytest.mark.parametrize(("variable", "codes"), [("FORCE_COLOR", True), ("NO_COLOR", False)])
def test_what_is_piped_is_in_colour_only_where_that_is_forced(variable, codes, monkeypatch):
    piped = io.StringIO()
    for name in ("FORCE_COLOR", "NO_COLOR"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv(variable, "1")
    monkeypatch.setattr("sys.stdout", piped)
    with visible_streams():
        click.echo(PAGE)
    assert ("\x1b[1;31m✗" in piped.getvalue()) is codes
    assert ("\x1b" in piped.getvalue()) is codes
