"""The editor's schema accepts what the parser accepts, and the reference page tells every key."""

import json
import tomllib
from importlib.resources import files

import jsonschema
import pytest

from scenes.scene_file.examples import starter_text
from scenes.scene_file.json_schema import json_schema
from scenes.scene_file.reference_page import scene_file_reference
from scenes.scene_file.tables.fields import Table, table_of
from scenes.scene_file.tables.prescription import GlassFile
from scenes.scene_file.tables.scene import Scene


def accepted(text):
    """Faults that a general-purpose validator of JSON Schema finds."""
    data = json.loads(json.dumps(tomllib.loads(text), default=lambda value: value.isoformat()))
    return [error.json_path for error in jsonschema.Draft202012Validator(json_schema()).iter_errors(data)]


def demo(name):
    return files("scenes").joinpath("demo", name).read_text(encoding="utf-8")


def tables(model):
    """Every table of a file, outermost first."""
    yield model
    for field in model.model_fields.values():
        inner = table_of(field.annotation)
        if inner is not None:
            yield from tables(inner)


def test_the_schema_is_a_schema_without_anything_odd():
    jsonschema.Draft202012Validator.check_schema(json_schema())
    text = json.dumps(json_schema(), allow_nan=False)
    assert '"x-' not in text
    assert '"null"' not in text


@pytest.mark.parametrize("text", [starter_text(), demo("demo.toml"), demo("demo-36x24.toml")], ids=["starter", "65 mm", "36x24"])
def test_scenes_that_are_read_satisfy_the_schema(text):
    assert accepted(text) == []


@pytest.mark.parametrize(
    ("right", "wrong", "place"),
    [
        ("focal_mm = 25", 'focal_mm = "25"', "$.lens[0]"),
        ('format = "36x24"', 'format = "36x42"', "$.camera.format"),
        ("depth_mm = 60", "dept_mm = 60", "$.box.hood"),
        ("angle_deg = 50", "angle_deg = 500", "$.box.flag[0]"),
        ('"infinity", "close"', '"infinite"', "$.check.focus_mm[0]"),
        ("opening_mm = [138, 97]", "opening_mm = [138]", "$.box.stage[0]"),
        ("rear_mm = [170, 125]", "rear_mm = [170, 1]", "$.box.hood"),
        ("[34, 40]", "{ horizontal = 34 }", "$.lens[0]"),
    ],
)
def test_mistakes_do_not_satisfy_the_schema(right, wrong, place):
    assert right in starter_text()
    found = accepted(starter_text().replace(right, wrong))
    assert found
    assert all(path.startswith(place.split("[")[0]) for path in found)


def test_every_key_says_what_it_means():
    checked = 0
    for model in (*tables(Scene), *tables(GlassFile)):
        assert issubclass(model, Table)
        for name, field in model.model_fields.items():
            assert field.description, (model, name)
            checked += 1
    assert checked > 120


def test_every_length_and_angle_has_a_unit_and_limits():
    for model in (*tables(Scene), *tables(GlassFile)):
        for name, field in model.model_fields.items():
            unit = {"mm": "mm", "deg": "deg", "stops": "stops"}.get(name.rsplit("_", 1)[-1])
            if unit is not None:
                assert field.json_schema_extra["x-unit"] == unit, (model, name)
                assert field.json_schema_extra["minimum"] < field.json_schema_extra["maximum"], (model, name)


def test_the_reference_page_has_every_table_and_key():
    page = scene_file_reference()
    for heading in ("[camera]", "[[camera.guide]]", "[[lens.state]]", "[box.stage.filter]", "[box.flag.extension]", "[light.sun]"):
        assert f"### `{heading}`" in page
    for model in (*tables(Scene), *tables(GlassFile)):
        for name, field in model.model_fields.items():
            assert f"| `{name}` |" in page
            assert field.description.replace("|", "\\|") in page
    assert all(row.count("|") - row.count("\\|") == 7 for row in page.splitlines() if row.startswith("| `"))


def test_the_reference_page_says_unit_limits_and_default():
    row = "| `lining` | number |  | 0 to 1 | 0.04 | Share of light that the inside scatters back (diffuse reflectance). |"
    assert row in scene_file_reference()
    row = '| `focus_mm` | array of numbers or `"infinity"` or `"close"` | mm | 20 to 1000000 | ["infinity", "close"] |'
    assert row in scene_file_reference()
