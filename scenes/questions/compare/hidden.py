"""Corners and edges of the frame of which a still tells nothing: that is where boxes darken first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenes.questions.compare.verdict import Comparison
from scenes.runtime.page import listed

Bools = NDArray[np.bool_]

DEEP_SHARE = 1 / 32  # of the width, at the least a cell: how far in a corner or an edge is looked at
SIDES = ("top", "bottom", "left", "right")


@dataclass(frozen=True, slots=True)
class Hidden:
    """A still and the places at its rim of which no cell could be looked at."""

    still: str
    places: tuple[str, ...]

    @property
    def words(self) -> str:
        """Which places of which still."""
        return f"{listed(self.places)} of {self.still}"

    @property
    def caution(self) -> str:
        """That nothing is known there."""
        return (
            f"Nothing could be looked at in {self.words} (clipped, dust, letters, lines): boxes darken first there, "
            "and a dark place would not be told."
        )


def hidden_of(found: Comparison) -> tuple[Hidden, ...]:
    """Such places of every upright still; a thing in frame that is told apart hides none."""
    each = []
    for k, one in enumerate(found.fit.model.stills):
        looked_at = one.use.copy()
        for thing in found.surprises:
            if thing.picture == k:
                looked_at |= thing.cells
        each.append(Hidden(one.measured.name, tuple(hidden_places(looked_at))))
    return tuple(one for one in each if one.places)


def hidden_places(looked_at: Bools) -> Iterator[str]:
    """Corners (H, W) without a cell that was looked at, and edges without one in their middle third."""
    rows, columns = looked_at.shape
    deep = max(1, round(DEEP_SHARE * columns))
    parts = {"top": np.s_[:deep], "bottom": np.s_[rows - deep :], "left": np.s_[:deep], "right": np.s_[columns - deep :]}
    middle = np.s_[rows // 3 : rows - rows // 3], np.s_[columns // 3 : columns - columns // 3]
    for side in SIDES:
        strip = looked_at[parts[side], middle[1]] if side in SIDES[:2] else looked_at[middle[0], parts[side]]
        if not strip.any():
            yield f"the middle of the {side} edge"
    for down in SIDES[:2]:
        for across in SIDES[2:]:
            if not looked_at[parts[down], parts[across]].any():
                yield f"the {down} {across} corner"
