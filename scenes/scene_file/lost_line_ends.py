"""Lines of a TOML text that have lost their line end behind a comment, and so count as more of its words."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from scenes.scene_file.cut_ends import cut_words
from scenes.scene_file.messages import KeyPath, value_at
from scenes.scene_file.tables.fields import Table, all_tables, table_at
from scenes.scene_file.toml_lines import TEXT, Remark, remarks

NUMBER = r"[-+]?(?:0[xob][0-9A-Fa-f_]+|\d[\d_]*(?:\.[\d_]+)?(?:[eE][-+]?\d+)?|inf|nan)"
BRACKETS, BRACES = r"\[[^\[\]]{0,500}(?:\[[^\[\]]{0,500}\][^\[\]]{0,500}){0,50}\]", r"\{[^{}]{0,500}\}"
# What goes on behind a value on the lines that follow it: nothing, a comment, another key, a heading.
NEXT = r"[ \t]*(?:#|$|[A-Za-z_][\w.-]{0,80}[ \t]*=|\[\[?[A-Za-z_])"
VALUE = re.compile(rf"[ \t]*({TEXT.pattern}|{BRACKETS}|{BRACES}|{NUMBER}|true|false),?{NEXT}", re.DOTALL)
KEY = re.compile(r"[\w.-]+$", re.ASCII)
HEADING = re.compile(r"\[\[?[ \t]*([A-Za-z_][\w.-]{0,80})[ \t]*\]\]?", re.ASCII)
BEHIND_HEADING = re.compile(NEXT)
SETS_A_KEY = re.compile(r"[ \t]*[A-Za-z_][\w.-]{0,80}[ \t]*=")
ROW = re.compile(rf"(?:\{{[^{{}}#]{{0,500}}=[^{{}}#]{{0,500}}\}}|\[[ \t]*{NUMBER}[^\[\]#]{{0,500}}\])[ \t]*,?[ \t]*(?:#|\]|$)")
LISTED = re.compile(rf"(?:\"[^\"#]{{0,200}}\"|'[^'#]{{0,200}}'|(?<![\w.]){NUMBER})[ \t]*,[ \t]*(?:#|$)")
# Words of a sentence that goes on to name the key or table, such as "or instead width_mm = 36" or "as in [check]".
EXCUSES = re.compile(r"\b(?:or|instead|was|were|not|if|unless|like|example|e\.g|i\.e)\b", re.IGNORECASE)
LEADS_ON = re.compile(
    r"\b(?:a|an|and|as|at|by|for|from|is|its|means|needs|same|see|set|than|the|then|to|try|until|use|when|where|with|without|write)\s$",
    re.IGNORECASE,
)
LEADS_TO_TABLE = re.compile(r"\b(?:in|into|of|on|under)\s$", re.IGNORECASE)
ANOTHER_KEY = re.compile(r"[\w.-]{1,80}[ \t]*=[ \t]*[^\s=]{1,80}[ \t]*(?:,|and|with)?[ \t]*$")
NEAR = 3  # words before it within which an excuse counts
LOOKED_BACK = 200  # letters
MOST_SIGNS, MOST_LETTERS = 100, 20_000  # equals signs, brackets and letters of one comment that are looked at
LONGEST_QUOTE = 60
WAY_OUT = "put it on a line of its own, or take"


@dataclass(frozen=True, slots=True)
class Swallowed:
    """What a comment has swallowed: its line, the table that it stands in, and the sentence."""

    line: int
    table: KeyPath
    problem: str


def joined_lines(text: str, data: dict[str, Any], model: type[Table]) -> Iterator[Swallowed]:
    """Comments that hold what must be a line of the file: a heading, a key that its table lacks, a row of an array; a lost end."""
    headings = {path for path, _ in all_tables(model) if path}
    if cut := cut_words(text):
        yield Swallowed(cut[0], (), cut[1])
    if "#" not in text:
        return
    for remark in remarks(text, MOST_LETTERS):
        if problem := _problem(remark, data, model, headings):
            yield Swallowed(remark.line, remark.table, problem)


def _problem(remark: Remark, data: dict[str, Any], model: type[Table], headings: set[str]) -> str:
    if heading := _heading(remark.words, headings):
        return f"holds {heading} within a comment, where it counts for nothing; {WAY_OUT} it out of the comment"
    if not remark.before:  # a line that is a comment as a whole says what it likes of keys
        return ""
    if remark.in_array:
        row = _short(_row(remark))
        way_out = f"{WAY_OUT} its brackets or its comma out of the comment"
        return f"holds {row} within a comment, where it is no item of the array; {way_out}" if row else ""
    key = _short(_key(remark, data, model))
    return f"holds {key} within a comment, where it counts for nothing; {WAY_OUT} the = out of the comment" if key else ""


def _heading(words: str, headings: set[str]) -> str:
    """The heading of a table that the words hold behind others, as it would begin a line; '' for none."""
    for found in islice(HEADING.finditer(words), MOST_SIGNS):
        before = _before(words, found.start())
        if found[1] not in headings or not before.strip() or not BEHIND_HEADING.match(words, found.end()):
            continue
        if SETS_A_KEY.match(words, found.end()) or not (LEADS_TO_TABLE.search(before) or _leads_on(before)):
            return found[0]
    return ""


def _key(remark: Remark, data: dict[str, Any], model: type[Table]) -> str:
    """The line that sets a key of the comment's table, which nothing else sets; '' for none."""
    kind, words = table_at(model, remark.table), remark.words
    if kind is None:
        return ""
    here = value_at(remark.table, data)
    for sign in islice(re.finditer("=", words), MOST_SIGNS):
        end = len(words[: sign.start()].rstrip(" \t"))
        written = KEY.search(words[max(0, end - LOOKED_BACK) : end])
        key = _lacking(written[0], kind, here) if written else ""
        value = VALUE.match(words, sign.end()) if key else None
        if value is not None and _is_new(words, end - len(key)):
            return f"{key} = {value[1]}"
    return ""


def _lacking(written: str, kind: type[Table], here: Any) -> str:
    """The key that a word is, or ends with where a line end was lost; '' where the table does not know it, or sets it."""
    *parents, last = written.split(".")
    inner = table_at(kind, parents)
    if inner is None:  # words before it that end with a full stop
        parents, inner = [], kind
    known = [name for name in inner.model_fields if last == name or (last.endswith(name) and last[-len(name) - 1] not in "_-")]
    if not known:
        return ""
    key = max(known, key=len)
    table = value_at(tuple(parents), here)
    is_set = isinstance(table, Mapping) and key in table
    return "" if is_set else ".".join([*parents, key])


def _row(remark: Remark) -> str:
    """An item of the array that the comment stands in, as it would make a line; '' for none."""
    pattern = ROW if remark.before.rstrip(", \t")[-1:] in {"]", "}", "["} else LISTED
    found = islice(pattern.finditer(remark.words), MOST_SIGNS)
    return next((item[0].rstrip("# \t,") for item in found if _is_new(remark.words, item.start())), "")


def _is_new(words: str, place: int) -> bool:
    """Whether what stands there begins a line rather than goes on with the words before it."""
    before = _before(words, place)
    return before.strip() != "" and not _leads_on(before)


def _before(words: str, place: int) -> str:
    """The words before a place, from the last comment sign on: a line behind one was a comment already."""
    before = words[:place].rpartition("#")[2]
    said = before.rstrip()
    return said[-LOOKED_BACK:] + " " * (said != before)


def _leads_on(before: str) -> bool:
    """Whether the words lead on to a key or table that they name, be it past a key that they name first."""
    if LEADS_ON.search(before):
        return True
    while (shorter := ANOTHER_KEY.sub("", before)) != before:
        if EXCUSES.search(" ".join(before.split()[-NEAR:])):
            return True
        before = shorter
    return EXCUSES.search(" ".join(before.split()[-NEAR:])) is not None


def _short(words: str) -> str:
    words = words if words.isprintable() else words.encode("unicode_escape").decode()
    return words if len(words) <= LONGEST_QUOTE else f"{words[: LONGEST_QUOTE - 3]}..."
