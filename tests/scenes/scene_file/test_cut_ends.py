"""A scene that was cut where it announces something is refused; ends that people leave are read."""

import pytest

from scenes.scene_file.errors import SceneError
from scenes.scene_file.parse import parse_scene
from tests.scenes.scene_file.test_lost_line_ends import SCENE

FLAG = """
# --- right flag ---
[[box.flag]]
name = "right flag"
side = "right"
angle_deg = 40
length_mm = 110
width_mm = 200
"""
ANNOUNCED = """# Flags|# flags:|## Flags ##|# --- right flag ---|# right flag|#flags on the hood|# the flag against the low sun:|
# =====\\n# Filters\\n# =====|# Lights|# lenses:|# French flag|# siders|# rods"""


@pytest.mark.parametrize("comment", ANNOUNCED.replace("|\n", "|").split("|"))
@pytest.mark.parametrize("end", ["\n", "", "\n\n"])
def test_a_scene_that_ends_with_a_comment_that_names_parts_is_refused(comment, end):
    with pytest.raises(SceneError, match=r"ends with the comment .*, and nothing stands behind it, as where a file was saved"):
        parse_scene(f"{SCENE}\n{comment}{end}", "s.toml")


@pytest.mark.parametrize("heading", ["[check]", "[check]   # what is judged"])
def test_a_scene_that_ends_with_a_heading_of_what_is_judged_is_refused(heading):
    with pytest.raises(SceneError, match="nothing stands under it"):
        parse_scene(f"{SCENE}\n{heading}\n", "s.toml")


def test_a_scene_cut_behind_each_of_its_lines_is_refused_where_it_announces_the_next():
    lines = (SCENE + FLAG).split("\n")
    cut = [number for number, line in enumerate(lines, 1) if line.startswith(("# --- right flag", "[[box.flag]]"))]
    for number in cut:
        with pytest.raises(SceneError, match=r"ends with|must be given|needs|lacks|missing"):
            parse_scene("\n".join(lines[:number]) + "\n", "s.toml")
    assert parse_scene(SCENE + FLAG, "s.toml").box.flag[-1].name == "right flag"


ENDS = """# end|# end of flags|# no flags|# flags: none|# that is all|# flags see sheet 2|# TODO: right flag|
# right flag is off today|# flag = 2|# [[box.flag]]|# [[box.flag]]\\n# side = "right"|# Flags\\n# [[box.flag]]\\n# side = "right"|
# shot on Monday|# rev B|
# Flags as on the first day of the shoot, measured with a tape by the grip|# mask 24|# measured by me|# vim: set ft=toml :|
# the flag was left out\\n# as the sun is behind|#|# ----|# lens 35 to be measured|[make]|# ok|# Flags?"""


@pytest.mark.parametrize("end", ENDS.replace("|\n", "|").split("|"))
def test_comments_and_headings_that_people_leave_at_the_end_are_read(end):
    parse_scene(f"{SCENE}\n{end}\n", "s.toml")


def test_a_comment_behind_the_last_value_announces_nothing():
    parse_scene(f"{SCENE.rstrip()}   # flags\n", "s.toml")
