"""A pupil depth of one row far off the others is a slip that turns a dark frame clear: it gets a word, and steady rows none.

Pupils move by a few mm over a lens's focus (common practice; the depths of the steady rows are invented to that).
"""

import pytest
from click.testing import CliRunner

from scenes.cli import brimline
from scenes.rig.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene

STEADY = (38.4, 38.1, 37.8, 37.2)
FOCUS = ('"infinity"', "1200", "800", "450")
WORDS = "is far out of line with the rows beside it"


def told(depths, more=""):
    rows = "".join(
        f"[[lens.state]]\nfocus_mm = {focus}\npupil_behind_front_mm = {depth}\nfront_travel_mm = 0\n"
        for focus, depth in zip(FOCUS, depths, strict=False)
    )
    lens = f'[[lens]]\nname = "25"\nfocal_mm = 25\nf_number = 2\nfront_diameter_mm = 114\nfront_to_sensor_mm = 150\n{more}{rows}'
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}[box]\nahead_mm = 2\n', source="s.toml")
    return [note.text for note in doubtful_notes(scene, scene.lens[0]) if WORDS in note.text]


@pytest.mark.parametrize("depth", [20, 14, 8.4, 0, 56, 84])
@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("count", [3, 4])
def test_one_depth_far_off_the_others_is_told_with_the_row_it_is_in(depth, place, count):
    place = min(place, count - 1)
    (text,) = told([*STEADY[:place], depth, *STEADY[place + 1 : count]])
    focus = FOCUS[place].strip('"') + ("" if place == 0 else " mm")
    assert f"pupil_behind_front_mm = {depth} at focus {focus} {WORDS}" in text


@pytest.mark.parametrize(
    "depths",
    [
        STEADY,
        (60, 52, 44, 31),
        (31, 44, 52, 60),
        (40, 40, 40, 40),
        (38, 34),
        (38, 14),
        (40, 39, 37, 30),
        (12, 11, 14, 15),
        (70, 65, 60),
    ],
)
def test_depths_that_go_on_steadily_or_are_two_get_no_word(depths):
    assert told(depths) == []


def test_a_depth_that_was_measured_again_gets_no_word():
    assert told([38.4, 14, 37.8, 37.2], 'confirmed = ["pupil_behind_front_mm"]\n') == []


def test_lens_tells_it_of_a_table(tmp_path):
    rows = "\n".join(
        f"25,{focus},{depth},0,35.8" for focus, depth in zip(("infinity", 1200, 800, 450), (38.4, 14, 37.8, 37.2), strict=True)
    )
    table = tmp_path / "c.csv"
    table.write_text(f"focal_mm,focus_mm,pupil_behind_front_mm,front_travel_mm,half_field_deg\n{rows}\n")
    given = "--f-number 2 --front-diameter-mm 114 --front-to-sensor-mm 150 --width-mm 36 --height-mm 24"
    said = CliRunner().invoke(brimline, ["lens", str(table), *given.split(), "--close-focus-mm", "450", "--no-distortion"])
    assert said.exit_code == 0, said.output
    assert f"Check: pupil_behind_front_mm = 14 at focus 1200 mm {WORDS}" in " ".join(said.output.replace("\n# ", " ").split())


def test_lens_tells_a_zooms_depth_far_out_of_line_with_those_of_other_focal_lengths(tmp_path):
    rows = "\n".join(f"{focal},infinity,{depth},0" for focal, depth in ((28, 54), (45, 18), (70, 104)))
    table = tmp_path / "z.csv"
    table.write_text(f"focal_mm,focus_mm,pupil_behind_front_mm,front_travel_mm\n{rows}\n")
    given = "--f-number 2.8 --front-diameter-mm 114 --front-to-sensor-mm 230 --width-mm 36 --height-mm 24 --close-focus-mm 900"
    said = CliRunner().invoke(brimline, ["lens", str(table), *given.split(), "--no-distortion"])
    assert said.exit_code == 0, said.output
    told_of = "pupil_behind_front_mm = 18 at focal_mm = 45 is far out of line with the rows beside it, 54 at 28 and 104 at 70"
    assert told_of in " ".join(said.output.replace("\n# ", " ").split())


@pytest.mark.parametrize(
    ("near", "depth", "told_so"), [("300", 43, True), ("430", 43, False), ("300", 40.2, False), ("", 43, False)]
)
def test_rows_that_end_before_the_nearest_focus_are_told_where_the_depth_moves(near, depth, told_so):
    rows = "".join(
        f"[[lens.state]]\nfocus_mm = {focus}\npupil_behind_front_mm = {mm}\n" for focus, mm in [('"infinity"', 40), ("450", depth)]
    )
    lens = '[[lens]]\nname = "25"\nfocal_mm = 25\nf_number = 2\nfront_diameter_mm = 114\nfront_to_sensor_mm = 150\n'
    close = near and f"close_focus_mm = {near}\n"
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{lens}{close}{rows}[box]\nahead_mm = 2\n', source="s.toml")
    texts = [note.text for note in doubtful_notes(scene, scene.lens[0])]
    assert any("is last given at focus_mm = 450 and taken as 43 from there to 300" in text for text in texts) == told_so
