"""Which way up stills are, where an even box leaves it open; the stills are the program's own maps with all that a camera adds."""

import pytest

from scenes.questions.compare.fit import fit_from
from scenes.questions.compare.measure import measured_shots
from scenes.questions.compare.orientation import best_orientations
from scenes.questions.compare.shoot import read_notes
from scenes.states.load import load_scene
from scenes.unknowns.model import Model, seen
from tests.scenes.questions.compare.made_shoot import SCENE, make_shoot

EVEN = SCENE[: SCENE.index("[[box.flag]]")] + SCENE[SCENE.index("[check]") :]
TRUE = {"box.offset_mm.up": -2.0, "box.offset_mm.right": 1.5}


def test_stills_of_an_even_box_are_as_shot_though_the_first_fit_went_astray(tmp_path):
    """Turned by 180 degrees, stills of a box 2 mm low look like those of one 2 mm high: no reason to say they were turned."""
    folder = make_shoot(tmp_path, scene=EVEN, true=TRUE, unknown=tuple(TRUE), columns=240)
    notes = read_notes(load_scene(folder / "scene.toml"), folder / "shoot.toml")
    measured = measured_shots(notes)
    model = Model(notes.unknowns, tuple(seen(shot, one) for shot, one in zip(notes.shots, measured, strict=True)))
    astray = fit_from(model, (6.0, -6.0), held=0)
    assert astray.values[0] == pytest.approx(6.0)
    found = best_orientations(notes, measured, astray, {})
    assert found.orientations == ("as shot",)
    assert found.near == pytest.approx(tuple(TRUE.values()), abs=0.5)  # on large cells
