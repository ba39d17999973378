"""How sure an answer is when its inputs are only known to a tolerance: corners for the worst, sampled builds for the likely.

Knows no box and no lens: an answer is any function of named numbers that is clear where it is above 0, such as a clearance in mm.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from geometry.arrays import FloatArray

Inputs = Mapping[str, float]
Evaluate = Callable[[Inputs], float]

MOST_CORNERED = 6  # inputs up to which every corner is tried: 64 of them; of more, as many that are well spread
MOST_FLIPPED = 3  # corners from which inputs are then put to their other ends, one after the other
FLIP_ROUNDS = 3  # through all inputs: what an early one does may show after a later one only
CONFIDENCE = 0.95
ALIKE_SHARE = 1e-12  # values that differ by less are one to rounding


@dataclass(frozen=True, slots=True)
class PlusMinus:
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


def plus_minus(name: str, nominal: float, by: float) -> PlusMinus:
    """A tolerance of the same size both ways."""
    return PlusMinus(name, nominal, by, by)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What one input alone does to the answer, the others nominal: the answer at its low end, as nominal, and at its high end."""

    name: str
    at_low: float
    nominal: float
    at_high: float

    @property
    def swing(self) -> float:
        """How far the answer moves; what lowers it both ways, as an opening off centre does, moves it too."""
        answers = (self.at_low, self.nominal, self.at_high)
        return max(answers) - min(answers)


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
    answers' variance that a bent line in each input accounts for.
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


def worst_case(evaluate: Evaluate, tolerances: Sequence[PlusMinus], suspects: Sequence[Inputs] = ()) -> WorstCase:
    """The least answer over the tolerances: at every corner of few inputs; of many at their worse ends together, and a design's.

    An answer that is the least of several, as the room in a box is of all edges', shows of each input alone only what it does to
    the one that is least as all are nominal. So corners are tried in which any three inputs stand at all combinations of their
    ends, and `suspects`; then each input of the worst few of them is put to its other end where that is worse still.
    """
    nominal = {tolerance.name: tolerance.nominal for tolerance in tolerances}
    effects, few = tornado(evaluate, tolerances), len(tolerances) <= MOST_CORNERED
    corners = product(*(t.ends for t in tolerances)) if few else [_worse_ends(tolerances, effects), *_design(tolerances)]
    tried = [nominal, *(dict(zip(nominal, corner, strict=True)) for corner in corners), *(dict(inputs) for inputs in suspects)]
    tried += [nominal | {t.name: end} for t in tolerances for end in t.ends]
    tried = list({tuple(inputs[t.name] for t in tolerances): inputs for inputs in tried}.values())
    answers = [evaluate(inputs) for inputs in tried]
    worst_first = [(answers[k], tried[k]) for k in np.argsort(answers, kind="stable")]
    if not few:
        worst_first = sorted((_flipped(evaluate, tolerances, *one) for one in worst_first[:MOST_FLIPPED]), key=lambda one: one[0])
    return WorstCase(nominal=answers[0], worst=worst_first[0][0], inputs=worst_first[0][1], effects=effects)


def _design(tolerances: Sequence[PlusMinus]) -> list[tuple[float, ...]]:
    """Corners in which any three inputs come in all eight combinations of their ends: 64 of them for up to 32 inputs.

    Columns of a Hadamard matrix whose numbers have an odd count of ones: no product of two of them is a third.

    Source: Plackett and Burman, Biometrika 33, 305 (1946) (from memory); Box and Hunter, Technometrics 3, 311 (1961) (from memory).
    """
    from scipy.linalg import hadamard  # not needed to read a scene

    runs = max(1 << MOST_CORNERED, 1 << (2 * len(tolerances) - 1).bit_length())
    odd = sorted((k for k in range(runs) if k.bit_count() % 2), key=lambda k: (k.bit_count(), k))
    signs = hadamard(runs)[:, odd[: len(tolerances)]]
    return [tuple(t.ends[int(sign > 0)] for t, sign in zip(tolerances, row, strict=True)) for row in signs]


def _flipped(
    evaluate: Evaluate, tolerances: Sequence[PlusMinus], worst: float, inputs: dict[str, float]
) -> tuple[float, dict[str, float]]:
    """The worst corner after each input in turn has been put to its other end, where that is worse, until none is."""
    for _ in range(FLIP_ROUNDS):
        before = worst
        for tolerance in tolerances:
            for end in tolerance.ends:
                tried = inputs | {tolerance.name: end}
                if inputs[tolerance.name] != end and (answer := evaluate(tried)) < worst:
                    worst, inputs = answer, tried
        if worst == before:
            break
    return worst, inputs


def tornado(evaluate: Evaluate, tolerances: Sequence[PlusMinus]) -> tuple[Effect, ...]:
    """What each input alone does, the one that moves the answer most first."""
    nominal = {tolerance.name: tolerance.nominal for tolerance in tolerances}
    middle = evaluate(nominal)
    effects = [
        Effect(
            name=t.name,
            at_low=evaluate(nominal | {t.name: t.ends[0]}),
            nominal=middle,
            at_high=evaluate(nominal | {t.name: t.ends[1]}),
        )
        for t in tolerances
    ]
    return tuple(sorted(effects, key=lambda effect: -effect.swing))


def _worse_ends(tolerances: Sequence[PlusMinus], effects: Sequence[Effect]) -> tuple[float, ...]:
    lower = {effect.name: effect.at_low < effect.at_high for effect in effects}
    return tuple(t.ends[0] if lower[t.name] else t.ends[1] for t in tolerances)


def spread(evaluate: Evaluate, tolerances: Sequence[PlusMinus], n: int, rng: np.random.Generator) -> Spread:
    """How `n` builds come out whose inputs lie evenly spread within their tolerances (Latin hypercube).

    Even spreads are the cautious reading of a +/- on a drawing: nothing says that the middle is likelier.

    Source: McKay, Beckman and Conover, Technometrics 21, 239 (1979) (from memory).
    """
    inputs = builds(tolerances, n, rng)
    names = tuple(t.name for t in tolerances)
    return spread_of(names, inputs, np.array([evaluate(dict(zip(names, row, strict=True))) for row in inputs.tolist()]))


def builds(tolerances: Sequence[PlusMinus], n: int, rng: np.random.Generator) -> FloatArray:
    """Inputs (n, d) of `n` builds, evenly spread within their tolerances; any columns of them are evenly spread too."""
    ends = np.array([t.ends for t in tolerances])
    return np.asarray(ends[:, 0] + latin_hypercube(n, len(tolerances), rng) * (ends[:, 1] - ends[:, 0]))


def latin_hypercube(n: int, d: int, rng: np.random.Generator) -> FloatArray:
    """Points (n, d) of the unit cube, one in each of n slices of every axis: those of scipy.stats.qmc, without its loading.

    Source: McKay, Beckman and Conover, Technometrics 21, 239 (1979) (from memory).
    """
    own = rng.spawn(1)[0]
    within = own.uniform(size=(n, d))
    slices = np.tile(np.arange(1, n + 1), (d, 1))
    for row in slices:
        own.shuffle(row)
    return np.asarray((slices.T - within) / n)


def spread_of(names: tuple[str, ...], inputs: FloatArray, values: FloatArray) -> Spread:
    """How builds with these inputs (n, d) and answers (n,) come out."""
    clear, n = int((values > 0).sum()), len(values)
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
    from scipy.special import ndtri  # not needed to read a scene

    z, p = float(ndtri(0.5 + confidence / 2)), hits / n
    middle, half = p + z * z / (2 * n), z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    low, high = float((middle - half) / (1 + z * z / n)), float((middle + half) / (1 + z * z / n))
    return (0.0 if hits == 0 else low), (1.0 if hits == n else high)


def main_effects(inputs: FloatArray, values: FloatArray) -> FloatArray:
    """Share of the variance of values (n,) that a line bent in the middle, in each column of inputs (n, d), accounts for (d,).

    The variance of b_j x_j + c_j |x_j - m_j| over that of y, all columns fitted together, m_j the middle of the column. The bend
    is for what lowers the answer both ways. Where it is straight, b_j^2 var(x_j) / var(y), the squared standardised coefficient.

    Source: Saltelli et al., Global Sensitivity Analysis, section 1.2.5 (from memory), for the straight part.
    """
    finite = np.isfinite(values)
    x, y = inputs[finite], values[finite] - values[finite].mean() if finite.any() else values[finite]
    if len(y) <= 2 * inputs.shape[1] or y.std() <= ALIKE_SHARE * np.abs(values[finite]).max():
        return np.zeros(inputs.shape[1])
    terms = np.stack([x, np.abs(x - (x.min(axis=0) + x.max(axis=0)) / 2)], axis=1)
    terms = terms - terms.mean(axis=0)
    slopes = np.linalg.lstsq(terms.reshape(len(y), -1), y, rcond=None)[0].reshape(2, -1)
    return np.asarray((terms * slopes).sum(axis=1).var(axis=0) / y.var())
