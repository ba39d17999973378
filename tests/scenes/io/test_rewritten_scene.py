"""A scene's text with other values in it: what is written is whole, whatever the scene it was made from ends with."""

import tomllib
from importlib.resources import files

import pytest

from scenes.io.rewritten_scene import rewritten
from scenes.scene_file.parse import parse_scene

STARTER = files("scenes").joinpath("data", "starter.toml").read_text(encoding="utf-8").rstrip()


@pytest.mark.parametrize("end", ["", "\n"])
def test_a_rewritten_scene_ends_its_last_line_so_that_it_never_passes_for_half_saved(end):
    made = rewritten(STARTER + end, parse_scene(STARTER + end, "show.toml"), {"box.ahead_mm": 3.5}, {})
    assert tomllib.loads(made)["box"]["ahead_mm"] == 3.5
    assert made.endswith("\n")
    assert not made.endswith("\n\n")
