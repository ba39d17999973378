"""Where a tolerance belongs: a path in words -> the length or angle of the scene, and the scene with that value shifted."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar, cast

from scenes.scene_file.messages import KeyPath, did_you_mean, nearest, plain, shown
from scenes.scene_file.tables.fields import Fault, Table, table_of
from scenes.scene_file.tables.half_field import HalfFieldAngles
from scenes.scene_file.tables.lens import PUPIL_LIMITS, PupilDepth
from scenes.scene_file.tables.tolerance import Tolerance

AnyTable = TypeVar("AnyTable", bound=Table)

EACH = "each"
ROOTS = ("camera", "lens", "box")  # what beam and parts are made of; lights and checks move neither
STEP = re.compile(r"([A-Za-z_]\w*)(?:\[(.+?)\])?(?:\.(?=.)|$)")
NUMBERED = re.compile(r"(\d+)(?:\s+[\"'](.*)[\"'])?")
SETTINGS = {("lens", "close_focus_mm"), ("state", "focal_mm"), ("state", "focus_mm")}  # what is set on a lens, not how it is built
PUPIL, WALK = "pupil_behind_front_mm", "pupil_walk"
ACROSS, SIZES, DIRECTIONS = ("right", "up"), ("width", "height"), ("horizontal", "vertical")
MOST_KEYS_TOLD = 14


class PathError(ValueError):
    """Why a path names no length or angle of a scene, as the end of a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One length or angle of a scene: its table, its key, which of a pair it is, and its value as the scene has it.

    limits are those that the scene file sets for it; `width` is how far it may lie off where the scene gives bounds.
    """

    table: KeyPath
    key: str
    part: str
    unit: str
    nominal: float
    limits: tuple[float, float]
    width: float = 0.0

    @property
    def place(self) -> tuple[KeyPath, str, str]:
        """Its table, its key, which of a pair it is."""
        return self.table, self.key, self.part


def spots_of(scene: Table, of: str) -> tuple[Spot, ...]:
    """The lengths or angles that a path names; PathError with a way out where it names none."""
    root = _steps(of)[0][0]
    if root not in ROOTS:
        raise PathError(_wrong_root(root, type(scene)))
    return tuple(spot for place, key, part in places_of(scene, of) for spot in spots_at(scene, place, key, part))


def places_of(scene: Table, of: str, *, tables: bool = False) -> list[tuple[KeyPath, str, str]]:
    """(path of the table, key, which of a pair) of every value that a path names; PathError with a way out where it names none.

    With `tables` a whole table, or an array of them, is a value too.
    """
    return list(_places(scene, (), _steps(of), tables=tables))


def _wrong_root(root: str, model: type[Table]) -> str:
    if root in model.model_fields:
        return f"must begin with {', '.join(ROOTS[:-1])} or {ROOTS[-1]}: {shown(root)} moves neither the beam nor a part"
    return f"must begin with {', '.join(ROOTS[:-1])} or {ROOTS[-1]}, got {shown(root)}; {did_you_mean(root, ROOTS)}"


def _steps(of: str) -> list[tuple[str, str]]:
    """(key, what stands in brackets) of each step of a path."""
    steps, end = [], 0
    while end < len(of) or not of:
        found = STEP.match(of, end)
        if found is None or found.end() == end:
            raise PathError(f"must name tables and a key, such as box.flag[top flag].angle_deg, got {shown(of)}")
        steps.append((found[1], (found[2] or "").strip()))
        end = found.end()
    return steps


def _places(table: Table, path: KeyPath, steps: Sequence[tuple[str, str]], *, tables: bool) -> Iterator[tuple[KeyPath, str, str]]:
    """(path of the table, key, part of a pair) of everything that the steps lead to from here."""
    (name, which), rest = steps[0], steps[1:]
    here = _path_words(path)
    if name not in type(table).model_fields:
        raise PathError(f"names no key of {here}, {shown(name)}; {_known(name, type(table))}")
    value = getattr(table, name)
    if table_of(type(table).model_fields[name].annotation) is None:
        if which or len(rest) > 1 or (rest and rest[0][1]):
            raise PathError(f"goes on beyond {name}, which holds no tables; of a pair write {name}.width or {name}.right")
        yield path, name, rest[0][0] if rest else ""
        return
    if tables and not rest and not which:
        yield path, name, ""
        return
    for inner_path, inner in _inner(value, (*path, name), which):
        if not rest:
            raise PathError(f"must go on to a length or angle of {_path_words(inner_path)}; {_known('', type(inner))}")
        yield from _places(inner, inner_path, rest, tables=tables)


def _known(word: str, model: type[Table]) -> str:
    keys = list(model.model_fields)
    near = nearest(word, keys)
    return f'did you mean "{near}"?' if near else f"known: {', '.join(_telling(model, keys)[:MOST_KEYS_TOLD])}"


def _telling(model: type[Table], keys: list[str]) -> list[str]:
    """The keys of a table that lead to a length or an angle."""
    fields = model.model_fields
    return [key for key in keys if _notes(model, key).get("x-unit") in {"mm", "deg"} or table_of(fields[key].annotation)]


def _inner(value: Any, path: KeyPath, which: str) -> Iterator[tuple[KeyPath, Table]]:
    """The tables under a key that the words in brackets pick."""
    words = _path_words(path)
    if value is None or value == ():
        raise PathError(f"names {words}, which this scene does not have")
    if not isinstance(value, tuple):
        if which:
            raise PathError(f"names one of several {words}, but there is only one: leave out [{which}]")
        yield path, value
        return
    for place in _picked(value, words, which):
        yield (*path, place), value[place]


def _picked(tables: Sequence[Any], words: str, which: str) -> Sequence[int]:
    """Places of the tables that the words in brackets pick: by name first, else by number from 1, or by both: 2 "top flag"."""
    names = [getattr(table, "name", None) for table in tables]
    bare = which.strip("\"'")
    if not which:
        if len(tables) > 1:
            first = names[0] or 1
            raise PathError(f"must say which of the {len(tables)}: {words}[{first}], or {words}[{EACH}] for each on its own")
        return (0,)
    if bare == EACH:
        return range(len(tables))
    if bare in names:
        return (names.index(bare),)
    numbered = NUMBERED.fullmatch(which)
    if numbered and 1 <= int(numbered[1]) <= len(tables) and numbered[2] in {None, names[int(numbered[1]) - 1] or ""}:
        return (int(numbered[1]) - 1,)
    known = [name for name in names if name] or [str(place + 1) for place in range(len(tables))]
    raise PathError(f"names no {words} of this scene, {shown(which if numbered else bare)}; {did_you_mean(bare, known)}")


def _path_words(path: KeyPath) -> str:
    words = ".".join(str(step) for step in path if isinstance(step, str))
    return words or "the scene"


def _notes(model: type[Table], key: str) -> dict[str, Any]:
    extra = model.model_fields[key].json_schema_extra
    return extra if isinstance(extra, dict) else {}


def at_path(scene: Table, path: KeyPath) -> Table:
    """The table at a path."""
    here: Any = scene
    for step in path:
        here = here[step] if isinstance(step, int) else getattr(here, step)
    assert isinstance(here, Table)
    return here


def spots_at(scene: Table, path: KeyPath, key: str, part: str = "") -> Iterator[Spot]:
    """One spot for a plain value, two for a pair of which none is picked."""
    table = at_path(scene, path)
    value, notes = getattr(table, key), PUPIL_LIMITS if key == WALK else _notes(type(table), key)
    unit = str(notes.get("x-unit", ""))
    kind = next(str(step) for step in reversed(path) if isinstance(step, str))
    if unit not in {"mm", "deg"}:
        raise PathError(f"must name a length or an angle, and {key} is none; {_known('', type(table))}")
    if (kind, key) in SETTINGS or (kind == "lens" and key == "focal_mm" and _is_zoom(table)):
        raise PathError(f"names {key}, which is a setting of the lens and not a measure of it; it is taken as it is set")
    if kind == "lens" and key in {PUPIL, WALK}:
        _insist_on_used_pupil(table, key)
    if value is None:
        raise PathError(f"names {key}, which this scene does not give; write it into {_path_words(path)} first")
    for name, nominal, width in _values(key, value, part):
        limits = (float(notes["minimum"]), float(notes["maximum"]))
        yield Spot(table=path, key=key, part=name, unit=unit, nominal=nominal, limits=limits, width=width)


def _is_zoom(lens: Table) -> bool:
    return any(row.focal_mm is not None for row in getattr(lens, "state", ()))


def _insist_on_used_pupil(lens: Table, key: str) -> None:
    """Refuse a pupil position that is written but stands back behind a better one."""
    name = getattr(lens, "name", "")
    if getattr(lens, "prescription", None) is not None:
        raise PathError(f"names {key}, but the pupil of {shown(name)} is traced through its prescription; leave this out")
    if key == PUPIL and getattr(lens, WALK, None) is not None:
        raise PathError(f"names {key}, but {WALK} of {shown(name)} stands in its place; write lens[{name}].{WALK}")
    if key == PUPIL and any(row.pupil_behind_front_mm is not None for row in getattr(lens, "state", ())):
        raise PathError(f"names {key}, but state rows stand in its place; write lens[{name}].state[{EACH}].{PUPIL}")


def _values(key: str, value: Any, part: str) -> list[tuple[str, float, float]]:
    """(part, nominal, width of the bounds) of a key's value; PathError where it has no such part."""
    if isinstance(value, PupilDepth):
        ends = {"": value.horizontal} if value.is_round else {name: getattr(value, name) for name in DIRECTIONS}
        found = [(name, (low + high) / 2, high - low) for name, (low, high) in ends.items()]
    elif isinstance(value, HalfFieldAngles):
        named = {"": value.horizontal} if value.vertical is None else {name: getattr(value, name) for name in DIRECTIONS}
        found = [(name, angle, 0.0) for name, angle in named.items()]
    elif key == WALK:
        found = [("", value[0][1], 0.0)]
    elif isinstance(value, tuple):
        found = [(name, number, 0.0) for name, number in zip(pair_names(key), value, strict=True)]
    else:
        found = [("", value, 0.0)]
    picked = [entry for entry in found if part in {"", entry[0]}]
    if not picked:
        known = [name for name, _, _ in found if name]
        raise PathError(f"names no part of {key}, {shown(part)}; {did_you_mean(part, known) if known else 'it is one number'}")
    return picked


def pair_names(key: str) -> tuple[str, str]:
    """What the two numbers of a pair are called."""
    return ACROSS if key == "offset_mm" else SIZES


def shifted(scene: AnyTable, spot: Spot, by: float) -> AnyTable:
    """The scene with one length or angle moved by so much off its nominal value."""
    return _changed(scene, (*spot.table, spot.key), lambda value: _moved(value, spot, by))


def _moved(value: Any, spot: Spot, by: float) -> Any:
    if isinstance(value, PupilDepth):
        certain = (spot.nominal + by, spot.nominal + by)
        if not spot.part:
            return PupilDepth(horizontal=certain, vertical=certain)
        other = {name: getattr(value, name) for name in DIRECTIONS}
        return PupilDepth(**{**other, spot.part: certain})
    if isinstance(value, HalfFieldAngles):
        name = spot.part or DIRECTIONS[0]
        return replace(value, **{name: getattr(value, name) + by})
    if spot.key == WALK:
        return tuple((field, depth + by, *sizes) for field, depth, *sizes in value)
    if isinstance(value, tuple):
        return tuple(v + by if name == spot.part else v for name, v in zip(pair_names(spot.key), value, strict=True))
    return value + by


def _changed(table: AnyTable, path: KeyPath, change: Callable[[Any], Any]) -> AnyTable:
    """The table with what stands at a path changed; nothing is checked again."""
    key, rest = str(path[0]), path[1:]
    value = getattr(table, key)
    if not rest:
        return table.model_copy(update={key: change(value)})
    if isinstance(rest[0], int):
        place = rest[0]
        return table.model_copy(update={key: (*value[:place], _changed(value[place], rest[1:], change), *value[place + 1 :])})
    return table.model_copy(update={key: _changed(value, rest, change)})


def range_problem(scene: Table, spot: Spot, low: float, high: float) -> str:
    """What is wrong with a tolerance that takes its value where the scene file allows none; '' where nothing is."""
    least, most = spot.limits
    for end in (spot.nominal - low, spot.nominal + high):
        if not least <= end <= most:
            return f"takes {spot.key} from {plain(spot.nominal)} to {plain(end)}, beyond its limits {plain(least)} to {plain(most)}"
    for by in (-low, high):
        faults = list(at_path(shifted(scene, spot, by), spot.table).faults())
        if faults:
            return f"takes {spot.key} to {plain(spot.nominal + by)}, where {'.'.join(map(str, faults[0][0]))} {faults[0][1]}"
    return ""


def tolerance_faults(scene: Table, tolerances: Sequence[Tolerance]) -> Iterator[Fault]:
    """What is wrong with the tolerances of a scene: places that are none, values beyond their limits, one place twice."""
    seen: set[tuple[KeyPath, str, str]] = set()
    for place, row in enumerate(tolerances):
        try:
            spots = spots_of(scene, row.of)
        except PathError as error:
            yield ("tolerance", place, "of"), str(error)
            continue
        for spot in spots:
            if problem := _spot_problem(scene, spot, seen, row.low, row.high):
                yield ("tolerance", place, "of"), problem
                break
            seen.add(spot.place)


def _spot_problem(scene: Table, spot: Spot, seen: set[tuple[KeyPath, str, str]], low: float, high: float) -> str:
    path = spot_path(scene, spot)
    if spot.place in seen:
        return f"names {path} a second time; keep one of them"
    if spot.width > 0:
        return f"names {path}, which is given by bounds: they are its tolerance; leave this out"
    return range_problem(scene, spot, low, high)


def spot_path(scene: Table, spot: Spot) -> str:
    """A spot as a scene file may write it: 'box.flag[top flag].angle_deg'."""
    return f"{table_path(scene, spot.table)}.{spot.key}{'.' if spot.part else ''}{spot.part}"


def table_path(scene: Table, path: KeyPath) -> str:
    """A table as a scene file may name it, 'box.flag[top flag]': it leads back to this one and no other."""
    words, here = "", cast("Any", scene)
    for step in path:
        if isinstance(step, int):
            words += f"[{_which(here, step)}]"
            here = here[step]
        else:
            words += f".{step}"
            here = getattr(here, step)
    return words.removeprefix(".")


def _which(tables: Sequence[Any], place: int) -> str:
    """What picks one of several: its name, else its number, with its name in quotes where the number is another's name."""
    name = getattr(tables[place], "name", None) or ""
    ways = [name, str(place + 1), f'{place + 1} "{name}"']
    return next((way for way in ways if way and _leads_to(tables, way) == (place,)), ways[-1])


def _leads_to(tables: Sequence[Any], which: str) -> tuple[int, ...]:
    try:
        return tuple(_picked(tables, "", which))
    except PathError:
        return ()
