"""How much wider a guide could be before something takes light from its edge: the margin of the frame."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.frame import where_in_words
from raytrace.optics.camera import Guide
from raytrace.shares import Shares, VignetteMap

WIDEST_PERCENT = 50.0  # beyond this nobody asks
FIRST_SCALES = (1.0, 1.01, 1.02, 1.04, 1.07, 1.1, 1.15, 1.22, 1.32, 1.5)
SMALLER_SCALES = (0.98, 0.95, 0.9, 0.8, 0.65, 0.5, 0.3, 0.1)
STEPS = 4  # scales tried inside a bracket, at each round
ROUNDS = 2  # 1.32..1.5 comes down to 0.7 %, 1.0..1.01 to 0.04 %
COARSE_PER_SIDE = 9
FINE_PER_SIDE = 17


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """How much larger the frame could be about its own centre [%]; negative where it must shrink, capped where `capped`.

    part is the index of the part that touches first, where the side it comes from; None and empty where nothing does.
    """

    percent: float
    capped: bool = False
    part: int | None = None
    where: str = ""


def pessimistic_share(shares: Shares) -> NDArray[np.float64]:
    """Clear share less two standard errors and less every bound that the engine states as a share (N,) [0..1].

    Where not one ray is stopped and the way is sampled, nothing is subtracted: its standard error is 0 there.
    """
    bound = sum(bound.size for bound in shares.made.bounds if bound.unit == "share")
    lost = shares.clear_share < 1.0
    return np.maximum(shares.clear_share - 2 * shares.stderr - np.where(lost, bound, 0.0), 0.0)


def scaled(guide: Guide, scale: float) -> Guide:
    """The guide grown about its own centre."""
    return replace(guide, half_width_mm=guide.half_width_mm * scale, half_height_mm=guide.half_height_mm * scale)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rim:
    """Whether a scaled guide's rim loses light, and which part takes it where."""

    lossy: bool
    part: int | None = None
    where: str = ""


def frame_margin(
    guide: Guide,
    shares_at: Sequence[Callable[[NDArray[np.float64], bool], Shares]],
    maps: Sequence[VignetteMap],
    *,
    nothing_share: float,
) -> Margin:
    """The margin of a guide over every pupil depth in question.

    The first of rising scales whose rim loses more than `nothing_share` ends the frame; what the map loses inside counts too.
    """

    def rims(scales: Sequence[float], per_side: int) -> list[_Rim]:
        return _rims(guide, scales, per_side, shares_at, nothing_share)

    inside = _first_loss_inside(guide, maps, nothing_share)
    scales, first = _first_lossy(rims, FIRST_SCALES if inside is None else (1.0,))
    if first is None and inside is None:
        return Margin(percent=WIDEST_PERCENT, capped=True)
    if first is None or scales[1] <= 1.0:
        return _smaller(rims, inside, first)
    low, end = _refined(rims, scales[0], scales[1], first)
    return Margin(percent=100 * (low - 1), part=end.part, where=end.where)


Rims = Callable[[Sequence[float], int], list[_Rim]]


def _first_lossy(rims: Rims, scales: Sequence[float]) -> tuple[tuple[float, float], _Rim | None]:
    """The last clean scale and the first lossy one, with what it meets; None where all are clean."""
    for place, rim in enumerate(rims(scales, COARSE_PER_SIDE)):
        if rim.lossy:
            return (scales[max(place - 1, 0)], scales[place]), rim
    return (scales[-1], scales[-1]), None


def _refined(rims: Rims, clean: float, lossy: float, met: _Rim) -> tuple[float, _Rim]:
    """The largest clean scale in a bracket, to a fraction of a percent, and what the next one meets."""
    for _ in range(ROUNDS):
        scales = np.linspace(clean, lossy, STEPS + 2)[1:-1].tolist()
        tried = rims(scales, FINE_PER_SIDE)
        first = next((k for k, rim in enumerate(tried) if rim.lossy), len(tried))
        if first < len(tried):
            met = tried[first]
            lossy = scales[first]
        clean = scales[first - 1] if first > 0 else clean
    return clean, met


def _smaller(rims: Rims, inside: float | None, met: _Rim | None) -> Margin:
    """How far the guide must shrink: to a clean rim, and short of the first loss that the map shows inside."""
    tried = rims(SMALLER_SCALES, COARSE_PER_SIDE)
    clean = next((k for k, rim in enumerate(tried) if not rim.lossy), None)
    if clean is None:
        return Margin(percent=-100.0, part=tried[-1].part, where=tried[-1].where)
    first = met if clean == 0 else tried[clean - 1]
    above = SMALLER_SCALES[clean - 1] if clean else 1.0
    start = first if first is not None else _Rim(lossy=True)
    low, end = _refined(rims, SMALLER_SCALES[clean], above, start)
    low = low if inside is None else min(low, inside)
    return Margin(percent=min(100 * (low - 1), 0.0), part=end.part, where=end.where)


def _rims(
    guide: Guide,
    scales: Sequence[float],
    per_side: int,
    shares_at: Sequence[Callable[[NDArray[np.float64], bool], Shares]],
    nothing_share: float,
) -> list[_Rim]:
    """What each scaled rim loses, all of them asked for at once."""
    points = [scaled(guide, scale).rim_points_mm(per_side) for scale in scales]
    count = len(points[0])
    answers = [at(np.concatenate(points), False) for at in shares_at]
    return [
        _rim(guide, points[k], [(a, slice(k * count, (k + 1) * count)) for a in answers], nothing_share) for k in range(len(scales))
    ]


def _rim(guide: Guide, points_mm: NDArray[np.float64], answers: list[tuple[Shares, slice]], nothing_share: float) -> _Rim:
    """The darkest point of one rim over all pupil depths."""
    lost = [(1.0 - shares.clear_share + 2 * shares.stderr)[part] for shares, part in answers]
    variant = int(np.argmax([values.max() for values in lost]))
    k = int(np.argmax(lost[variant]))
    if lost[variant][k] <= nothing_share:
        return _Rim(lossy=False)
    shares, rows = answers[variant]
    index = int(shares.blocked_by[rows][k])
    right, up = (points_mm[k] - np.asarray(guide.centre_mm)) / [guide.half_width_mm, guide.half_height_mm]
    scale = max(abs(right), abs(up))
    return _Rim(lossy=True, part=index if index >= 0 else None, where=where_in_words(float(right / scale), float(up / scale)))


def _first_loss_inside(guide: Guide, maps: Sequence[VignetteMap], nothing_share: float) -> float | None:
    """The scale of the smallest guide that a lossy pixel centre inside the guide lies on; None where no pixel loses."""
    found = []
    for map_ in maps:
        across = np.abs(map_.x_mm - guide.centre_mm[0]) / guide.half_width_mm
        upright = np.abs(map_.y_mm - guide.centre_mm[1]) / guide.half_height_mm
        scale = np.maximum(upright[:, None], across[None, :])
        lossy = (1.0 - map_.clear_share + 2 * map_.stderr > nothing_share) & (scale < 1.0)
        if lossy.any():
            found.append(float(scale[lossy].min()))
    return min(found, default=None)
