"""How well stills that are still to be shot would tell values, by the derivatives and the errors of the fit.

A still is summed up once, its exposure and plane eliminated; what any set of stills tells is then a few small matrices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from scenes.stills.cells import Measured
from scenes.unknowns.errors import alike_rows, expected_meat
from scenes.unknowns.model import PRIOR, Model, seen
from scenes.unknowns.predicted import Values
from scenes.unknowns.unknown import Unknown, View, nominal_values

Floats = NDArray[np.float64]

USUAL_NOISE = 0.002  # of the light, of a cell of a still to come; assumed
ACROSS, FIT_ACROSS = 48, 96  # cells; as many as a fit has see thin edges of the frame too
TOLD_SIGMA = 2.0  # mm or degrees: a value known no better than this is not claimed
NEARLY = 1.25  # of the errors that all stills give: a few that come so near say as much
WORTH = 0.7  # of an error: what one more still has to bring it to, to be worth its time
HARD = 0.9  # correlation from which two values are told only together
MOST_TRIED = 12  # stills of which every choice is tried


@dataclass(frozen=True, slots=True, kw_only=True)
class Telling:
    """What a still tells of the unknown values: J'J (U, U), the scatter of J'r (U, U), J' of what is off in all alike (K, U)."""

    information: Floats
    scatter: Floats
    alike: Floats


def telling(view: View, unknowns: tuple[Unknown, ...], values: Values | None = None, across: int = ACROSS) -> Telling:
    """What a still of a view would tell near these values, else near the scene's; UnbuildableError where there is no box."""
    here = list(nominal_values(unknowns)) if values is None else list(values)
    area = view.area
    cells = (max(1, round(across * area.height_mm / area.width_mm)), across)
    blank = seen(view, _even(np.ones(cells)))
    model = Model(unknowns, (blank,), rough=True)  # derivatives from one side: half the maps
    model = replace(model, stills=(replace(blank, measured=_even(model.share(0, here))),))
    vector = np.concatenate([here, np.zeros(model.size - model.count)])
    (rows,) = model.cell_jacobians(vector)
    eliminated = _eliminated(rows, model.count)
    return Telling(
        information=eliminated @ rows.T @ rows @ eliminated.T,
        scatter=eliminated @ expected_meat(model, vector, 0, rows) @ eliminated.T,
        alike=alike_rows(model, vector, 0, rows) @ eliminated.T,
    )


def _even(light: Floats) -> Measured:
    """A still without noise of its own on cells of this light, each as good as is usual."""
    none = np.zeros(light.shape, dtype=bool)
    noise = np.full(light.shape, USUAL_NOISE)
    return Measured(light=light, noise=noise, good=~none, clipped=none, marked=none, sharp=none, has_reference=True, name="")


def _eliminated(rows: Floats, count: int) -> Floats:
    """(U, U + own): what takes sums over all columns to those of the unknown values, the still's own numbers left free."""
    square = rows.T @ rows
    return np.hstack([np.eye(count), -square[:count, count:] @ np.linalg.pinv(square[count:, count:], hermitian=True)])


def covariance_of(some: Sequence[Telling], count: int) -> Floats:
    """Covariance (U, U) of the values after these stills, as the fit would state it."""
    information = np.eye(count) / PRIOR**2 + sum(one.information for one in some)
    alike = sum((one.alike for one in some), np.zeros((1, count)))
    scatter = np.eye(count) / PRIOR**2 + sum(one.scatter for one in some) + alike.T @ alike
    bread = np.linalg.inv(information)
    return np.asarray(bread @ scatter @ bread)


def sigmas_of(some: Sequence[Telling], count: int) -> Floats:
    """Standard errors (U,) of the values after these stills."""
    return np.sqrt(np.diag(covariance_of(some, count)))


def fewest(some: Sequence[Telling], count: int) -> tuple[int, ...]:
    """Places of the fewest stills that tell each value that all of them tell, nearly as well; of as many, the most telling ones."""
    wanted = sigmas_of(some, count)
    told = wanted <= TOLD_SIGMA
    if not told.any():
        return ()
    limit = np.minimum(NEARLY * wanted[told], TOLD_SIGMA)
    for size in range(1, min(len(some), MOST_TRIED) + 1):
        enough = [
            places for places in combinations(range(min(len(some), MOST_TRIED)), size) if _is_enough(some, places, told, limit)
        ]
        if enough:
            return min(enough, key=lambda places: _spread(some, places, told))
    return tuple(range(len(some)))


def _is_enough(some: Sequence[Telling], places: Sequence[int], told: NDArray[np.bool_], limit: Floats) -> bool:
    return bool((sigmas_of([some[place] for place in places], len(told))[told] <= limit).all())


def _spread(some: Sequence[Telling], places: Sequence[int], told: NDArray[np.bool_]) -> float:
    """Logarithm of how large a space the values told may lie in: what a D-optimal choice makes smallest."""
    known = covariance_of([some[place] for place in places], len(told))
    return float(np.linalg.slogdet(known[np.ix_(told, told)])[1])


def known_alone(one: Telling) -> Floats:
    """Information (U, U) of a still by itself, all its errors counted: what it adds to a covariance that is already known."""
    scatter = one.scatter + one.alike.T @ one.alike
    return np.asarray(one.information @ np.linalg.pinv(scatter, hermitian=True) @ one.information)
