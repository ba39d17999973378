"""State rows that end before infinity: a row that was lost there turned a dark frame clear.

A pupil lies deepest, or shallowest, at one end of the focus (common practice: floating groups and inner focus go one way); the
numbers are invented. 48, 42 and 41 mm go on from the nearer two to 42.7 at infinity: nothing is extrapolated, for it would not
reach the 48.
"""

import pytest

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene

ROWS = (('"infinity"', 48, 38, 0), (1500, 42, 36.2, 1.5), (600, 41, 35.8, 3))
CLOSE = "close_focus_mm = 600\n"


def told(rows, lens_more=CLOSE, check="", focal_mm=(25,)):
    text = "".join(
        f"[[lens.state]]\n{f'focal_mm = {focal}' if len(focal_mm) > 1 else ''}\nfocus_mm = {focus}\n"
        f"pupil_behind_front_mm = {depth}\n"
        f"half_field_deg = {field}\nfront_travel_mm = {travel}\n"
        for focal in focal_mm
        for focus, depth, field, travel in rows
    )
    lens = '[[lens]]\nname = "a"\nfocal_mm = 25\nf_number = 2\nfront_diameter_mm = 114\nfront_to_sensor_mm = 150\n'
    scene = parse_scene(
        f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}{lens_more}{text}[box]\nahead_mm = 2\n{check}', source="s.toml"
    )
    return [note for note in doubtful_notes(scene, scene.lens[0]) if "last given at focus_mm" in note.text]


def test_rows_that_end_before_infinity_are_told_with_every_column_that_moves():
    (note,) = told(ROWS[1:])
    assert note.text.startswith(
        "pupil_behind_front_mm = 42, half_field_deg = 36.2 and front_travel_mm = 1.5 are last given at focus_mm = 1500 and held "
        "from there to infinity, although they move with focus; is the row for infinity missing?"
    )
    assert note.may_be_slip  # so that the first line of a clear answer, and -q, send people to it


@pytest.mark.parametrize(
    ("rows", "key"),
    [
        ([(1500, 42, 36, 0), (600, 40, 36, 0)], "pupil_behind_front_mm = 42 is"),
        ([(1500, 42, 36, 0), (600, 42, 38, 0)], "half_field_deg = 36 is"),
        ([(1500, 42, 36, 1.5), (600, 42, 36, 4)], "front_travel_mm = 1.5 is"),
        ([(1500, "[40, 42]", 36, 0), (600, "[40, 44]", 36, 0)], "pupil_behind_front_mm = 42 is"),
    ],
)
def test_a_column_that_moves_alone_is_told_alone(rows, key):
    (note,) = told(rows)
    assert note.text.startswith(f"{key} last given at focus_mm = 1500")
    assert "although it moves with focus" in note.text


def test_a_zoom_whose_rows_end_before_infinity_is_told():
    (note,) = told(ROWS[1:], focal_mm=(24, 35))
    assert "held from there to infinity" in note.text


@pytest.mark.parametrize(
    ("rows", "more", "check"),
    [
        (ROWS, CLOSE, ""),
        (ROWS[1:2], CLOSE, ""),  # one row is the whole lens
        (ROWS[:1], CLOSE, ""),
        ([(1500, 42, 36, 0), (600, 42, 36, 0)], CLOSE, ""),  # nothing moves
        ([(6000, 43, 36, 0), (600, 41, 36, 0)], CLOSE, ""),  # as good as infinity
        (ROWS[1:], CLOSE, "[check]\nfocus_mm = [1500, 600]\n"),  # infinity is not looked at
        (ROWS[1:], 'confirmed = ["pupil_behind_front_mm", "half_field_deg", "front_travel_mm"]\n', ""),
    ],
)
def test_rows_that_reach_as_far_as_is_looked_or_do_not_move_get_no_word(rows, more, check):
    assert told(rows, more, check) == []


def test_a_farther_focus_that_is_asked_for_is_named():
    (note,) = told(ROWS[1:], CLOSE, "[check]\nfocus_mm = [4000, 600]\n")
    assert "held from there to 4000" in note.text
