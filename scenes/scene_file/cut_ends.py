"""Texts that stop where something is announced: a scene cut at the end of a line is a scene still, without what stood behind.

Told is only what nobody leaves at the end of a whole file: a heading with nothing under it, a comment that is the name of parts.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

# Of the headings that need no key the one that nobody leaves without: an empty box stands for a lens alone, and make has defaults.
NEVER_EMPTY = {"check"}
HEADING = re.compile(r"\[\[?[ \t]*([A-Za-z_][\w.-]{0,80})[ \t]*\]\]?[ \t]*(?:#.*)?", re.ASCII)
COMMENT = re.compile(r"#+[\s#*=~_.+|/\\-]*(.*?)[\s#*=~_.+|/\\-]*")
WORD = re.compile(r"[A-Za-z]+")
CODE = re.compile(r"[=\[\]{}\"']")
# Words by which a comment says that nothing follows, or that it is about what stands before, or somewhere else.
EXCUSES = re.compile(
    r"\b(?:no|none|nothing|without|end|ends|ended|eof|above|done|so far|todo|later|yet|removed|deleted|off|out|not|see|from|by"
    r"|were|was|is|are|has|have|that|this|if|only|here|ok)\b|n/a|\?",
    re.IGNORECASE,
)
PARTS = {
    "flag",
    "hood",
    "mask",
    "tray",
    "filter",
    "stage",
    "plate",
    "rod",
    "rods",
    "light",
    "lens",
    "lenses",
    "guide",
    "seal",
    "mesh",
}
PARTS |= {"matte", "sider", "bracket", "extension", "shade", "donut", "opening"}
MOST_WORDS, MOST_WITH_COLON = 4, 8
LONGEST_QUOTE = 60
WAY_OUT = "as where a file was saved or copied by half; see what stood behind it, or take it out"


def cut_words(text: str) -> tuple[int, str] | None:
    """The line at which a text stops short, and what is wrong with it; None where it does not."""
    lines = text.rstrip().split("\n")
    last = lines[-1].strip()
    heading = HEADING.fullmatch(last)
    if heading and heading[1] in NEVER_EMPTY:
        return len(lines), f"ends with {heading[0].partition('#')[0].strip()}, and nothing stands under it, {WAY_OUT}"
    number, words = _last_comment(lines)
    if words and _announces(words):
        return number, f'ends with the comment "{words[:LONGEST_QUOTE]}", and nothing stands behind it, {WAY_OUT}'
    return None


def _last_comment(lines: list[str]) -> tuple[int, str]:
    """The words of the comment that a text ends with, without its ruled lines, and its line; '' where it is none, or more lines."""
    found = [(number, match[1]) for number, line in _from_the_end(lines) if (match := COMMENT.fullmatch(line))]
    told = [(number, words) for number, words in found if words]
    return told[0] if len(told) == 1 else (0, "")


def _from_the_end(lines: list[str]) -> Iterable[tuple[int, str]]:
    """The comments that a text ends with, each a line, from the last one up to what is none; with their numbers."""
    for number in range(len(lines), 0, -1):
        line = lines[number - 1].strip()
        if not line.startswith("#"):
            return
        yield number, line


def _announces(words: str) -> bool:
    """Whether a comment is the name of parts: a few words, one of them a part."""
    named = WORD.findall(words)
    most = MOST_WITH_COLON if words.endswith(":") else MOST_WORDS
    if not 0 < len(named) <= most or CODE.search(words) or EXCUSES.search(words) or any(sign.isdigit() for sign in words):
        return False
    return any(word.lower() in PARTS or word.lower().removesuffix("s") in PARTS for word in named)
