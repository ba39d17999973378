"""Standard errors against the scatter of repeats simulated with what is assumed to be off, and the fit against scipy's own."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import map_coordinates
from scipy.optimize import least_squares

from scenes.questions.compare.fit import fit_from, with_errors
from scenes.questions.compare.next_shot import next_shots
from scenes.questions.compare.shoot import read_notes
from scenes.questions.compare.solve import F_SCALE, Bounds, minimised
from scenes.states.load import load_scene
from scenes.stills.cells import Measured
from scenes.unknowns import errors
from scenes.unknowns.model import LN2, MODEL_SHARE, UNEVEN_STOPS, Model, seen
from scenes.unknowns.predicted import predicted
from tests.scenes.questions.compare.made_shoot import SCENE

CELLS = (24, 32)
TRUE = {"box.ahead_mm": 9.0, "box.offset_mm.up": -2.0}
NOISE = 0.001
STILLS = '\n[[picture]]\nwith_box = "with-{number}.png"\nwithout_box = "without-{number}.png"\n'
PICTURE = STILLS + 'focus_mm = {focus}\nf_number = 2.8\ncurve = "linear"\n'


def notes_of(folder, unknown, focus=('"infinity"',)):
    (folder / "scene.toml").write_text(SCENE.replace('focus_mm = ["infinity"]', 'focus_mm = ["infinity", 600]'))
    text = f'lens = "28"\nunknown = {list(unknown)}\n'.replace("'", '"') + "".join(
        PICTURE.format(number=number, focus=one) for number, one in enumerate(focus, 1)
    )
    (folder / "shoot.toml").write_text(text)
    return read_notes(load_scene(folder / "scene.toml"), folder / "shoot.toml")


def measured(light):
    good, none = np.ones(light.shape, dtype=bool), np.zeros(light.shape, dtype=bool)
    return Measured(
        light=light,
        noise=np.full(light.shape, NOISE),
        good=good,
        clipped=none,
        marked=none,
        sharp=none,
        has_reference=True,
        name="a",
    )


def share_of(notes, k, values):
    return predicted(notes.shots[k], notes.unknowns, values, CELLS).share.astype(float)


def model_of(notes, values):
    return Model(notes.unknowns, tuple(seen(shot, measured(share_of(notes, k, values))) for k, shot in enumerate(notes.shots)))


def test_the_fit_is_that_of_scipy(tmp_path):
    """Source: scipy.optimize.least_squares, loss soft_l1, with derivatives by its own differences."""
    notes = notes_of(tmp_path, TRUE)
    model = model_of(notes, list(TRUE.values()))
    one = model.stills[0]
    light = one.measured.light + NOISE * np.random.default_rng(1).normal(size=CELLS)
    light[5:8, 10:20] += 0.3  # what soft_l1 is for
    model = replace(model, stills=(replace(one, measured=replace(one.measured, light=light)),))
    start = model.start(list(TRUE.values()))
    free = Bounds(low=np.full(model.size, -np.inf), high=np.full(model.size, np.inf))
    found, cost = minimised(model, start, free, steps=20, tolerance=1e-6)

    def residuals(vector):
        return np.concatenate([*model.cell_residuals(vector), model.priors(vector)[0]])

    theirs = least_squares(residuals, start, loss="soft_l1", f_scale=F_SCALE, diff_step=1e-3, x_scale=np.maximum(abs(start), 1.0))
    assert cost == pytest.approx(theirs.cost, rel=1e-3)
    assert found[:2] == pytest.approx(theirs.x[:2], abs=0.01)


def repeat(share, rng):
    """A still of this share of light with all that may be off, drawn at random; the stop apart."""
    rows, columns = share.shape
    y, x = np.mgrid[:rows, :columns].astype(float)
    right, up = (x + 0.5) / columns - 0.5, 0.5 - (y + 0.5) / rows
    size = 1 + 2 * errors.SCALE_SHARE * rng.normal()
    shift = errors.SHIFT_SHARE * columns * rng.normal(size=2)
    at = [(y - rows / 2 + 0.5) * size + rows / 2 - 0.5 + shift[0], (x - columns / 2 + 0.5) * size + columns / 2 - 0.5 + shift[1]]
    seen_share = map_coordinates(share, at, order=1, mode="nearest")
    light = np.maximum(seen_share, 1e-6) ** (1 + errors.CURVE_SHARE * rng.normal())
    light += 4 * MODEL_SHARE * rng.normal() * seen_share * (1 - seen_share)
    bowl = 4 * errors.BOWL_STOPS * (rng.normal() * right**2 + rng.normal() * up**2 + rng.normal() * right * up)
    light *= np.exp(LN2 * (bowl + UNEVEN_STOPS * rng.normal(size=share.shape)))
    return light + NOISE * rng.normal(size=share.shape)


@pytest.mark.slow
def test_what_is_assumed_to_be_off_is_carried_through_to_standard_errors_as_200_repeats_with_it_scatter(tmp_path):
    """The sizes of what may be off are the program's own, assumed; what they do to the values is held against simulation."""
    notes = notes_of(tmp_path, TRUE)
    true = list(TRUE.values())
    model, share, rng = model_of(notes, true), share_of(notes, 0, true), np.random.default_rng(7)
    free = Bounds(low=np.full(model.size, -np.inf), high=np.full(model.size, np.inf))
    sigmas = with_errors(fit_from(replace(model, stills=(seen(notes.shots[0], measured(repeat(share, rng))),)), true)).sigmas
    found = []
    for _ in range(200):
        one = replace(model, stills=(seen(notes.shots[0], measured(repeat(share, rng))),))
        vector, _ = minimised(one, one.start(true), free, steps=6, tolerance=1e-4)
        found.append(vector[:2])
    scatter = np.std(found, axis=0)
    assert np.abs(np.mean(found, axis=0) - true) == pytest.approx(0, abs=0.3 * scatter.max())
    assert (scatter < 1.15 * sigmas).all()  # 200 repeats know a scatter to 5 %
    assert (scatter > 0.5 * sigmas).all()


@pytest.mark.slow
def test_one_more_still_up_close_tells_the_pupil_from_the_box_as_foretold(tmp_path):
    """At infinity a box further ahead and a pupil deeper move every shadow alike."""
    unknown = ("box.ahead_mm", "lens[28].pupil_behind_front_mm")
    values = [9.0, 50.0]
    alone = notes_of(tmp_path, unknown)
    fit = with_errors(fit_from(model_of(alone, values), values))
    more = next_shots(alone, fit)[0]
    assert more.state.focus_mm == 600
    both = notes_of(tmp_path, unknown, focus=('"infinity"', "600"))
    true = with_errors(fit_from(model_of(both, values), values)).sigmas
    assert more.sigmas.max() < 0.7 * fit.sigmas.max()
    assert true.max() < 1.5 * more.sigmas.max()
