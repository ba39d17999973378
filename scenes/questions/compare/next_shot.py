"""Which stills still to be shot would tell most of what these do not: by the derivatives of the settings that the scene checks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.errors import GeometryError
from scenes.questions.compare.fit import Fit, FitWithErrors
from scenes.questions.compare.shoot import Notes
from scenes.states.state import State, states_of_lens
from scenes.unknowns.model import Seen
from scenes.unknowns.predicted import UnbuildableError
from scenes.unknowns.telling import TOLD_SIGMA, WORTH, known_alone, telling

Floats = NDArray[np.float64]

MOST_LOOKED_AT = 12
MOST_NEXT = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class NextShot:
    """A setting that was not shot, and the standard errors (U,) that the values would have with stills up to this one as well."""

    state: State
    sigmas: Floats


def next_shots(notes: Notes, fit: FitWithErrors) -> tuple[NextShot, ...]:
    """The settings that bring the largest standard errors down most, one after another, until another one is not worth it."""
    known = np.asarray(np.linalg.pinv(fit.covariance, hermitian=True))
    left = list(_candidates(notes, fit))
    found: list[NextShot] = []
    sigmas = fit.sigmas
    while left and len(found) < MOST_NEXT:
        best = min(left, key=lambda one: _badness(_sigmas(known + one[1])))
        after = _sigmas(known + best[1])
        if not _is_worth_it(sigmas, after):
            break
        found.append(NextShot(state=best[0], sigmas=after))
        known, sigmas = known + best[1], after
        left = [one for one in left if one is not best]
    return tuple(found)


def _badness(sigmas: Floats) -> tuple[int, float]:
    """How many values are not told, then the largest error of those that are."""
    told = sigmas <= TOLD_SIGMA
    return int((~told).sum()), float(sigmas[told].max(initial=0.0))


def _is_worth_it(before: Floats, after: Floats) -> bool:
    """Whether a still tells another value, or brings the largest error of those told well down."""
    (untold, worst), (untold_now, worst_now) = _badness(before), _badness(after)
    return untold_now < untold or worst_now < WORTH * worst


def _sigmas(known: Floats) -> Floats:
    return np.asarray(np.sqrt(np.maximum(np.diag(np.linalg.pinv(known, hermitian=True)), 0.0)))


def _candidates(notes: Notes, fit: Fit) -> Iterator[tuple[State, Floats]]:
    """Settings of this lens that were not shot, with what a still of each tells of the values (U, U)."""
    one = fit.model.stills[0]
    shot = {(each.shot.state.focal_mm, each.shot.state.focus_mm, each.shot.state.f_number) for each in fit.model.stills}
    states = [s for s in _states(notes, one) if (s.focal_mm, s.focus_mm, s.f_number) not in shot]
    for state in states[:MOST_LOOKED_AT]:
        try:
            yield state, known_alone(telling(replace(one.shot, state=state), fit.model.unknowns, fit.values))
        except UnbuildableError:
            continue


def _states(notes: Notes, one: Seen) -> list[State]:
    try:
        return list(states_of_lens(one.shot.state.scene, notes.lens, one.shot.state.resources))
    except GeometryError:
        return []
