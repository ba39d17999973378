"""How sure an answer is when its inputs are only known to a tolerance: corners for the worst, sampled builds for the likely.

Knows no box and no lens: an answer is any function of named numbers that is clear where it is above 0, such as a clearance in mm.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc

FloatArray = NDArray[np.float64]
Inputs = Mapping[str, float]
Evaluate = Callable[[Inputs], float]

MOST_CORNERED = 6  # inputs up to which every corner is tried: 64 of them; more go one by one and then all to their worse ends
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Tolerance:
    """An input known as a nominal value plus or minus something, in its own unit; `low` may differ from `high` (both >= 0)."""

    name: str
    nominal: float
    low: float
    high: float

    def __post_init__(self) -> None:
        """Refuse tolerances below nought."""
        if self.low < 0 or self.high < 0:
            raise ValueError(f"{self.name}: a tolerance must not be below 0, got -{self.low:g} / +{self.high:g}")

    @property
    def ends(self) -> tuple[float, float]:
        """The least and the largest value."""
        return self.nominal - self.low, self.nominal + self.high


def plus_minus(name: str, nominal: float, by: float) -> Tolerance:
    """A tolerance of the same size both ways."""
    return Tolerance(name, nominal, by, by)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What one input alone does to the answer, the others nominal: the answer at its low and at its high end."""

    name: str
    at_low: float
    at_high: float

    @property
    def swing(self) -> float:
        """How far the answer moves between the two ends."""
        return abs(self.at_high - self.at_low)


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstCase:
    """The least answer found, the inputs that give it, and the answer where all are nominal."""

    nominal: float
    worst: float
    inputs: dict[str, float]
    effects: tuple[Effect, ...]  # largest swing first: a tornado chart from top to bottom


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How builds come out: share that is clear, with the interval that holds the true share 95 times of 100.

    values (n,) are the answers, inputs (n, d) what they came from, by the order of `names`. main_effects (d,) is the share of the
    answers' variance that a straight line in each input accounts for.
    """

    clear_share: float
    share_range: tuple[float, float]
    values: FloatArray
    inputs: FloatArray
    names: tuple[str, ...]
    main_effects: FloatArray

    @property
    def least_sure(self) -> str:
        """The input that moves the answer most; empty where none does."""
        return self.names[int(self.main_effects.argmax())] if self.main_effects.max(initial=0.0) > 0 else ""


def worst_case(evaluate: Evaluate, tolerances: Sequence[Tolerance]) -> WorstCase:
    """The least answer over the tolerances: at every corner of few inputs, of many at all their worse ends together.

    That finds the worst of any answer that rises or falls steadily with each input, as clearances do.
    """
    nominal = {tolerance.name: tolerance.nominal for tolerance in tolerances}
    effects = tornado(evaluate, tolerances)
    corners = product(*(t.ends for t in tolerances)) if len(tolerances) <= MOST_CORNERED else [_worse_ends(tolerances, effects)]
    tried = [nominal, *(dict(zip(nominal, corner, strict=True)) for corner in corners)]
    tried += [nominal | {t.name: end} for t in tolerances for end in t.ends]
    answers = [evaluate(inputs) for inputs in tried]
    k = int(np.argmin(answers))
    return WorstCase(nominal=answers[0], worst=answers[k], inputs=tried[k], effects=effects)


def tornado(evaluate: Evaluate, tolerances: Sequence[Tolerance]) -> tuple[Effect, ...]:
    """What each input alone does, the one that moves the answer most first."""
    nominal = {tolerance.name: tolerance.nominal for tolerance in tolerances}
    effects = [
        Effect(name=t.name, at_low=evaluate(nominal | {t.name: t.ends[0]}), at_high=evaluate(nominal | {t.name: t.ends[1]}))
        for t in tolerances
    ]
    return tuple(sorted(effects, key=lambda effect: -effect.swing))


def _worse_ends(tolerances: Sequence[Tolerance], effects: Sequence[Effect]) -> tuple[float, ...]:
    lower = {effect.name: effect.at_low < effect.at_high for effect in effects}
    return tuple(t.ends[0] if lower[t.name] else t.ends[1] for t in tolerances)


def spread(evaluate: Evaluate, tolerances: Sequence[Tolerance], n: int, rng: np.random.Generator) -> Spread:
    """How `n` builds come out whose inputs lie evenly spread within their tolerances (Latin hypercube).

    Even spreads are the cautious reading of a +/- on a drawing: nothing says that the middle is likelier.

    Source: McKay, Beckman and Conover, Technometrics 21, 239 (1979) (from memory); scipy.stats.qmc.
    """
    ends = np.array([t.ends for t in tolerances])
    inputs = ends[:, 0] + qmc.LatinHypercube(d=len(tolerances), rng=rng).random(n) * (ends[:, 1] - ends[:, 0])
    names = tuple(t.name for t in tolerances)
    values = np.array([evaluate(dict(zip(names, row, strict=True))) for row in inputs.tolist()])
    clear = int((values > 0).sum())
    return Spread(
        clear_share=clear / n,
        share_range=share_range(clear, n),
        values=values,
        inputs=inputs,
        names=names,
        main_effects=main_effects(inputs, values),
    )


def share_range(hits: int, n: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """The interval of true shares that `hits` of `n` independent trials leave likely.

    (p + z^2/2n -+ z sqrt(p (1 - p) / n + z^2 / 4 n^2)) / (1 + z^2/n). A Latin hypercube does no worse than independent trials.

    Source: Wilson, J. Am. Stat. Assoc. 22, 209 (1927) (from memory).
    """
    z, p = float(norm.ppf(0.5 + confidence / 2)), hits / n
    middle, half = p + z * z / (2 * n), z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    low, high = float((middle - half) / (1 + z * z / n)), float((middle + half) / (1 + z * z / n))
    return (0.0 if hits == 0 else low), (1.0 if hits == n else high)


def main_effects(inputs: FloatArray, values: FloatArray) -> FloatArray:
    """Share of the variance of values (n,) that a straight line in each column of inputs (n, d) accounts for (d,).

    Squared standardised regression coefficients, b_j^2 var(x_j) / var(y).

    Source: Saltelli et al., Global Sensitivity Analysis, section 1.2.5 (from memory).
    """
    finite = np.isfinite(values)
    x, y = inputs[finite] - inputs[finite].mean(axis=0), values[finite] - values[finite].mean()
    if len(y) <= x.shape[1] or not y.any():
        return np.zeros(inputs.shape[1])
    slope = np.linalg.lstsq(x, y, rcond=None)[0]
    return np.asarray(slope**2 * x.var(axis=0) / y.var())
