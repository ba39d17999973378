"""Every question's JSON against its schema in the docs."""

import json
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

from scenes.cli import brimline
from scenes.registry import questions
from tests.scenes.questions.compare.made_shoot import make_shoot
from tests.scenes.questions.design.made import asked_in_many_ways, written

ROOT = Path(__file__).parents[1]
SCENES = ROOT / "tests" / "golden" / "scenes"
FEW = {
    "check": ["--pixels", "16"],
    "leaks": ["--columns", "32"],
    "tolerances": ["--builds", "10"],
    "beam": ["--at", "40"],
    "widest": ["--no-lenses"],
}
HEAD = ["brimline", "version", "program", "scene"]


@pytest.mark.parametrize("name", questions())
def test_what_a_question_prints_is_as_its_schema_says(name, tmp_path):
    schema = json.loads((ROOT / "scenes/questions" / name / "schema.json").read_text(encoding="utf-8"))
    scene = SCENES / ("anamorphic.toml" if name in {"tolerances", "masks"} else "lights.toml")
    few = FEW.get(name, [])
    if name == "compare":
        make_shoot(tmp_path, true={"box.ahead_mm": 9}, unknown=("box.ahead_mm",), columns=480)
        scene, few = tmp_path / "scene.toml", ["--shoot", str(tmp_path / "shoot.toml")]
    if name == "design":
        scene = written(tmp_path, next(iter(asked_in_many_ways())))
    done = CliRunner().invoke(brimline, [name, str(scene), "--json", *few], catch_exceptions=False)
    data = json.loads(done.stdout)
    jsonschema.validate(data, schema, cls=jsonschema.Draft202012Validator)
    assert list(data)[:4] == HEAD
    assert (data["brimline"], data["version"]) == (name, 2)
    assert {"states", "next_step", "cautions"} <= set(data)
    for state in data["states"]:
        assert list(state)[:5] == ["key", "lens", "focal_mm", "focus_mm", "f_number"]
    if name == "design":
        assert [set(mask) for one in data["designs"] for mask in one["masks"]] == [{"name", "lenses", "opening_mm"}] * 2


@pytest.mark.parametrize("name", ["check", "filters", "flags", "masks", "widest"])
def test_what_is_said_of_a_box_in_the_beam_is_as_its_schema_says(name):
    """The demo's widest lens close up: flags whose hinges no angle clears ("none"), glass that no size replaces."""
    schema = json.loads((ROOT / "scenes/questions" / name / "schema.json").read_text(encoding="utf-8"))
    one_state = ["--focus", "close", "--f-number", "2.8"] if name in {"check", "flags"} else []
    few = [*FEW.get(name, []), *([] if name == "widest" else ["--lens", "24"]), *one_state]
    done = CliRunner().invoke(brimline, [name, str(ROOT / "scenes/demo/demo.toml"), "--json", *few], catch_exceptions=False)
    data = json.loads(done.stdout)
    jsonschema.validate(data, schema, cls=jsonschema.Draft202012Validator)
    if name == "flags":
        assert "none" in {state["clear_deg"] for flag in data["flags"] for state in flag["states"]}


def lists_of_anything(schema, place=""):
    """Where a schema has a list and does not say of what."""
    if not isinstance(schema, dict):
        return
    if "array" in (schema.get("type") or ()) and "items" not in schema:
        yield place
    for key, one in schema.get("properties", {}).items():
        yield from lists_of_anything(one, f"{place}/{key}")
    yield from lists_of_anything(schema.get("items"), f"{place}[]")
    for one in schema.get("anyOf", ()):
        yield from lists_of_anything(one, place)


@pytest.mark.parametrize("name", questions())
def test_every_list_in_a_schema_says_what_it_holds(name):
    schema = json.loads((ROOT / "scenes/questions" / name / "schema.json").read_text(encoding="utf-8"))
    assert list(lists_of_anything(schema)) == []


def test_a_key_that_no_schema_has_is_refused():
    schema = json.loads((ROOT / "scenes/questions/beam/schema.json").read_text(encoding="utf-8"))
    done = CliRunner().invoke(brimline, ["beam", str(SCENES / "lights.toml"), "--json", "--at", "40"], catch_exceptions=False)
    data = json.loads(done.stdout) | {"extra": 1}
    with pytest.raises(jsonschema.ValidationError, match="extra"):
        jsonschema.validate(data, schema, cls=jsonschema.Draft202012Validator)
