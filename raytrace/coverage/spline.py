"""A cubic spline through values on a grid, at finer places: small matrices, for the library that has one takes long to load.

Its knots are the nodes but for the second from each end. Source: de Boor, A Practical Guide to Splines, chapters IX and XIII.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray

Ints = NDArray[np.int64]

DEGREE = 3


def on_finer_grid(rows: Ints, columns: Ints, values: FloatArray, fine_rows: Ints, fine_columns: Ints) -> FloatArray:
    """Values (R, C) at nodes in order, as (r, c) at finer ones between the first and the last of these."""
    return np.asarray(np.einsum("ri,ij,cj->rc", _weights(rows, fine_rows), values, _weights(columns, fine_columns), optimize=True))


def _weights(nodes: Ints, places: Ints) -> FloatArray:
    """What the value at each node (N,) counts at each place (P, N): of lower degree where there are few nodes."""
    degree = min(DEGREE, len(nodes) - 1)
    inner = nodes[2:-2] if degree == DEGREE else nodes[:0]
    knots = np.concatenate([np.repeat(nodes[0], degree + 1), inner, np.repeat(nodes[-1], degree + 1)]).astype(np.float64)
    return np.asarray(np.linalg.solve(_basis(knots, degree, nodes).T, _basis(knots, degree, places).T).T)


def _basis(knots: FloatArray, degree: int, places: Ints) -> FloatArray:
    """The B-splines of a degree at places (P,): (P, len(knots) - degree - 1)."""
    at = places.astype(np.float64)[:, None]
    last = len(knots) - degree - 2  # of the spans that are not empty: the end belongs to it
    span = np.clip(np.searchsorted(knots, at[:, 0], side="right") - 1, degree, last)
    basis = (span[:, None] == np.arange(len(knots) - 1)).astype(np.float64)
    for k in range(1, degree + 1):
        low, high = knots[: -k - 1], knots[k + 1 :]
        rise, fall = knots[k:-1] - low, high - knots[1:-k]
        rising = np.divide(at - low, rise, out=np.zeros((len(at), len(low))), where=rise > 0.0)
        falling = np.divide(high - at, fall, out=np.zeros((len(at), len(low))), where=fall > 0.0)
        basis = rising * basis[:, :-1] + falling * basis[:, 1:]
    return basis
