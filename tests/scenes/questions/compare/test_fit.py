"""What a fit claims of values that stills show from one side alone; the stills are the program's own maps, camera and all."""

import numpy as np

from scenes.questions.compare.fit import Fit, fit_from, with_errors
from scenes.questions.compare.measure import measured_shots
from scenes.questions.compare.shoot import read_notes
from scenes.questions.compare.solve import cost_of
from scenes.states.load import load_scene
from scenes.unknowns.model import Model, seen
from scenes.unknowns.telling import TOLD_SIGMA
from tests.scenes.questions.compare.made_shoot import make_shoot

FLAG = "box.flag[top flag].angle_deg"


def model_of(folder, angle_deg):
    make_shoot(folder, true={FLAG: angle_deg}, unknown=(FLAG,), columns=240)
    notes = read_notes(load_scene(folder / "scene.toml"), folder / "shoot.toml")
    pairs = zip(notes.shots, measured_shots(notes), strict=True)
    return Model(notes.unknowns, tuple(seen(shot, one) for shot, one in pairs))


def test_a_flag_that_ends_just_where_it_would_come_into_frame_is_not_told(tmp_path):
    """Stills of a flag 60 degrees out fit as well at any angle from there to where it comes into frame."""
    model = model_of(tmp_path, 60.0)
    far = fit_from(model, (60.0,), held=0)

    def at(angle_deg):
        vector = np.array([angle_deg, *far.vector[1:]])
        return Fit(model=model, vector=vector, cost=cost_of(model, vector), rms=far.rms)

    in_frame = next(angle for angle in np.arange(50.0, 20.0, -0.1) if at(angle).cost > far.cost + 1.0)
    assert with_errors(at(in_frame)).sigmas[0] > TOLD_SIGMA


def test_a_flag_that_stands_in_frame_is_told(tmp_path):
    found = fit_from(model_of(tmp_path, 27.0), (26.5,))
    assert abs(found.values[0] - 27.0) < 0.5
    assert with_errors(found).sigmas[0] < TOLD_SIGMA
