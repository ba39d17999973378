"""Pages on narrow terminals: wrapped anew, no word lost, and as they are where nobody has a terminal."""

import io
import os
import sys

import pytest

from scenes.answers.narrow import for_terminal, narrowed
from scenes.runtime.page import WIDTH, wrapped

WORDS = " ".join(f"word{k}" for k in range(40))
PAGE = "\n".join(
    [
        *wrapped(WORDS),
        "",
        *wrapped(WORDS, "  -> ", hanging="     "),
        "  lens          worst at                     verdict        loss  where               part",
        "  " + "-" * 96,
        "◐ 25            focus 400 mm, f/2            shading   0.55 stop  all corners         seal",
        "short",
    ]
)


@pytest.mark.parametrize("columns", [60, 72, 99])
def test_no_word_is_lost_and_no_line_is_too_long(columns):
    told = narrowed(PAGE, columns)
    assert max(map(len, told.split("\n"))) <= columns
    assert [word for word in told.split() if "---" not in word] == [word for word in PAGE.split() if "---" not in word]


def test_a_paragraph_is_wrapped_anew_and_hangs_as_it_did():
    lines = narrowed("\n".join(wrapped(WORDS, "  -> ", hanging="     ")), 60).split("\n")
    assert lines[0].startswith("  -> word0")
    assert all(line.startswith("     word") for line in lines[1:])
    assert all(len(line) > 50 for line in lines[:-1])  # filled: not the old lines cut in two


def test_a_row_is_broken_between_its_columns():
    first, second = narrowed(
        "◐ 25            focus 400 mm, f/2            shading   0.55 stop  all corners         seal", 70
    ).split("\n")
    assert first == "◐ 25            focus 400 mm, f/2            shading   0.55 stop"
    assert second == "    all corners         seal"


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("columns", "widest"), [(20, 60), (80, 80), (200, WIDTH)])
def test_the_terminal_says_how_wide_the_page_is(monkeypatch, columns, widest):
    monkeypatch.setenv("COLUMNS", str(columns))
    assert for_terminal(PAGE) == PAGE  # piped, as under this test
    monkeypatch.setattr(sys, "stdout", Terminal())
    longest = max(map(len, for_terminal(PAGE).split("\n")))
    assert longest <= widest
    assert longest > 0.8 * widest
    assert os.environ["COLUMNS"] == str(columns)
