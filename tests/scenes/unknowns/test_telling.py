"""What stills that are still to be shot would tell: held against designs with a known best, against the fit, and a plain truth."""

from dataclasses import replace

import numpy as np
import pytest

from scenes.questions.plan.tells import lens_tells, tells_lines
from scenes.states.load import load_scene
from scenes.states.state import states_of_lens
from scenes.stills.cells import Measured
from scenes.unknowns import telling as module
from scenes.unknowns.errors import covariance
from scenes.unknowns.model import Model, seen
from scenes.unknowns.telling import Telling, covariance_of, fewest, sigmas_of, telling
from scenes.unknowns.unknown import View
from scenes.unknowns.usual import unknowns_at, usual_paths
from tests.scenes.questions.compare.made_shoot import SCENE

AHEAD, PUPIL, UP = "box.ahead_mm", "lens[28].pupil_behind_front_mm", "box.offset_mm.up"


def reading(*row):
    """A reading of error 1 of a sum of the values."""
    square = np.outer(row, row)
    return Telling(information=square, scatter=square, alike=np.zeros((1, len(row))))


@pytest.mark.parametrize(
    ("places", "powers", "best"),
    [
        ((-1.0, -0.5, 0.0, 0.5, 1.0), (0, 1, 2), {-1.0, 0.0, 1.0}),
        ((0.0, 0.25, 0.5, 0.75, 1.0), (0, 2, 4), {0.0, 0.75, 1.0}),
    ],
)
def test_the_fewest_shots_are_those_of_the_d_optimal_design(places, powers, best, monkeypatch):
    """Source: all subsets of three by det(X'X), which is 4 against 2.25 and 0.0606 against less (any text on optimal design)."""
    monkeypatch.setattr(module, "NEARLY", np.inf)  # however much better all of them are
    monkeypatch.setattr(module, "TOLD_SIGMA", 1.0)
    some = [reading(*(1e3 * place**power for power in powers)) for place in places]
    assert {places[place] for place in fewest(some, 3)} == best


def test_what_is_off_in_all_stills_alike_is_not_averaged_out():
    """Of n readings with errors 1 each and 1 in common the mean is known to sqrt(1 / n + 1)."""
    one = Telling(information=np.eye(1), scatter=np.eye(1), alike=np.ones((1, 1)))
    assert sigmas_of([one] * 9, 1) == pytest.approx(np.sqrt(1 / 9 + 1), rel=1e-3)


@pytest.fixture(scope="module")
def show(tmp_path_factory):
    path = tmp_path_factory.mktemp("tells") / "scene.toml"
    shaded = SCENE.replace("ahead_mm = 5", "ahead_mm = 12")  # the box well in frame
    path.write_text(shaded.replace('focus_mm = ["infinity"]', 'focus_mm = ["infinity", 600]'))
    return load_scene(path)


@pytest.fixture(scope="module")
def states(show):
    return list(states_of_lens(show.scene, show.scene.lens[0], show.resources))


def some_unknowns(show, *paths):
    return tuple(item for path in paths for item in unknowns_at(show.scene, path))


def a_view(state):
    return View(state=state, area=state.grid)


def test_foretold_errors_are_those_that_the_fit_states_of_such_stills(show, states):
    unknowns, across = some_unknowns(show, AHEAD, UP, PUPIL), 24
    foretold = covariance_of([telling(a_view(state), unknowns, across=across) for state in states], 3)
    values = [item.nominal for item in unknowns]
    none = np.zeros((18, across), dtype=bool)
    blank = Measured(
        light=np.ones(none.shape), noise=np.full(none.shape, module.USUAL_NOISE), good=~none, clipped=none, marked=none, sharp=none,
        has_reference=True, name="a",
    )  # fmt: skip
    model = Model(unknowns, tuple(seen(a_view(state), blank) for state in states))
    shot = tuple(replace(one, measured=replace(blank, light=model.share(k, values))) for k, one in enumerate(model.stills))
    stated = covariance(replace(model, stills=shot), np.concatenate([values, np.zeros(6)]))
    assert np.sqrt(np.diag(foretold)) == pytest.approx(np.sqrt(np.diag(stated)), rel=0.15)


def test_at_infinity_no_still_tells_a_deeper_pupil_from_a_box_further_ahead(show, states):
    """Both put the box as much further from the pupil, and of parallel light that is all that counts."""
    far = [state for state in states if np.isinf(state.focus_mm)]
    near = [state for state in states if not np.isinf(state.focus_mm)]
    unknowns = some_unknowns(show, AHEAD, PUPIL)
    (one,) = (telling(a_view(state), unknowns) for state in far)
    other = telling(a_view(near[0]), unknowns)
    apart, together = np.array([1.0, -1.0]), np.array([1.0, 1.0])
    assert apart @ one.information @ apart < 1e-6 * (together @ one.information @ together)
    assert sigmas_of([one], 2).min() > module.TOLD_SIGMA
    assert sigmas_of([one, other], 2).max() < 0.5 * module.TOLD_SIGMA


def test_a_plan_says_which_shots_tell_what_and_what_none_of_them_tells(show, states):
    unknowns = [item for path in usual_paths(show.scene, show.scene.lens[0]) for item in unknowns_at(show.scene, path)]
    assert [item.path for item in unknowns] == [
        AHEAD, UP, "box.offset_mm.right", "box.tilt_deg", PUPIL, "box.flag[top flag].angle_deg",
    ]  # fmt: skip
    told = {state.key: telling(a_view(state), tuple(unknowns)) for state in states}
    far = next(state.key for state in states if np.isinf(state.focus_mm))
    alone = lens_tells(states, {far: 7}, told)
    lines = list(tells_lines([alone]))
    assert alone.numbers == (7,)
    assert any(line.startswith("28: a still of shot 7 tells apart: offset of the box upward ± ") for line in lines)
    mixed = "no shot of this plan tells distance from lens to box or pupil position of the 28 apart from the rest"
    assert any(mixed in line for line in lines)
    assert any("no shot of this plan tells angle of the top flag: what it moves is out of frame" in line for line in lines)
    assert any(line.startswith("28: one more still at focus 600 mm, f/2.8 would tell ") and "pupil" in line for line in lines)
    both = lens_tells(states, {state.key: 7 + k for k, state in enumerate(states)}, told)
    assert both.numbers == (7, 8)
    assert both.told[[0, 4]].all()


def test_what_could_not_be_computed_is_not_called_untold(states):
    assert lens_tells(states, {states[0].key: 1}, {states[0].key: None}) is None


def test_a_state_that_shows_nothing_of_the_box_tells_nothing(states):
    found = lens_tells(states, {states[0].key: 1}, {})
    (line,) = tells_lines([found])
    assert line.startswith("28: stills show that the frame is as predicted, no more")
