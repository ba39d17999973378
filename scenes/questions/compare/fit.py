"""The unknown values that explain all stills best, with honest standard errors. Deterministic: no chance, no clock."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.stats import qmc

from scenes.questions.compare.measure import COARSE
from scenes.questions.compare.model import LN2, UNEVEN_AREAS, UNEVEN_STOPS, Model, Seen, seen_coarser
from scenes.questions.compare.predicted import Predicted, UnbuildableError, Values
from scenes.questions.compare.shoot import Unknown, nominal_values

Floats = NDArray[np.float64]
Kept = dict[tuple[int, tuple[float, ...]], Predicted]

REACH = 8.0  # mm or degrees to either side that starts are looked for in
STARTS_A_VALUE, MOST_STARTS = 16, 64
FINDERS = 4  # stills that starts are tried on; every fit is of all
TRIED = 2  # of the best starts are followed
F_SCALE = 2.0  # of soft_l1: residuals beyond twice their scale count less
LARGE_AREAS = 8  # across the width: the larger blocks over which a misfit may hang together
MOST_STEPS, ROUGH_STEPS = 20, 12
TOLERANCE, ROUGH_TOLERANCE = 1e-5, 1e-3
HELD = 1e-6
AWAY = (1.0, 2.0, 3.0, 4.0, 5.5, 7.0, 9.0)  # mm or degrees
ASLEEP = 5.0  # mm or degrees: the standard error of a value that does next to nothing where it is
FELT = 0.02  # of the cost
PARTS = (0.25, 0.5, 0.75, 1.0)  # of the step in which a part comes into frame


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """The best vector of a model, the covariance of its unknown values (P, P), and the cost; `rms` is in shares of lit cells."""

    model: Model
    vector: Floats
    covariance: Floats
    cost: float
    rms: float

    @property
    def values(self) -> Floats:
        """The unknown values."""
        return self.vector[: self.model.count]

    @property
    def sigmas(self) -> Floats:
        """Their standard errors."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))


def best_fit(unknowns: tuple[Unknown, ...], stills: Sequence[Seen], near: Values | None = None) -> Fit:
    """The fit of all stills: found on coarse cells from many starts, or from `near`, then on the cells as they are."""
    if near is None:
        near = coarse_fit(unknowns, stills).values
    fit = fit_from(Model(unknowns, tuple(stills)), near)
    return woken(fit) if (fit.sigmas > ASLEEP).any() else fit


def coarse_fit(unknowns: tuple[Unknown, ...], stills: Sequence[Seen], kept: Kept | None = None, *, quick: bool = False) -> Fit:
    """The best fit on large cells, from the nominal values and the likeliest of many others.

    `kept` are predictions that fits of the same shots share; a `quick` one only shows whether the way leads anywhere.
    """
    model = Model(unknowns, tuple(seen_coarser(one, COARSE) for one in stills), {} if kept is None else kept, rough=True)
    nominal = tuple(item.nominal for item in unknowns)
    if not unknowns:
        return fit_from(model, nominal)
    some = -(-len(stills) // FINDERS)
    finder = model if some == 1 else Model(unknowns, model.stills[::some])
    costs = sorted((start_cost(finder, start), start) for start in starts(unknowns))
    if quick:
        return fit_from(model, costs[0][1])
    chosen = dict.fromkeys([nominal, *(start for _, start in costs[:TRIED])])
    return woken(min((fit_from(model, start) for start in chosen), key=lambda fit: fit.cost))


def woken(fit: Fit) -> Fit:
    """The fit with each value tried further off: a part that is out of frame has no derivative, and would stay where it is."""
    for place in range(fit.model.count):
        for start in _starts_away(fit, place):
            fit = min(fit, fit_from(fit.model, start), key=lambda one: one.cost)
    return fit


def _starts_away(fit: Fit, place: int) -> Iterator[tuple[float, ...]]:
    """A place that costs less to either side; for a value that does nothing, where it begins to do something."""
    here, asleep = start_cost(fit.model, fit.values), fit.sigmas[place] > ASLEEP
    for sign in (-1.0, 1.0):
        for off, before in zip(AWAY, (0.0, *AWAY), strict=False):
            cost = start_cost(fit.model, _with(fit, place, sign * off))
            if asleep and abs(cost - here) > FELT * here:
                yield _best_held(fit, place, [sign * (before + (off - before) * part) for part in PARTS])
                break
            if not asleep and cost < (1.0 - FELT) * here:
                yield _with(fit, place, sign * off)
                break


def _with(fit: Fit, place: int, off: float) -> tuple[float, ...]:
    values = fit.values.copy()
    values[place] = np.clip(values[place] + off, *fit.model.unknowns[place].limits)
    return tuple(values)


def _best_held(fit: Fit, place: int, offs: Sequence[float]) -> tuple[float, ...]:
    """The best fit of all other values with this one held at each place in turn: what it does, others had taken over."""
    held = [fit_from(fit.model, _with(fit, place, off), held=place) for off in offs]
    return tuple(min(held, key=lambda one: one.cost).values)


def starts(unknowns: tuple[Unknown, ...]) -> Iterator[tuple[float, ...]]:
    """Places to start from, spread evenly within reach of the nominal values (Sobol's sequence), and along each value alone."""
    nominal = nominal_values(unknowns)
    low = np.maximum([item.limits[0] for item in unknowns], nominal - REACH)
    high = np.minimum([item.limits[1] for item in unknowns], nominal + REACH)
    yield tuple(nominal)
    for place in range(len(unknowns)):
        for off in (-REACH / 2, -REACH / 4, REACH / 4, REACH / 2):
            moved = nominal.copy()
            moved[place] = np.clip(nominal[place] + off, low[place], high[place])
            yield tuple(moved)
    count = min(STARTS_A_VALUE * len(unknowns), MOST_STARTS)
    spread = qmc.Sobol(len(unknowns), scramble=False).random_base2(int(np.ceil(np.log2(count))))
    for row in low + spread[1:] * (high - low):
        yield tuple(row)


def start_cost(model: Model, values: Values) -> float:
    """Cost at these values, the stills' own numbers taken as they first come; infinite where nothing can be built."""
    try:
        return soft_cost(model.residuals(model.start(values)))
    except UnbuildableError:
        return np.inf


def soft_cost(residuals: Floats) -> float:
    """Half the sum of soft_l1 losses, as scipy counts it."""
    z = (residuals / F_SCALE) ** 2
    return float(F_SCALE**2 * np.sum(np.sqrt(1.0 + z) - 1.0))


def fit_from(model: Model, values: Values, held: int | None = None) -> Fit:
    """The best fit near these values, one of them held where it is if asked for."""
    try:
        start = model.start(values)
    except UnbuildableError:
        start = model.start([item.nominal for item in model.unknowns])
    low, high = np.full(model.size, -np.inf), np.full(model.size, np.inf)
    for place, item in enumerate(model.unknowns):
        low[place], high[place] = item.limits[0] - 1e-9, item.limits[1] + 1e-9
    if held is not None:
        low[held], high[held] = start[held] - HELD, start[held] + HELD
    start = np.clip(start, low, high)
    found = least_squares(
        model.residuals,
        start,
        model.jacobian,
        bounds=(low, high),
        loss="soft_l1",
        f_scale=F_SCALE,
        x_scale="jac",
        ftol=ROUGH_TOLERANCE if model.rough else TOLERANCE,
        xtol=ROUGH_TOLERANCE if model.rough else TOLERANCE,
        gtol=1e-10,
        max_nfev=ROUGH_STEPS if model.rough else MOST_STEPS,
    )
    vector = np.asarray(found.x)
    return Fit(
        model=model,
        vector=vector,
        covariance=covariance(model, vector),
        cost=float(found.cost),
        rms=rms_share(model, vector),
    )


def rms_share(model: Model, vector: Floats) -> float:
    """Root mean square of what stills and prediction differ by, as a share of the light without the box."""
    off = [differences(model, vector, k)[one.use] for k, one in enumerate(model.stills)]
    return float(np.sqrt(np.mean(np.concatenate(off) ** 2)))


def differences(model: Model, vector: Floats, k: int) -> Floats:
    """Measured less predicted of still k (H, W), as a share of the light without the box."""
    lit = model.lit(k, vector[model.own(k)])
    return model.stills[k].measured.light / lit - model.share(k, vector[: model.count])


def covariance(model: Model, vector: Floats) -> Floats:
    """Covariance of the unknown values (P, P).

    (J'J)^-1 (sum g g') (J'J)^-1, the sandwich for errors that hang together within areas: once with noise and the unevenness that
    is always there, once with the residuals as they are over larger areas. Both are added: neither promises too much alone.
    Source: White, Econometrica 48 (1980) 817; Liang and Zeger, Biometrika 73 (1986) 13 (from memory).
    """
    if not model.count:
        return np.zeros((0, 0))
    jacobian, residuals = model.jacobian(vector), model.residuals(vector)
    bread = np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-14, hermitian=True)
    meat = np.zeros((model.size, model.size))
    at = 0
    for k, one in enumerate(model.stills):
        count = int(one.use.sum())
        rows, off = jacobian[at : at + count], residuals[at : at + count]
        meat += _expected(model, vector, k, rows) + _found(one, rows, off)
        at += count
    priors = jacobian[at:]
    meat += priors.T @ priors
    found = bread @ meat @ bread
    return np.asarray(found[: model.count, : model.count])


def _expected(model: Model, vector: Floats, k: int, rows: Floats) -> Floats:
    """Noise cell by cell, and unevenness that is one and the same within each of its areas."""
    one = model.stills[k]
    scale = model.sigma(k, model.lit(k, vector[model.own(k)]))[one.use]
    noisy = rows * (one.measured.noise[one.use] / scale)[:, None]
    uneven = rows * (UNEVEN_STOPS * LN2 * one.measured.light[one.use] / scale)[:, None]
    sums = _area_sums(uneven, _areas(one, UNEVEN_AREAS))
    return np.asarray(noisy.T @ noisy + sums.T @ sums)


def _found(one: Seen, rows: Floats, off: Floats) -> Floats:
    sums = _area_sums(rows * off[:, None], _areas(one, LARGE_AREAS))
    return np.asarray(sums.T @ sums)


def _areas(one: Seen, across: int) -> NDArray[np.int64]:
    """Which area each cell that counts lies in."""
    side = max(1, one.cells[1] // across)
    row, column = np.nonzero(one.use)
    return row // side * one.cells[1] + column // side


def _area_sums(rows: Floats, areas: NDArray[np.int64]) -> Floats:
    _, which = np.unique(areas, return_inverse=True)
    sums = np.zeros((int(which.max(initial=-1)) + 1, rows.shape[1]))
    np.add.at(sums, which, rows)
    return sums
