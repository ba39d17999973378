"""Colour on the terminal: the sign that a line begins with, and the words for what to do; the words say the same without it."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping
from typing import Any

RED, GREEN, YELLOW, CYAN, BOLD = "1;31", "32", "33", "36", "1"
LEADS = {"✗": RED, "◐": YELLOW, "≈": CYAN, "✓": GREEN, "fault:": RED, "caution:": YELLOW, "Next:": BOLD, "->": BOLD}
LEAD = re.compile(rf"^( *)({'|'.join(map(re.escape, LEADS))})(?= )", re.MULTILINE)


def wants_colour(stream: Any, environment: Mapping[str, str]) -> bool:
    """Whether to colour what goes to a stream: NO_COLOR says no, FORCE_COLOR yes, else only a terminal that understands it."""
    if environment.get("NO_COLOR"):  # as no-color.org has it: set, and not to nothing
        return False
    if forced := environment.get("FORCE_COLOR"):
        return forced != "0"
    if sys.platform == "win32" and "WT_SESSION" not in environment:  # older consoles print the codes
        return False
    return environment.get("TERM") != "dumb" and bool(getattr(stream, "isatty", bool)())


def coloured(text: str) -> str:
    """The text with what its lines begin with in colour, where that says how a state stands or what to do."""
    return LEAD.sub(lambda found: f"{found[1]}\x1b[{LEADS[found[2]]}m{found[2]}\x1b[0m", text)
