"""Small wordings shared by every complaint about a scene file: found values, near misses, key paths."""

import datetime as dt
import json
import math
import re
from collections.abc import Iterable, Sequence
from difflib import get_close_matches

KeyPath = tuple[str | int, ...]

ALL_LIGHT = "all light"  # a loss that has no number worth saying
ALL_STOPS = 10.0  # a thousandth of the light: from here on nothing is left to see
WRITTEN_MM = 2e-5  # nearer to a thousandth of a mm than this is a written length, measured off a mesh
SHOWN_LENGTH = 40
SHORT_WORD = 3
UNITS_IN_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, '"': 25.4, "ft": 304.8, "um": 0.001}
BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
PAIR_WORDS = re.compile(r"\s*\[?([^,;x×\[\]]+)[,;x×]([^,;x×\[\]]+)\]?\s*")
RATIO = re.compile(r"\s*(\d+(?:[.,]\d*)?)\s*[:/]\s*(\d+(?:[.,]\d*)?)\s*")
STOP = re.compile(r"\s*([fFtT])\s*[/.:]?\s*(\d+(?:[.,]\d*)?)\s*")
NUMBER_AND_UNIT = re.compile(r"\s*([-+]?\d+(?:[.,]\d*)?|[-+]?\.\d+)\s*([A-Za-z\"°]*)\s*")


def _clipped(text: str) -> str:
    return text if len(text) <= SHOWN_LENGTH else text[: SHOWN_LENGTH - 3] + "..."


def shown(value: object) -> str:
    """The found value as a person would recognise it, never longer than a line."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return json.dumps(_clipped(value), ensure_ascii=not value.isprintable())
        case dict():
            return "a table"
        case list() | tuple():
            return "an empty array" if not value else f"an array of {len(value)}"
        case dt.date() | dt.time():
            return value.isoformat()
        case int() if value.bit_length() > 1024:  # beyond this even printing the digits may be refused
            return "a number of more than 300 digits"
    return _clipped(str(value))


def plain(number: float) -> str:
    """A number without trailing zeros: 114.3, 190, 0.04."""
    if not math.isfinite(number):
        return "infinity"
    return f"{number:.0f}" if 1e5 <= abs(number) < 1e15 else f"{number:.6g}"


def length_words(value_mm: float) -> str:
    """A length as the scene has it, to the thousandth, where it is one that a person wrote; else to the tenth of a mm."""
    written = round(value_mm, 3)
    return plain((written if abs(value_mm - written) < WRITTEN_MM else round(value_mm, 1)) + 0.0)  # adding 0 turns -0 into 0


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like this one, or None if nothing is close."""
    candidates = sorted(known)
    lower = {candidate.lower(): candidate for candidate in reversed(candidates)}
    likeness = 0.5 if len(word) <= SHORT_WORD else 0.6  # one slip in two letters, one in three of longer words
    close = get_close_matches(word.lower()[:100], lower, n=1, cutoff=likeness)
    return lower[close[0]] if close else None


def did_you_mean(word: str, known: Sequence[str]) -> str:
    """The way out for an unknown word: the nearest one, else the whole list."""
    near = nearest(word, known)
    if near:
        return f"did you mean {shown(near)}?"
    return f"known: {', '.join(one if one.isprintable() else shown(one) for one in known)}" if known else "none is known here"


def text_as_mm(text: str) -> float | None:
    """Length in mm that a text such as "114 mm" or '4.5"' stands for; None if it is no length."""
    match = NUMBER_AND_UNIT.fullmatch(text)
    if match is None or match[2].lower() not in {*UNITS_IN_MM, ""}:
        return None
    return float(match[1].replace(",", ".")) * UNITS_IN_MM.get(match[2].lower(), 1.0)


def text_as_number(text: str) -> float | None:
    """The number that a text such as "40 deg", "2.39:1", "f/2" or "T2" stands for; None if there is none."""
    if match := NUMBER_AND_UNIT.fullmatch(text):
        return _number(match[1])
    if match := STOP.fullmatch(text):
        return _number(match[2])
    match = RATIO.fullmatch(text)
    return _number(match[1]) / _number(match[2]) if match and _number(match[2]) else None


def _number(digits: str) -> float:
    return float(digits.replace(",", "."))


def number_way_out(text: str, *, lengths: bool) -> str:
    """What to write in place of a text that stands for a number: '; write 2.39'; '' where it stands for none."""
    number = text_as_mm(text) if lengths else text_as_number(text)
    if number is None:
        return ""
    stop = None if lengths else STOP.fullmatch(text)
    if stop is None:
        return f"; write {plain(round(number, 4))}"
    known = ", or the f-number where you know it: it is a little smaller than the T-stop" if stop[1] in "tT" else ""
    return f"; write {number if number % 1 else f'{number:.1f}'}{known}"


def text_as_pair(text: str) -> tuple[float, float] | None:
    """The two lengths in mm that a text such as "138 x 97" or "138 mm, 97 mm" stands for; None if it stands for no two."""
    match = PAIR_WORDS.fullmatch(text) if len(text) <= SHOWN_LENGTH else None
    ends = [text_as_mm(end) for end in match.groups()] if match else []
    return (ends[0], ends[1]) if len(ends) == 2 and ends[0] is not None and ends[1] is not None else None


def key_words(path: KeyPath, data: object) -> str:
    """Key path for people: box.stage[2 "front tray"].tilt_deg; places in arrays count from 1."""
    words, here = "", data
    for step in path:
        here = _inside(here, step)
        words += f"[{step + 1}{_name_of(here)}]" if isinstance(step, int) else f".{_key(step)}"
    return words.removeprefix(".")


def value_at(path: KeyPath, data: object) -> object:
    """What stands at a key path; None where nothing does."""
    for step in path:
        data = _inside(data, step)
    return data


def _inside(data: object, step: str | int) -> object:
    if isinstance(data, dict):
        return data.get(step)
    if isinstance(data, list) and isinstance(step, int) and step < len(data):
        return data[step]
    return None


def _key(step: str) -> str:
    return step if BARE_KEY.fullmatch(step) else json.dumps(_clipped(step))


def _name_of(table: object) -> str:
    name = table.get("name") if isinstance(table, dict) else None
    return f" {shown(name)}" if isinstance(name, str) and name else ""
