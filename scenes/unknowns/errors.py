"""Standard errors of fitted values: noise, uneven light, and what is off in all stills alike, however many there are.

(J'J)^-1 (sum g g') (J'J)^-1, the sandwich for errors that hang together within areas: with noise and the unevenness that is always
there, with the residuals as they are over larger areas, and with every pattern that a camera, an export or the model may put into
all stills. All are added: none promises too much alone. Stills of one state show the same misfit, so theirs is summed before it is
squared. Source: White, Econometrica 48 (1980) 817; Liang and Zeger, Biometrika 73 (1986) 13 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from scenes.unknowns.model import LN2, MODEL_SHARE, UNEVEN_AREAS, UNEVEN_STOPS, Kind, Model, Seen
from scenes.unknowns.predicted import predicted, stopped_down

Floats = NDArray[np.float64]

UNFELT_SIGMA = 5.0  # mm or degrees: the standard error, by noise alone, of a value that does next to nothing where it is
LARGE_AREAS = 8  # across the width: the larger blocks over which a misfit may hang together
# What may be off in all stills alike, each assumed (no source): the picture's place and size against the sensor, as shares of the
# width; the power of the curve; the stop, whose marks are rounded; light that is brighter in the middle or at one corner, in stops
# at the edges.
SHIFT_SHARE, SCALE_SHARE, CURVE_SHARE, STOP_SHARE, BOWL_STOPS = 0.0004, 0.0004, 0.002, 0.01, 0.005
LEAST_SHARE = 1e-3


def covariance(model: Model, vector: Floats) -> Floats:
    """Covariance of the unknown values (P, P)."""
    if not model.count:
        return np.zeros((0, 0))
    residuals, jacobians = model.cell_residuals(vector), model.cell_jacobians(vector)
    information, priors = _information(model, vector, jacobians), model.priors(vector)[1]
    meat = priors.T @ priors
    found: dict[Kind, Floats] = {}
    alike = np.zeros((0, model.size))
    stopped = {} if model.rough else _stopped_down(model, vector)
    for k, rows in enumerate(jacobians):
        one, places = model.stills[k], model.places(k)
        meat[np.ix_(places, places)] += expected_meat(model, vector, k, rows)
        wide = _widened(model, k, _area_sums(one, rows * residuals[k][:, None], LARGE_AREAS))
        found[one.kind] = found.get(one.kind, 0.0) + wide
        if not model.rough:
            alike = _added(alike, _widened(model, k, alike_rows(model, vector, k, rows, stopped[one.kind])))
    meat += sum(sums.T @ sums for sums in found.values()) + alike.T @ alike
    bread = _inverse(information)[: model.count]
    return np.asarray(bread @ meat @ bread.T)


def unfelt(model: Model, vector: Floats) -> NDArray[np.bool_]:
    """Which unknown values (P,) do next to nothing where they are: all that holds them is what was known beforehand."""
    bread = _inverse(_information(model, vector, model.cell_jacobians(vector)))
    return np.asarray(np.sqrt(np.diag(bread)[: model.count]) > UNFELT_SIGMA)


def _information(model: Model, vector: Floats, jacobians: Sequence[Floats]) -> Floats:
    """J'J (size, size) of all cells and of what was known beforehand."""
    priors = model.priors(vector)[1]
    information = priors.T @ priors
    for k, rows in enumerate(jacobians):
        places = model.places(k)
        information[np.ix_(places, places)] += rows.T @ rows
    return np.asarray(information)


def _inverse(information: Floats) -> Floats:
    return np.asarray(np.linalg.pinv(information, rcond=1e-14, hermitian=True))


def _added(some: Floats, more: Floats) -> Floats:
    return some + more if len(some) else more


def _widened(model: Model, k: int, rows: Floats) -> Floats:
    """Rows by the columns of still k as rows by the whole vector."""
    wide = np.zeros((len(rows), model.size))
    wide[:, model.places(k)] = rows
    return wide


def expected_meat(model: Model, vector: Floats, k: int, rows: Floats) -> Floats:
    """Scatter of J'r of still k: noise cell by cell, and unevenness that is one and the same within each of its areas."""
    one, scale = model.stills[k], _scale(model, vector, k)
    noisy = rows * (one.measured.noise[one.use] / scale)[:, None]
    uneven = rows * (UNEVEN_STOPS * LN2 * one.measured.light[one.use] / scale)[:, None]
    sums = _area_sums(one, uneven, UNEVEN_AREAS)
    return np.asarray(noisy.T @ noisy + sums.T @ sums)


def alike_rows(model: Model, vector: Floats, k: int, rows: Floats, stopped: Floats | None = None) -> Floats:
    """J' of each thing that may be off in all stills alike, in still k (K, columns); `stopped`: its share stopped down."""
    one = model.stills[k]
    share = _stopped_down_share(model, vector, one) if stopped is None else stopped
    patterns = np.stack([pattern[one.use] for pattern in _patterns(model, vector, k, share)])
    return np.asarray((patterns / _scale(model, vector, k)) @ rows)


def _scale(model: Model, vector: Floats, k: int) -> Floats:
    """Scale of the residuals of the cells of still k that count (N,)."""
    return model.sigma(k, model.lit(k, vector[model.own(k)]))[model.stills[k].use]


def _area_sums(one: Seen, rows: Floats, across: int) -> Floats:
    """Sums of the rows of cells that count over areas (A, columns), so many across the width."""
    side = max(1, one.cells[1] // across)
    wide, high = -(-one.cells[1] // side), -(-one.cells[0] // side)
    row, column = np.nonzero(one.use)
    sums = np.zeros((wide * high, rows.shape[1]))
    np.add.at(sums, row // side * wide + column // side, rows)
    return sums


def _patterns(model: Model, vector: Floats, k: int, stopped: Floats) -> Iterator[Floats]:
    """What each thing that may be off in all stills alike adds to still k (H, W), whose share stopped down is `stopped`."""
    one, values = model.stills[k], vector[: model.count]
    lit, share = model.lit(k, vector[model.own(k)]), model.share(k, values)
    down, across = np.gradient(share)
    wide = one.cells[1]
    yield lit * across * SHIFT_SHARE * wide
    yield lit * down * SHIFT_SHARE * wide
    yield lit * (across * one.right * one.cells[1] - down * one.up * one.cells[0]) * SCALE_SHARE * 2
    yield lit * share * np.log(np.maximum(share, LEAST_SHARE)) * CURVE_SHARE
    yield lit * share * (1.0 - share) * 4 * MODEL_SHARE
    yield lit * (stopped - share)
    for bowl in (one.right**2, one.up**2, one.right * one.up):
        yield lit * share * LN2 * BOWL_STOPS * 4 * bowl


def _stopped_down(model: Model, vector: Floats) -> dict[Kind, Floats]:
    """The share (H, W) of each kind of still at a stop a little smaller than was written down."""
    kinds = {one.kind: one for one in reversed(model.stills)}
    return {kind: _stopped_down_share(model, vector, one) for kind, one in kinds.items()}


def _stopped_down_share(model: Model, vector: Floats, one: Seen) -> Floats:
    alone = not one.measured.has_reference
    shot = stopped_down(one.shot, 1.0 + STOP_SHARE)
    found = predicted(shot, model.unknowns, vector[: model.count], one.cells, with_rims=alone, again=False)
    return np.asarray(found.share * found.rims if alone else found.share, dtype=np.float64)
