"""The command `brimline bokeh`: a table that fits, data for programs, a page for each state."""

import json
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner

from scenes.answers.options import Wanted
from scenes.questions.bokeh.answer import answer
from scenes.questions.bokeh.command import command
from scenes.questions.bokeh.figure import bokeh_figure
from scenes.scene_file.errors import SceneError
from scenes.sheets.style import LABEL_PT, MM_PER_INCH
from scenes.states.load import load_scene

DEMO = str(files("scenes") / "demo" / "demo.toml")


def run(*words):
    return CliRunner().invoke(command, [DEMO, *words], standalone_mode=False)


def test_lines_keep_within_a_hundred_columns_and_name_the_part():
    done = run("--lens", "24", "--focus", "close")
    assert max(map(len, done.output.splitlines())) <= 100
    assert "wide donut" in done.output
    assert done.return_value == 1


def test_data_names_every_place_of_the_frame():
    data = json.loads(run("--lens", "35", "--focus", "close", "--f-number", "2.8", "--json").output)
    (state,) = data["states"]
    assert len(state["places"]) == 15
    assert state["highlight_ahead_mm"] == "infinity"


def test_a_page_comes_for_each_state(tmp_path):
    run("--lens", "24", "--focus", "close", "--f-number", "2.8", "--out", str(tmp_path))
    assert {path.name for path in tmp_path.glob("[!.]*") if path.suffix != ".csv"} == {"bokeh.json", "bokeh_24_at_450_f2.8.png"}


def page_of(focus):
    (state,) = answer(load_scene(Path(DEMO)), wanted=Wanted(lenses=("24",), focus=(focus,), f_numbers=(2.8,))).blurred
    return bokeh_figure(state)


def test_what_a_highlight_loses_is_written_on_its_panel_and_what_the_lens_cuts_is_told_apart():
    near, far = (
        page_of("close"),
        page_of("infinity"),
    )  # the front ring of the 24 cuts into highlights far away at a near focus alone
    losses = [text.get_position()[1] for axes in near.axes for text in axes.texts]
    assert len(losses) > 10
    assert min(losses) > LABEL_PT * MM_PER_INCH / 72  # they hang from there
    told = ["the lens's own front cuts" in " ".join(text.get_text() for text in figure.texts) for figure in (near, far)]
    assert told == [True, False]


TWO_GUIDES = """
brimline = 1
[camera]
width_mm = 36
height_mm = 24
[[camera.guide]]
name = "low"
aspect = 3
[[camera.guide]]
name = "tall"
aspect = 0.5
[[lens]]
name = "20"
focal_mm = 20
f_number = 2.0
front_diameter_mm = 90
pupil_behind_front_mm = 30
[box]
[[box.mask]]
at_mm = 20
thickness_mm = 0.1
opening_mm = [200, 60]
"""


def test_a_highlight_of_the_second_guide_is_looked_at_too(tmp_path):
    # The tall guide's top edge, 12 mm up, sends its chief ray to (20 + 30) * 12 / 20 = 30 mm up in the mask: its very edge, which
    # takes half of the disc. The low guide reaches 6 mm up and 15 + 5 mm in the mask: whole. The 0.1 mm of the plate adds 0.06 mm.
    path = tmp_path / "two.toml"
    path.write_text(TWO_GUIDES)
    done = CliRunner().invoke(command, [str(path), "--ahead", "1e9", "--json"], standalone_mode=False)
    (state,) = json.loads(done.output)["states"]
    assert state["guide"] == "tall"
    assert max(place["lost_share"] for place in state["places"]) == pytest.approx(0.5, abs=0.02)
    assert done.return_value == 1


@pytest.mark.parametrize("said", ["-3", "far", "0"])
def test_a_place_that_is_none_is_told_how_to_write_it(said):
    done = run(f"--ahead={said}")
    assert isinstance(done.exception, SceneError)
    assert "write --ahead 2000" in str(done.exception)
