"""Which way up the stills are: turned, mirrored or flipped by mistake."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from scenes.questions.compare.fit import Fit, coarse_fit, finders, start_cost
from scenes.questions.compare.measure import COARSE
from scenes.questions.compare.shoot import Notes
from scenes.stills.cells import ORIENTATIONS, Measured, oriented
from scenes.unknowns.model import Kept, Model, Seen, seen, seen_coarser
from scenes.unknowns.predicted import Values

Floats = NDArray[np.float64]

BETTER = 0.6  # of the cost: another orientation is believed
FELT_MM = 0.5  # mm or degrees: values that differ by less are the same
ALIKE_COST = 1.15  # orientations that an even box cannot tell apart


def best_orientations(notes: Notes, measured: Sequence[Measured], fit: Fit, kept: Kept) -> tuple[str, ...]:
    """Of each still, as shot unless another way up is clearly better: all in one way, or a few unlike the rest.

    Values are fitted once for each way that all stills may be in; each still is then held against each of these fits.
    """
    turned = [_one_way(notes, measured, way) for way in ORIENTATIONS]
    found = [fit.values, *(coarse_fit(notes.unknowns, some, kept, quick=True).values for some in turned[1:])]
    ways = [tuple(seen_coarser(one, COARSE) for one in some) for some in turned]
    as_shot = _costs(notes, ways, fit.values, kept)[:, 0].sum()
    costs = [_costs(notes, ways, values, kept) for values in found]
    best = min(costs, key=lambda one: float(one.min(axis=1).sum()))
    if best.min(axis=1).sum() > BETTER * as_shot:
        return tuple(ORIENTATIONS[0] for _ in measured)
    return tuple(_likeliest(row) for row in best)


def alike_orientations(notes: Notes, measured: Sequence[Measured], fit: Fit, kept: Kept) -> tuple[tuple[str, Floats], ...]:
    """Other ways up in which all stills would look the same, each with the values (U,) that they would then have."""
    found = []
    as_shot = _one_way(notes, measured, ORIENTATIONS[0])
    here = start_cost(Model(notes.unknowns, tuple(seen_coarser(one, COARSE) for one in finders(as_shot)), kept), fit.values)
    for way in ORIENTATIONS[1:]:
        other = coarse_fit(notes.unknowns, _one_way(notes, measured, way), kept, quick=True)
        if other.cost <= ALIKE_COST * here and np.abs(other.values - fit.values).max(initial=0.0) > FELT_MM:
            found.append((way, other.values))
    return tuple(found)


def _one_way(notes: Notes, measured: Sequence[Measured], way: str) -> list[Seen]:
    return [seen(shot, oriented(one, way)) for shot, one in zip(notes.shots, measured, strict=True)]


def _likeliest(costs: Floats) -> str:
    """The first of the ways that cost about the least: likelier mistakes come first."""
    return next(way for way, cost in zip(ORIENTATIONS, costs, strict=True) if cost <= ALIKE_COST * costs.min())


def _costs(notes: Notes, ways: Sequence[tuple[Seen, ...]], values: Values, kept: Kept) -> Floats:
    """Cost of every still (K,) in every way up (W,) at these values (K, W)."""
    alone = [[Model(notes.unknowns, (one,), kept, rough=True) for one in stills] for stills in ways]
    return np.array([[start_cost(model, values) for model in models] for models in alone]).T
