"""Any text at all gives a scene or clean complaints: random texts, mutated scenes, wrong values under every key."""

import random
import tomllib
from importlib.resources import files

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.tables.prescription import GlassFile, parse_prescription
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.toml_lines import key_lines

DEMO = files("scenes").joinpath("demo", "demo-36x24.toml").read_text(encoding="utf-8")
STARTER = files("scenes").joinpath("data", "starter.toml").read_text(encoding="utf-8")
GLASS = files("scenes").joinpath("demo", "glass", "retrofocus-28.toml").read_text(encoding="utf-8")
SCRAPS = [
    *"[]{}=,.#-\"'\\\n\t\x00é", "[[", "]]", '"""', "'''", "\r\n", "nan", "inf", "true", "1e999", "0x" + "f" * 400, "9" * 400,
    "1979-05-27T07:32:00Z", "[[[[", "mm", "lenses", "[box]", "[[lens]]", "{ a = { b = 1 } }", "[[], [[]]]", "\ud800", "-0.0",
    "1_000", "\\uD800", "brimline = 1\n",
]  # fmt: skip
WRONG = [
    "true", "nan", "-inf", '""', '"x"', "[]", "{}", "[1, [2]]", "{ a = 1 }", "1e308", "-1", "0", "9" * 30, "0x" + "f" * 300,
    "[[1, 2], [3, 4]]", '["18", 18]', "07:32:00", "1979-05-27", "[[]]", "[{}]", '"18 mm"', "'a\tb'", "0.5", "[0, 0]",
]  # fmt: skip
MANY = pytest.mark.parametrize("count", [400, pytest.param(5000, marks=pytest.mark.slow)])


def outcome(text, parse=parse_scene):
    """What came out: a scene, or None where complaints did; anything else is a failure."""
    try:
        return parse(text, "s.toml")
    except SceneError as error:
        complaints = error.complaints
    check_complaints(complaints, text)
    return None


def check_complaints(complaints, text):
    """Whole sentences, one line each, about lines that the text has."""
    assert complaints
    for complaint in complaints:
        assert complaint.problem
        assert len(str(complaint)) < 1500
        assert "\n" not in str(complaint)
        assert complaint.line is None or 1 <= complaint.line <= text.count("\n") + 1


def mutated(text, rng):
    """The text with one to four places cut, doubled, swapped or spoilt."""
    for _ in range(rng.randint(1, 4)):
        a, b = sorted(rng.sample(range(len(text) + 1), 2)) if len(text) > 2 else (0, 0)
        b = min(b, a + rng.choice([1, 3, 30, 300]))
        text = rng.choice([
            text[:a] + text[b:],
            text[:b] + text[a:],
            text[:a] + rng.choice(SCRAPS) + text[a:],
            text[:a] + rng.choice(SCRAPS) + text[b:],
            text[:a] + text[a:b][::-1] + text[b:],
        ])  # fmt: skip
    return text


def with_wrong_values(text, rng):
    """The text with the values of one to three keys replaced: still TOML, mostly."""
    rows = text.splitlines()
    places = [place for place, row in enumerate(rows) if "=" in row and not row.lstrip().startswith("#")]
    for place in rng.sample(places, rng.randint(1, 3)):
        rows[place] = f"{rows[place].split('=')[0]}= {rng.choice(WRONG)}"
    return "\n".join(rows)


@MANY
def test_mutated_scenes_give_scenes_or_complaints(count):
    rng, scenes = random.Random(1), 0
    for _ in range(count):
        scenes += isinstance(outcome(mutated(rng.choice([DEMO, STARTER]), rng)), Scene)
    assert 0 < scenes < count


@MANY
def test_wrong_values_give_scenes_or_complaints(count):
    rng, scenes = random.Random(2), 0
    for _ in range(count):
        scenes += isinstance(outcome(with_wrong_values(rng.choice([DEMO, STARTER]), rng)), Scene)
    assert 0 < scenes < count / 2


def test_spoilt_prescriptions_give_tables_or_complaints():
    rng, tables = random.Random(3), 0
    for _ in range(1000):
        tables += isinstance(outcome(mutated(GLASS, rng), parse_prescription), GlassFile)
    assert 0 < tables < 1000


def test_texts_of_scraps_give_complaints():
    rng = random.Random(4)
    for _ in range(2000):
        assert outcome("".join(rng.choices([*SCRAPS, "a", "1", " "], k=rng.randint(0, 30)))) is None


@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.text(max_size=200))
def test_any_text_gives_complaints(text):
    assert outcome(text) is None


def test_deep_nesting_is_a_complaint():
    for text in ("a = " + "[" * 5000 + "]" * 5000, "a = " + "{ a = " * 3000 + "1" + "}" * 3000, "[" + "a." * 5000 + "a]"):
        assert outcome(text) is None


values = st.recursive(
    st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(st.characters(codec="ascii", exclude_categories=["Cc"])),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=6,
)


def written(value):
    match value:
        case bool():
            return str(value).lower()
        case str():
            return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
        case list():
            return "[\n" + ",\n".join(map(written, value)) + "\n]"
    return str(value)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["a", "b-c", '"d e"', "'f.g'"]), values), max_size=6))
def test_each_key_is_found_on_its_line_whatever_stands_around_it(pairs):
    text, expected = "", {}
    for number, (key, value) in enumerate(pairs):
        expected["t", number, key.strip("\"'")] = text.count("\n") + 2
        text += f"[[t]]\n{key} = {written(value)} # ]\n"
    tomllib.loads(text)
    lines = key_lines(text)
    assert {path: lines[path] for path in expected} == expected
