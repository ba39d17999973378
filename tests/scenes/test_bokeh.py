"""The command `brimline bokeh`: a table that fits, data for programs, a page for each state."""

import json
from importlib.resources import files

import pytest
from click.testing import CliRunner

from scenes.commands.bokeh import command
from scenes.errors import SceneError

DEMO = str(files("scenes") / "demo" / "demo.toml")


def run(*words):
    return CliRunner().invoke(command, [DEMO, *words], standalone_mode=False)


def test_lines_keep_within_a_hundred_columns_and_name_the_part():
    done = run("--lens", "24", "--focus", "close")
    assert max(map(len, done.output.splitlines())) <= 100
    assert "front tray" in done.output
    assert done.return_value == 1


def test_data_names_every_place_of_the_frame():
    data = json.loads(run("--lens", "35", "--focus", "close", "--f-number", "2.8", "--json").output)
    (state,) = data["states"]
    assert len(state["places"]) == 15
    assert state["highlight_ahead_mm"] == "infinity"


def test_a_page_comes_for_each_state(tmp_path):
    run("--lens", "24", "--focus", "close", "--f-number", "2.8", "--out", str(tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["bokeh_24_at_450_f2.8.png"]


@pytest.mark.parametrize("said", ["-3", "far", "0"])
def test_a_place_that_is_none_is_told_how_to_write_it(said):
    done = run(f"--ahead={said}")
    assert isinstance(done.exception, SceneError)
    assert "write --ahead 2000" in str(done.exception)
