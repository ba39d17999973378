"""Which way up the stills are: turned, mirrored or flipped by mistake."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenes.questions.compare.fit import Fit, coarse_fit, finders, fit_from, start_cost
from scenes.questions.compare.measure import COARSE
from scenes.questions.compare.shoot import Notes
from scenes.stills.cells import ORIENTATIONS, Measured, oriented
from scenes.unknowns.model import Kept, Model, Seen, seen, seen_coarser
from scenes.unknowns.predicted import Values
from scenes.unknowns.unknown import Unknown

Floats = NDArray[np.float64]

BETTER = 0.6  # of the cost: another orientation is believed
FELT_MM = 0.5  # mm or degrees: values that differ by less are the same
ALIKE_COST = 1.15  # orientations that an even box cannot tell apart


@dataclass(frozen=True, slots=True, kw_only=True)
class WayUp:
    """Which way up each still is, and values (U,) to fit from, where better ones came to light than were known."""

    orientations: tuple[str, ...]
    near: Values | None = None


def best_orientations(notes: Notes, measured: Sequence[Measured], fit: Fit, kept: Kept) -> WayUp:
    """Each still as shot unless another way up is clearly better: all in one way, or a few unlike the rest.

    Values are fitted once for each way that all stills may be in; each still is then held against each of these fits. An even box
    looks the same in another way up with its values turned round: that is tried before another way up is believed.
    """
    turned = [_one_way(notes, measured, way) for way in ORIENTATIONS]
    found = [fit.values, *(coarse_fit(notes.unknowns, some, kept, quick=True).values for some in turned[1:])]
    ways = [tuple(seen_coarser(one, COARSE) for one in some) for some in turned]
    round_about = [_turned_round(notes, turned[0], values, way, kept) for values, way in zip(found, ORIENTATIONS, strict=True)]
    as_shot = min((fit.values, *(one.values for one in round_about[1:])), key=lambda at: _sum(_costs(notes, ways, at, kept)[:, 0]))
    at_first = _costs(notes, ways, as_shot, kept)[:, 0]
    costs = [_costs(notes, ways, values, kept) for values in found]
    best = min(costs, key=lambda one: _sum(one.min(axis=1)))
    if _sum(best.min(axis=1)) > BETTER * _sum(at_first):
        return WayUp(orientations=tuple(ORIENTATIONS[0] for _ in measured), near=None if as_shot is fit.values else tuple(as_shot))
    return WayUp(orientations=tuple(_likeliest(row) for row in best))


def alike_orientations(notes: Notes, measured: Sequence[Measured], fit: Fit, kept: Kept) -> tuple[tuple[str, Floats], ...]:
    """Other ways up in which all stills would look the same, each with the values (U,) that they would then have."""
    found = []
    here = start_cost(_coarse_model(notes, _one_way(notes, measured, ORIENTATIONS[0]), kept), fit.values)
    for way in ORIENTATIONS[1:]:
        stills = _one_way(notes, measured, way)
        looked_for = coarse_fit(notes.unknowns, stills, kept, quick=True)
        other = min(looked_for, _turned_round(notes, stills, fit.values, way, kept), key=lambda one: one.cost)
        if other.cost <= ALIKE_COST * here and np.abs(other.values - fit.values).max(initial=0.0) > FELT_MM:
            found.append((way, other.values))
    return tuple(found)


def _turned_round(notes: Notes, stills: Sequence[Seen], values: Values, way: str, kept: Kept) -> Fit:
    """The fit of stills from the values that an even box would have, were they turned or mirrored as `way` says."""
    signs = [-1.0 if _changes_sign(item, way) else 1.0 for item in notes.unknowns]
    return fit_from(_coarse_model(notes, stills, kept), tuple(np.asarray(values) * signs))


def _changes_sign(unknown: Unknown, way: str) -> bool:
    """Whether a value is told from the middle, and along a direction that this way turns round."""
    sideways, upright = way in {"turned 180", "mirrored"}, way in {"turned 180", "upside down"}
    key, part = unknown.spot.key, unknown.spot.part
    if key == "turn_deg":
        return sideways != upright
    return (sideways and part == "right") or (upright and (part == "up" or key == "tilt_deg"))


def _coarse_model(notes: Notes, stills: Sequence[Seen], kept: Kept) -> Model:
    return Model(notes.unknowns, tuple(seen_coarser(one, COARSE) for one in finders(stills)), kept, rough=True)


def _sum(costs: Floats) -> float:
    return float(costs.sum())


def _one_way(notes: Notes, measured: Sequence[Measured], way: str) -> list[Seen]:
    return [seen(shot, oriented(one, way)) for shot, one in zip(notes.shots, measured, strict=True)]


def _likeliest(costs: Floats) -> str:
    """The first of the ways that cost about the least: likelier mistakes come first."""
    return next(way for way, cost in zip(ORIENTATIONS, costs, strict=True) if cost <= ALIKE_COST * costs.min())


def _costs(notes: Notes, ways: Sequence[tuple[Seen, ...]], values: Values, kept: Kept) -> Floats:
    """Cost of every still (K,) in every way up (W,) at these values (K, W)."""
    alone = [[Model(notes.unknowns, (one,), kept, rough=True) for one in stills] for stills in ways]
    return np.array([[start_cost(model, values) for model in models] for models in alone]).T
