"""TOML text -> Scene, or every complaint about it at once. Pure: opens no file, prints nothing."""

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from typing import Any, TypeVar, get_origin

from pydantic import ValidationError

from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.examples import example_line, example_table
from scenes.scene_file.lost_line_ends import joined_lines
from scenes.scene_file.messages import KeyPath, key_words, nearest, number_way_out, plain, shown, text_as_mm, value_at
from scenes.scene_file.tables.box import PART_KEYS
from scenes.scene_file.tables.fields import LONGEST_TEXT, Fault, Table, all_tables, bare, table_at
from scenes.scene_file.tables.scene import SCENE_VERSION, Scene, unknown_lens_faults
from scenes.scene_file.toml_lines import Repeat, key_lines, line_of, repeats
from scenes.scene_file.trade_words import in_the_scene_file
from scenes.scene_file.unit_slips import alike_elsewhere, also_in_that_unit

Model = TypeVar("Model", bound=Table)

SYNTAX_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
NUMBER_WITH_UNIT = re.compile(r"=\s*([-+]?\d*\.?\d+)\s*(mm|cm|m|inch|in|ft|um|deg|°|\")\s*(?:#.*)?$")
DENSITY_IN_STOPS = re.compile(r"^\s*density\s*=\s*(\d*\.?\d+)\s*-?stops?\b", re.IGNORECASE)
DENSITY_PER_STOP = 0.3  # log10(2), as filters are labelled: common practice
DECIMAL_COMMA = re.compile(r"=\s*\d+,\d+\s*(?:#.*)?$")
BARE_VALUE = re.compile(r"=\s*([^\s\"'\[{#][^\"'\[{#]*?)\s*(?:#.*)?$")
SEVERAL_VALUES = re.compile(r"=\s*([^\[\]{}\"']+,[^\[\]{}\"'#]+?)\s*(?:#.*)?$")
TWICE = re.compile(r"overwrite|declare|mutate|redefine|duplicate|twice", re.IGNORECASE)  # what the standard library says of them
BOUNDS_ONLY = re.compile(r"(?:value \d+ )?must be \S+ to [^;]*, got [^;]*")
MOST_COMPLAINTS = 100
MOST_LOOKED_AT = 4 * MOST_COMPLAINTS  # of the faults that are found: each is put into words, with the nearest known key
MOST_PLACES = 3  # where a key could belong: more of them are no help
# Where editors break a line and TOML does not: a comment goes on behind them, and takes what stands there for more of its words.
LINE_ENDS = re.compile("[\u0085\u2028\u2029]")
NOTHING_THERE = "holds no keys; write a commented scene to start from with `brimline new my-show.toml`"


def parse_scene(text: str, source: str) -> Scene:
    """The scene that a TOML text describes; SceneError with every complaint if it cannot be used.

    `source` is the name that complaints give the text, usually the file's.
    """
    data = read_toml(text, source)
    if not data:
        raise SceneError([Complaint("", NOTHING_THERE, None, source)])
    return scene_of(data, source, text)


def scene_of(data: dict[str, Any], source: str, text: str = "") -> Scene:
    """The scene that tables describe; SceneError with every complaint if it cannot be used. Lines are those of `text`."""
    _insist_on_version(data, text, source)
    return read_model(Scene, data, text, source, _misnamed_lenses)


def _misnamed_lenses(data: dict[str, Any]) -> Iterator[Fault]:
    """Lens names that parts give wrongly, found even where other faults keep the scene from being put together."""
    names = [lens["name"] for lens in _tables(data, "lens") if isinstance(lens.get("name"), str)]
    box = data.get("box")
    for key in PART_KEYS:
        for place, item in enumerate(_tables(box, key)):
            wanted = item.get("lenses")
            if isinstance(wanted, list):
                yield from unknown_lens_faults(names, [(key, place, [name for name in wanted if isinstance(name, str)])])


def _tables(data: Any, key: str) -> list[dict[str, Any]]:
    """The tables under a key, as far as they are tables."""
    found = data.get(key) if isinstance(data, dict) else None
    return [item if isinstance(item, dict) else {} for item in (found if isinstance(found, list) else [found])]


def _insist_on_version(data: dict[str, Any], text: str, source: str) -> None:
    """Another version's keys would only give misleading complaints, so this one comes alone."""
    found = data.get("brimline")
    if found is None or found is True or found == SCENE_VERSION:
        return
    if isinstance(found, int | float) and not isinstance(found, bool):
        problem = f"must be {SCENE_VERSION}, the version of scene file that this program reads, got {shown(found)}"
        raise SceneError([Complaint("brimline", problem, line_of(("brimline",), _lines(text)), source)])


def read_toml(text: str, source: str, model: type[Table] = Scene) -> dict[str, Any]:
    """The tables of a TOML text; SceneError where it is no TOML, or has lines that TOML takes for one.

    `model` tells the tables and keys that a comment may have swallowed.
    """
    if foreign := LINE_ENDS.search(text):
        raise SceneError([_line_end_complaint(foreign, source)])
    try:
        data = tomllib.loads(text)
        swallowed = list(islice(joined_lines(text, data, model), MOST_COMPLAINTS))
    except RecursionError:
        raise SceneError([Complaint("", "arrays or tables are nested too deep", None, source)]) from None
    except ValueError as error:  # besides TOML's own error: dates and numbers that Python cannot hold
        raise SceneError([_syntax_complaint(str(error), text, source)]) from None
    if swallowed:
        raise SceneError([Complaint(key_words(one.table, data), one.problem, one.line, source) for one in swallowed])
    return data


def _line_end_complaint(found: re.Match[str], source: str) -> Complaint:
    before = found.string[: found.start()]
    line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
    problem = (
        f"holds a line end of office programs and notes (U+{ord(found[0]):04X}) in column {column}, where TOML goes on with the "
        "same line, comments too; put a plain line end there, or paste the text as plain text"
    )
    return Complaint("", problem, line, source)


def _syntax_complaint(message: str, text: str, source: str) -> Complaint:
    place = SYNTAX_PLACE.search(message)
    line = int(place[1]) if place and place[1] else len(text.splitlines()) or None if place else None
    column = f" in column {place[2]}" if place and place[2] else ""
    rows = text.split("\n")
    written = rows[line - 1].strip() if line and line <= len(rows) else ""
    if line and TWICE.search(message) and (twice := next((r for r in repeats(text, line) if r.again == line), None)):
        return Complaint(key_words(twice.path, {}), _twice_words(twice), line, source)
    problem = SYNTAX_PLACE.sub("", message)
    problem = f"is no valid TOML: {problem[:1].lower()}{problem[1:]}{column}"
    return Complaint("", " ".join(problem.split()) + _syntax_way_out(problem, written), line, source)


def _twice_words(twice: Repeat) -> str:
    """Which key or table stands twice, where, and what to do about it."""
    lines = f"in lines {twice.first} and {twice.again}" if twice.first != twice.again else f"in line {twice.first}"
    table = ".".join(twice.names if twice.is_heading else twice.names[:-1])
    if twice.is_heading and twice.was_heading and _may_repeat(twice.path):
        return f"stands twice, {lines}; tables that come more than once need double brackets, each [[{table}]]"
    if twice.is_heading:
        return f"stands twice, {lines}; put all of its keys into one of them and take the other away"
    if any(isinstance(step, int) for step in twice.path):
        another = f"write [[{table}]] above line {twice.again} if another begins there"
        return f"stands twice in one table, {lines}; keep one, or {another}"
    return f"stands twice, {lines}; keep one of them"


def _may_repeat(path: KeyPath) -> bool:
    """Whether a scene may hold several tables of this name."""
    table = table_at(Scene, path[:-1])
    field = table.model_fields.get(str(path[-1])) if table else None
    return field is not None and get_origin(bare(field.annotation)) is tuple


def _syntax_way_out(problem: str, written: str) -> str:
    in_stops = DENSITY_IN_STOPS.search(written)
    if in_stops:
        return f"; write the optical density, {float(in_stops[1]) * DENSITY_PER_STOP:g}: a stop is {DENSITY_PER_STOP:g}"
    with_unit = NUMBER_WITH_UNIT.search(written)
    if with_unit:
        length = text_as_mm(with_unit[1] + with_unit[2])
        number = plain(length) if length is not None else with_unit[1]
        return f"; write the number alone, {number}: lengths are in mm, angles in degrees"
    if DECIMAL_COMMA.search(written):
        return "; write a decimal point, not a comma"
    if other := _other_habits(written):
        return other
    bare_value = BARE_VALUE.search(written) if len(written) <= LONGEST_TEXT else None
    if bare_value and (way_out := number_way_out(bare_value[1], lengths=False)):
        return way_out.replace("write", "write the number alone,", 1)
    if "cannot declare" in problem or "cannot overwrite" in problem or "twice" in problem:
        return "; tables that come more than once need double brackets, such as [[lens]]"
    if "invalid value" in problem and re.search(r"=\s*[A-Za-z]", written):
        return "; put texts in quotes"
    return ""


def _other_habits(written: str) -> str:
    """The way out where a line is written as other programs want it; '' where it is not."""
    if written.startswith(("{", "[{")):
        return "; this looks like JSON, a scene file is TOML: a line for each key, such as ahead_mm = 4"
    if any(mark in written for mark in "“”„‘’"):
        return '; write straight quotes, "..."'
    return "; put several values in brackets, such as [2.8, 4]" if SEVERAL_VALUES.search(written[:LONGEST_TEXT]) else ""


def _lines(text: str) -> dict[KeyPath, int]:
    try:
        return key_lines(text)
    except (RecursionError, ValueError):  # a line number is a help, never a reason to fail
        return {}


def read_model(
    model: type[Model],
    data: dict[str, Any],
    text: str,
    source: str,
    loose: Callable[[dict[str, Any]], Iterable[Fault]] = lambda _: (),
) -> Model:
    """The values of a TOML text; SceneError with every complaint if they cannot be used.

    `loose` finds faults that the models only look for once everything else is right.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        lines = _lines(text)
        further = (*loose(data), *alike_elsewhere(model, data))
        faults = [*_faults(model, data, error), *((_as_written(path, data), problem) for path, problem in further)]
    complaints = {Complaint(key_words(path, data), problem, line_of(path, lines), source): None for path, problem in faults}
    raise SceneError(sorted(complaints, key=lambda c: c.line or 0)[:MOST_COMPLAINTS])


def _faults(model: type[Table], data: dict[str, Any], error: ValidationError) -> Iterator[Fault]:
    details = error.errors(include_url=False)[:MOST_LOOKED_AT]
    misspelt = {_meant(model, detail["loc"]) for detail in details if detail["type"] == "extra_forbidden"}
    for detail in details:
        place = detail["loc"]
        context = detail.get("ctx", {})
        if detail["type"] == "default_factory_not_called" or (detail["type"] == "missing" and place in misspelt):
            continue  # each only follows from another complaint
        if detail["type"] == "faults":
            for inner, problem in context["faults"]:
                yield _as_written((*place, *inner), data), problem
        else:
            problem = _problem(model, place, detail["type"], context, detail["msg"])
            if BOUNDS_ONLY.fullmatch(problem):
                problem += _by_example(model, place)
            yield _as_written(place, data), problem + _same_slip(model, place, data)


def _same_slip(model: type[Table], place: KeyPath, data: Any) -> str:
    """The other lengths of a key's table that share its wrong unit."""
    table = value_at(_as_written(place, data)[:-1], data)
    kind = table_at(model, place[:-1])
    return also_in_that_unit(kind, table, str(place[-1])) if kind is not None and isinstance(table, dict) else ""


def _by_example(model: type[Table], place: KeyPath) -> str:
    """How a key out of its bounds is written, or what it means where no example has it."""
    line = example_line(place) if model is Scene else ""
    if line:
        return f"; for example {line}"
    table = table_at(model, place[:-1])
    meaning = (table.model_fields[str(place[-1])].description or "") if table is not None else ""
    return f"; it is the {meaning[:1].lower()}{meaning[1:].rstrip('.')}" if meaning else ""


def _problem(model: type[Table], place: KeyPath, kind: str, context: dict[str, Any], message: str) -> str:
    if kind == "fault":
        return str(context["problem"])
    if kind == "missing":
        return _missing(model, place)
    if kind == "extra_forbidden":
        return _unknown_key(model, place)
    if kind == "model_type":
        return "must be a table"
    return f"{message[:1].lower()}{message[1:]}"


def _missing(model: type[Table], place: KeyPath) -> str:
    """That a key is missing, and how it is written."""
    if model is not Scene:
        return "is missing"
    table = table_at(model, place)
    if table is not None:
        lines = " and ".join(f"`{row}`" for row in example_table(place).splitlines())
        return f"is missing; begin one with the lines {lines}" if lines else "is missing"
    line = example_line(place)
    return f"is missing; add a line such as: {line}" if line else "is missing"


def _unknown_key(model: type[Table], place: KeyPath) -> str:
    near = _meant(model, place)
    known = f"known: {', '.join(_known_keys(model, place))}"
    trade = in_the_scene_file(str(place[-1]))
    if trade and not near:
        return f"is no key of this table; here that is {trade}"
    way_out = f'did you mean "{near[-1]}"?' if near else _home_of(model, str(place[-1])) or known
    return f"is no key of this table; {way_out}"


def _home_of(model: type[Table], key: str) -> str:
    """The tables that a key belongs to, where it was written into another; '' if none or too many have it."""
    homes = [path for path, table in all_tables(model) if path and key in table.model_fields]
    return f"it belongs to {' or '.join(f'[{home}]' for home in homes)}" if 0 < len(homes) <= MOST_PLACES else ""


def _known_keys(model: type[Table], place: KeyPath) -> list[str]:
    table = table_at(model, place[:-1])
    return sorted(table.model_fields) if table else []


def _meant(model: type[Table], place: KeyPath) -> KeyPath:
    """Where the key stands that an unknown one was probably meant to be; () if none is near."""
    near = nearest(str(place[-1]), _known_keys(model, place))
    return (*place[:-1], near) if near else ()


def _as_written(path: KeyPath, data: Any) -> KeyPath:
    """The path as in the file: no place number where a single table stands for an array of one."""
    written: list[str | int] = []
    here = data
    for step in path:
        if isinstance(step, int) and isinstance(here, dict):
            continue
        written.append(step)
        if isinstance(here, dict):
            here = here.get(str(step))
        else:
            here = here[step] if isinstance(here, list) and isinstance(step, int) and step < len(here) else None
    return tuple(written)
