"""Which one more still would tell most of what these do not: by the derivatives of the settings that the scene checks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.errors import GeometryError
from scenes.questions.compare.fit import Fit, FitWithErrors
from scenes.questions.compare.measure import COARSE
from scenes.questions.compare.model import Model, Seen, seen
from scenes.questions.compare.predicted import UnbuildableError
from scenes.questions.compare.shoot import Notes, Shot
from scenes.states.state import State, states_of_lens
from scenes.stills.cells import Measured, coarser

Floats = NDArray[np.float64]

USUAL_NOISE = 0.002  # of the light, of a cell of a still to come
LIKE_CELLS = 9.0  # large cells among which unevenness hangs together: so many tell no more than one
MOST_LOOKED_AT = 12
WORTH = 0.7  # of the largest error: what one more still has to bring it to


@dataclass(frozen=True, slots=True, kw_only=True)
class NextShot:
    """A setting that was not shot, and the standard errors (U,) that the values would have with a still of it as well."""

    state: State
    sigmas: Floats


def next_shot(notes: Notes, fit: FitWithErrors) -> NextShot | None:
    """The setting that brings the largest standard error down most; None where none of those that the scene checks helps."""
    known = np.asarray(np.linalg.pinv(fit.covariance, hermitian=True))
    found = [NextShot(state=state, sigmas=_with_it(known, told)) for state, told in _candidates(notes, fit)]
    best = min(found, key=lambda one: float(one.sigmas.max()), default=None)
    return best if best is not None and best.sigmas.max() < WORTH * fit.sigmas.max() else None


def _with_it(known: Floats, told: Floats) -> Floats:
    return np.asarray(np.sqrt(np.maximum(np.diag(np.linalg.pinv(known + told, hermitian=True)), 0.0)))


def _candidates(notes: Notes, fit: Fit) -> Iterator[tuple[State, Floats]]:
    """Settings of this lens that were not shot, with what a still of each tells of the values (U, U)."""
    one = fit.model.stills[0]
    shot = {(each.shot.state.focal_mm, each.shot.state.focus_mm, each.shot.state.f_number) for each in fit.model.stills}
    states = [s for s in _states(notes, one) if (s.focal_mm, s.focus_mm, s.f_number) not in shot]
    for state in states[:MOST_LOOKED_AT]:
        try:
            yield state, _told(fit, replace(one.shot, state=state), one.measured)
        except UnbuildableError:
            continue


def _states(notes: Notes, one: Seen) -> list[State]:
    try:
        return list(states_of_lens(one.shot.state.scene, notes.lens, one.shot.state.resources))
    except GeometryError:
        return []


def _told(fit: Fit, shot: Shot, like: Measured) -> Floats:
    """Information (U, U) of a still like those shot, its exposure and plane left free."""
    small = coarser(replace(like, good=np.ones_like(like.good), has_reference=True), COARSE)
    model = Model(fit.model.unknowns, (seen(shot, small),))
    values = fit.values
    share = model.share(0, values)
    even = replace(small, light=share, noise=np.full(share.shape, USUAL_NOISE))
    model = replace(model, stills=(seen(shot, even),))
    vector = np.concatenate([values, np.zeros(model.size - model.count)])
    (rows,) = model.cell_jacobians(vector)
    information = rows.T @ rows / LIKE_CELLS
    count = model.count
    own = information[count:, count:]
    return np.asarray(information[:count, :count] - information[:count, count:] @ np.linalg.pinv(own) @ information[count:, :count])
