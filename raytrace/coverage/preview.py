"""A picture that is looked at while parts move: what hangs on lens, grid and glass alone is worked out once and kept."""

from __future__ import annotations

import numpy as np

from geometry.arrays import FloatArray
from raytrace.box import Box, Glass
from raytrace.coverage.picture import Prepared, prepared, prepared_map
from raytrace.coverage.planning import PencilsAt
from raytrace.coverage.tables.clip import box_depths_mm
from raytrace.optics.camera import PixelGrid
from raytrace.shares import VignetteMap

ROOM_MM = 20.0  # that is kept free before and behind when parts have outgrown the depths planned for: so that few moves plan anew


class Preview:
    """Maps of one lens state on one grid, box after box. A box keeps its `glasses` where its glass has not moved.

    The first map is the one that `coverage_map` makes. Later ones are as good: they rest on cells planned for depths that hold
    those of the box. Maps share the layers of bare lens and glass: treat them as read-only.
    """

    def __init__(self, pencils_at: PencilsAt, grid: PixelGrid, *, threads: int = 2) -> None:
        self._pencils_at, self._grid, self._threads = pencils_at, grid, threads
        self._ready: Prepared | None = None
        self._glasses: tuple[Glass, ...] = ()
        self._depths_mm: FloatArray = np.zeros(2)

    def frame(self, box: Box) -> VignetteMap:
        """The map of a box."""
        return prepared_map(self._prepared_for(box), self._pencils_at, self._grid, box, threads=self._threads)

    def _prepared_for(self, box: Box) -> Prepared:
        depths = box_depths_mm(box)
        same_glass = len(box.glasses) == len(self._glasses) and all(a is b for a, b in zip(box.glasses, self._glasses, strict=True))
        if self._ready is not None and same_glass:
            if self._depths_mm[0] <= depths[0] and depths[1] <= self._depths_mm[1]:
                return self._ready
            depths = np.array([min(depths[0], self._depths_mm[0]) - ROOM_MM, max(depths[1], self._depths_mm[1]) + ROOM_MM])
        self._ready = prepared(self._pencils_at, self._grid, box, depths, threads=self._threads)
        self._glasses, self._depths_mm = box.glasses, depths
        return self._ready
