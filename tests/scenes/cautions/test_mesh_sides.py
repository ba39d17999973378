"""Meshes with a side in their name that lie on another side are told; x runs to the operator's left in their files, y up."""

import pytest
import trimesh

from scenes.states.load import load_scene, plans_of

SCENE = """
brimline = 1
[camera]
format = "36x24"
[[lens]]
name = "50"
focal_mm = 50
f_number = 2.8
front_diameter_mm = 114
pupil_behind_front_mm = 46
[box]
ahead_mm = 4
back = { width_mm = 240, height_mm = 190, bore_mm = 130 }
[[box.solid]]
name = "NAME"
file = "part.stl"
"""


def told(folder, name, middle_mm, more=""):
    trimesh.creation.box((14, 14, 50)).apply_translation((*middle_mm, 80)).export(folder / "part.stl")
    (folder / "s.toml").write_text(SCENE.replace("NAME", name) + more, encoding="utf-8")
    notes = {note.text for plan in plans_of(load_scene(folder / "s.toml")) for note in plan.notes}
    return [text for text in notes if "its name says" in text]


@pytest.mark.parametrize(
    ("name", "middle_mm"),
    [
        ("lamp bracket right", (-138, 0)),
        ("bracket, left", (138, 0)),
        ("top visor", (0, 100)),
        ("right bracket", (-100, 120)),  # at the top right corner
        ("bracket", (138, 0)),
        ("top right bracket", (138, 0)),  # two sides: not told which
        ("right bracket", (3, 0)),  # in the middle
    ],
)
def test_a_mesh_on_the_side_of_its_name_is_not_told(tmp_path, name, middle_mm):
    assert told(tmp_path, name, middle_mm) == []


@pytest.mark.parametrize(
    ("turn_deg", "words"),
    [
        (90, "turn_deg = 90 puts its middle 138 mm below the box's centre line, and its name says right"),  # clockwise
        (-90, "turn_deg = -90 puts its middle 138 mm above the box's centre line, and its name says right"),
        (180, "turn_deg = 180 puts its middle 138 mm left of the box's centre line, and its name says right"),
    ],
)
def test_a_mesh_that_is_turned_to_another_side_is_told(tmp_path, turn_deg, words):
    (text,) = told(tmp_path, "lamp bracket right", (-138, 0), f"turn_deg = {turn_deg}\n")
    assert words in text


def test_a_visor_turned_upside_down_is_told(tmp_path):
    assert "100 mm below" in told(tmp_path, "top visor", (0, 100), "turn_deg = 180\n")[0]
    assert "100 mm below" in told(tmp_path, "eyebrow", (0, 100), "turn_deg = 180\n")[0]
    assert told(tmp_path, "top visor", (0, 100), "turn_deg = 20\n") == []


def test_a_mesh_drawn_mirrored_is_told_by_its_axes(tmp_path):
    (text,) = told(tmp_path, "lamp bracket right", (138, 0))
    assert "138 mm left of the box's centre line, and its name says right; check the file's axes" in text


def test_a_box_moved_aside_counts_from_its_own_centre_line(tmp_path):
    text = SCENE.replace("ahead_mm = 4", "ahead_mm = 4\noffset_mm = [4, -3]").replace("NAME", "bracket right")
    trimesh.creation.box((14, 14, 50)).apply_translation((-138, 0, 80)).export(tmp_path / "part.stl")
    (tmp_path / "s.toml").write_text(text + "turn_deg = 90\n", encoding="utf-8")
    notes = {note.text for plan in plans_of(load_scene(tmp_path / "s.toml")) for note in plan.notes}
    assert any("138 mm below the box's centre line" in text for text in notes)
