"""One row for each still and for each value: the numbers behind the page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scenes.questions.compare.maps import Floats, StillMaps, still_maps
from scenes.questions.compare.shoot import Shot
from scenes.questions.compare.verdict import Comparison, Verdict, put_right
from scenes.unknowns.unknown import Unknown

DIFFERS_SHARE = 0.99  # of the cells: what the worst hundredth differs by counts as dust
SHOWN_STOPS = 2.0  # a loss beyond this is dark whatever its number


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One still: what was measured against what was predicted as written, and what is left after the fit."""

    shot: Shot
    maps: StillMaps
    orientation: str
    nominal_rms: float
    fitted_rms: float
    worst_stops: float
    worst_mm: tuple[float, float]
    left_out: float
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A value that was not measured, as fitted."""

    unknown: Unknown
    value: float
    sigma: float
    told: bool


def row_of(found: Comparison, k: int) -> Row:
    """The row of still k."""
    maps, one = still_maps(found, k), found.fit.model.stills[k]
    difference = np.where(np.isfinite(maps.difference), maps.difference, 0.0)
    limit = float(np.quantile(np.abs(difference), DIFFERS_SHARE))
    at = np.unravel_index(int(np.argmin(np.abs(np.abs(difference) - limit))), difference.shape)
    return Row(
        shot=put_right(found.notes, found.fit)[k],
        maps=maps,
        orientation=found.orientations[k],
        nominal_rms=_rms(maps.measured - maps.nominal, maps),
        fitted_rms=_rms(maps.measured - maps.fitted, maps),
        worst_stops=float(difference[at]),
        worst_mm=(float(maps.x_mm[at[1]]), float(maps.y_mm[at[0]])),
        left_out=1.0 - float(one.use.mean()),
        word=_word(found, k),
    )


def _rms(off: Floats, maps: StillMaps) -> float:
    use = np.isfinite(off) & (np.minimum(maps.measured, maps.nominal) < SHOWN_STOPS)
    return float(np.sqrt(np.mean(off[use] ** 2))) if use.any() else float("nan")


def _word(found: Comparison, k: int) -> str:
    if found.verdict is Verdict.OTHER_LENS:
        return "refused"
    thing = ", a thing in frame" if any(one.picture == k for one in found.surprises) else ""
    return ("as predicted" if found.verdict is Verdict.NOTHING else "differs") + thing
