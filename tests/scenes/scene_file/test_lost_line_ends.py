"""A line that has lost its line end behind a comment is refused, and comments that only speak of keys and tables are not."""

import re
import time
from itertools import pairwise
from pathlib import Path

import pytest

from scenes.scene_file.errors import SceneError
from scenes.scene_file.lost_line_ends import joined_lines
from scenes.scene_file.parse import parse_scene, read_toml
from scenes.scene_file.tables.prescription import GlassFile, parse_prescription
from scenes.scene_file.tables.scene import Scene
from scenes.scene_file.tables.shoot import Shoot

ROOT = Path(__file__).parents[3]
SCENE = """brimline = 1                        # version of the scene file
[camera]
format = "36x24"                    # recorded area
pixels = [96, 64]                   # size of the maps
[[lens]]
name = "25"                         # engraved
focal_mm = 25
f_number = 2.8                      # widest
front_diameter_mm = 136             # outside
front_to_sensor_mm = 150            # front rim to image plane
pupil_behind_front_mm = 40          # entrance pupil
[box]
ahead_mm = 2                        # of the front
back = { width_mm = 200, height_mm = 175, thickness_mm = 4, bore_mm = 152 }
[[box.mask]]                        # a cut-out close around the beam
at_mm = 28                          # ahead of the back plate
opening_mm = [138, 100]             # width, height
corner_mm = 6                       # radius
# ---- what hangs on it ----
[box.hood]
at_mm = 30                          # rear edge
depth_mm = 60                       # along the axis
rear_mm = [200, 160]                # inside
front_mm = [300, 230]               # inside, front
"""
FLAG = ["[[box.flag]]   # on the hood", 'side = "top"', "angle_deg = -5   # 90 stands out", "length_mm = 110", "width_mm = 260"]
# What a line end becomes: taken out, put right by an editor's "join lines", turned over in one bit (0x0A to 0x2A, to 0x4A).
JOINTS = ["", " ", "    ", "*", "J"]


def refused(text):
    with pytest.raises(SceneError) as caught:
        parse_scene(text, "s.toml")
    return [str(complaint) for complaint in caught.value.complaints]


def with_words(words, behind="corner_mm = 6                       # radius"):
    """The scene with more words behind one of its comments."""
    assert SCENE.count(behind) == 1
    return SCENE.replace(behind, behind + words)


@pytest.mark.parametrize("joint", JOINTS)
def test_a_key_that_lost_its_line_behind_a_comment_is_refused_with_its_line_and_a_way_out(joint):
    (complaint,) = refused(with_words(f"{joint}tilt_deg = 25   # leans"))
    assert complaint == (
        "s.toml:18: box.mask[1]: holds tilt_deg = 25 within a comment, where it counts for nothing; put it on a line of its own, "
        "or take the = out of the comment"
    )


@pytest.mark.parametrize("joint", JOINTS)
def test_a_block_that_lost_its_lines_behind_a_comment_is_refused(joint):
    (complaint,) = refused(SCENE.rstrip() + joint + (joint or " ").join(FLAG) + "\n")
    assert complaint == (
        "s.toml:24: box.hood: holds [[box.flag]] within a comment, where it counts for nothing; put it on a line of its own, "
        "or take it out of the comment"
    )


@pytest.mark.parametrize(
    "words",
    [
        " tilt_deg = 25",
        " tilt_deg = +2_5.0e0 name = 'leaning'",
        ' name = "leaning # one"',
        ' lenses = ["25"]',
        ' lenses = [ "25", ]  # for this one',
        " [box.hood]",
        " [check]   # what is judged",
        ' [[ light ]] name = "sun"',
        " as it comes in [box.hood] at_mm = 30",
    ],
)
def test_whatever_the_lost_line_sets_it_is_refused(words):
    assert len(refused(with_words(words))) == 1


def test_a_key_behind_the_comment_of_its_heading_is_refused_and_a_dotted_one_too():
    assert (
        "box.mask[1]: holds tilt_deg = 25 "
        in refused(with_words(" tilt_deg = 25", "[[box.mask]]                        # a cut-out close around the beam"))[0]
    )
    assert 'box: holds seal.kind = "donut" ' in refused(with_words(' seal.kind = "donut"', "# of the front"))[0]
    assert 's.toml:1: holds title = "A show" ' in refused(with_words('title = "A show"', "# version of the scene file"))[0]


@pytest.mark.parametrize("joint", JOINTS)
def test_a_block_that_lost_its_lines_behind_a_line_that_is_all_comment_is_refused(joint):
    block = (joint or " ").join(FLAG)
    assert "s.toml:25: box.hood: holds [[box.flag]] " in refused(f"{SCENE}# as on the day{joint}{block}\n")[0]


@pytest.mark.parametrize(
    ("key", "comment", "found"),
    [
        ("rows = [\n[0, 1], # axis [5, 0.9],\n[6, 0.8]]", 2, "[5, 0.9]"),
        (
            "rows = [ # from the front { radius_mm = 40, thickness_mm = 5 },\n{ radius_mm = 2 }]",
            1,
            "{ radius_mm = 40, thickness_mm = 5 }",
        ),
        ('rows = [\n"infinity", # far "close", # near\n350]', 2, '"close"'),
        ("rows = [\n2.8, # widest 4.0,\n5.6]", 2, "4.0"),
    ],
)
def test_an_item_that_lost_its_line_within_an_array_is_refused(key, comment, found):
    with pytest.raises(SceneError) as caught:
        read_toml(f"{key}\n", "s.toml")
    assert str(caught.value.complaints[0]).startswith(
        f"s.toml:{comment}: holds {found} within a comment, where it is no item of the array"
    )


@pytest.mark.parametrize(
    "words",
    [
        "; or instead tilt_deg = 25",
        "; was tilt_deg = 20 and name = 'old'",
        ", with tilt_deg = 25",
        ", not at tilt_deg = 25",
        ", for example tilt_deg = 25",
        " # tilt_deg = 25",  # a comment already where it had its own line
        " # [[box.flag]]",
        " (tilt_deg = 25)",
        ", `tilt_deg = 25` leans it",
        ", tilt_deg = 25 leans it",
        ", tilt_deg = as drawn",
        ", at_mm = 29",  # a table sets a key once: no lost line
        ", width_mm = 3",  # of another table
        ", r = 6, 4:3 = wide",
        ", see [check]",
        ", as drawn in [box.hood]",
        " belongs to the [[box.mask]] above",
        ", [1] [sic] [see below]",
    ],
)
def test_a_comment_may_speak_of_keys_and_tables(words):
    assert parse_scene(with_words(words), "s.toml") == parse_scene(SCENE, "s.toml")


@pytest.mark.parametrize(
    "line",
    [
        "# tilt_deg = 25",
        "#tilt_deg = 25  # leans",
        "# or so: tilt_deg = 25",
        "# [[box.flag]]",
        "## [box.hood] # later",
        "# for [check] see below",
    ],
)
def test_a_line_that_is_all_comment_may_hold_keys_and_headings_that_are_put_out(line):
    assert parse_scene(SCENE.replace("# ---- what hangs on it ----", line), "s.toml") == parse_scene(SCENE, "s.toml")


@pytest.mark.parametrize(
    "text",
    [
        'title = "a # b tilt_deg = 25 [[box.flag]]"',
        "title = 'x # [check]'",
        'title = """\nx # y [check]\n# a [box.hood] \n"""',
        '"a # [check]" = 1',
    ],
)
def test_a_sign_within_a_text_begins_no_comment(text):
    assert list(joined_lines(f"{text}\n", {}, Scene)) == []


def test_windows_line_ends_change_neither_lines_nor_answers():
    assert "s.toml:18: " in refused(with_words(" tilt_deg = 25").replace("\n", "\r\n"))[0]
    assert parse_scene(SCENE.replace("\n", "\r\n"), "s.toml") == parse_scene(SCENE, "s.toml")


def test_a_row_of_a_prescription_behind_a_comment_is_refused_too():
    row = "[[rows]]\nradius_mm = 40\nthickness_mm = 5 # glass semi_diameter_mm = 9\nindex = 1.5\n"
    with pytest.raises(SceneError, match=r"g\.toml:4: rows\[1\]: holds semi_diameter_mm = 9 within a comment"):
        parse_prescription(f'source = "x"\n{row}', "g.toml")


def texts():
    """Every TOML text of the project: its files, and the pieces in its pages."""
    skipped = {".venv", ".git", "_build"}
    for path in sorted(ROOT.rglob("*.toml")):
        if not skipped & {*path.relative_to(ROOT).parts}:
            yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")
    for path in [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]:
        for found in re.findall(r"```toml\n(.*?)```", path.read_text(encoding="utf-8"), re.DOTALL):
            yield path.name, found


def test_no_text_of_the_project_is_refused():
    told = [
        (name, one.line) for name, text in texts() for kind in (Scene, GlassFile, Shoot) for one in joined_lines(text, {}, kind)
    ]
    assert told == []


@pytest.mark.parametrize("joint", JOINTS)
@pytest.mark.parametrize("name", ["starter", "example"])
def test_no_line_of_our_own_scenes_can_get_lost_behind_a_comment_unsaid(name, joint):
    """Each line that follows a value with a comment, joined to it: refused, or the same scene."""
    text = (ROOT / f"scenes/data/{name}.toml").read_text(encoding="utf-8")
    whole, lines, joined = parse_scene(text, "s.toml"), text.split("\n"), 0
    for place, (one, after) in enumerate(pairwise(lines)):
        if "#" in one and not one.startswith("#") and after and not after.startswith("#"):
            joined += 1
            try:
                read = parse_scene("\n".join([*lines[:place], one + joint + after, *lines[place + 2 :]]), "s.toml")
            except SceneError:
                continue
            assert read == whole, after
    assert joined > 5


def test_long_comments_cost_little_time():
    """Some tenths of a second of a processor on a laptop; the bound leaves room for a slow one."""
    start = time.process_time()
    for words in (
        "tilt_deg = " * 100_000,
        "[" * 1_000_000,
        "a = [" * 200_000,
        '= """' * 200_000,
        "tilt_deg" * 100_000,
        "[[box." * 150_000,
    ):
        parse_scene(with_words(f" {words}x"), "s.toml")
    assert time.process_time() - start < 20
