"""A zoom's front that goes to and fro over its focal lengths gets a word; one that goes one way, or there and back, gets none."""

import pytest

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene

FOCALS = (24, 35, 50, 70)


def told(travels, more="", focals=FOCALS):
    rows = "".join(
        f"[[lens.state]]\nfocal_mm = {focal}\npupil_behind_front_mm = 50\nfront_travel_mm = {travel}\n"
        for focal, travel in zip(focals, travels, strict=True)
    )
    lens = f'[[lens]]\nname = "z"\nf_number = 2.8\nfront_diameter_mm = 114\nfront_to_sensor_mm = 196\n{more}{rows}'
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}[box]\nahead_mm = 2\n', source="s.toml")
    return [note.text for note in doubtful_notes(scene, scene.lens[0]) if "goes to and fro over the zoom" in note.text]


@pytest.mark.parametrize("travels", [(18, 4, 11, 18), (12, 4, 11, 1.8), (0, 40, 11, 18), (0, 4, 11, 1.8), (0, 14, 1, 18)])
def test_a_front_that_goes_to_and_fro_is_told_with_all_rows(travels):
    (text,) = told(travels)
    rows = ", ".join(f"{travel} at {focal}" for travel, focal in zip(travels, FOCALS, strict=True))
    assert text.startswith(f"front_travel_mm = {rows} goes to and fro")


@pytest.mark.parametrize(
    "travels",
    [(0, 4, 11, 18), (30, 15, 4, 2), (0, -6, -9, -8), (9, 2, 2, 8), (0, 0, 0, 0), (0, 1, 0, 1), (12, 5, 4, 9)],
)
def test_a_front_that_goes_one_way_or_there_and_back_gets_no_word(travels):
    assert told(travels) == []


def test_three_rows_and_travels_that_were_measured_again_get_no_word():
    assert told((18, 4, 18), focals=FOCALS[:3]) == []
    assert told((18, 4, 11, 18), 'confirmed = ["front_travel_mm"]\n') == []
