"""Splines of a DXF: what their text says against itself, and chords that stray from the curve no more than is asked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import factorial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenes.io.library_remarks import printable

# DXF reference, SPLINE: group codes of its flags, its degree, what it counts, and the counts.
FLAGS, DEGREE, KNOT, WEIGHT, CONTROL, THROUGH = 70, 71, 40, 41, 10, 11
COUNTED = ((72, KNOT, "knots"), (73, CONTROL, "control points"), (74, THROUGH, "points to run through"))
RATIONAL = 4
PLACES = {CONTROL: "control points", THROUGH: "points to run through", 12: "directions at its start", 13: "directions at its end"}
MOST_DEGREE = 25  # drawing programs use 2 to 11
LONGEST_WORD = 20  # of a file, shown
Pieces = NDArray[np.float64]  # (N, degree + 1, 4): Bezier corners x w, y w, z w, w


def spline_words(tags: Sequence[tuple[int, str]]) -> str:
    """What cannot be whole of a SPLINE's own tags, in words that go on after "damaged: "; empty where nothing is found."""
    codes, values = Counter(code for code, _ in tags), dict(reversed(tags))
    for count, code, what in COUNTED:
        if count in values and values[count] != str(codes[code]):
            return f"SPLINE states {printable(values[count][:LONGEST_WORD])} {what} and holds {codes[code]}"
    if words := next((words for code, what in PLACES.items() if (words := _place_words(codes, code, what))), ""):
        return words
    try:
        return _numbers_words(tags, codes, int(values.get(FLAGS, "0")), int(values.get(DEGREE, "3")))
    except ValueError:
        return "SPLINE holds what is no number"


def _place_words(codes: Counter[int], x: int, what: str) -> str:
    """Places of which some have lost a number: readers take 0 for it, or the next one's."""
    y, z = x + 10, x + 20
    if codes[x] != codes[y]:
        return f"SPLINE holds {codes[x]} x and {codes[y]} y of its {what}"
    if codes[z] not in {0, codes[x]}:
        return f"SPLINE holds {codes[x]} {what} and a z of {codes[z]} of them"
    return ""


def _numbers_words(tags: Sequence[tuple[int, str]], codes: Counter[int], flags: int, degree: int) -> str:
    weights = [float(value) for code, value in tags if code == WEIGHT]
    knots = [float(value) for code, value in tags if code == KNOT]
    if not 1 <= degree <= MOST_DEGREE:
        return f"SPLINE is of degree {degree}"
    if len(weights) not in {0, codes[CONTROL]} or (flags & RATIONAL and codes[CONTROL] and not weights):
        return f"SPLINE of {codes[CONTROL]} control points holds {len(weights)} weights"
    if not all(weight > 0 for weight in weights):
        return "SPLINE has weights that are not above 0"
    inside = Counter(knots[degree + 1 : -degree - 1])
    ends = {knots[degree], knots[-degree - 1]} if len(knots) > 2 * degree else set()
    parted = any(count > degree and knot not in ends for knot, count in inside.items())
    return "SPLINE has knots that fall or part it" if parted or any(a > b for a, b in pairwise(knots)) else ""


def spline_points(spline: Any, flatness: float, most: int) -> Iterator[tuple[float, ...]]:
    """Ends of chords (x, y, z) that stray at most so far from the curve; some more than `most` of them where that is not enough.

    A curve lies within the corners of its Bezier pieces: these are halved until their corners lie that near their chords.
    """
    pieces = _bezier(spline)
    at, size = np.arange(len(pieces), dtype=np.float64), np.ones(len(pieces))
    done, places = [], []
    while len(pieces):
        flat = _off_chord(pieces) <= flatness
        done.append(pieces[flat])
        places.append(at[flat])
        if sum(map(len, done)) + 2 * np.count_nonzero(~flat) > most:
            yield from (tuple(map(float, corner[:3])) for corner in np.resize(pieces[:, 0], (most + 1, 4)))
            return
        size, at = np.repeat(size[~flat] / 2, 2), np.repeat(at[~flat], 2)
        at[1::2] += size[1::2]
        pieces = _halved(pieces[~flat])
    ordered = np.concatenate(done)[np.argsort(np.concatenate(places), kind="stable")]
    yield from (tuple(map(float, corner)) for corner in _corners(np.concatenate([ordered[:, 0], ordered[-1:, -1]])))


def off_its_points(spline: Any, chords: NDArray[np.float64]) -> float:
    """How far its curve, given as ends of chords (N, 2), passes from the farthest of the points it runs through; 0 of none."""
    import shapely

    through = np.array([tuple(point)[:2] for point in spline.fit_points], dtype=np.float64).reshape(-1, 2)
    if not len(through) or len(chords) < 2:
        return 0.0
    tree = shapely.STRtree(np.asarray(shapely.linestrings(np.stack([chords[:-1], chords[1:]], axis=1))))
    _, off = tree.query_nearest(shapely.points(through), return_distance=True, all_matches=False)
    return float(off.max())


def _bezier(spline: Any) -> Pieces:
    """The pieces between knots, from their polynomials."""
    from scipy.interpolate import BPoly, BSpline, PPoly

    knots, degree = np.array(spline.knots, dtype=np.float64), int(spline.dxf.degree)
    control = np.array([list(point) for point in spline.control_points], dtype=np.float64)
    weights = np.array(spline.weights if len(spline.weights) else np.ones(len(control)), dtype=np.float64)[:, None]
    curve = BSpline(knots, np.hstack([control * weights, weights]), degree)
    breaks = np.unique(knots[degree : len(control) + 1])
    powers = np.stack([curve(breaks[:-1], nu=power) / factorial(power) for power in range(degree, -1, -1)])
    return np.moveaxis(BPoly.from_power_basis(PPoly(powers, breaks)).c, 0, 1)


def _corners(homogeneous: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(homogeneous[..., :3] / homogeneous[..., 3:])


def _off_chord(pieces: Pieces) -> NDArray[np.float64]:
    """How far the farthest corner of each piece lies from its chord (N,)."""
    corners = _corners(pieces)
    start, along = corners[:, :1], corners[:, -1:] - corners[:, :1]
    length2 = np.maximum((along**2).sum(axis=-1), np.finfo(np.float64).tiny)
    share = np.clip(((corners - start) * along).sum(axis=-1) / length2, 0.0, 1.0)
    return np.asarray(np.linalg.norm(corners - start - share[..., None] * along, axis=-1).max(axis=1))


def _halved(pieces: Pieces) -> Pieces:
    """Each piece as two, by de Casteljau's halves."""
    left, right = [pieces[:, 0]], [pieces[:, -1]]
    while pieces.shape[1] > 1:
        pieces = (pieces[:, 1:] + pieces[:, :-1]) / 2
        left.append(pieces[:, 0])
        right.append(pieces[:, -1])
    halves = np.stack([np.stack(left, axis=1), np.stack(right[::-1], axis=1)], axis=1)
    return halves.reshape(-1, *halves.shape[2:])
