"""How a picture is cut into cells: as large as lets pencils between their corners be taken as bilinear, within a known error."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raytrace.box import Box
from raytrace.camera import PixelGrid
from raytrace.coverage.field import Optics, optics
from raytrace.coverage.nodes import Cells
from raytrace.coverage.project import LEAST_SCALE
from raytrace.pencil import Pencils

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
PencilsAt = Callable[[Floats], Pencils]

CELL_SIZES = (64, 32, 16, 8, 4)  # pixels; down to single ones on small pictures
SMALL_PICTURE = 1 << 16  # pixels of a picture that may be worked on pixel by pixel
LAYER_NODES = 1500  # of a small picture's lens and glass layers
WORST_STRAY = 1e-3  # pupil radii that a bilinear spot may stray: a change of the share of at most 2 / pi of it
MARGIN = 1.5  # on the stray seen in the middle of sampled cells, where a bilinear patch of a smooth field strays most
SAMPLES = 8  # cells tried along each side of the picture
PROBES = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])  # disc points looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Cells of a picture with the optics of their nodes (row by row); stray [pupil radii] is how far spots lie off in between."""

    cells: Cells
    known: Optics
    shape: tuple[int, int]
    size: int
    stray: float


def plan(pencils_at: PencilsAt, grid: PixelGrid, box: Box, depths_mm: Floats, *, with_glass: bool) -> Plan:
    """The largest cells that keep within the errors allowed, or the smallest there are with the error they have."""
    sizes = CELL_SIZES + ((2, 1) if grid.columns * grid.rows <= SMALL_PICTURE else ())
    for size in sizes:
        rows, columns = _ticks(grid.rows, size), _ticks(grid.columns, size)
        stray = 0.0 if size == 1 else _stray_between(pencils_at, grid, box, rows, columns, depths_mm)
        if stray <= WORST_STRAY:
            break
    known = optics(pencils_at(_points(grid, rows, columns)), box, with_glass=with_glass)
    shape = (len(rows), len(columns))
    cells = _cells((grid.rows, grid.columns), rows, columns, known.valid.reshape(shape))
    return Plan(cells=cells, known=known, shape=shape, size=size, stray=stray)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layers:
    """Lens and glass at nodes of their own, every `size` pixels (row by row)."""

    cells: Cells
    size: int
    lens: Floats
    glass: Floats


def layer_nodes(pencils_at: PencilsAt, grid: PixelGrid, box: Box, planned: Plan, *, with_glass: bool) -> Layers:
    """Lens and glass at the nodes of the cells, or at finer ones where a small picture has so few that its layers would blur."""
    size = max(4, int(np.sqrt(grid.columns * grid.rows / LAYER_NODES)))
    if planned.size <= size:
        return Layers(cells=planned.cells, size=planned.size, lens=planned.known.lens, glass=planned.known.glass)
    cells = fine_cells((grid.rows, grid.columns), size)
    known = optics(pencils_at(_points(grid, cells.rows, cells.columns)), box, with_glass=with_glass)
    return Layers(cells=cells, size=size, lens=known.lens, glass=known.glass)


def _ticks(count: int, size: int) -> Ints:
    """Pixels 0, size, 2 size, ... and the last one; the same pixel twice if there is but one."""
    return np.append(np.arange(0, max(count - 1, 1), size), count - 1)


def _points(grid: PixelGrid, rows: Ints, columns: Ints) -> Floats:
    x, y = np.meshgrid(grid.x_mm[columns], grid.y_mm[rows])
    return np.column_stack([x.ravel(), y.ravel()])


def fine_cells(shape: tuple[int, int], size: int) -> Cells:
    """Cells of a picture (H, W) with a node every `size` pixels."""
    rows, columns = _ticks(shape[0], size), _ticks(shape[1], size)
    return _cells(shape, rows, columns, np.ones((len(rows), len(columns)), dtype=np.bool_))


def _cells(shape: tuple[int, int], rows: Ints, columns: Ints, valid: NDArray[np.bool_]) -> Cells:
    row_end, column_end = rows[1:].copy(), columns[1:].copy()
    row_end[-1], column_end[-1] = shape
    usable = valid[:-1, :-1] & valid[1:, :-1] & valid[:-1, 1:] & valid[1:, 1:]
    return Cells(rows, columns, row_end, column_end, usable, 1)


def _stray_between(pencils_at: PencilsAt, grid: PixelGrid, box: Box, rows: Ints, columns: Ints, depths_mm: Floats) -> float:
    """How far spots stray in the middle of sampled cells from the mean of their corners' [pupil radii]."""
    i, j = (np.unique(np.linspace(0, len(t) - 2, SAMPLES).round().astype(np.int64)) for t in (rows, columns))
    dx, dy = grid.width_mm / grid.columns, grid.height_mm / grid.rows
    left, top = np.meshgrid(grid.x_mm[columns[j]], grid.y_mm[rows[i]])
    wide, tall = np.meshgrid((columns[j + 1] - columns[j]) * dx, (rows[i + 1] - rows[i]) * dy)
    corner, step = np.stack([left.ravel(), top.ravel()], axis=1), np.stack([wide.ravel(), -tall.ravel()], axis=1)
    at = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0], [0.5, 0.5]])
    known = optics(pencils_at((corner[None] + at[:, None] * step[None]).reshape(-1, 2)), box, with_glass=False)
    sound = np.all(known.valid.reshape(5, -1), axis=0)
    return MARGIN * _stray(known, sound, depths_mm) if sound.any() else 0.0


def _stray(known: Optics, sound: NDArray[np.bool_], depths_mm: Floats) -> float:
    """How far the mean of four corners' spots lies from the true spot in the middle, at most, for rays at these depths."""
    affine = known.affine.reshape(5, -1, *known.affine.shape[1:])[:, sound]
    rim = known.rim.reshape(5, len(sound), known.rim.shape[1])[:, sound]
    disc = known.disc.reshape(5, -1, 6)[:, sound]
    worst = float(np.abs(rim[:4].mean(axis=0) - rim[4]).max(initial=0.0))
    for leg in range(affine.shape[2]):
        for z in depths_mm:
            scale = np.maximum(affine[:, :, leg, 0::4] + affine[:, :, leg, 1::4] * z, LEAST_SCALE)
            offset = affine[:, :, leg, 2::4] + affine[:, :, leg, 3::4] * z
            matrix = disc[:, :, 2:].reshape(5, -1, 2, 2)
            crossing = disc[4, :, None, :2] + PROBES @ np.linalg.inv(matrix[4]).transpose(0, 2, 1)
            point = crossing * scale[4, :, None] + offset[4, :, None]
            back = (point - offset[:4, :, None]) / scale[:4, :, None] - disc[:4, :, None, :2]
            spots = np.einsum("cnij,cnpj->cnpi", matrix[:4], back)
            worst = max(worst, float(np.linalg.norm(spots.mean(axis=0) - PROBES, axis=-1).max()))
    return worst
