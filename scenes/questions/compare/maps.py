"""What was measured on a still and what was predicted, as maps in stops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenes.questions.compare.fit import Fit
from scenes.questions.compare.verdict import Comparison, Verdict
from scenes.sheets.map_reading import ISOLINES_STOPS
from scenes.unknowns.predicted import area_grid

Floats = NDArray[np.float64]

MOST_STOPS = 10.0
LEVELS = (*ISOLINES_STOPS, 2.0)  # stops that contour lines are drawn at
DIFFERENCE_STOPS = 0.5  # where the scale of differences ends


@dataclass(frozen=True, slots=True, kw_only=True)
class StillMaps:
    """Of one still, upright (H, W), in stops: measured loss and its standard error, predicted as written and as fitted.

    NaN where cells were left out.
    """

    x_mm: Floats
    y_mm: Floats
    measured: Floats
    stderr: Floats
    nominal: Floats
    fitted: Floats

    @property
    def difference(self) -> Floats:
        """Measured less predicted as written, where less than two stops are lost."""
        return np.where(np.minimum(self.measured, self.nominal) < 2.0, self.measured - self.nominal, np.nan)

    def arrays(self) -> dict[str, NDArray[np.float32]]:
        """As an .npz file holds them."""
        named = {
            "loss_stops": self.measured,
            "stderr_stops": self.stderr,
            "predicted_stops": self.nominal,
            "fitted_stops": self.fitted,
            "x_mm": self.x_mm,
            "y_mm": self.y_mm,
        }
        return {name: values.astype(np.float32) for name, values in named.items()}


def levels_within(stops: Floats) -> list[float]:
    """The levels of contour lines that a map reaches, NaN passed over."""
    return [level for level in LEVELS if np.nanmin(stops) < level < np.nanmax(stops)]


def still_maps(found: Comparison, k: int) -> StillMaps:
    """The maps of still k."""
    basis = found.nominal if found.verdict is Verdict.OTHER_LENS else found.fit
    one = found.fit.model.stills[k]
    lit = basis.model.lit(k, basis.vector[basis.model.own(k)])
    share = one.measured.light / lit
    if not one.measured.has_reference:
        rims = found.fit.model.predicted(k, found.fit.values).rims
        share = share / np.where(rims > 0, rims, np.nan)
    share = np.where(one.use, share, np.nan)
    floor = 2.0**-MOST_STOPS
    grid = area_grid(one.shot, one.cells)
    return StillMaps(
        x_mm=grid.x_mm,
        y_mm=grid.y_mm,
        measured=-np.log2(np.maximum(share, floor)),
        stderr=one.measured.noise / lit / np.maximum(share, floor) / np.log(2.0),
        nominal=_stops(found.nominal, k),
        fitted=_stops(found.fit, k),
    )


def _stops(fit: Fit, k: int) -> Floats:
    share = fit.model.predicted(k, fit.values).share
    return np.asarray(-np.log2(np.maximum(share, 2.0**-MOST_STOPS)))
