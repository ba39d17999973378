"""Where in a guide most light is lost: looked for round the darkest places known and round those in doubt, ever closer."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from raytrace.optics.camera import Guide
from raytrace.shares import Shares

FloatArray = NDArray[np.float64]
SharesAt = Callable[[FloatArray, bool], Shares]  # picture points (N, 2), whether to spend more rays on them

NO_PLACES = np.zeros((0, 2))
FIRST_REACH = 1 / 12  # of half the guide: how far round a place of doubt the darkest is first looked for
ROUNDS, PER_SIDE, KEPT = 3, 7, 3  # then round the darkest few, each time a third as far
MOST_ROUNDS, FINE_SIDE = 11, 5  # then half as far, in coarser squares: down to a hundred-thousandth of the guide
SETTLED = 0.007  # share of the light by which neighbours may differ where the search ends: 0.01 stop
DARK = 1 / 256  # share of the light below which it does not matter by how much
APART = 2  # steps of a grid by which the darkest few differ: what lies nearer is looked at round the darker one
HALVINGS = 10  # to where black ends on a line: to a thousandth of half the guide
AS_DEEP = 2.0 / 2**HALVINGS  # of half the guide: black that reaches as far in, told in the order of LINES
# From the middle to corners and edges, as shares of half the guide to the right and up; the order in which like ones are told.
LINES = np.array([(-1, 1), (1, 1), (1, -1), (-1, -1), (-1, 0), (1, 0), (0, 1), (0, -1)], dtype=np.float64)
MOST_DOUBTFUL = 12  # places in doubt that are looked round while nothing is seen to lose light


def darkest_mm(guide: Guide, shares_at: SharesAt, start_mm: FloatArray, doubtful_mm: FloatArray) -> FloatArray:
    """The darkest few places (N, 2) near those given: looked for round those that lose some light and round those in doubt.

    None where nothing is lost there, or all; none but those darker than all of `start_mm`. Shadows of thin parts are as narrow as
    the pupil is small: the search goes on until neighbours of the darkest are as dark.
    """
    return darkest(guide, shares_at, start_mm, doubtful_mm)[0]


def darkest(guide: Guide, shares_at: SharesAt, start_mm: FloatArray, doubtful_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Those places, and the shares of light at `start_mm` and there, one after the other."""
    centre, half = np.asarray(guide.centre_mm), np.array([guide.half_width_mm, guide.half_height_mm])
    known = len(start_mm)
    start_mm = np.clip(np.concatenate([start_mm, doubtful_mm]), centre - half, centre + half)
    if not len(start_mm):
        return NO_PLACES, np.zeros(0)
    shares = shares_at(start_mm, False).clear_share
    of_start = shares[:known]
    if shares.min() <= 0.0 or not (len(doubtful_mm) or (shares < 1.0).any()):
        return NO_PLACES, of_start
    in_doubt = np.arange(len(start_mm) - len(doubtful_mm), len(start_mm))[:: max(len(doubtful_mm) // MOST_DOUBTFUL, 1)]
    points_mm, reach, rounds = start_mm, FIRST_REACH, 0
    while rounds < ROUNDS:
        dark = _darkest(points_mm, shares, half * reach)
        picked = np.union1d(dark, in_doubt) if rounds == 0 or not len(dark) else dark
        points_mm, shares = _looked_round(picked, PER_SIDE, points_mm, shares, half * reach, guide, shares_at)
        reach, rounds = reach / (PER_SIDE // 2), rounds + 1
    while rounds < MOST_ROUNDS and len(picked := _unsettled(points_mm, shares, half * reach)):
        points_mm, shares = _looked_round(picked, FINE_SIDE, points_mm, shares, half * reach, guide, shares_at)
        reach, rounds = reach / (FINE_SIDE // 2), rounds + 1
    found = _darkest(points_mm, shares, half * reach)
    found = found[shares[found] < of_start.min(initial=1.0)]
    return np.asarray(points_mm[found]), np.concatenate([of_start, shares[found]])


def black_inmost_mm(guide: Guide, shares_at: SharesAt) -> FloatArray:
    """Where black reaches furthest in from a corner or the middle of an edge (1, 2); none where none is black, or the middle is.

    Looked for on lines that are the same for every map, so that which of two black corners is told hangs on no pixel.
    """
    centre, half = np.asarray(guide.centre_mm), np.array([guide.half_width_mm, guide.half_height_mm])

    def black(shares_out: FloatArray) -> NDArray[np.bool_]:
        return np.asarray(shares_at(centre + half * shares_out, False).clear_share <= 0.0)

    found = black(np.concatenate([LINES, [[0.0, 0.0]]]))
    lines = LINES[found[:-1]]
    if found[-1] or not len(lines):
        return NO_PLACES
    lit, dark = np.zeros(len(lines)), np.ones(len(lines))
    for _ in range(HALVINGS):
        middle = (lit + dark) / 2
        is_black = black(lines * middle[:, None])
        lit, dark = np.where(is_black, lit, middle), np.where(is_black, middle, dark)
    out = dark * np.linalg.norm(lines, axis=1)
    k = int(np.flatnonzero(out <= out.min() + AS_DEEP)[0])
    return np.asarray(centre + half * lines[k : k + 1] * dark[k])


def _looked_round(
    picked: NDArray[np.intp],
    per_side: int,
    points_mm: FloatArray,
    shares: FloatArray,
    reach_mm: FloatArray,
    guide: Guide,
    shares_at: SharesAt,
) -> tuple[FloatArray, FloatArray]:
    """The places with their shares, and a square of so many a side about each of those picked, `reach_mm` (2,) to all sides."""
    side = np.linspace(-1.0, 1.0, per_side)
    square = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2) * reach_mm
    centre, half = np.asarray(guide.centre_mm), np.array([guide.half_width_mm, guide.half_height_mm])
    tried = np.clip((points_mm[picked][:, None] + square).reshape(-1, 2), centre - half, centre + half)
    tried = tried[np.sort(np.unique(tried[:, 0] + 1j * tried[:, 1], return_index=True)[1])]  # many were clipped to one place
    return np.concatenate([points_mm, tried]), np.concatenate([shares, shares_at(tried, False).clear_share])


def _darkest(points_mm: FloatArray, shares: FloatArray, step_mm: FloatArray) -> NDArray[np.intp]:
    """The darkest few (by index) of the places that lose light, `APART` steps (2,) or more from each other."""
    left, found = shares < 1.0, list[int]()
    while left.any() and len(found) < KEPT:
        k = int(np.argmin(np.where(left, shares, np.inf)))
        found.append(k)
        left &= (np.abs(points_mm - points_mm[k]) > (APART - 0.5) * step_mm).any(axis=1)
    return np.array(found, dtype=np.intp)


def _unsettled(points_mm: FloatArray, shares: FloatArray, step_mm: FloatArray) -> NDArray[np.intp]:
    """Those of the darkest few beside which light changes within a step (2,) by more than matters, and may yet be the darkest.

    Light is taken to fall between two places by no more than it does from the lightest place a step beside.
    """
    dark = _darkest(points_mm, shares, step_mm)
    beside = np.array([shares[(np.abs(points_mm - points_mm[k]) < 1.5 * step_mm).all(axis=1)].max() for k in dark])
    known = np.maximum(shares[dark], DARK)
    steep, least = beside * (1.0 - SETTLED) > known, known * known / np.maximum(beside, DARK)
    return np.asarray(dark[steep & (least < known.min(initial=1.0))])
