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
LAYER_NODES = 1500  # of a picture's lens and glass layers
WORST_STRAY = 1e-3  # pupil radii that a bilinear spot may stray: a change of the share of at most 2 / pi of it
WORST_SHIFT = 0.002  # pixels that it may move a shadow instead: toward the plane of focus spots fly apart without bound
DARK_LENS = 0.01  # share of the pupil below which what the lens lets by is too little to count shares of it
MARGIN = 1.5  # on the stray seen in the middle of sampled cells, where a bilinear patch of a smooth field strays most
SAMPLES = 8  # cells tried along each side of the picture
LEAST_CELLS = 8  # along its longer side: in the middle of a cell as large as the picture every odd error vanishes
PROBES = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])  # disc points looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Cells of a picture with the optics of their nodes (row by row), and how far spots lie off in between.

    Every spot lies off by no more than stray [pupil radii], or by no more than what moves its shadow by shift [pixels].
    """

    cells: Cells
    known: Optics
    shape: tuple[int, int]
    size: int
    stray: float
    shift: float


def plan(pencils_at: PencilsAt, grid: PixelGrid, box: Box, depths_mm: Floats) -> Plan:
    """The largest cells that keep within the errors allowed, or the smallest there are with the error they have."""
    sizes = CELL_SIZES + ((2, 1) if grid.columns * grid.rows <= SMALL_PICTURE else ())
    sizes = tuple(size for size in sizes if size * LEAST_CELLS <= max(grid.columns, grid.rows)) or sizes[-1:]
    for size in sizes:
        rows, columns = _ticks(grid.rows, size), _ticks(grid.columns, size)
        stray, shift = (0.0, 0.0) if size == 1 else _stray_between(pencils_at, grid, box, rows, columns, depths_mm)
        if stray <= WORST_STRAY:
            break
    known = optics(pencils_at(_points(grid, rows, columns)), box, with_glass=False)
    shape = (len(rows), len(columns))
    cells = _cells((grid.rows, grid.columns), rows, columns, known.valid.reshape(shape))
    return Plan(cells=cells, known=known, shape=shape, size=size, stray=stray, shift=shift)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A smooth layer of the picture, known at the nodes of cells `size` pixels wide (row by row)."""

    cells: Cells
    size: int
    values: Floats


def lens_layer(pencils_at: PencilsAt, grid: PixelGrid, box: Box, planned: Plan) -> Layer:
    """The bare lens at the nodes of the cells, or at finer ones where a small picture has so few that its layers would blur."""
    size = _layer_size(grid)
    if planned.size <= size:
        return Layer(cells=planned.cells, size=planned.size, values=planned.known.lens)
    cells = fine_cells((grid.rows, grid.columns), size)
    known = optics(pencils_at(_points(grid, cells.rows, cells.columns)), box, with_glass=False)
    return Layer(cells=cells, size=size, values=known.lens)


def glass_layer(pencils_at: PencilsAt, grid: PixelGrid, box: Box, planned: Plan) -> Layer:
    """The glass at nodes of its own, which are few; at those of the cells, if finer, where the lens sends no ray to some."""
    size = _layer_size(grid)
    if planned.size <= size and not planned.known.valid.all():
        size, cells = planned.size, planned.cells
    else:
        cells = fine_cells((grid.rows, grid.columns), size)
    known = optics(pencils_at(_points(grid, cells.rows, cells.columns)), box)
    return Layer(cells=cells, size=size, values=known.glass)


def _layer_size(grid: PixelGrid) -> int:
    return max(4, int(np.sqrt(grid.columns * grid.rows / LAYER_NODES)))


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


def _stray_between(
    pencils_at: PencilsAt, grid: PixelGrid, box: Box, rows: Ints, columns: Ints, depths_mm: Floats
) -> tuple[float, float]:
    """How far spots stray in the middle of sampled cells from the mean of their corners': stray and shift of a Plan."""
    i, j = (np.unique(np.linspace(0, len(t) - 2, SAMPLES).round().astype(np.int64)) for t in (rows, columns))
    dx, dy = grid.width_mm / grid.columns, grid.height_mm / grid.rows
    left, top = np.meshgrid(grid.x_mm[columns[j]], grid.y_mm[rows[i]])
    pixels = np.stack([each.ravel() for each in np.meshgrid(columns[j + 1] - columns[j], rows[i + 1] - rows[i])], axis=1)
    corner, step = np.stack([left.ravel(), top.ravel()], axis=1), pixels * np.array([dx, -dy])
    at = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0], [0.5, 0.5]])
    known = optics(pencils_at((corner[None] + at[:, None] * step[None]).reshape(-1, 2)), box, with_glass=False)
    sound = np.all(known.valid.reshape(5, -1), axis=0)
    if not sound.any():
        return 0.0, 0.0
    depths = np.clip(depths_mm, known.start_z_mm, known.end_z_mm)  # parts beyond either stop nothing
    return _stray(known, sound, depths, np.maximum(pixels[sound], 1))


def _stray(known: Optics, sound: NDArray[np.bool_], depths_mm: Floats, pixels: Ints) -> tuple[float, float]:
    """How far the mean of four corners' spots lies from the true spot in the middle, at most, for rays at these depths."""
    rim = known.rim.reshape(5, len(sound), known.rim.shape[1])[:, sound]
    worst_stray, worst_shift = MARGIN * _rim_stray(rim), 0.0
    for leg in range(known.affine.shape[1]):
        for z in depths_mm:
            spots = _corner_spots(known, sound, leg, z)
            off = MARGIN * (spots.mean(axis=0) - PROBES)
            stray = np.linalg.norm(off, axis=-1)
            shift = _shift(spots, off, pixels)
            moved = (shift <= WORST_SHIFT) & (stray > WORST_STRAY)
            worst_stray = max(worst_stray, float(stray[~moved].max(initial=0.0)))
            worst_shift = max(worst_shift, float(shift[moved].max(initial=0.0)))
    return worst_stray, worst_shift


def _rim_stray(rim: Floats) -> float:
    """The stray of spots that would cost as much light as rims (5, cells, K) taken as the mean of their corners' [pupil radii]."""
    if not rim.size:
        return 0.0
    lost = 2 * np.mean(np.abs(rim[:4].mean(axis=0) - rim[4]) * rim[4], axis=1) / np.maximum(np.mean(rim[4] ** 2, axis=1), DARK_LENS)
    return float(lost.max()) * np.pi / 2


def _corner_spots(known: Optics, sound: NDArray[np.bool_], leg: int, z: float) -> Floats:
    """Where the four corners' pencils see the middle's PROBES on a leg at depth z: (4, cells, probes, 2) [pupil radii]."""
    affine = known.affine.reshape(5, len(sound), -1, 8)[:, sound, leg]
    disc = known.disc.reshape(5, -1, 6)[:, sound]
    scale = np.maximum(affine[..., 0::4] + affine[..., 1::4] * z, LEAST_SCALE)
    offset = affine[..., 2::4] + affine[..., 3::4] * z
    matrix = disc[..., 2:].reshape(5, -1, 2, 2)
    crossing = disc[4, :, None, :2] + PROBES @ np.linalg.inv(matrix[4]).transpose(0, 2, 1)
    point = crossing * scale[4, :, None] + offset[4, :, None]
    back = (point - offset[:4, :, None]) / scale[:4, :, None] - disc[:4, :, None, :2]
    return np.einsum("cnij,cnpj->cnpi", matrix[:4], back)


def _shift(spots: Floats, off: Floats, pixels: Ints) -> Floats:
    """By how many pixels a shadow moves whose spots lie off by `off` (cells, probes, 2): inf where a pixel moves no spot."""
    per_pixel = np.stack([(spots[1] - spots[0]) / pixels[:, None, :1], (spots[2] - spots[0]) / pixels[:, None, 1:]], axis=-1)
    least = np.linalg.svd(per_pixel, compute_uv=False)[..., 1]
    length = np.linalg.norm(off, axis=-1)
    return np.divide(length, least, out=np.full_like(length, np.inf), where=least > 0.0)
