"""The beam command: closed forms in its table and JSON, what its picture shows, its exit status."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from scenes.questions.beam.command import command
from scenes.questions.beam.figure import beam_figure
from scenes.questions.beam.lens_panels import lenses_figure, sheets_of
from scenes.questions.beam.report import beam_in_plane, by_lens
from scenes.states.load import load_scene, plans_of

SCENE = """
brimline = 1
title = "one plate"

[camera]
width_mm = 36.0
height_mm = 24.0
pixels = [360, 240]
offset_mm = [1.0, 0.0]

[[lens]]
name = "20"
focal_mm = 20
f_number = 2.0
front_diameter_mm = 110
front_to_sensor_mm = 160
pupil_behind_front_mm = 36

[box]
mount = "clamp"
ahead_mm = 4

[[box.mask]]
name = "plate"
at_mm = 20
thickness_mm = 1
opening_mm = [{width}, 90]

[check]
f_numbers = [2.0]
focus_mm = ["infinity"]
"""

# (z + depth) x picture / focal + radius to each side, z = ahead + at: the frame's middle lies 1 mm to the right.
HALF_WIDTH_MM, HALF_HEIGHT_MM, RIGHT_MM = 60 * 18 / 20 + 5, 60 * 12 / 20 + 5, 60 * 1 / 20


@pytest.fixture
def scene(tmp_path):
    def written(width_mm=130):
        path = tmp_path / "scene.toml"
        path.write_text(SCENE.format(width=width_mm))
        return path

    return written


def told(*args):
    answer = CliRunner().invoke(command, [str(arg) for arg in args], standalone_mode=False, catch_exceptions=False)
    return answer.return_value, answer.stdout


def test_the_json_tells_the_frames_size_scaled_and_rounded_by_the_pupil(scene):
    status, text = told(scene(), "--at", 20, "--json")
    beam = json.loads(text)["beam"]
    assert status == 0
    assert beam["width_mm"] == pytest.approx(2 * HALF_WIDTH_MM, abs=0.03)
    assert beam["height_mm"] == pytest.approx(2 * HALF_HEIGHT_MM, abs=0.03)
    assert beam["right_mm"] == pytest.approx(RIGHT_MM, abs=0.02)
    assert beam["corner_mm"] == pytest.approx(5.0, abs=0.1)
    assert max(point[0] for point in beam["outlines_mm"][0]) == pytest.approx(HALF_WIDTH_MM + RIGHT_MM, abs=0.03)


def test_the_part_in_the_plane_is_clear_by_its_half_opening_less_the_beams_reach(scene):
    _, text = told(scene(), "--at", 20, "--json")
    (plate,) = json.loads(text)["parts"]
    assert plate["part"] == "plate"
    assert plate["clearance_mm"] == pytest.approx(65 - HALF_WIDTH_MM - RIGHT_MM, abs=0.03)


def test_a_part_in_the_beam_is_told_and_ends_with_status_1(scene):
    status, text = told(scene(118), "--at", 20.5)
    assert status == 1
    row = next(line for line in text.splitlines() if line.strip().startswith("plate"))
    assert float(row.split()[-1]) == pytest.approx(59 - (60.5 * 19 / 20 + 5), abs=0.06)


def test_the_table_keeps_within_a_hundred_columns_and_names_every_state(scene):
    status, text = told(scene(), "--at", 60)
    assert status == 0
    assert max(map(len, text.splitlines())) <= 100
    assert "infinity" in text
    assert "No part stands in this plane." in text


def test_the_picture_has_the_operators_right_on_the_right(scene, tmp_path):
    path = scene()
    status, _ = told(path, "--at", 20, "--out", tmp_path / "out")
    assert status == 0
    assert (tmp_path / "out" / "beam_at_20.png").stat().st_size > 10_000
    loaded = load_scene(path)
    figure = beam_figure(beam_in_plane(plans_of(loaded), 20.0), "one plate")
    (beam,) = [patch for patch in figure.axes[0].patches if patch.get_label() == "beam"]
    corners = beam.get_path().vertices
    assert corners[:, 0].max() == pytest.approx(HALF_WIDTH_MM + RIGHT_MM, abs=0.03)
    assert corners[:, 0].min() == pytest.approx(RIGHT_MM - HALF_WIDTH_MM, abs=0.03)


def test_lenses_have_a_panel_each_with_their_own_beam_at_one_scale(scene):
    """A 40 mm lens sees half of what a 20 sees, on the same pupil depth: its beam has half the width, but for the pupil."""
    path = scene()
    second = (
        path.read_text()
        .partition("[[lens]]")[2]
        .partition("[box]")[0]
        .replace('"20"', '"40"')
        .replace("focal_mm = 20", "focal_mm = 40")
    )
    path.write_text(path.read_text().replace("[box]\n", f"[[lens]]{second}[box]\n"))
    whole = beam_in_plane(plans_of(load_scene(path)), 20.0)
    figure = lenses_figure(whole, by_lens(whole), "one plate")
    panels = {axes.get_label(): axes for axes in figure.axes}
    assert list(panels) == ["20", "40"]
    assert panels["20"].get_xlim() == panels["40"].get_xlim()
    for name, half_mm in (("20", HALF_WIDTH_MM), ("40", 60 * 18 / 40 + 10)):
        (beam,) = [patch for patch in panels[name].patches if patch.get_label() == "beam"]
        corners = beam.get_path().vertices
        assert np.ptp(corners[:, 0]) == pytest.approx(2 * half_mm, abs=0.05)
    assert [list(some) for some in sheets_of(dict.fromkeys("abcdefghijk", whole))] == [list("abcdefghi"), list("jk")]
