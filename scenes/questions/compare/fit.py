"""The unknown values that explain all stills best. Deterministic: no chance, no clock."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from scenes.questions.compare.measure import COARSE
from scenes.questions.compare.solve import Bounds, cost_of, minimised
from scenes.unknowns.errors import covariance, unfelt
from scenes.unknowns.model import PRIOR, Kept, Model, Seen, seen_coarser
from scenes.unknowns.predicted import UnbuildableError, Values
from scenes.unknowns.telling import TOLD_SIGMA
from scenes.unknowns.unknown import Unknown, nominal_values

Floats = NDArray[np.float64]

GOOD_SHARE = 0.005  # rms: the scene explains the stills
REACH = 8.0  # mm or degrees to either side that starts are looked for in
STARTS_A_VALUE, MOST_STARTS = 16, 64
FINDERS = 3  # stills that the way is found on; every fit is of all
TRIED = 2  # of the best starts are followed
MOST_STEPS, ROUGH_STEPS = 20, 12
TOLERANCE, ROUGH_TOLERANCE = 1e-5, 1e-3
AWAY = (1.0, 2.0, 3.0, 4.0, 5.5, 7.0, 9.0)  # mm or degrees
FELT = 0.02  # of the cost
TRUST_SIGMAS, LEAST_MOVE = 3.0, 0.5  # how far a told value is tried to either side: errors, and mm or degrees
ONE_SIDED = 0.1  # of what the cost rises by on the other side: no rise
PARTS = (0.25, 0.5, 0.75, 1.0)  # of the step in which a part comes into frame


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """The best vector of a model and its cost; `rms` is in shares of lit cells."""

    model: Model
    vector: Floats
    cost: float
    rms: float

    @property
    def values(self) -> Floats:
        """The unknown values."""
        return self.vector[: self.model.count]


@dataclass(frozen=True, slots=True, kw_only=True)
class FitWithErrors(Fit):
    """A fit with the covariance of its unknown values (P, P)."""

    covariance: Floats

    @property
    def sigmas(self) -> Floats:
        """Their standard errors."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))


def with_errors(fit: Fit) -> FitWithErrors:
    """The fit with its standard errors, which cost many maps: for the fit that is told, not for those on the way to it."""
    found = covariance(fit.model, fit.vector)
    for place in range(fit.model.count):
        sigma = float(np.sqrt(max(found[place, place], 0.0)))
        if sigma <= TOLD_SIGMA and _held_from_one_side(fit, place, max(TRUST_SIGMAS * sigma, LEAST_MOVE)):
            found[place], found[:, place] = 0.0, 0.0
            found[place, place] = PRIOR**2
    return FitWithErrors(model=fit.model, vector=fit.vector, cost=fit.cost, rms=fit.rms, covariance=found)


def _held_from_one_side(fit: Fit, place: int, off: float) -> bool:
    """Whether a value could as well lie this much further to one side, as that of a part that just comes into frame.

    What little such a part explains, dust or an uneven wall would too.
    """
    rises = []
    for sign in (-1.0, 1.0):
        vector = fit.vector.copy()
        vector[place] = _with(fit, place, sign * off)[place]
        try:
            rises.append(cost_of(fit.model, vector) - fit.cost)
        except UnbuildableError:
            return False
    return min(rises) < ONE_SIDED * max(rises)


def finders(stills: Sequence[Seen]) -> tuple[Seen, ...]:
    """A few stills, of settings as unlike as there are: the way to all is found on them."""
    kinds = {one.kind: one for one in reversed(stills)}
    unlike = sorted(kinds.values(), key=lambda one: (one.shot.state.focus_mm, one.shot.state.f_number), reverse=True)
    places = np.unique(np.linspace(0, len(unlike) - 1, min(FINDERS, len(unlike))).round().astype(int))
    return tuple(unlike[place] for place in places)


def best_fit(unknowns: tuple[Unknown, ...], stills: Sequence[Seen], near: Values | None = None, like: Model | None = None) -> Fit:
    """The fit of all stills: found on coarse cells from many starts, or from `near`, then on the cells as they are.

    `like` is a model of the same shots whose predictions serve again.
    """
    if near is None:
        near = coarse_fit(unknowns, stills).values
    model = Model(unknowns, tuple(stills)) if like is None else replace(like, stills=tuple(stills))
    fit = fit_from(model, near)
    if len(stills) > FINDERS and fit.rms > GOOD_SHARE:
        fit = min(fit, fit_from(model, _wide_fit(unknowns, stills, near).values), key=lambda one: one.cost)
    return tried_further_off(fit) if unfelt(fit.model, fit.vector).any() else fit


def _wide_fit(unknowns: tuple[Unknown, ...], stills: Sequence[Seen], near: Values) -> Fit:
    """The best fit of all stills on large cells: a few may have led astray."""
    model = Model(unknowns, tuple(seen_coarser(one, COARSE) for one in stills), rough=True)
    chosen = dict.fromkeys([tuple(near), tuple(item.nominal for item in unknowns)])
    return tried_further_off(min((fit_from(model, start) for start in chosen), key=lambda fit: fit.cost))


def coarse_fit(unknowns: tuple[Unknown, ...], stills: Sequence[Seen], kept: Kept | None = None, *, quick: bool = False) -> Fit:
    """The best fit of a few stills on large cells, from the nominal values and the likeliest of many others.

    `kept` are predictions that fits of the same shots share; a `quick` one only shows whether the way leads anywhere.
    """
    some = tuple(seen_coarser(one, COARSE) for one in finders(stills))
    model = Model(unknowns, some, {} if kept is None else kept, rough=True)
    nominal = tuple(item.nominal for item in unknowns)
    if not unknowns:
        return fit_from(model, nominal)
    costs = sorted((start_cost(model, start), start) for start in starts(unknowns))
    if quick:
        return fit_from(model, costs[0][1])
    chosen = dict.fromkeys([nominal, *(start for _, start in costs[:TRIED])])
    return tried_further_off(min((fit_from(model, start) for start in chosen), key=lambda fit: fit.cost))


def tried_further_off(fit: Fit) -> Fit:
    """The fit with each value tried further off: a part that is out of frame has no derivative, and would stay where it is."""
    for place in range(fit.model.count):
        is_unfelt = bool(unfelt(fit.model, fit.vector)[place])
        if not is_unfelt and fit.rms <= (2 * GOOD_SHARE if fit.model.rough else GOOD_SHARE):  # large cells blur penumbrae
            continue
        for start in _starts_away(fit, place, is_unfelt=is_unfelt):
            fit = min(fit, fit_from(fit.model, start), key=lambda one: one.cost)
    return fit


def _starts_away(fit: Fit, place: int, *, is_unfelt: bool) -> Iterator[tuple[float, ...]]:
    """A place that costs less to either side; for a value that does nothing, where it begins to do something."""
    here = start_cost(fit.model, fit.values)
    for sign in (-1.0, 1.0):
        for off, before in zip(AWAY, (0.0, *AWAY), strict=False):
            cost = start_cost(fit.model, _with(fit, place, sign * off))
            if is_unfelt and abs(cost - here) > FELT * here:
                yield _best_held(fit, place, [sign * (before + (off - before) * part) for part in PARTS])
                break
            if not is_unfelt and cost < (1.0 - FELT) * here:
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
        return cost_of(model, model.start(values))
    except UnbuildableError:
        return np.inf


def fit_from(model: Model, values: Values, held: int | None = None) -> Fit:
    """The best fit near these values, one of them held where it is if asked for."""
    try:
        start = model.start(values)
    except UnbuildableError:
        start = model.start([item.nominal for item in model.unknowns])
    low, high = np.full(model.size, -np.inf), np.full(model.size, np.inf)
    for place, item in enumerate(model.unknowns):
        low[place], high[place] = item.limits
    if held is not None:
        low[held] = high[held] = start[held]
    steps, tolerance = (ROUGH_STEPS, ROUGH_TOLERANCE) if model.rough else (MOST_STEPS, TOLERANCE)
    vector, cost = minimised(model, start, Bounds(low=low, high=high), steps=steps, tolerance=tolerance)
    return Fit(model=model, vector=vector, cost=cost, rms=rms_share(model, vector))


def rms_share(model: Model, vector: Floats) -> float:
    """Root mean square of what stills and prediction differ by, as a share of the light without the box."""
    off = [differences(model, vector, k)[one.use] for k, one in enumerate(model.stills)]
    return float(np.sqrt(np.mean(np.concatenate(off) ** 2)))


def differences(model: Model, vector: Floats, k: int) -> Floats:
    """Measured less predicted of still k (H, W), as a share of the light without the box."""
    lit = model.lit(k, vector[model.own(k)])
    return model.stills[k].measured.light / lit - model.share(k, vector[: model.count])
