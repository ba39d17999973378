"""What a newcomer types: bare `brimline`, --help, examples, lists, and Tab."""

import json
import re
import shlex
from pathlib import Path

import click
import pytest
from click.shell_completion import ShellComplete

from scenes import cli
from scenes.cli import brimline, grouped, main
from scenes.registry import COMMANDS, EXAMPLES
from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.trade_words import TRADE_WORDS

ROOT = Path(__file__).parents[2]
TYPED = [(name, typed) for name, examples in EXAMPLES.items() for typed, _ in examples]


def run(capsys, *argv):
    status = main(list(argv))
    said = capsys.readouterr()
    return status, said.out, said.err


def test_without_a_word_it_shows_its_help_and_nothing_is_wrong(capsys):
    bare, helped = run(capsys), run(capsys, "--help")
    assert bare == helped
    assert bare[0] == 0
    assert bare[1].startswith("Usage: brimline")


def test_every_command_stands_in_one_group_with_examples(capsys):
    listed = [name for names in grouped().values() for name in names]
    assert sorted(listed) == sorted(COMMANDS)
    assert "More" not in grouped()
    for name in COMMANDS:
        assert EXAMPLES[name], name
        assert "  Examples:\n    brimline " in run(capsys, name, "--help")[1], name


@pytest.mark.parametrize(("name", "typed"), TYPED, ids=[typed for _, typed in TYPED])
def test_an_example_has_options_and_values_as_the_command_takes_them(name, typed, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    first, *rest = shlex.split(typed)
    assert first == name
    command = brimline.get_command(click.Context(brimline), name)
    command.make_context(name, rest)  # UsageError where it does not


@pytest.mark.slow
def test_the_starter_scene_is_clear_in_every_state(tmp_path, capsys):
    path = str(tmp_path / "mine.toml")
    assert run(capsys, "new", path)[0] == 0
    status, out, _ = run(capsys, "check", path, "-q", "--pixels", "32", "--no-range")
    assert (status, out) == (0, "All 4 states are clear: the box stays out of every frame.\n")


def test_list_says_what_can_be_listed_and_each_of_that_is_a_list(capsys):
    status, out, _ = run(capsys, "list")
    assert status == 0
    names = re.findall(r"^brimline list (\w+)", out, re.MULTILINE)
    assert names == ["formats", "filters", "rods", "materials", "words"]
    assert all(json.loads(run(capsys, "list", name, "--json")[1])[name] for name in names)


def test_the_words_of_crews_are_those_of_the_nomenclature():
    table = (ROOT / "docs/nomenclature.md").read_text().partition("| on set | here |")[2].partition("\n\n")[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in table.strip().splitlines()[1:]]
    assert rows == [[", ".join(word.on_set), word.here] for word in TRADE_WORDS]


@pytest.mark.parametrize(
    ("key", "way_out"),
    [("french_flag", '[[box.flag]] with side = "top"'), ("sunshade", "[box.hood]"), ("Siders", '[[box.flag]] with side = "left"')],
)
def test_a_key_that_is_a_word_from_set_is_told_how_it_is_written_here(key, way_out):
    text = (ROOT / "scenes/demo/demo.toml").read_text() + f"\n[box.{key}]\nlength_mm = 1\n"
    with pytest.raises(SceneError, match=re.escape(f"is no key of this table; here that is {way_out}")):
        parse_scene(text, "demo.toml")


@pytest.fixture
def scene(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text('[[lens]]\nname = "24"\n[[lens]]\nname = "24-70"\n[[lens]]\nname = "35"\n[[light]]\nname = "low sun"\n')
    return str(path)


def completed(words, begun):
    return [item.value for item in ShellComplete(brimline, {}, "brimline", "_BRIMLINE_COMPLETE").get_completions(words, begun)]


def test_tab_completes_commands_and_the_names_of_the_scene_on_the_line(scene, tmp_path, monkeypatch):
    begun = []
    monkeypatch.setattr("scenes.runtime.first_run.begin_early", lambda: begun.append(1))
    assert completed([], "che") == ["check"]
    for command in ("check", "flags", "masks"):
        assert completed([command, scene, "--lens"], "") == ["24", "24-70", "35"]
    assert completed(["check", scene, "--lens"], "24-") == ["24-70"]
    assert completed(["sun", scene, "--light"], "L") == ["low sun"]
    assert completed(["widest", scene, "--like"], "3") == ["35"]
    assert completed(["check", "--lens"], "2") == []
    (tmp_path / "s.toml").write_text("[[lens]\n")
    assert completed(["check", scene, "--lens"], "") == []
    assert begun == []  # nothing is compiled to complete a word
    assert cli.COMPILED
