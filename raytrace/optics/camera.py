"""The recorded picture: pixel grid and guides, in picture coordinates (mm on the image plane, right and up from the lens axis)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.frame import where_in_words

OUTSIDE = "outside the picture"


@dataclass(frozen=True, slots=True, kw_only=True)
class PixelGrid:
    """Pixels of the recorded area. Row 0 is the top, column 0 the left; the picture is upright, as on the monitor.

    offset_mm is where the sensor's centre lies against the lens axis, (right, up) in the picture.
    """

    width_mm: float
    height_mm: float
    columns: int
    rows: int
    offset_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def x_mm(self) -> NDArray[np.float64]:
        """Picture x of the pixel centres, left to right (W,) [mm]."""
        pitch = self.width_mm / self.columns
        return np.asarray(self.offset_mm[0] - self.width_mm / 2 + pitch * (np.arange(self.columns) + 0.5), dtype=np.float64)

    @property
    def y_mm(self) -> NDArray[np.float64]:
        """Picture y of the pixel centres, top to bottom (H,) [mm]."""
        pitch = self.height_mm / self.rows
        return np.asarray(self.offset_mm[1] + self.height_mm / 2 - pitch * (np.arange(self.rows) + 0.5), dtype=np.float64)

    @property
    def points_mm(self) -> NDArray[np.float64]:
        """Picture points (right, up) of all pixel centres, row by row (H * W, 2) [mm]."""
        x, y = np.meshgrid(self.x_mm, self.y_mm)
        return np.column_stack([x.ravel(), y.ravel()])

    @property
    def half_diagonal_mm(self) -> float:
        """Half the diagonal of the recorded area [mm]."""
        return float(np.hypot(self.width_mm, self.height_mm) / 2)

    def resized(self, columns: int) -> PixelGrid:
        """The same area on `columns` pixels across, square pixels as near as whole rows allow."""
        rows = max(1, round(columns * self.height_mm / self.width_mm))
        return PixelGrid(width_mm=self.width_mm, height_mm=self.height_mm, columns=columns, rows=rows, offset_mm=self.offset_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """A rectangle of the picture that has to stay clear; centre (right, up) and half sizes on the image plane [mm]."""

    name: str
    half_width_mm: float
    half_height_mm: float
    centre_mm: tuple[float, float] = (0.0, 0.0)

    def mask(self, grid: PixelGrid) -> NDArray[np.bool_]:
        """Which pixels of the grid have any part inside the guide (H, W): a pixel on the line counts as inside."""
        half_column, half_row = grid.width_mm / grid.columns / 2, grid.height_mm / grid.rows / 2
        across = np.abs(grid.x_mm - self.centre_mm[0]) < self.half_width_mm + half_column
        upright = np.abs(grid.y_mm - self.centre_mm[1]) < self.half_height_mm + half_row
        return np.asarray(upright[:, None] & across[None, :])

    def corners_mm(self) -> NDArray[np.float64]:
        """Corners (4, 2) right/up [mm]: top left, top right, bottom right, bottom left."""
        signs = np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
        return np.asarray(self.centre_mm) + signs * np.array([self.half_width_mm, self.half_height_mm])

    def rim_points_mm(self, per_side: int = 33) -> NDArray[np.float64]:
        """Points along the guide's edge (4 + 4 * (per_side - 2), 2) [mm], the four corners first.

        The worst place of a guide lies on its edge for anything that comes in from outside, and pixel centres stop short of it.
        """
        corners = self.corners_mm()
        inner = np.linspace(0.0, 1.0, per_side)[1:-1, None]
        sides = [corners[i] + inner * (corners[(i + 1) % 4] - corners[i]) for i in range(4)]
        return np.concatenate([corners, *sides])


def guide_of_aspect(
    name: str, grid: PixelGrid, aspect: float, *, scale: float, offset_mm: tuple[float, float], squeeze: float = 1.0
) -> Guide:
    """The largest rectangle of a finished picture's aspect that fits the recorded area, times `scale`.

    `aspect` is that of the finished, unsqueezed picture; on the image plane an anamorphic lens makes it narrower by its squeeze.
    """
    on_sensor = aspect / squeeze
    width_mm = min(grid.width_mm, grid.height_mm * on_sensor) * scale
    centre = (grid.offset_mm[0] + offset_mm[0], grid.offset_mm[1] + offset_mm[1])
    return Guide(name=name, half_width_mm=width_mm / 2, half_height_mm=width_mm / on_sensor / 2, centre_mm=centre)


def whole_frame(grid: PixelGrid) -> Guide:
    """The whole recorded area as a guide."""
    return Guide(name="whole frame", half_width_mm=grid.width_mm / 2, half_height_mm=grid.height_mm / 2, centre_mm=grid.offset_mm)


def where(place_mm: FloatArray, grid: PixelGrid) -> str:
    """A place of the picture in the operator's words; past its edge: over which side."""
    if not np.isfinite(place_mm).all():
        return OUTSIDE
    right = float((place_mm[0] - grid.offset_mm[0]) / (grid.width_mm / 2))
    up = float((place_mm[1] - grid.offset_mm[1]) / (grid.height_mm / 2))
    if max(abs(right), abs(up)) <= 1:
        return where_in_words(right, up)
    return f"out at {where_in_words(right if abs(right) > 1 else 0.0, up if abs(up) > 1 else 0.0)}"
