"""Writes scenes/questions/NAME/schema.json, the JSON Schema of what each question prints with --json, from the answers themselves.

    python docs/schemas.py [NAME...]            # from the top of the repository; asks about the demo and the stored scenes
    python docs/schemas.py --anew [NAME...]     # and forgets what earlier answers had, such as a key that has gone

Keys that only some answers have are optional; no others are allowed. tests/test_schemas.py validates answers against the files.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from click.testing import CliRunner
from genson import SchemaBuilder

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from scenes.registry import questions  # noqa: E402

QUESTIONS = ROOT / "scenes" / "questions"
SCENES = (*sorted((ROOT / "tests/golden/scenes").glob("*.toml")), *sorted((ROOT / "scenes/demo").glob("*.toml")))
FEW = {"check": ["--pixels", "16"], "leaks": ["--columns", "32"], "tolerances": ["--builds", "10"], "beam": ["--at", "40"]}
TEXT = {"type": "string"}
# What lists hold that are empty in every answer that is asked for: sentences and names, or rows of these.
HELD = dict.fromkeys(("cautions", "files", "guessed", "keys", "left_out_as_dark", "lenses_alike", "not_shown"), TEXT)
HELD |= {"also_contradict": {"type": "array", "items": TEXT}}
ROWS = {"failed": ("key", "lens", "why"), "not_computed": ("key", "lens", "why"), "correlations": ("and", "of", "correlation")}
UNITS = ("mm", "mm2", "deg", "stops", "percent", "share", "number", "mm3", "kg", "n", "nm", "mpa")
MORE = {  # what only shows when it is asked for
    "flags": [["--changes"], ["--lens", "24", "--focus", "close", "--f-number", "2.8"]],  # of the demo: no angle clears them
    "widest": [["--no-lenses"]],
    "filters": [["--close-up", "1"]],
    "check": [["--pixels", "8", "--parts", "--prove"]],
}


def main() -> None:
    """Write a schema for each question, or for those named."""
    anew = "--anew" in sys.argv[1:]
    for name in [word for word in sys.argv[1:] if word != "--anew"] or questions():
        builder = SchemaBuilder(schema_uri="https://json-schema.org/draft/2020-12/schema")
        stored = QUESTIONS / name / "schema.json"
        if stored.is_file() and not anew:
            builder.add_schema(opened(json.loads(stored.read_text(encoding="utf-8"))))
        count = 0
        for data in answers(name):
            builder.add_object(data)
            count += 1
        schema = {"title": f"brimline {name} --json", **listed(closed(builder.to_schema()))}
        stored.write_text(json.dumps(schema, indent=1, sort_keys=True) + "\n", encoding="utf-8")
        sys.stdout.write(f"{name}: {count} answers\n")
        sys.stdout.flush()


def answers(name: str) -> Iterator[Any]:
    """What a question says of every scene that it can be asked about."""
    from scenes.cli import brimline

    if name in OWN:
        yield from OWN[name]()
        return
    for scene in SCENES:
        for options in (FEW.get(name, []), *MORE.get(name, [])):
            done = CliRunner().invoke(brimline, [name, str(scene), "--json", *options])
            if done.stdout.startswith("{"):  # not where a scene has no such lens, lights or tables
                yield json.loads(done.stdout)


def compared() -> Iterator[Any]:
    """What `compare` says of stills made for its tests: values that differ, a thing in frame, another lens."""
    from scenes.cli import brimline
    from tests.scenes.questions.compare.made_shoot import ANOTHER_LENS, make_shoot

    moved = {"box.ahead_mm": 9, "box.offset_mm.right": -2}
    for more in ({}, {"thing": (0.6, 0.1, 0.15, 0.3), "reference": False}, {"true_scene": ANOTHER_LENS}):
        with tempfile.TemporaryDirectory() as name:
            folder = make_shoot(Path(name), true=moved, unknown=tuple(moved), columns=480, **more)
            argv = ["compare", str(folder / "scene.toml"), "--shoot", str(folder / "shoot.toml"), "--json"]
            yield json.loads(CliRunner().invoke(brimline, argv).stdout)


def designed() -> Iterator[Any]:
    """What `design` says of scenes made for its tests: a box, several, limits that cannot hold, a box that nothing clears."""
    from scenes.cli import brimline
    from tests.scenes.questions.design.made import asked_in_many_ways

    with tempfile.TemporaryDirectory() as name:
        for place, text in enumerate(asked_in_many_ways()):
            scene = Path(name) / f"{place}.toml"
            scene.write_text(text, encoding="utf-8")
            yield json.loads(CliRunner().invoke(brimline, ["design", str(scene), "--json"]).stdout)


OWN = {"compare": compared, "design": designed}


def opened(schema: Any) -> Any:
    """A stored schema as the builder goes on with one: it has no word for objects without other keys, nor for a title."""
    if isinstance(schema, list):
        return [opened(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    kept = {key: value for key, value in schema.items() if value is not False and (key != "title" or isinstance(value, dict))}
    return {key: opened(value) for key, value in kept.items()}


def closed(schema: Any) -> Any:
    """The schema with whole numbers as numbers, and objects that have no other keys."""
    if isinstance(schema, list):
        return [closed(item) for item in schema]
    if not isinstance(schema, dict):
        return "number" if schema == "integer" else schema
    found = {key: closed(value) for key, value in schema.items()}
    if isinstance(found.get("type"), list):
        found["type"] = sorted(set(found["type"]))
        found["type"] = found["type"][0] if len(found["type"]) == 1 else found["type"]
    if "properties" in found:
        found["properties"] = {key: _measured(key, closed(value)) for key, value in schema["properties"].items()}
        found["additionalProperties"] = False
    return found


def listed(schema: Any, key: str = "") -> Any:
    """The schema, with what lists hold that were empty in every answer; KeyError where nobody has said it."""
    if not isinstance(schema, dict):
        return schema
    found = dict(schema)
    if found.get("type") == "array" and "items" not in found:
        found["items"] = HELD[key] if key in HELD else _row(ROWS[key])
    if "items" in found:
        found["items"] = listed(found["items"])
    if "anyOf" in found:
        found["anyOf"] = [listed(one, key) for one in found["anyOf"]]
    if "properties" in found:
        found["properties"] = {name: listed(one, name) for name, one in found["properties"].items()}
    return found


def _row(keys: tuple[str, ...]) -> Any:
    properties = {key: {"type": "number"} if key == "correlation" else TEXT for key in keys}
    return {"type": "object", "properties": properties, "required": sorted(keys), "additionalProperties": False}


def _measured(key: str, schema: Any) -> Any:
    """The schema of a key with a unit: null where there is no such number; the word "infinity" where a distance has no end."""
    (named, _, unit), seen = key.rpartition("_"), schema.get("type")
    seen = set(seen) if isinstance(seen, list) else {seen}
    if not named or unit not in UNITS or not seen <= {"number", "null", "string"}:
        return schema
    return {**schema, "type": sorted({"null", "number"} | seen | ({"string"} if unit == "mm" else set()))}


if __name__ == "__main__":
    main()
