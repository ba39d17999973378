"""What a key of a scene file may hold: its unit, limits, default and meaning, checked in one place.

Every model of the scene file derives from `Table`; every key is declared through `mm`, `deg`, `ratio`,
`text` and the like, so that its description, unit and limits reach complaints, schema and reference page alike.
"""

import math
import types
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticCustomError

from scenes.scene_file.messages import did_you_mean, nearest, number_way_out, plain, shown, text_as_mm, text_as_pair

INFINITY = "infinity"
CLOSE = "close"
MM_PER_SLIP = {"inches": 25.4, "metres": 1000.0, "centimetres": 10.0}  # units that lengths are written in by mistake
FLAT = "flat"
ENDLESS = (INFINITY, FLAT)  # words that stand for an endless length
LARGEST_LENGTH = 1e9  # mm: no length of a scene comes near, and arithmetic on it cannot overflow
LONGEST_NAME = 60
LONGEST_TEXT = 200

Fault = tuple[tuple[str | int, ...], str]
Focus = float | Literal["close"]


def fault(problem: str) -> PydanticCustomError:
    """A complaint about the key being read; where it stands is added by the parser."""
    return PydanticCustomError("fault", "{problem}", {"problem": problem})


def _field(text: str, default: Any, **extra: Any) -> Any:
    said = extra.pop("default_words", None)
    notes = {**extra, "x-default": said} if said else extra
    if callable(default):
        return Field(default_factory=default, description=text, json_schema_extra=notes)
    return Field(default, description=text, json_schema_extra=notes)


def quantity(text: str, low: float, high: float, default: Any = ..., *, unit: str = "", **extra: Any) -> Any:
    """A number (or array of numbers) with a unit and plausible limits."""
    return _field(text, default, **{"x-unit": unit, "minimum": low, "maximum": high, **extra})


def mm(text: str, low: float, high: float, default: Any = ..., **extra: Any) -> Any:
    """A length in mm."""
    return quantity(text, low, high, default, unit="mm", **extra)


def deg(text: str, low: float, high: float, default: Any = ..., **extra: Any) -> Any:
    """An angle in degrees."""
    return quantity(text, low, high, default, unit="deg", **extra)


def focus(text: str, default: Any = ..., *, words: tuple[str, ...] = (INFINITY,)) -> Any:
    """A focus distance from the image plane, or one of the words for it."""
    return mm(text, 20.0, 1e6, default, **{"x-words": words})


def text(meaning: str, default: Any = ..., *, longest: int = LONGEST_NAME, catalogue: str = "", default_words: str = "") -> Any:
    """A piece of text on one line; with `catalogue`, one of its names."""
    notes: dict[str, Any] = {"x-catalogue": catalogue} if catalogue else {}
    return _field(meaning, default, maxLength=longest, default_words=default_words, **notes)


def path(meaning: str, default: Any = ...) -> Any:
    """The path of a file, relative to the scene file; kept as written, never opened here."""
    return _field(meaning, default, maxLength=LONGEST_TEXT, **{"x-path": True})


def choice(meaning: str, default: Any = ...) -> Any:
    """One of a few words (or an array of them)."""
    return _field(meaning, default)


def loose(meaning: str, default: Any, shape: dict[str, Any], kind: str) -> Any:
    """A value of one of several shapes, as JSON Schema and in words; which one is right is for the table to say."""
    return _field(meaning, default, **shape, **{"x-kind": kind})


def part(meaning: str, default: Any = ...) -> Any:
    """A table inside a table, or an array of them."""
    return _field(meaning, default)


def bare(annotation: Any) -> Any:
    """The type that a key holds when it is given: without `| None` and without annotations."""
    if get_origin(annotation) is Annotated:
        return bare(get_args(annotation)[0])
    if get_origin(annotation) in {Union, types.UnionType}:
        rest = [item for item in get_args(annotation) if item is not type(None)]
        return bare(rest[0]) if rest[0] is float or len(rest) == 1 else annotation
    return annotation


def is_table(annotation: Any) -> bool:
    """Whether a type is one of the scene file's tables."""
    return isinstance(annotation, type) and issubclass(annotation, Table)


def table_of(annotation: Any) -> "type[Table] | None":
    """The table that a key holds, alone or in an array; None for plain values."""
    inner = bare(annotation)
    if get_origin(inner) is tuple:
        inner = bare(get_args(inner)[0])
    return inner if is_table(inner) else None


def table_at(model: "type[Table]", place: Iterable[str | int]) -> "type[Table] | None":
    """The table that stands at a path within another; None for plain values and where there is none."""
    table: type[Table] | None = model
    for step in place:
        if isinstance(step, str) and table is not None:
            field = table.model_fields.get(step)
            table = table_of(field.annotation) if field else None
    return table


@cache
def all_tables(model: "type[Table]") -> "tuple[tuple[str, type[Table]], ...]":
    """A model and every table inside it, each with its path as a heading has it."""
    return tuple(_tables_in(model, ""))


def _tables_in(model: "type[Table]", path: str) -> "Iterator[tuple[str, type[Table]]]":
    yield path, model
    for name, field in model.model_fields.items():
        inner = table_of(field.annotation)
        if inner is not None:
            yield from _tables_in(inner, f"{path}.{name}".removeprefix("."))


class Table(BaseModel):
    """One table of a scene file: frozen, no unknown keys, every key checked for type and plausible size."""

    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True, allow_inf_nan=True)

    def faults(self) -> Iterable[Fault]:
        """Every broken rule between this table's keys: the key it is about and the problem."""
        return ()

    @field_validator("*", mode="before")
    @classmethod
    def _key_is_plausible(cls, value: Any, info: ValidationInfo) -> Any:
        field = cls.model_fields[str(info.field_name)]
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        return checked(value, field.annotation, extra)

    @model_validator(mode="after")
    def _keys_agree(self) -> "Table":
        found = tuple(self.faults())
        if found:
            raise PydanticCustomError("faults", "keys disagree", {"faults": found})
        return self


def checked(value: Any, annotation: Any, extra: dict[str, Any]) -> Any:
    """The value, as the type it is kept in; raises the complaint if it cannot be that."""
    kind = bare(annotation)
    if get_origin(kind) is tuple:
        return _checked_array(value, get_args(kind), extra)
    if kind in {float, int}:
        return checked_number(value, extra, whole=kind is int)
    if kind is str:
        return _checked_text(value, extra)
    if get_origin(kind) is Literal:
        return _checked_choice(value, get_args(kind))
    if is_table(kind):
        return _checked_table(value)
    return value


def checked_number(value: Any, extra: dict[str, Any], *, whole: bool = False) -> float:
    """The number, finite and within its plausible limits."""
    words = extra.get("x-words", ())
    if isinstance(value, str) and words:
        return _checked_word(value, words)
    problem = _type_problem(value, str(extra.get("x-unit", ""))) or _size_problem(value, extra, words)
    if problem is None and whole and value != int(value):
        problem = f"must be a whole number, got {shown(value)}"
    if problem is not None:
        raise fault(problem)
    return int(value) if whole else float(value)


def _checked_word(value: str, words: tuple[str, ...]) -> Any:
    if value in words:
        return math.inf if value in ENDLESS else value
    listed = " or ".join(f'"{word}"' for word in words)
    length = text_as_mm(value)
    near = nearest(value, words)
    way_out = f"; write {plain(length)}" if length is not None else f'; did you mean "{near}"?' if near else ""
    raise fault(f"must be a plain number in mm or {listed}, got {shown(value)}{way_out}")


def _type_problem(value: Any, unit: str) -> str | None:
    kind = f"a plain number in {unit}" if unit else "a plain number"
    if isinstance(value, str):
        return f"must be {kind}, got the text {shown(value)}{number_way_out(value, lengths=unit == 'mm')}"
    if isinstance(value, list) and len(value) == 1 and is_number(value[0]):
        return f"must be {kind}, got an array; write {plain(value[0])}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return f"must be {kind}, got {shown(value)}"
    return None


def _size_problem(value: float, extra: dict[str, Any], words: tuple[str, ...]) -> str | None:
    low, high, unit = extra.get("minimum", -math.inf), extra.get("maximum", math.inf), str(extra.get("x-unit", ""))
    if isinstance(value, float) and not math.isfinite(value):
        endless = [word for word in words if word in ENDLESS]
        way_out = f'; write "{endless[0]}"' if endless and value > 0 else ""
        return f"must be a finite number, got {shown(value)}{way_out}"
    if low <= value <= high:
        return None
    limits = f"must be {plain(low)} to {plain(high)}{f' {unit}' if unit else ''}, got {shown(value)}"
    if value < low <= -value <= high:
        return f"{limits}; write {plain(-value)}, without the minus"
    if not unit and max(high, low * 100) < value <= high * 100:
        return f"{limits}; write {plain(value / 100)} if its point is missing"
    return limits + (_unit_slip([value], low, high) if unit == "mm" else "")


def slip_units(values: Sequence[float], low: float, high: float) -> list[str]:
    """The units, other than mm, that lengths out of their limits were probably written in; likeliest first."""
    if not (all(value > 0 for value in values) and min(values) < low):
        return []
    return [unit for unit, size in MM_PER_SLIP.items() if all(low <= value * size <= high for value in values)]


def _unit_slip(values: Sequence[float], low: float, high: float) -> str:
    """The way out when lengths fit their limits once read as inches, metres or centimetres."""
    guesses = [f"{in_mm(values, unit)} if that is in {unit}" for unit in slip_units(values, low, high)]
    return f"; write {' or '.join(guesses)}" if guesses else ""


def in_mm(values: Sequence[float], unit: str) -> str:
    """A length, or several in brackets, turned from a unit into mm, as it is to be written."""
    words = [plain(round(value * MM_PER_SLIP[unit], 2)) for value in values]
    return words[0] if len(words) == 1 else f"[{', '.join(words)}]"


def _checked_array(value: Any, kinds: tuple[Any, ...], extra: dict[str, Any]) -> Any:
    if table_of(kinds[0]) is not None:
        return _checked_tables(value)
    if get_origin(bare(kinds[0])) is tuple:
        return value  # rows of numbers have a reader of their own, which knows their columns
    size = None if Ellipsis in kinds else len(kinds)
    if not isinstance(value, list | tuple) or size not in {None, len(value)}:
        raise fault(
            f"must be an array {_array_words(size, kinds[0], extra)}, got {shown(value)}{_array_way_out(value, size, extra)}"
        )
    if slip := _array_slip(value, extra):
        raise fault(slip)
    return tuple(_checked_item(item, kinds[0], extra, place) for place, item in enumerate(value, 1))


def _array_words(size: int | None, kind: Any, extra: dict[str, Any]) -> str:
    things = "numbers" if bare(kind) in {float, int} else "texts"
    unit = f" in {extra['x-unit']}" if extra.get("x-unit") and things == "numbers" else ""
    return f"of {size} {things}{unit}" if size else f"of {things}{unit}"


def _array_way_out(value: Any, size: int | None, extra: dict[str, Any]) -> str:
    """How a text that holds two lengths, or one value alone, is written as an array."""
    pair = text_as_pair(value) if isinstance(value, str) and size == 2 and extra.get("x-unit") == "mm" else None
    if pair is not None:
        return f"; write [{plain(pair[0])}, {plain(pair[1])}]"
    alone = size is None and not isinstance(value, bool | dict | list | tuple)
    return f"; write [{shown(value)}]" if alone else ""


def _array_slip(values: Sequence[Any], extra: dict[str, Any]) -> str:
    """What is wrong with lengths that were all written in another unit; '' where they were not."""
    if extra.get("x-unit") != "mm" or not all(is_number(value) for value in values) or len(values) < 2:
        return ""
    low, high = extra.get("minimum", -math.inf), extra.get("maximum", math.inf)
    way_out = _unit_slip(values, low, high)
    found = ", ".join(plain(value) for value in values)
    return f"must be {plain(low)} to {plain(high)} mm each, got [{found}]{way_out}" if way_out else ""


def is_number(value: Any) -> bool:
    """Whether a value of a TOML file is a plain number, of a size that can be a length."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= LARGEST_LENGTH


def _checked_item(item: Any, kind: Any, extra: dict[str, Any], place: int) -> Any:
    try:
        return checked(item, kind, extra)
    except PydanticCustomError as error:
        problem = str((error.context or {}).get("problem", error))
        raise fault(f"value {place} {problem}") from None


def _checked_tables(value: Any) -> Any:
    """A single table counts as an array of one, so that [box.mask] works as well as [[box.mask]]."""
    if isinstance(value, dict) or is_table(type(value)):
        return (value,)
    if not isinstance(value, list | tuple):
        raise fault(f"must be a table or an array of tables, got {shown(value)}")
    return value


def _checked_table(value: Any) -> Any:
    if isinstance(value, list):
        raise fault("must be one table, got an array of tables; use single brackets [ ] in its heading")
    if not isinstance(value, dict) and not is_table(type(value)):
        raise fault(f"must be a table, got {shown(value)}")
    return value


def _checked_text(value: Any, extra: dict[str, Any]) -> str:
    longest = int(extra.get("maxLength", LONGEST_NAME))
    if not isinstance(value, str):
        number = not isinstance(value, bool) and isinstance(value, int | float)
        raise fault(f"must be text in quotes, got {shown(value)}" + (f'; write "{shown(value)}"' if number else ""))
    if not value.strip() or not value.isprintable() or len(value) > longest:
        raise fault(f"must be 1 to {longest} printable characters, got {shown(value)}")
    if extra.get("x-path") and "\\" in value:
        raise fault(f"must use forward slashes, got {shown(value)}; write {shown(value.replace(chr(92), '/'))}")
    return value


def _checked_choice(value: Any, known: tuple[str, ...]) -> Any:
    if isinstance(value, str) and value in known:
        return value
    listed = ", ".join(known)
    near = did_you_mean(value, known) if isinstance(value, str) else ""
    raise fault(f"must be one of {listed}, got {shown(value)}" + (f"; {near}" if near.startswith("did") else ""))
