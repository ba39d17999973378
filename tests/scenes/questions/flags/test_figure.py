"""What a flag's sheet shows: the flag at the angles that are written beside it, the beam below it, the place where they touch."""

import numpy as np
import pytest
import shapely
from click.testing import CliRunner

from scenes.changes.flag_angles import flag_states
from scenes.changes.flag_summaries import summaries
from scenes.questions.flags.command import command
from scenes.questions.flags.figure import flag_figure, flag_picture
from scenes.states.load import load_scene, plans_of
from tests.scenes.changes.test_flag_angles import EXTENSION, PLAIN, SCENE


@pytest.fixture
def path(tmp_path):
    found = tmp_path / "scene.toml"
    found.write_text(SCENE.format_map(PLAIN | {"top": 70, "extension": EXTENSION}))
    return found


@pytest.fixture
def picture(path):
    loaded = load_scene(path)
    flags = summaries([state for one in flag_states(plans_of(loaded)) for state in one.flags])
    return flag_picture(flags[0], [], 0.1)


def dial(picture):
    (axes,) = (axes for axes in flag_figure(picture, "show").axes if axes.get_label() == "dial")
    return axes


def test_the_flag_is_drawn_at_its_own_angle_and_at_its_limit(picture):
    tips = [np.degrees(np.arctan2(*patch.get_xy()[1][::-1])) for patch in dial(picture).patches if hasattr(patch, "get_xy")]
    for angle in (70.0, picture.flag.clear_deg):
        assert np.abs(np.array(tips) - angle).min() < 0.01


def test_the_touch_lies_on_the_flag_at_its_reach_and_on_the_beam(picture):
    at = np.array(picture.state.limits.touch.at_mm)
    # the tip of an extension of 50 mm bent 12 deg inward on a flag of 100 mm: law of cosines
    reach = np.sqrt(100**2 + 50**2 + 2 * 100 * 50 * np.cos(np.radians(12)))
    assert np.linalg.norm(at) == pytest.approx(reach, abs=0.5)
    assert picture.beam.boundary.distance(shapely.Point(at)) < 0.05


def test_axes_say_what_they_measure(picture):
    axes = dial(picture)
    assert axes.get_xlabel() == "ahead of the hinge [mm]"
    assert "to the top [mm]" in axes.get_ylabel()


def test_a_picture_for_each_flag_is_written(path, tmp_path):
    result = CliRunner().invoke(command, [str(path), "--out", str(tmp_path / "out")], standalone_mode=False)
    assert result.return_value == 0
    assert sorted(p.name for p in (tmp_path / "out").glob("[!.]*")) == [
        "flag-left-flag.png",
        "flag-top-flag.png",
        "flags-flags-states.csv",
        "flags-flags.csv",
        "flags-judged_by-box.csv",
        "flags-judged_by.csv",
        "flags-states.csv",
        "flags.json",
    ]
