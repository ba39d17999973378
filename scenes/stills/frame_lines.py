"""Frame lines burnt into a still: the rectangle that they draw, as shares of the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LEAST_LENGTH = 0.3  # of the picture's width or height
THICKEST = 0.03  # of it: what is thicker is a bar


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameLines:
    """Where the outermost lines lie, as shares of the width from the left and of the height from the top."""

    left: float
    right: float
    top: float
    bottom: float

    @property
    def width(self) -> float:
        """Share of the picture's width between them."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Share of the picture's height between them."""
        return self.bottom - self.top


def frame_lines(marked: NDArray[np.bool_]) -> FrameLines | None:
    """The lines among what was found marked (H, W), one to each side of the middle, both ways; None where one is lacking."""
    down, across = _pair(marked.mean(axis=1)), _pair(marked.mean(axis=0))
    if down is None or across is None:
        return None
    return FrameLines(left=across[0], right=across[1], top=down[0], bottom=down[1])


def _pair(share: NDArray[np.float64]) -> tuple[float, float] | None:
    """The outermost line to either side of the middle, from how much of each row is marked."""
    places = [place for place in _places(share >= LEAST_LENGTH) if 0.01 < place < 0.99]
    low, high = [p for p in places if p < 0.5], [p for p in places if p > 0.5]
    return (min(low), max(high)) if low and high else None


def _places(found: NDArray[np.bool_]) -> list[float]:
    """Middles of runs that are thin enough for a line, as shares of the length."""
    count = len(found)
    steps = np.flatnonzero(np.diff(np.concatenate([[False], found, [False]]).astype(np.int8)))
    return [
        (first + last) / 2 / count for first, last in zip(steps[::2], steps[1::2], strict=True) if last - first <= THICKEST * count
    ]
