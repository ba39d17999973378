"""Field points of a guide or a cell of it, and the pencils of a lens's pupil depths there."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.kernels.pupil_sides import AXES, CENTRE, CONVERGENCE, REFERENCE, SLOPE, SPOKES
from raytrace.kept import Kept
from raytrace.optics.camera import Guide
from raytrace.optics.lens import FixedPupil, LensState, pencils_for, slopes_of_fixed
from raytrace.optics.pencil import Pencils
from raytrace.optics.projection import distortion_fold

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

SMOOTH = 1 / 6  # of a second difference: what lies between field points is an eighth where it changes evenly, and a third more here
KINK = 1 / 2  # where a table has a row in between: a kink rises four times as far as it shows
END_KINK = 1.0  # in the first or last interval a kink may show only in part
SHORT_OF_FOLD = 1 - 1e-9
NEAR_STEPS = 2  # between field points, to either side of a place whose light is looked at alone
KEPT = 256  # cells' pencils kept in a process
HALVINGS = 40  # of the way to where a lens's field ends


@dataclass(frozen=True, slots=True)
class Cell:
    """A rectangle of the picture, right and up [mm]; `level` says how often the guide was halved for it."""

    left: float
    right: float
    low: float
    high: float
    level: int = 0

    def quarters(self) -> tuple[Cell, ...]:
        """The four rectangles of half its size."""
        x, y, level = (self.left + self.right) / 2, (self.low + self.high) / 2, self.level + 1
        return (
            Cell(self.left, x, self.low, y, level),
            Cell(x, self.right, self.low, y, level),
            Cell(self.left, x, y, self.high, level),
            Cell(x, self.right, y, self.high, level),
        )


def cell_of(guide: Guide, scale: float = 1.0) -> Cell:
    """A guide grown about its own centre, as one cell."""
    (x, y), w, h = guide.centre_mm, guide.half_width_mm * scale, guide.half_height_mm * scale
    return Cell(x - w, x + w, y - h, y + h)


@dataclass(frozen=True, slots=True)
class Samples:
    """Field points in shares of a cell (N, 2), and rows of three neighbours (T, 3), each of a family: 0 along rows, 1 up."""

    shares: FloatArray
    triples: IntArray
    family: IntArray
    at_end: BoolArray


@cache
def edge_samples(intervals: int) -> Samples:
    """Points round a cell's edge, corners twice, so that each side is a row of its own."""
    t = np.linspace(0.0, 1.0, intervals + 1)
    o, i = np.zeros_like(t), np.ones_like(t)
    sides = [np.column_stack(pair) for pair in ((t, o), (i, t), (t, i), (o, t))]
    row = np.arange(intervals - 1)[:, None] + np.arange(3)
    triples = np.concatenate([row + k * (intervals + 1) for k in range(4)])
    family = np.repeat([0, 1, 0, 1], intervals - 1)
    return Samples(np.concatenate(sides), triples, family, np.tile(_ends(intervals), 4))


@cache
def edge_samples_near(intervals: int, step_right: int, step_up: int) -> Samples:
    """Those points round a cell's edge that lie within NEAR_STEPS of a place, which is told in their steps; all where none do."""
    whole = edge_samples(intervals)
    off = np.abs(whole.shares * intervals - (step_right, step_up)).max(axis=1)
    kept = off < NEAR_STEPS + 0.5
    if not kept.any():
        return whole
    number = np.cumsum(kept) - 1
    rows = kept[whole.triples].all(axis=1)
    return Samples(whole.shares[kept], number[whole.triples[rows]], whole.family[rows], whole.at_end[rows])


@cache
def grid_samples(intervals: int) -> Samples:
    """Points all over a cell."""
    n = intervals + 1
    t = np.linspace(0.0, 1.0, n)
    shares = np.stack(np.meshgrid(t, t), axis=-1).reshape(-1, 2)
    at = np.arange(n * n).reshape(n, n)
    rows = np.stack([at[:, :-2], at[:, 1:-1], at[:, 2:]], axis=-1).reshape(-1, 3)
    columns = np.stack([at.T[:, :-2], at.T[:, 1:-1], at.T[:, 2:]], axis=-1).reshape(-1, 3)
    family = np.repeat([0, 1], len(rows))
    return Samples(shares, np.concatenate([rows, columns]), family, np.tile(_ends(intervals), 2 * n))


def _ends(intervals: int) -> BoolArray:
    first = np.arange(intervals - 1)
    return (first == 0) | (first == intervals - 2)


@dataclass(frozen=True, slots=True)
class FieldPencils:
    """Pencils of M depths x N field points, one depth after the other; picture points (M * N, 2).

    rows (M * N, SPOKES + spokes): the pencils as kernels take them. across_mm: the largest pupil's diagonal half size. triples
    (T, 3) and weights (T, 3) say what may lie between them, see `bends_mm`; whole: False where the field ends inside; ring_mm
    (z, radius): the lens's front ring.
    """

    rows: FloatArray
    across_mm: float
    points_mm: FloatArray
    triples: IntArray
    weights: FloatArray
    whole: bool
    ring_mm: FloatArray

    @property
    def pencils(self) -> Pencils:
        """The pencils without their light, which no room asks for."""
        rows, dark = self.rows, np.full(len(self.rows), np.nan)
        return Pencils(
            slope=rows[:, SLOPE:REFERENCE],
            reference_z_mm=rows[:, REFERENCE:CONVERGENCE],
            convergence_per_mm=rows[:, CONVERGENCE:CENTRE],
            centre_mm=rows[:, CENTRE:AXES],
            axes_mm=rows[:, AXES:SPOKES].reshape(-1, 2, 2),
            rim_share=rows[:, SPOKES:],
            falloff=dark,
            valid=np.ones(len(rows), dtype=np.bool_),
            front_ring_mm=self.ring_mm,
        )


def edge_is_enough(lenses: Sequence[LensState]) -> bool:
    """Whether field points inside a cell send no ray beyond the hull of those on its edge: so for a pupil that stays in place."""
    return all(isinstance(lens.pupil, FixedPupil) for lens in lenses)


def field_pencils(lenses: Sequence[LensState], cell: Cell, samples: Samples) -> FieldPencils:
    """The pencils of a cell for every pupil depth; points beyond the end of a lens's field are drawn in to it.

    The same for beams through a box with its glass and without: some are kept.
    """
    key = (*(id(lens) for lens in lenses), cell, id(samples))
    held = _kept.get(key)
    if held is None:
        held = _kept[key] = (*lenses, samples), _field_pencils(lenses, cell, samples)  # with these, so that no others get their ids
        if len(_kept) > KEPT:
            _kept.popitem(last=False)
    return held[1]


_kept: OrderedDict[tuple[object, ...], tuple[tuple[object, ...], FieldPencils]] = OrderedDict()


def _field_pencils(lenses: Sequence[LensState], cell: Cell, samples: Samples) -> FieldPencils:
    points = np.array([cell.left, cell.low]) + samples.shares * np.array([cell.right - cell.left, cell.high - cell.low])
    if (alike := _all_alike(lenses, points, samples)) is not None:
        return alike
    found = [_drawn_in(lens, points) for lens in lenses]
    drawn, layers = [moved for moved, _ in found], [pencils for _, pencils in found]
    whole = all(bool((moved == points).all()) for moved in drawn)
    rows = np.concatenate([_rows(pencils) for pencils in layers])
    triples, weights = _between(layers, points, samples, whole)
    ring_mm = layers[0].front_ring_mm  # pupil depths share it
    return FieldPencils(rows, _across_mm(rows), np.concatenate(drawn), triples, weights, whole, ring_mm)


def _all_alike(lenses: Sequence[LensState], points: FloatArray, samples: Samples) -> FieldPencils | None:
    """The pencils of lenses whose pupils stay in place, which differ in their slopes alone; None where some have none there."""
    one = [alike_of(lens) for lens in lenses]
    rows = np.empty((len(lenses), len(points), SPOKES))
    for number, (lens, alike) in enumerate(zip(lenses, one, strict=True)):
        if alike is None:
            return None
        slopes, valid = slopes_of_fixed(lens, points)
        if not valid.all():
            return None
        rows[number], rows[number, :, SLOPE:REFERENCE] = alike.row, slopes
    same, places = _Same(samples), points if len(lenses) == 1 else np.concatenate([points] * len(lenses))
    across_mm, ring_mm = max(alike.across_mm for alike in one if alike), one[0].ring_mm if one[0] else np.zeros(2)
    triples, weights = _smooth(same, len(lenses))
    return FieldPencils(rows.reshape(-1, SPOKES), across_mm, places, triples, weights, True, ring_mm)


@dataclass(frozen=True, slots=True)
class Alike:
    """What all pencils of a lens share whose pupil stays in place: a row but for its slopes, and see FieldPencils."""

    row: FloatArray
    across_mm: float
    ring_mm: FloatArray


def _alike(lens: LensState) -> Alike | None:
    if not isinstance(lens.pupil, FixedPupil) or lens.distortion != (0.0, 0.0):
        return None
    on_axis = pencils_for(lens, np.zeros((1, 2)))
    row = _rows(on_axis)
    return Alike(row[0], _across_mm(row), on_axis.front_ring_mm)


alike_of: Kept[LensState, Alike | None] = Kept(_alike)


def _rows(p: Pencils) -> FloatArray:
    """Pencils as kernels take them."""
    columns = (p.slope, p.reference_z_mm, p.convergence_per_mm, p.centre_mm, p.axes_mm.reshape(-1, 4), p.rim_share)
    return np.concatenate(columns, axis=1)


def _across_mm(rows: FloatArray) -> float:
    """The largest pupil's diagonal half size."""
    return float(np.sqrt((rows[:, AXES:SPOKES] ** 2).sum(axis=1).max()))


def _between(layers: Sequence[Pencils], points: FloatArray, samples: Samples, whole: bool) -> tuple[IntArray, FloatArray]:
    if whole and not any(len(pencils.field_tan) for pencils in layers):
        return _smooth(_Same(samples), len(layers))
    return _weighed([_weights(pencils, points, samples, whole) for pencils in layers], samples)


@dataclass(frozen=True, slots=True)
class _Same:
    """Samples told apart by which they are, not by what they hold."""

    samples: Samples

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.samples is self.samples

    def __hash__(self) -> int:
        return id(self.samples)


@cache
def _smooth(of: _Same, layers: int) -> tuple[IntArray, FloatArray]:
    """Triples and weights where pencils change smoothly everywhere; samples are few and kept."""
    return _weighed([np.full(len(of.samples.triples), SMOOTH)] * layers, of.samples)


def _weighed(shares: Sequence[FloatArray], samples: Samples) -> tuple[IntArray, FloatArray]:
    """Triples and weights of layers (depths) from what share (T,) of each second difference counts."""
    n, t = len(samples.shares), len(samples.triples)
    triples, weights = [], []
    for number, share in enumerate(shares):
        weight = np.zeros((t, 3))
        weight[np.arange(t), samples.family] = share
        triples.append(samples.triples + number * n)
        weights.append(weight)
    for number in range(len(shares) - 2):
        triples.append(np.arange(n)[:, None] + n * (number + np.arange(3)))
        weights.append(np.tile([0.0, 0.0, SMOOTH], (n, 1)))
    return np.concatenate(triples).astype(np.int64), np.concatenate(weights)


def _weights(pencils: Pencils, points: FloatArray, samples: Samples, whole: bool) -> FloatArray:
    """What share (T,) of each second difference may lie between its points."""
    kinked = np.where(samples.at_end, END_KINK, KINK)
    if not whole:
        return kinked
    if not len(pencils.field_tan):
        return np.full(len(samples.triples), SMOOTH)
    tangent = pencils.field_tan[samples.triples]
    low, high = tangent.min(axis=1)[:, None], tangent.max(axis=1)[:, None]
    at_row = ((pencils.kink_tan >= low - 1e-9) & (pencils.kink_tan <= high + 1e-9)).any(axis=1)
    along = np.take_along_axis(points[samples.triples], samples.family[:, None, None], axis=2)[..., 0]
    past_axis = (along.min(axis=1) <= 0.0) & (along.max(axis=1) >= 0.0)  # the field angle turns round between them
    return np.where(at_row | past_axis, kinked, SMOOTH)


def _pencils(lens: LensState, points_mm: FloatArray) -> tuple[Pencils, BoolArray]:
    """Pencils of picture points, and which of these the lens has (N,): beyond a fold of its distortion there are none."""
    if lens.distortion == (0.0, 0.0):
        pencils = pencils_for(lens, points_mm)
        return pencils, pencils.valid
    fold_mm = distortion_fold(lens.distortion)[1] * lens.half_diagonal_mm
    known = np.hypot(points_mm[:, 0], points_mm[:, 1]) < fold_mm * SHORT_OF_FOLD
    pencils = pencils_for(lens, np.where(known[:, None], points_mm, 0.0))
    return pencils, pencils.valid & known


def _drawn_in(lens: LensState, points_mm: FloatArray) -> tuple[FloatArray, Pencils]:
    """The points, those beyond the end of the field moved toward the lens axis until they have rays; and their pencils."""
    pencils, known = _pencils(lens, points_mm)
    dark = ~known
    if not dark.any():
        return points_mm, pencils
    low, high = np.zeros(int(dark.sum())), np.ones(int(dark.sum()))
    for _ in range(HALVINGS):
        tried = (low + high) / 2
        seen = _pencils(lens, tried[:, None] * points_mm[dark])[1]
        low, high = np.where(seen, tried, low), np.where(seen, high, tried)
    moved = np.array(points_mm)
    moved[dark] = low[:, None] * points_mm[dark]
    return moved, _pencils(lens, moved)[0]


def has_all(lenses: Sequence[LensState], cell: Cell) -> bool:
    """Whether a lens has rays for a whole cell: it has where it has them along the edge."""
    shares = edge_samples(4).shares
    points = np.array([cell.left, cell.low]) + shares * np.array([cell.right - cell.left, cell.high - cell.low])
    return all(bool(_pencils(lens, points)[1].all()) for lens in lenses)
