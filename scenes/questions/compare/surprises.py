"""What stands in a still and not in the scene: connected places darker than the best fit by far more than noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_erosion, label

from scenes.questions.compare.fit import Fit, differences
from scenes.stills.cells import Measured

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SEEN_SHARE, SEEN_SIGMAS = 0.04, 6.0  # a difference worth a word: of the light without the box, and of the usual difference
EDGE_SHARE = 0.5  # of that: how far an outline reaches
LEAST_CELLS = 10  # of some 6000: smaller ones are dust, letters, or the penumbra's own error
LARGEST_SHARE = 0.3  # of the frame: what is larger is no thing in the frame but a fit that fails
LARGEST_BOX = 0.45  # of the frame, of the box round it: a rim all round is a wrong fit, or another lens
MARKED_SHARE = 0.35  # of a place's cells with sharp edges: letters and lines, which are no thing in front of the lens
MAD_TO_SIGMA = 1.4826022


@dataclass(frozen=True, slots=True, kw_only=True)
class Surprise:
    """A place of an upright still (shares of its width and height, from the top left) that is darker than it should be."""

    picture: int
    left: float
    top: float
    width: float
    height: float
    stops: float
    cells: Bools

    @property
    def words(self) -> str:
        """Where it is, in the operator's words."""
        x, y = self.left + self.width / 2, self.top + self.height / 2
        across = "left" if x < 1 / 3 else "right" if x > 2 / 3 else "middle"
        upright = "top" if y < 1 / 3 else "bottom" if y > 2 / 3 else "middle"
        return (
            "middle"
            if across == upright == "middle"
            else across
            if upright == "middle"
            else upright
            if across == "middle"
            else f"{upright} {across}"
        )


def surprises(fit: Fit, k: int) -> tuple[tuple[Surprise, ...], Bools]:
    """The surprises of still k, and every cell (H, W) to leave out for them or for burnt-in letters and lines."""
    one = fit.model.stills[k]
    known = one.measured.good
    off = np.where(known, differences(fit.model, fit.vector, k), 0.0)
    usual = MAD_TO_SIGMA * float(np.median(np.abs(off[known])))
    limit = max(SEEN_SHARE, SEEN_SIGMAS * usual)
    found: list[Surprise] = []
    left_out = np.zeros(off.shape, dtype=bool)
    wide, count = label(-off > EDGE_SHARE * limit, structure=np.ones((3, 3)))  # lighter places are no thing in front of the lens
    for number in range(1, count + 1):
        cells = wide == number
        if not (-off[cells] > limit).any() or int(cells.sum()) < LEAST_CELLS or cells.mean() > LARGEST_SHARE:
            continue
        rows, columns = np.nonzero(cells)
        if (np.ptp(rows) + 1) * (np.ptp(columns) + 1) > LARGEST_BOX * off.size:
            continue
        left_out |= binary_dilation(cells, iterations=2)
        if not _is_drawn(one.measured, cells):
            found.append(_surprise(fit, k, cells, off))
    return tuple(found), left_out


def _is_drawn(measured: Measured, cells: Bools) -> bool:
    """Whether a place was burnt into the picture: letters and lines all through, or sharp edges along its rim."""
    rim = binary_dilation(cells) & ~binary_erosion(cells)
    return bool(measured.marked[cells].mean() >= MARKED_SHARE or measured.sharp[rim].mean() >= MARKED_SHARE)


def _surprise(fit: Fit, k: int, cells: Bools, off: Floats) -> Surprise:
    rows, columns = np.nonzero(cells)
    height, width = cells.shape
    share = fit.model.share(k, fit.values)[cells]
    change = np.clip((share + off[cells]) / np.maximum(share, 1e-3), 1e-3, None)
    worst = np.log2(change)[np.argmax(np.abs(off[cells]))]
    return Surprise(
        picture=k,
        left=float(columns.min() / width),
        top=float(rows.min() / height),
        width=float((columns.max() - columns.min() + 1) / width),
        height=float((rows.max() - rows.min() + 1) / height),
        stops=float(-worst),
        cells=cells,
    )
