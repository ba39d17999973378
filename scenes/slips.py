"""Lengths of one table that were probably written in the same wrong unit as one that does not fit its limits."""

from typing import Any

from scenes.fields import MM_PER_SLIP, Table, in_mm, is_number, slip_units

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
