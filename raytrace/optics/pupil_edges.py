"""Edges of what gets through a lens, in the V1 plane, by bisection along spokes on a gauge of exact rays.

F fields, A spokes each; spoke k points along (cos, sin) of its angle in (x, y), x sagittal and y tangential.
"""

from collections.abc import Callable

import numpy as np

from geometry.arrays import FloatArray

Gauge = Callable[[FloatArray], FloatArray]

EDGE_TOLERANCE = 1e-9  # of the pupil radius: far below a micrometre, above float64 noise of twenty surfaces
LADDER = np.concatenate([[0.0], 0.02 * 1.25 ** np.arange(30)])  # pupil radii, out to 13: first step outside wins
MERIDIAN_SAMPLES = 65


def _on_spokes(centre: FloatArray, spokes: FloatArray, radii: FloatArray) -> FloatArray:
    """Points (F, A, ..., 2) at radii (F, A, ...) along spokes (A,) about centres (F, 2)."""
    extra = (1,) * (radii.ndim - 2)
    unit = np.stack([np.cos(spokes), np.sin(spokes)], axis=-1).reshape(1, -1, *extra, 2)
    return centre.reshape(-1, 1, *extra, 2) + radii[..., None] * unit


def edges_mm(gauge: Gauge, centre: FloatArray, spokes: FloatArray, ladder: FloatArray) -> FloatArray:
    """Radius (F, A) at which each spoke leaves what gets through; 0 where its centre is already outside.

    Climbs a ladder of radii (F, K) to the first one outside, then bisects: regions are convex or nearly so, and the
    first crossing is the edge even where far-off rays come back in.
    """
    rungs = np.broadcast_to(ladder[:, None, :], (len(centre), len(spokes), ladder.shape[1]))
    outside = gauge(_on_spokes(centre, spokes, rungs)) > 1.0
    first = np.where(outside.any(axis=-1), outside.argmax(axis=-1), ladder.shape[1] - 1)
    rows = np.arange(len(centre))[:, None]
    low, high = ladder[rows, np.maximum(first - 1, 0)], ladder[rows, first]
    rounds = int(np.ceil(np.log2(LADDER[-1] / 5.0 / EDGE_TOLERANCE)))
    for _ in range(rounds):
        middle = 0.5 * (low + high)
        inside = gauge(_on_spokes(centre, spokes, middle)) <= 1.0
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return low


def mirrored_edges_mm(gauge: Gauge, centre: FloatArray, spokes: FloatArray, ladder: FloatArray) -> FloatArray:
    """Edges on all spokes from those on one side: the lens is the same left and right."""
    count = len(spokes)
    mirror = (count // 2 - np.arange(count)) % count
    if count % 2:
        return edges_mm(gauge, centre, spokes, ladder)
    own = np.flatnonzero(np.cos(spokes) > -1e-9)
    radii = np.zeros((len(centre), count))
    radii[:, own] = edges_mm(gauge, centre, spokes[own], ladder)
    other = np.flatnonzero(np.cos(spokes) <= -1e-9)
    radii[:, other] = radii[:, mirror[other]]
    return radii


def clear_centre_mm(gauge: Gauge, stop_edge: FloatArray, ladder: FloatArray) -> FloatArray:
    """Middle (F, 2) of the meridional chord that gets through; the least blocked point where nothing does.

    By symmetry a convex outline that holds any point holds one on the meridian.
    """
    upper, lower = stop_edge[:, 0], stop_edge[:, 1]
    best = _least_blocked(gauge, lower, upper)
    start = np.stack([np.zeros_like(best), best], axis=1)
    reach = edges_mm(gauge, start, np.array([np.pi / 2, -np.pi / 2]), ladder)
    return np.stack([np.zeros_like(best), best + 0.5 * (reach[:, 0] - reach[:, 1])], axis=1)


def _least_blocked(gauge: Gauge, lower: FloatArray, upper: FloatArray) -> FloatArray:
    """Height (F,) on the meridian whose ray keeps farthest from every edge, by narrowing a sampled bracket."""
    rows, share = np.arange(len(lower)), np.linspace(0.0, 1.0, MERIDIAN_SAMPLES)
    for _ in range(4):
        tried = lower[:, None] + (upper - lower)[:, None] * share
        level = gauge(np.stack([np.zeros_like(tried), tried], axis=-1))
        at = np.clip(level.argmin(axis=1), 1, MERIDIAN_SAMPLES - 2)
        lower, upper = tried[rows, at - 1], tried[rows, at + 1]
    return 0.5 * (lower + upper)
