"""Robust least squares on all stills at once, still by still: each touches the unknown values and its own few numbers alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenes.unknowns.model import Model

Floats = NDArray[np.float64]

F_SCALE = 2.0  # of soft_l1: residuals beyond twice their scale count less
DAMPING, LESS, MORE = 1e-4, 0.1, 8.0  # of Levenberg and Marquardt, and what it is multiplied with after a good and a bad step
TRIES = 6  # with more damping before a place counts as the best
LEAST_STEP = 100.0  # times the tolerance, in mm or degrees: steps below it lead nowhere
FIXED = 1e-9  # bounds nearer to each other hold a value


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """Least and most of each number of a vector."""

    low: Floats
    high: Floats

    def clipped(self, vector: Floats) -> Floats:
        """The vector within them."""
        return np.clip(vector, self.low, self.high)

    def free(self, vector: Floats, gradient: Floats) -> NDArray[np.bool_]:
        """Numbers that may move: not held, and not at a bound that the cost falls beyond."""
        stuck = ((vector <= self.low) & (gradient > 0)) | ((vector >= self.high) & (gradient < 0))
        return np.asarray((self.high - self.low > FIXED) & ~stuck)


def soft_cost(residuals: Floats) -> float:
    """Half the sum of soft_l1 losses, as scipy counts it."""
    z = (residuals / F_SCALE) ** 2
    return float(F_SCALE**2 * np.sum(np.sqrt(1.0 + z) - 1.0))


def cost_of(model: Model, vector: Floats) -> float:
    """The cost of a vector: cells robustly, what is known beforehand too."""
    return sum(soft_cost(residuals) for residuals in _all_residuals(model, vector))


def _all_residuals(model: Model, vector: Floats) -> Iterator[Floats]:
    yield from model.cell_residuals(vector)
    yield model.priors(vector)[0]


def minimised(model: Model, start: Floats, bounds: Bounds, *, steps: int, tolerance: float) -> tuple[Floats, float]:
    """The vector of the least cost near a start, and that cost.

    Levenberg and Marquardt's way with the weights of soft_l1; source: Triggs and others, "Bundle adjustment", 2000 (from memory).
    """
    vector, damping = bounds.clipped(start), DAMPING
    cost = cost_of(model, vector)
    for _ in range(steps):
        curvature, gradient = normal_equations(model, vector)
        free = bounds.free(vector, gradient)
        for _ in range(TRIES):
            trial = bounds.clipped(vector + _step(curvature, gradient, free, damping))
            tried = cost_of(model, trial)
            if tried <= cost:
                break
            damping *= MORE
        else:
            return vector, cost
        gain, moved = cost - tried, np.abs(trial - vector)[: model.count].max(initial=0.0)
        vector, cost, damping = trial, tried, damping * LESS
        if gain <= tolerance * cost or (model.count and moved <= LEAST_STEP * tolerance):
            break
    return vector, cost


def _step(curvature: Floats, gradient: Floats, free: NDArray[np.bool_], damping: float) -> Floats:
    step = np.zeros(len(gradient))
    inner = curvature[np.ix_(free, free)]
    damped = inner + np.diag(damping * np.diag(inner) + 1e-12)
    step[free] = -np.linalg.solve(damped, gradient[free])
    return step


def normal_equations(model: Model, vector: Floats) -> tuple[Floats, Floats]:
    """J'WJ (size, size) and J'Wr (size,), W the weights of soft_l1."""
    curvature, gradient = np.zeros((model.size, model.size)), np.zeros(model.size)
    for k, (residuals, rows) in enumerate(zip(model.cell_residuals(vector), model.cell_jacobians(vector), strict=True)):
        places, weighted = model.places(k), rows * _weights(residuals)[:, None]
        curvature[np.ix_(places, places)] += weighted.T @ rows
        gradient[places] += weighted.T @ residuals
    residuals, rows = model.priors(vector)
    weighted = rows * _weights(residuals)[:, None]
    return curvature + weighted.T @ rows, gradient + weighted.T @ residuals


def _weights(residuals: Floats) -> Floats:
    """Derivative of soft_l1 by the squared residual."""
    return 1.0 / np.sqrt(1.0 + (residuals / F_SCALE) ** 2)
