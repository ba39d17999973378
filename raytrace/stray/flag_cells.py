"""Cells of a flat target that light falls on, and the rays from their corners to those of the light."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from geometry.arrays import FloatArray

BoolArray = NDArray[np.bool_]
Index = NDArray[np.int64]

CUT = 3  # a cell that decides is cut into as many along each side


@dataclass(frozen=True, slots=True)
class Cells:
    """Square cells of the target by their lower corners (C, 2) and sides (C,) [mm], each against one piece of the light (C,)."""

    low_mm: FloatArray
    side_mm: FloatArray
    piece: Index

    def boxes(self) -> NDArray[np.object_]:
        """The cells as shapes (C,)."""
        high = self.low_mm + self.side_mm[:, None]
        return np.asarray(shapely.box(*self.low_mm.T, *high.T))

    def take(self, which: BoolArray) -> Cells:
        """Some of them."""
        return Cells(self.low_mm[which], self.side_mm[which], self.piece[which])

    def and_also(self, more: Cells) -> Cells:
        """These and others."""
        return Cells(
            np.concatenate([self.low_mm, more.low_mm]),
            np.concatenate([self.side_mm, more.side_mm]),
            np.concatenate([self.piece, more.piece]),
        )

    def finer(self) -> Cells:
        """Every cell cut into CUT x CUT."""
        steps = np.array([[i, j] for i in range(CUT) for j in range(CUT)]) / CUT
        low = self.low_mm[:, None] + steps * self.side_mm[:, None, None]
        return Cells(low.reshape(-1, 2), np.repeat(self.side_mm / CUT, CUT * CUT), np.repeat(self.piece, CUT * CUT))


@dataclass(frozen=True, slots=True)
class Lit:
    """Rays from corners of cells to corners of the light: start and direction (R, 3), whether the box lets each by (R,).

    Cells that lie side by side share rays: cell and ray (I,) say which belongs to which. kept (C,): cells of which the box keeps
    off all.
    """

    start: FloatArray
    direction: FloatArray
    passes: BoolArray
    cell: Index
    ray: Index
    kept: BoolArray

    def take(self, which: BoolArray) -> Lit:
        """Those of some cells (C,), renumbered; rays that belong to no cell any more stay."""
        mine, number = which[self.cell], np.cumsum(which) - 1
        return replace(self, cell=number[self.cell[mine]], ray=self.ray[mine], kept=self.kept[which])

    def and_also(self, more: Lit) -> Lit:
        """These and those of further cells."""
        return Lit(
            np.concatenate([self.start, more.start]),
            np.concatenate([self.direction, more.direction]),
            np.concatenate([self.passes, more.passes]),
            np.concatenate([self.cell, more.cell + len(self.kept)]),
            np.concatenate([self.ray, more.ray + len(self.start)]),
            np.concatenate([self.kept, more.kept]),
        )

    def of_cells(self, values: FloatArray) -> FloatArray:
        """The least (S, C) of values (S, R) over the rays of each cell; inf for a cell without rays."""
        found = np.full((len(values), len(self.kept)), np.inf)
        for row, value in zip(found, values, strict=True):
            np.minimum.at(row, self.cell, value[self.ray])
        return found

    def any_of(self, holds: BoolArray) -> BoolArray:
        """Cells (C,) any of whose rays (R,) hold."""
        return np.asarray(np.bincount(self.cell[holds[self.ray]], minlength=len(self.kept)) > 0)

    def of_open_cells(self) -> BoolArray:
        """Rays (R,) of cells that the box does not keep off wholly."""
        return marked(self.ray[~self.kept[self.cell]], len(self.start))


def marked(places: Index, count: int) -> BoolArray:
    """Which of so many (C,) stand at these places."""
    found = np.zeros(count, dtype=np.bool_)
    found[places] = True
    return found


def within(cells: Cells, outline: shapely.Polygon) -> Cells:
    """Those that hold any of an outline."""
    return cells.take(np.asarray(shapely.intersects(outline, cells.boxes())))
