"""JSON Schema of the scene file, for completion and checks in an editor. Made from the models."""

import math
from typing import Any

from scenes.scene_file.catalogue import filter_sizes, formats, rods
from scenes.scene_file.tables.box import CLAMP
from scenes.scene_file.tables.fields import INFINITY
from scenes.scene_file.tables.scene import Scene

SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"
LIMITS = ("minimum", "maximum")
TEXT_LIMITS = ("maxLength",)
HANDLED = {"title", "description", "default"}


def json_schema() -> dict[str, Any]:
    """The schema as plain values: every key with its meaning, type, limits and default."""
    made = Scene.model_json_schema()
    schema = _cleaned(made)
    schema["$defs"] = {name: _cleaned(table) for name, table in made["$defs"].items()}
    schema["properties"]["brimline"] = {"const": 1, "description": made["properties"]["brimline"]["description"]}
    return {"$schema": SCHEMA_DIALECT, "title": "Brimline scene file, version 1", **schema}


def _cleaned(table: dict[str, Any]) -> dict[str, Any]:
    """A table's schema without what only the program needs."""
    keys = ("type", "description", "additionalProperties", "required")
    properties = {name: _key(key) for name, key in table.get("properties", {}).items()}
    return {**{key: table[key] for key in keys if key in table}, "properties": properties}


def _key(made: dict[str, Any]) -> dict[str, Any]:
    shape = {key: value for key, value in made.items() if not key.startswith("x-") and key not in HANDLED}
    shape = _with_words(_limits_inside(_without_null(shape)), made.get("x-words", ()))
    names = {"enum": _names(made["x-catalogue"])} if "x-catalogue" in made else {}
    return {"description": _meaning(made), **_one_or_many(shape), **names, **_default(made)}


def _names(catalogue: str) -> list[str]:
    """The words that a key takes from the catalogue, so that the editor can offer them."""
    return {"formats": list(formats()), "filters": list(filter_sizes()), "mounts": [*rods(), CLAMP]}[catalogue]


def _without_null(shape: dict[str, Any]) -> dict[str, Any]:
    """TOML has no null: a key that may be left out is of its plain type when it is given."""
    options = [option for option in shape.get("anyOf", []) if option != {"type": "null"}]
    rest = {key: value for key, value in shape.items() if key != "anyOf"}
    if len(options) == 1:
        return {**rest, **options[0]}
    return {**rest, "anyOf": options} if options else rest


def _limits_inside(shape: dict[str, Any]) -> dict[str, Any]:
    """Limits of an array's numbers or texts belong to its items."""
    moved = {key: shape[key] for key in (*LIMITS, *TEXT_LIMITS) if key in shape}
    rest = {key: value for key, value in shape.items() if key not in moved}
    if "anyOf" in rest or "$ref" in rest:
        return rest
    if rest.get("type") != "array":
        return shape
    if "prefixItems" in rest:
        return {**rest, "prefixItems": [{**item, **moved} for item in rest["prefixItems"]]}
    items = rest.get("items", {})
    return {**rest, "items": {**items, **moved} if items.get("type") in {"number", "integer", "string"} else items}


def _with_words(shape: dict[str, Any], words: tuple[str, ...]) -> dict[str, Any]:
    """A length that may also be a word, alone or in an array."""
    if not words:
        return shape
    length = {"anyOf": [{"type": "number"}, {"enum": list(words)}]}
    return {"type": "array", "items": length} if shape.get("type") == "array" else length


def _one_or_many(shape: dict[str, Any]) -> dict[str, Any]:
    """An array of tables may hold one table and then be written as that table."""
    if shape.get("type") == "array" and "$ref" in shape.get("items", {}):
        return {"anyOf": [{"$ref": shape["items"]["$ref"]}, shape]}
    return shape


def _meaning(made: dict[str, Any]) -> str:
    unit, said = made.get("x-unit"), made.get("x-default")
    return made["description"] + (f" Unit: {unit}." if unit else "") + (f" Default: {said}." if said else "")


def _default(made: dict[str, Any]) -> dict[str, Any]:
    value = made.get("default")
    if value is None or "x-default" in made or value in ([], {}) or isinstance(value, dict):
        return {}
    if isinstance(value, list):
        return {"default": [INFINITY if item in {math.inf, INFINITY, None} else item for item in value]}
    return {"default": value}
