"""Lengths of one table that were probably written in the same wrong unit as one that does not fit its limits."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from scenes.scene_file.messages import KeyPath
from scenes.scene_file.tables.fields import MM_PER_SLIP, Fault, Table, in_mm, is_number, slip_units, table_of

HABIT = 3  # lengths in one wrong unit that make it a habit rather than a slip
LARGEST_WRITTEN = 12.0  # inches or centimetres: longer things than a foot stand in no box, and whole numbers above 2 may well be mm
LEAST_WHOLE = 2.0


def also_in_that_unit(model: type[Table], table: dict[str, Any], key: str) -> str:
    """'; if so, at_mm = 0.4 is 10.16 too' for the other lengths that look alike; '' where none does."""
    units = _units(model, table, key)
    if not units:
        return ""
    others = [(name, _lengths(table[name])) for name in table if name != key and _looks_alike(model, table, name, units[0])]
    told = [f"{name} is {in_mm(values, units[0])}" for name, values in others]
    return f"; if so, {' and '.join(told)} too" if told else ""


def alike_elsewhere(model: type[Table], data: dict[str, Any]) -> Iterator[Fault]:
    """Lengths in tables that pass, where so many others of the scene are in one wrong unit that these may be too."""
    tables = list(_tables(model, data, ()))
    slips = {path: [unit for key in table for unit in _units(kind, table, key)[:1]] for path, kind, table in tables}
    counts = Counter(unit for units in slips.values() for unit in units)
    if not counts or counts.most_common(1)[0][1] < HABIT:
        return
    unit = counts.most_common(1)[0][0]
    for path, kind, table in tables:
        for key in table if not slips[path] else ():
            if _looks_alike(kind, table, key, unit):
                yield (*path, key), f"may be in {unit} like others of this scene; write {in_mm(_lengths(table[key]), unit)} if so"


def _tables(model: type[Table], table: Any, path: KeyPath) -> Iterator[tuple[KeyPath, type[Table], dict[str, Any]]]:
    """Every table of a scene as it is written, with its path and its model."""
    if not isinstance(table, dict):
        return
    yield path, model, table
    for key, value in table.items():
        field = model.model_fields.get(key)
        inner = table_of(field.annotation) if field is not None else None
        if inner is not None and isinstance(value, list):
            for place, item in enumerate(value):
                yield from _tables(inner, item, (*path, key, place))
        elif inner is not None:
            yield from _tables(inner, value, (*path, key))


def _units(model: type[Table], table: dict[str, Any], key: str) -> list[str]:
    limits, values = _limits(model, key), _lengths(table.get(key))
    return slip_units(values, *limits) if limits and values else []


def _looks_alike(model: type[Table], table: dict[str, Any], key: str, unit: str) -> bool:
    limits, values = _limits(model, key), _lengths(table[key])
    if limits is None or not values or slip_units(values, *limits):
        return False  # a length that does not fit has a complaint of its own
    in_limits = all(limits[0] <= value * MM_PER_SLIP[unit] <= limits[1] for value in values)
    return in_limits and all(0 < value <= LARGEST_WRITTEN and (value % 1 > 0 or value <= LEAST_WHOLE) for value in values)


def _limits(model: type[Table], key: str) -> tuple[float, float] | None:
    field = model.model_fields.get(key)
    extra = field.json_schema_extra if field is not None else None
    if not isinstance(extra, dict) or extra.get("x-unit") != "mm":
        return None
    return float(str(extra["minimum"])), float(str(extra["maximum"]))


def _lengths(value: Any) -> list[float]:
    """The plain numbers of a key; none where it holds anything else."""
    values = value if isinstance(value, list) else [value]
    return [float(item) for item in values] if all(is_number(item) for item in values) else []
