"""Which line of a TOML text each key stands on. For texts that the standard library has already accepted."""

import re
import tomllib
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field

from scenes.scene_file.messages import KeyPath

WHITE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
KEY_PIECE = re.compile(r"[ \t]*(\"(?:\\.|[^\"\\\n])*\"|'[^'\n]*'|[A-Za-z0-9_-]+)[ \t]*(\.)?")
TEXT = re.compile(r'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'', re.DOTALL)
MARKS = re.compile(rf"{TEXT.pattern}|#[^\n]*|[\[\]]", re.DOTALL)  # where a comment may begin, and what hides one or holds it
PLAIN = re.compile(r"[^,\]}\n#]*")


@dataclass(frozen=True, slots=True)
class Repeat:
    """A key or a table heading that stands where the same stood before: its path, and both lines."""

    path: KeyPath
    first: int
    again: int
    is_heading: bool
    was_heading: bool

    @property
    def names(self) -> tuple[str, ...]:
        """The path as a heading has it, without places in arrays."""
        return tuple(step for step in self.path if isinstance(step, str))


@dataclass(frozen=True, slots=True)
class Remark:
    """A comment: its line, its words, what stands before it there, the table that it stands in, and whether that is in an array."""

    line: int
    words: str
    before: str
    table: KeyPath
    in_array: bool


@dataclass(slots=True)
class _Reader:
    """A place in the text, and the lines found up to it."""

    text: str
    at: int = 0
    lines: dict[KeyPath, int] = field(default_factory=dict)
    counts: dict[KeyPath, int] = field(default_factory=dict)
    repeated: list["Repeat"] = field(default_factory=list)
    headings: set[KeyPath] = field(default_factory=set)
    ends: list[int] = field(default_factory=list)
    tables: list[tuple[int, KeyPath]] = field(default_factory=list)  # the line of each heading, and the table that it begins

    def note(self, path: KeyPath) -> None:
        self.lines.setdefault(path, self.line)

    @property
    def line(self) -> int:
        return bisect_left(self.ends, self.at) + 1

    def note_once(self, path: KeyPath, *, is_heading: bool) -> None:
        """Note a place that no text may name twice; where it does, that is kept too."""
        if path in self.lines:
            self.repeated.append(Repeat(path, self.lines[path], self.line, is_heading, path in self.headings))
        self.note(path)
        if is_heading:
            self.headings.add(path)

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        self.at = match.end() if match else self.at + 1
        return match[0] if match else ""

    def next_is(self, mark: str) -> bool:
        return self.text.startswith(mark, self.at)


def key_lines(text: str) -> dict[KeyPath, int]:
    """Line, counted from 1, of every table heading, key and array item; path steps into arrays count from 0."""
    return _read(text).lines


def remarks(text: str, longest: int) -> Iterator[Remark]:
    """Every comment of the text, from the top, each up to a length."""
    reader = _read(text)
    starts, depth = [line for line, _ in reader.tables], 0
    for found in MARKS.finditer(reader.text):
        if found[0] in {"[", "]"}:
            depth += 1 if found[0] == "[" else -1
        elif found[0].startswith("#"):
            place = found.start()
            line = bisect_left(reader.ends, place) + 1
            before = reader.text[reader.ends[line - 2] + 1 if line > 1 else 0 : place].strip()
            latest = bisect_right(starts, line) - 1
            yield Remark(line, found[0][1 : longest + 1], before, reader.tables[latest][1] if latest >= 0 else (), depth > 0)


def repeats(text: str, last_line: int) -> list[Repeat]:
    """Keys and tables that stand twice in the text up to a line; for texts that the standard library reads up to there."""
    try:
        return _read("".join(text.replace("\r\n", "\n").splitlines(keepends=True)[:last_line])).repeated
    except (RecursionError, ValueError):  # the rest of the text's fault is told without them
        return []


def _read(text: str) -> _Reader:
    text = text.replace("\r\n", "\n")
    reader = _Reader(text, ends=[place for place, letter in enumerate(text) if letter == "\n"])
    table: KeyPath = ()
    while reader.at < len(reader.text):
        reader.skip(WHITE)
        if reader.at >= len(reader.text):
            break
        table = _heading(reader) if reader.next_is("[") else table
        if not reader.next_is("\n") and reader.at < len(reader.text):
            _entry(reader, table)
    return reader


def _keys(reader: _Reader) -> list[str]:
    keys, more = [], True
    while more and (match := KEY_PIECE.match(reader.text, reader.at)):
        reader.at = match.end()
        quoted = match[1][0] in "\"'"
        keys.append(tomllib.loads(f"k = {match[1]}")["k"] if quoted else match[1])
        more = match[2] is not None
    return keys


def _inside(reader: _Reader, path: KeyPath) -> KeyPath:
    """The path of a table as a heading means it: an array of tables stands for its latest member."""
    return (*path, reader.counts[path] - 1) if path in reader.counts else path


def _heading(reader: _Reader) -> KeyPath:
    start, is_array = reader.at, reader.next_is("[[")
    reader.at += 2 if is_array else 1
    *parents, last = _keys(reader)
    path: KeyPath = ()
    for key in parents:
        path = _inside(reader, (*path, key))
    path = (*path, last)
    if is_array:
        reader.counts[path] = reader.counts.get(path, 0) + 1
    end, reader.at = reader.at + (2 if is_array else 1), start
    if is_array and reader.counts[path] > 1:
        reader.note(path)
    else:
        reader.note_once(path, is_heading=True)
    path = _inside(reader, path)
    reader.note(path)
    reader.tables.append((reader.line, path))
    reader.at = end
    reader.skip(re.compile(r"[ \t]*(?:#[^\n]*)?"))
    return path


def _entry(reader: _Reader, table: KeyPath) -> None:
    path, (*parents, last) = table, _keys(reader) or [""]
    for key in parents:
        path = (*path, key)
        reader.note(path)
    path = (*path, last)
    reader.note_once(path, is_heading=False)
    reader.at += 1  # the equals sign
    _value(reader, path)


def _value(reader: _Reader, path: KeyPath) -> None:
    reader.skip(WHITE)
    if reader.next_is("["):
        _array(reader, path)
    elif reader.next_is("{"):
        _inline_table(reader, path)
    elif reader.next_is('"') or reader.next_is("'"):
        reader.skip(TEXT)
    elif not reader.skip(PLAIN):
        reader.at += 1  # a stray bracket, in a text that is no TOML: on, so that reading ends


def _array(reader: _Reader, path: KeyPath) -> None:
    reader.at += 1
    place = 0
    while reader.at < len(reader.text):
        reader.skip(WHITE)
        if reader.next_is("]"):
            reader.at += 1
            return
        if reader.next_is(","):
            reader.at += 1
            continue
        reader.note((*path, place))
        _value(reader, (*path, place))
        place += 1


def _inline_table(reader: _Reader, path: KeyPath) -> None:
    reader.at += 1
    while reader.at < len(reader.text):
        reader.skip(WHITE)
        if reader.next_is("}"):
            reader.at += 1
            return
        if reader.next_is(","):
            reader.at += 1
            continue
        _entry(reader, path)


def line_of(path: KeyPath, lines: dict[KeyPath, int]) -> int | None:
    """Line of a key, or of the nearest table around it where the key itself is missing."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None
