"""How a picture is cut into cells: as large as lets pencils between their corners be taken as bilinear, within a known error."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import Box
from raytrace.coverage.kernels.project import LEAST_SCALE
from raytrace.coverage.pencil_map import Optics, optics
from raytrace.coverage.tables.nodes import Cells
from raytrace.optics.camera import PixelGrid
from raytrace.optics.pencil import Pencils

Ints = NDArray[np.int64]
PencilsAt = Callable[[FloatArray], Pencils]

CELL_SIZES = (64, 32, 16, 8, 4)  # pixels; down to single ones on small pictures
SMALL_PICTURE = 1 << 16  # pixels of a picture that may be worked on pixel by pixel
LAYER_NODES = 1500  # of a picture's lens and glass layers
WORST_STRAY = 1e-3  # pupil radii that a bilinear spot may stray: a change of the share of at most 2 / pi of it
WORST_SHIFT = 0.002  # pixels that it may move a shadow instead: toward the plane of focus spots fly apart without bound
DARK_LENS = 0.01  # share of the pupil below which what the lens lets by is too little to count shares of it
MARGIN = 1.5  # on the stray seen in the middle of sampled cells, where a bilinear patch of a smooth field strays most
SAMPLES = 8  # cells tried along each side of the picture
KINK_WAYS, KINK_STEPS = 24, 33  # ways out from the axis along which rows of a lens's table are looked for, and steps of each
KINK_CHORDS = 3  # each comes a few dozen times nearer to a row, and the first begins within a step
LEAST_CELLS = 8  # along its longer side: in the middle of a cell as large as the picture every odd error vanishes
CORNERS = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])  # of a cell, right and down, as kernels count them
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


def plan(pencils_at: PencilsAt, grid: PixelGrid, box: Box, depths_mm: FloatArray) -> Plan:
    """The largest cells that keep within the errors allowed, or the smallest there are with the error they have."""
    sizes = CELL_SIZES + ((2, 1) if grid.columns * grid.rows <= SMALL_PICTURE else ())
    sizes = tuple(size for size in sizes if size * LEAST_CELLS <= max(grid.columns, grid.rows)) or sizes[-1:]
    kinks_mm = kink_points(pencils_at, grid)
    for size in sizes:
        rows, columns = _ticks(grid.rows, size), _ticks(grid.columns, size)
        stray, shift = (0.0, 0.0) if size == 1 else _stray_between(pencils_at, grid, box, rows, columns, depths_mm, kinks_mm)
        if stray <= WORST_STRAY:
            break
    known = optics(pencils_at(_points(grid, rows, columns)), box, with_glass=False)
    shape = (len(rows), len(columns))
    cells = _cells((grid.rows, grid.columns), rows, columns, known.valid.reshape(shape))
    return Plan(cells=cells, known=known, shape=shape, size=size, stray=stray, shift=shift)


def least_stray(pencils_at: PencilsAt, grid: PixelGrid, box: Box, depths_mm: FloatArray) -> float:
    """How far spots stray in the smallest cells of a large picture [pupil radii]: what no plan of it can do better than."""
    rows, columns = (_ticks(count, CELL_SIZES[-1]) for count in (grid.rows, grid.columns))
    return _stray_between(pencils_at, grid, box, rows, columns, depths_mm, np.zeros((0, 2)))[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A smooth layer of the picture, known at the nodes of cells `size` pixels wide (row by row)."""

    cells: Cells
    size: int
    values: FloatArray


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


def _points(grid: PixelGrid, rows: Ints, columns: Ints) -> FloatArray:
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


def kink_points(pencils_at: PencilsAt, grid: PixelGrid) -> FloatArray:
    """Picture points (K, 2) on the rows of a tabulated lens, where pencils may bend, all round the axis; none for smooth lenses."""
    start = np.array([[np.clip(0.0, t.min(), t.max()) for t in (grid.x_mm, grid.y_mm)]])
    kinks = pencils_at(start).kink_tan
    if not len(kinks):
        return np.zeros((0, 2))
    way = _border(grid) - start
    share = np.linspace(0.0, 1.0, KINK_STEPS)
    field = pencils_at((start + share[:, None, None] * way).reshape(-1, 2)).field_tan.reshape(KINK_STEPS, len(way))
    step, way_of, row = np.nonzero((field[:-1, :, None] <= kinks) != (field[1:, :, None] <= kinks))
    per_share = (field[step + 1, way_of] - field[step, way_of]) * (KINK_STEPS - 1)
    at = share[step] + (kinks[row] - field[step, way_of]) / per_share
    for _ in range(KINK_CHORDS):
        off = kinks[row] - pencils_at(start + at[:, None] * way[way_of]).field_tan
        at = np.clip(at + off / per_share, share[step], share[step + 1])
    return np.concatenate([start, start + at[:, None] * way[way_of]])


def _border(grid: PixelGrid) -> FloatArray:
    """Points (KINK_WAYS, 2) round the picture's outermost pixel centres, its corners among them."""
    x, y, side = grid.x_mm, grid.y_mm, KINK_WAYS // 4
    corner = np.array([[x[0], y[0]], [x[-1], y[0]], [x[-1], y[-1]], [x[0], y[-1]]])
    share = np.arange(side)[:, None, None] / side
    return (corner + share * (np.roll(corner, -1, axis=0) - corner)).reshape(-1, 2)


def _stray_between(
    pencils_at: PencilsAt, grid: PixelGrid, box: Box, rows: Ints, columns: Ints, depths_mm: FloatArray, kinks_mm: FloatArray
) -> tuple[float, float]:
    """How far spots stray between the corners of sampled cells, and on the rows of the lens's table: stray and shift of a Plan."""
    known, sound, inside, pixels = _looked_at(pencils_at, grid, box, rows, columns, kinks_mm)
    if not sound.any():
        return 0.0, 0.0
    depths = np.clip(depths_mm, known.start_z_mm, known.end_z_mm)  # parts beyond either stop nothing
    return _stray(known, sound, inside[sound], depths, np.maximum(pixels[sound], 1))


def strays_at(pencils_at: PencilsAt, grid: PixelGrid, box: Box, ticks: tuple[Ints, Ints], depths_mm: FloatArray) -> FloatArray:
    """How far spots stray at each of several spans of depth (I, 2), in cells with corners at these pixels [pupil radii].

    Unlike in a plan, what hardly moves a shadow counts as well; inf where some have no light.
    """
    known, sound, inside, _ = _looked_at(pencils_at, grid, box, *ticks, kink_points(pencils_at, grid))
    if not sound.all():
        return np.full(len(depths_mm), np.inf)
    weight = np.prod(np.where(CORNERS[:, None] > 0, inside, 1.0 - inside), axis=2)

    depths = np.clip(depths_mm, known.start_z_mm, known.end_z_mm)
    each = np.unique(depths)
    off = np.einsum("cn,cnlzpi->nlzpi", weight, _corner_spots(known, sound, each)) - PROBES
    found = dict(zip(each.tolist(), np.linalg.norm(off, axis=-1).max(axis=(0, 1, 3)).tolist(), strict=True))
    return MARGIN * np.array([max(found[near], found[far]) for near, far in depths.tolist()])


def _looked_at(
    pencils_at: PencilsAt, grid: PixelGrid, box: Box, rows: Ints, columns: Ints, kinks_mm: FloatArray
) -> tuple[Optics, NDArray[np.bool_], FloatArray, Ints]:
    """Optics at the corners of sampled cells and at a place in each (5 S), which have light (S,), the places and sizes (S, 2)."""
    cell, inside = _sampled(grid, rows, columns, kinks_mm)
    pixel_mm = np.array([grid.width_mm / grid.columns, -grid.height_mm / grid.rows])
    corner = np.column_stack([grid.x_mm[columns[cell[:, 1]]], grid.y_mm[rows[cell[:, 0]]]])
    pixels = np.column_stack([columns[cell[:, 1] + 1] - columns[cell[:, 1]], rows[cell[:, 0] + 1] - rows[cell[:, 0]]])
    at = np.concatenate([np.broadcast_to(CORNERS[:, None], (4, *inside.shape)), inside[None]])
    known = optics(pencils_at((corner + at * pixels * pixel_mm).reshape(-1, 2)), box, with_glass=False)
    return known, np.all(known.valid.reshape(5, -1), axis=0), inside, pixels


def _sampled(grid: PixelGrid, rows: Ints, columns: Ints, kinks_mm: FloatArray) -> tuple[Ints, FloatArray]:
    """Row and column of cells (S, 2), and where in them to look (S, 2), right and down: the middle of some, and all kinks."""
    i, j = (np.unique(np.linspace(0, len(t) - 2, SAMPLES).round().astype(np.int64)) for t in (rows, columns))
    middles = np.stack(np.meshgrid(i, j, indexing="ij"), axis=-1).reshape(-1, 2)
    pixel_mm = np.array([grid.width_mm / grid.columns, -grid.height_mm / grid.rows])
    place = (kinks_mm - np.array([grid.x_mm[0], grid.y_mm[0]])) / pixel_mm
    cell, inside = [], []
    for axis, ticks in ((1, rows), (0, columns)):
        number = np.clip(np.searchsorted(ticks, place[:, axis], side="right") - 1, 0, len(ticks) - 2)
        cell.append(number)
        inside.append((place[:, axis] - ticks[number]) / np.maximum(ticks[number + 1] - ticks[number], 1))
    return (
        np.concatenate([middles, np.stack(cell, axis=1)]),
        np.concatenate([np.full((len(middles), 2), 0.5), np.stack(inside[::-1], axis=1)]),
    )


def _stray(known: Optics, sound: NDArray[np.bool_], inside: FloatArray, depths_mm: FloatArray, pixels: Ints) -> tuple[float, float]:
    """How far the corners' spots, mixed, lie from the true spot inside the cells, at most, for rays at these depths."""
    weight = np.prod(np.where(CORNERS[:, None] > 0, inside, 1.0 - inside), axis=2)  # (4, S)
    rim = known.rim.reshape(5, len(sound), known.rim.shape[1])[:, sound]
    spots = _corner_spots(known, sound, depths_mm)
    off = MARGIN * (np.einsum("cn,cnlzpi->nlzpi", weight, spots) - PROBES)
    stray, shift = np.linalg.norm(off, axis=-1), _shift(spots, off, pixels)
    moved = (shift <= WORST_SHIFT) & (stray > WORST_STRAY)
    worst = max(MARGIN * _rim_stray(rim, weight), float(stray[~moved].max(initial=0.0)))
    return worst, float(shift[moved].max(initial=0.0))


def _rim_stray(rim: FloatArray, weight: FloatArray) -> float:
    """The stray of spots that would cost as much light as rims (5, cells, K) taken as the corners' mixed [pupil radii]."""
    if not rim.size:
        return 0.0
    off = np.abs(np.einsum("cn,cnk->nk", weight, rim[:4]) - rim[4])
    lost = 2 * np.mean(off * rim[4], axis=1) / np.maximum(np.mean(rim[4] ** 2, axis=1), DARK_LENS)
    return float(lost.max()) * np.pi / 2


def _corner_spots(known: Optics, sound: NDArray[np.bool_], depths_mm: FloatArray) -> FloatArray:
    """Where the four corners' pencils see the inner one's PROBES: (4, cells, legs, depths, probes, 2) [pupil radii]."""
    affine = known.affine.reshape(5, len(sound), -1, 1, 8)[:, sound]
    disc = known.disc.reshape(5, -1, 6)[:, sound]
    z = depths_mm[:, None]
    scale = np.maximum(affine[..., 0::4] + affine[..., 1::4] * z, LEAST_SCALE)
    offset = affine[..., 2::4] + affine[..., 3::4] * z
    matrix = disc[..., 2:].reshape(5, -1, 2, 2)
    crossing = disc[4, :, None, :2] + PROBES @ np.linalg.inv(matrix[4]).transpose(0, 2, 1)
    point = crossing[:, None, None] * scale[4, ..., None, :] + offset[4, ..., None, :]
    back = (point - offset[:4, ..., None, :]) / scale[:4, ..., None, :] - disc[:4, :, None, None, None, :2]
    return np.einsum("cnij,cnlzpj->cnlzpi", matrix[:4], back)


def _shift(spots: FloatArray, off: FloatArray, pixels: Ints) -> FloatArray:
    """By how many pixels a shadow moves whose spots lie off by `off` (cells, ..., 2): inf where a pixel moves no spot.

    A pixel's two steps move a spot by two vectors; it moves least along their least singular value, the product of both being the
    area that the two span. Source: Golub and Van Loan, Matrix Computations, section 2.4 (from memory).
    """
    across, down = pixels[:, 0].reshape(-1, 1, 1, 1, 1), pixels[:, 1].reshape(-1, 1, 1, 1, 1)
    (a, c), (b, d) = (np.moveaxis((spots[k] - spots[0]) / by, -1, 0) for k, by in ((1, across), (2, down)))
    square, area = a * a + b * b + c * c + d * d, np.abs(a * d - b * c)
    largest = np.sqrt((square + np.sqrt(np.maximum(square * square - 4.0 * area * area, 0.0))) / 2.0)
    length = np.linalg.norm(off, axis=-1)
    return np.divide(length * largest, area, out=np.full_like(length, np.inf), where=area > 0.0)
