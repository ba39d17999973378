"""Stills of another lens, or cropped without a note, never give a value with confidence: cast stills with a known truth."""

import pytest
from click.testing import CliRunner

from scenes.cli import brimline
from scenes.questions.compare.answer import answer
from scenes.questions.compare.text import doubts
from scenes.states.load import load_scene
from tests.scenes.questions.compare.cast_stills import cast_shoot, mask_share

PUPIL = "lens[18].pupil_behind_front_mm"
TWO = (("18", 18, 38), ("21", 21, 38))


def compared(folder):
    return answer(load_scene(folder / "scene.toml"), shoot=folder / "shoot.toml")


@pytest.fixture(scope="module")
def cropped(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cropped") / "shoot"
    return cast_shoot(folder, mask_share(18, 38, shown=0.95), 18, unknown=(PUPIL,), shown=0.95)


def test_a_pupil_that_a_crop_explains_as_well_is_not_told_and_both_are_named(cropped):
    """One edge: x = f X / (depth + pupil), so 5 % of 84 + 38 mm less depth looks like a crop to 95 %."""
    found = compared(cropped)
    (rival,) = found.found.rivals
    assert rival.size == pytest.approx(95, abs=0.5)
    words = found.data()["summary"]
    assert words.startswith("Not as predicted, and the stills do not tell why: either lens[18].pupil_behind_front_mm is ")
    assert "or they show only about 95 % of what `covers` says" in words
    (value,) = found.data()["values"]
    assert (value["value"], found.exit_status) == (None, 1)
    assert value["standard_error"] >= 0.05 * (4 + 76 + 38) - 1
    assert found.next_step.startswith("ask who exported the stills whether they are whole")


def test_no_scene_is_written_with_a_value_that_a_crop_explains(cropped, tmp_path):
    argv = ["compare", str(cropped / "scene.toml"), "--shoot", str(cropped / "shoot.toml"), "--out", str(tmp_path / "out")]
    CliRunner().invoke(brimline, argv, catch_exceptions=False)
    assert (tmp_path / "out" / "fit.json").exists()
    assert not (tmp_path / "out" / "fitted.toml").exists()


def test_a_pupil_that_no_crop_explains_is_told(tmp_path):
    """Deeper than the scene has it: a still would have to show more than the sensor records."""
    found = compared(cast_shoot(tmp_path / "shoot", mask_share(18, 42), 18, unknown=(PUPIL,)))
    assert found.found.rivals == ()
    (value,) = found.values
    assert value.told
    assert abs(value.value - 42) <= 3 * value.sigma


@pytest.mark.slow
@pytest.mark.parametrize(("f_number", "lenses"), [(2.0, TWO[:1]), (8.0, TWO)])
def test_a_21_noted_as_18_is_refused_and_gives_no_pupil(f_number, lenses, tmp_path):
    share = mask_share(21, 38, f_number=f_number)
    folder = cast_shoot(tmp_path / "shoot", share, 21, unknown=(PUPIL,), f_number=f_number, lenses=lenses)
    found = compared(folder)
    assert found.data()["verdict"] == "another lens"
    assert found.values == ()
    assert ("21" in found.data()["summary"]) or len(lenses) == 1


@pytest.mark.slow
def test_a_lens_of_the_scene_that_explains_as_much_as_a_pupil_moved_is_named(tmp_path):
    """Lenses so alike that the wrong one fits with a pupil moved: 18.8 mm noted as 18."""
    lenses = (("18", 18, 38), ("18.8", 18.8, 38))
    found = compared(cast_shoot(tmp_path / "shoot", mask_share(18.8, 38), 18.8, unknown=(PUPIL,), lenses=lenses))
    assert found.data()["summary"].startswith("Another lens: the stills fit the 18.8, not the 18 of the notes.")


def test_what_a_crop_would_do_to_a_value_is_said_where_a_value_makes_up_for_one(tmp_path):
    """Cropped to 95 % and the pupil 3 mm deeper: no one cause explains it, and the fit is good all the same."""
    found = compared(cast_shoot(tmp_path / "shoot", mask_share(18, 41, shown=0.95), 18, unknown=(PUPIL,), shown=0.95))
    assert not found.found.framing.told
    per_percent = (4 + 76 + 41) / 100  # of the way from pupil to mask
    (said,) = [words for words in doubts(found.found) if "do not tell whether they were cropped" in words]
    moved = float(said.split(" by ")[1].split(" mm")[0])
    assert moved == pytest.approx(per_percent, abs=0.3)
