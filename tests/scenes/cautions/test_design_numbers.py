"""Ends and limits of [design] in cm or inches are told by what the box is now; those of the design that comes along are not."""

from pathlib import Path

import pytest

from scenes.cautions.design_numbers import design_words
from scenes.scene_file.parse import parse_scene

REPOSITORY = Path(__file__).parents[3]
DESIGN = (REPOSITORY / "scenes" / "data" / "design.toml").read_text()


def told(old="", new=""):
    text = DESIGN.replace(old, new, 1) if old else DESIGN
    assert not old or text != DESIGN
    return list(design_words(parse_scene(text, source="d.toml")))


def test_the_design_that_comes_along_gets_no_word_nor_do_limits_somewhat_smaller_than_the_box():
    assert told() == []
    assert (
        told("[design]\n", "[design]\nlimits = { width_mm = 180, height_mm = 120, depth_mm = 40 }\nwant = { clear_builds = 0.9 }\n")
        == []
    )


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "from = 30\nto = 70",
            "from = 3\nto = 7",
            "from = 3 and to = 7 leave out what box.hood.depth_mm is now, 55 mm; written in cm?",
        ),
        (
            "from = [80, 50]\nto = [300, 240]",
            "from = [8, 5]\nto = [30, 24]",
            "is now, 180 mm; written in cm? They would be 80 and 300",
        ),
        ("from = 30\nto = 70", "from = 1.2\nto = 2.8", "is now, 55 mm; written in inches? They would be 30.5 and 71.1"),
    ],
)
def test_ends_in_another_unit_are_told_with_what_the_box_is_now(old, new, words):
    assert any(words in text for text in told(old, new))


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ("depth_mm = 7", "limits.depth_mm = 7 is far less than the box is now, 82 mm; written in cm? It would be 70"),
        ("width_mm = 28", "limits.width_mm = 28 is far less than the box is now, 300 mm; written in cm? It would be 280"),
        ("depth_mm = 5", "limits.depth_mm = 5 is far less than the box is now, 82 mm"),
    ],
)
def test_limits_in_another_unit_are_told(limit, words):
    (text,) = told("[design]\n", f"[design]\nlimits = {{ {limit} }}\n")
    assert words in text


def test_a_share_of_builds_with_its_point_off_is_told():
    (text,) = told("[design]\n", "[design]\nwant = { clear_builds = 0.095 }\n")
    assert "asks for 9.5 % of the builds" in text
