"""The worked example of the reference page: whole, ready to run, and the source of the lines that complaints quote."""

import re
from pathlib import Path

import pytest

from scenes.cli import main
from scenes.scene_file.examples import example_line, example_table
from scenes.scene_file.parse import parse_scene
from scenes.scene_file.reference_page import scene_file_reference
from scenes.scene_file.tables.fields import table_of
from scenes.scene_file.tables.scene import Scene
from scenes.states.state import states_of

PAGE = Path(__file__).parents[3] / "docs" / "scene-file.md"


def example_of(page):
    (text,) = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    return text


def test_the_page_in_the_documents_is_the_generated_one():
    assert PAGE.read_text(encoding="utf-8") == scene_file_reference()


def test_the_example_on_the_page_runs_as_it_stands(tmp_path, capsys):
    scene = tmp_path / "river.toml"
    scene.write_text(example_of(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    assert main(["check", str(scene), "--lens", "21", "--pixels", "16", "--no-pictures", "--threads", "1"]) == 0
    said = capsys.readouterr()
    assert "fault" not in said.out
    assert said.err == ""


def test_every_state_of_the_example_can_be_built():
    assert len(states_of(parse_scene(example_of(scene_file_reference()), "river.toml"))) == 6


def test_the_example_shows_every_kind_of_part_but_a_mesh():
    scene = parse_scene(example_of(scene_file_reference()), "river.toml")
    box = scene.box
    assert all((box.back, box.seal, box.stage, box.mask, box.hood, box.flag))
    assert [stage.filter.kind for stage in box.stage] == ["clear", "density"]
    assert (box.flag[0].extension.length_mm, box.flag[1].extension) == (70, None)


def test_the_page_says_to_which_table_an_inner_one_belongs():
    page = scene_file_reference()
    assert "`[box.stage.filter]` is the filter of the `[[box.stage]]` that\nstands last above it" in page
    assert "`[box.flag.extension]` the extension of the last `[[box.flag]]`" in page


@pytest.mark.parametrize(
    ("place", "line"),
    [(("lens", 3, "f_number"), "f_number = 2.0"), (("box", "flag", "side"), 'side = "top"'), (("lens", "colour"), "")],
)
def test_a_key_is_quoted_as_the_example_has_it(place, line):
    assert example_line(place) == line


def test_a_table_is_quoted_by_its_heading_and_first_key():
    assert example_table(("lens",)) == '[[lens]]\nname = "21"'
    assert example_table(("camera",)) == '[camera]\nformat = "36x24"'


def test_every_required_key_of_the_common_tables_has_an_example_line():
    checked = 0
    for path, model in (((), Scene), *inner(Scene, ())):
        for name, field in model.model_fields.items():
            if field.is_required() and path not in {("box", "solid"), ("light", "sun")}:
                assert example_line((*path, name)), (*path, name)
                checked += 1
    assert checked > 20


def inner(model, path):
    for name, field in model.model_fields.items():
        table = table_of(field.annotation)
        if table is not None:
            yield (*path, name), table
            yield from inner(table, (*path, name))
