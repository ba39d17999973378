"""The room of one part beside legs of a beam."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.body import Legs
from raytrace.judge.crossings import Scratch
from raytrace.judge.kernels.depth import FOUND
from raytrace.judge.kernels.gjk import BENCH
from raytrace.judge.kernels.separate import NAMES, NODE, part_room
from raytrace.judge.kernels.shapes import MOST_CORNERS
from raytrace.judge.pieces import NO_WALLS, Pieces

FloatArray = NDArray[np.float64]

_nodes, _keys = (Scratch(np.float64) for _ in range(2))
_names, _ids = (Scratch(np.int64) for _ in range(2))

NODES_A_START = 16  # of the search, for each arc or piece that it begins with
MORE = 4  # times as many where that was too few


def nearest(legs: Legs, part: Pieces, enough_mm: float = np.inf) -> FloatArray:
    """The room of a part and where (FOUND,); what is known to leave `enough_mm` is not looked at closer."""
    return _search(legs, part.walls, part.points, part.runs, False, enough_mm)


def least_move(legs: Legs, whole: FloatArray) -> FloatArray:
    """Minus the least sideways move of a body (n, 3) that touches out of all legs, and where (FOUND,)."""
    return _search(legs, NO_WALLS, whole, np.array([[0, len(whole)]]), True, np.inf)


def _search(
    legs: Legs, walls: FloatArray, points: FloatArray, pieces: NDArray[np.int64], as_whole: bool, enough_mm: float
) -> FloatArray:
    size = NODES_A_START * len(legs.legs) * (len(walls) + 1) + len(legs.legs) * len(pieces) + 64
    longest = max(MOST_CORNERS, int((pieces[:, 1] - pieces[:, 0]).max(initial=0)))
    found, runs = np.zeros((2, FOUND)), legs.legs.reshape(-1, 4)
    while not part_room(
        *(legs.corners, legs.fields, runs, legs.pads, walls, points, pieces, as_whole, enough_mm),
        *(_nodes.of(size, NODE), _names.of(size, NAMES), _keys.of(size), _ids.of(size)),
        *(np.empty((longest, 3)), np.zeros((BENCH, 4)), np.zeros((4, 2), dtype=np.int64), found),
    ):
        size *= MORE
    return found[0]
