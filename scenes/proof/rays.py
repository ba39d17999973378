"""The rays of a guide as a proof's verifier traces them, and how far they reach at most: bounds that hold between field points too.

All terms but the shift of a filter run straight with picture point and pupil point, so their ends tell all. The shift, which
depends on the direction alone, and what a picture bent by the lens or a pupil that walks add, are held between least and most over
a cell of the picture, and cells are quartered until that is enough.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from scenes.proof.distortion import undistorted
from scenes.proof.errors import NotProvableError, RefusedError
from scenes.proof.plain_scene import Lens, Plate

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DEEPEST, MOST_CELLS, DEPTH_STEPS = 14, 100000, 256
ROUNDING_MM = 1e-7


@dataclass(frozen=True, slots=True)
class Rays:
    """All rays of a guide: x(z) = A X + B u with X in the pupil and u in the picture, moved by g(slope) along each filter's axis.

    `share` of the way from front ring to pupil lies the disc that they are named by: all light through both passes it.
    """

    lens: Lens
    rectangle: FloatArray  # (2, 2): x, y by least, most
    plates: tuple[Plate, ...]

    def within(self, end: tuple[float, int], share: float, normals: FloatArray, levels: FloatArray) -> NDArray[np.bool_]:
        """Whether n.x <= level for all rays where they cross a plane (R,)."""
        held, count = np.ones(len(levels), dtype=np.bool_), len(depths_of(self.lens)[0])
        row, depth = np.repeat(np.arange(len(levels)), count), np.tile(np.arange(count), len(levels))
        cells = np.broadcast_to(self.rectangle, (len(row), 2, 2))
        for _ in range(DEEPEST):
            n, level = normals[row], levels[row]
            middles = np.repeat(cells.mean(axis=-1, keepdims=True), 2, axis=-1)
            held[row[~(self._most(end, share, n, depth, middles) <= level)]] = False  # no quarter of its cell will do
            over = held[row] & ~(self._most(end, share, n, depth, cells) <= level)
            row, depth, cells = np.repeat(row[over], 4), np.repeat(depth[over], 4), quarters(cells[over])
            if not len(row) or len(row) > MOST_CELLS:
                break
        held[row] = False
        return held

    def _most(self, end: tuple[float, int], share: float, n: FloatArray, depth: IntArray, u: FloatArray) -> FloatArray:
        """At least the most of n.x (P,) over the rays of cells u (P, 2, 2) and depths, by number (P,)."""
        (z, passed), pupil = end, pupils_of(self.lens, depth, u)
        a, b, c, k = self._coefficients(z, share, pupil, u)
        ring = 0.0 if share == 1.0 else (1.0 - share) * self.lens.ring
        slope = times(k, u) + np.stack([-1, 1], -1) * (c[..., 1] * (share * pupil.largest() + ring))[..., None]
        shift, most = np.zeros(len(n)), n[:, 2] * z
        for plate in self.plates[:passed]:
            low, high = shift_mm(plate, slope)
            m, along = plate.axes[:, 2], times(n[:, :2, None], slope)
            side = (n[:, :2] @ m[:2])[:, None] - m[2] * along.sum(axis=1)[:, ::-1]
            most += (low + high) / 2 * (n[:, :2] @ m[:2]) + (high - low) / 2 * np.abs(side).max(axis=1)
            shift = shift + (low + high) / 2 * m[2]
        moved = b - shift[:, None, None] * k[..., ::-1]
        most += times(n[:, :2, None], times(moved, u))[..., 1].sum(axis=1)
        reach = n[:, :2, None] * (a + shift[:, None, None] * c)
        return np.asarray(most + share * pupil.reach(reach) + ring * np.hypot(*np.abs(reach).max(axis=-1).T) + ROUNDING_MM)

    def _coefficients(
        self, z: float, share: float, pupil: Pupils, u: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """A, B, and C, K of the slope K u - C X, each (P, 2, 2): x and y, least and most."""
        object_z, stand, factor = self.lens.object_z, share * pupil.depths, bent(self.lens, pupil.lengths[:, 1, 0], u)[:, None, :]
        if math.isinf(object_z):
            per_mm = np.sort(1.0 / pupil.lengths, axis=-1) * factor
            return np.ones_like(stand), times(per_mm, z + stand), np.zeros_like(stand), per_mm
        per_mm, c = np.sort((object_z + pupil.mapped) / pupil.lengths, axis=-1) * factor, np.sort(1.0 / (object_z + stand), axis=-1)
        return (object_z - z) * c, times(per_mm, np.sort((z + stand) / (object_z + stand), axis=-1)), c, per_mm * c


@dataclass(frozen=True, slots=True)
class Pupils:
    """Pupils of cells: depths (P, 2, 2), those that the field is mapped from, lengths that map it (P, 2, 2), half sizes (P, 2).

    Half sizes are those across and upright, or where `toward` is given those along and square to directions of the field, which
    are (P,) or less, by `about`, away from the angle `toward` [rad].
    """

    depths: FloatArray
    mapped: FloatArray
    lengths: FloatArray
    sizes: FloatArray
    toward: FloatArray | None = None
    about: FloatArray | None = None

    def largest(self) -> FloatArray:
        """The most that they reach across and upright (P, 2)."""
        return self.sizes if self.toward is None else np.repeat(self.sizes.max(axis=1)[:, None], 2, axis=1)

    def reach(self, m: FloatArray) -> FloatArray:
        """At least the most (P,) of m.X over pupil points X, m (P, 2, 2) between least and most."""
        if self.toward is None or self.about is None:
            return np.asarray(np.hypot(*(np.abs(m).max(axis=-1) * self.sizes).T))
        middle, spread = m.mean(axis=-1), np.hypot(*(np.ptp(m, axis=-1) / 2).T)
        along, square = self.sizes.T
        off = np.abs(
            (np.arctan2(middle[:, 1], middle[:, 0]) - self.toward + math.pi / 2) % math.pi - math.pi / 2
        )  # of lines: 0 to 90
        nearest, farthest = np.maximum(off - self.about, 0.0), np.minimum(off + self.about, math.pi / 2)
        angle = np.where(along > square, nearest, farthest)
        return np.asarray(
            np.hypot(*middle.T) * np.hypot(along * np.cos(angle), square * np.sin(angle)) + spread * self.sizes.max(axis=1)
        )


def pupils_of(lens: Lens, number: IntArray, u: FloatArray) -> Pupils:
    """Pupils of cells u (P, 2, 2), their depths by number, or by the lens's table of its walk."""
    boxes, lengths = (table[number] for table in depths_of(lens))
    if not lens.walk:
        return Pupils(boxes, boxes[:, 1:], lengths, np.broadcast_to(np.array(lens.half_sizes), (len(u), 2)))
    per_mm = np.sort(1.0 / lengths, axis=-1) * bent(lens, lengths[:, 1, 0], u)[:, None, :]
    angle, rows = np.arctan(distance(times(per_mm, u))), walk_rows(lens)
    depth, tangential, sagittal = (table_range(np.radians(rows[:, 0]), rows[:, k], angle) for k in (1, 2, 3))
    sizes = np.stack([tangential[:, 1] / np.cos(angle[:, 1]), sagittal[:, 1]], axis=1) * lens.half_sizes[1]
    corners = np.stack([np.arctan2(u[:, 1, j], u[:, 0, i]) for i in (0, 1) for j in (0, 1)])
    toward = np.arctan2(u[:, 1].mean(axis=-1), u[:, 0].mean(axis=-1))
    about = np.abs((corners - toward + math.pi) % (2 * math.pi) - math.pi).max(axis=0)
    holds_axis = (u[..., 0] <= 0.0).all(axis=1) & (u[..., 1] >= 0.0).all(axis=1)
    both = np.repeat(depth[:, None, :], 2, axis=1)
    return Pupils(both, boxes[:, 1:], lengths, sizes, toward, np.where(holds_axis, math.pi, about))


def walk_rows(lens: Lens) -> FloatArray:
    """Rows of a walk, which beyond the last goes on straight; sizes above 0."""
    rows = np.array(sorted(lens.walk), dtype=np.float64)
    if len(rows) == 1:
        return np.concatenate([rows, rows + np.array([90.0, 0.0, 0.0, 0.0])])
    step = (90.0 - rows[-1, 0]) / (rows[-1, 0] - rows[-2, 0])
    rows = np.concatenate([rows, [rows[-1] + step * (rows[-1] - rows[-2])]])
    return np.column_stack([rows[:, :2], np.maximum(rows[:, 2:], 1e-3)])


def table_range(places: FloatArray, values: FloatArray, at: FloatArray) -> FloatArray:
    """Least and most (P, 2) of a table that runs straight between its rows, over ranges (P, 2) of the place."""
    ends = np.interp(at, places, values)
    inside = (places > at[:, :1]) & (places < at[:, 1:])
    least = np.where(inside, values, np.inf).min(axis=1, initial=np.inf)
    most = np.where(inside, values, -np.inf).max(axis=1, initial=-np.inf)
    return np.stack([np.minimum(ends.min(axis=1), least), np.maximum(ends.max(axis=1), most)], axis=-1)


def distance(u: FloatArray) -> FloatArray:
    """Least and most (P, 2) distance from the axis in cells (P, 2, 2)."""
    low = np.where((u[..., 0] <= 0.0) & (u[..., 1] >= 0.0), 0.0, np.abs(u).min(axis=-1))
    return np.stack([np.hypot(*low.T), np.hypot(*np.abs(u).max(axis=-1).T)], axis=-1)


def bent(lens: Lens, focal: FloatArray, u: FloatArray) -> FloatArray:
    """Tangents of the field by those of a rectilinear picture, least and most (P, 2), in cells of it; focal (P,)."""
    if lens.projection == "rectilinear" and not any(lens.distortion):
        return np.ones((len(u), 2))
    k1, k2 = lens.distortion
    before = undistorted(distance(u) / lens.half_diagonal, k1, k2)
    if k1 * (k1 + 2.0 * k2 * float(before.max(initial=0.0)) ** 2) < 0.0:
        raise NotProvableError("its distortion turns between barrel and pincushion")
    share = np.sort(1.0 / (1.0 + before**2 * (k1 + k2 * before**2)), axis=-1)
    return share * projected(lens.projection, before * lens.half_diagonal / focal[:, None])


def projected(name: str, s: FloatArray) -> FloatArray:
    """The tangent of the field by s = r / f, of a projection; rises with s."""
    if name == "rectilinear":
        return np.ones_like(s)
    with np.errstate(invalid="ignore"):
        if name == "equidistant":
            angle = s
        elif name == "equisolid":
            angle = 2.0 * np.arcsin(s / 2.0)
        else:
            angle = 2.0 * np.arctan(s / 2.0) if name == "stereographic" else np.arcsin(s)
    if not (angle < math.radians(89.0)).all():
        raise NotProvableError("its field is wider than 89 degrees")
    return np.asarray(np.where(s > 1e-9, np.tan(angle) / np.maximum(s, 1e-9), 1.0))


@lru_cache(maxsize=8)
def depths_of(lens: Lens) -> tuple[FloatArray, FloatArray]:
    """Boxes (D, 2, 2) of pupil depths, x and y by least and most, and the lengths that map the field there.

    At infinity the ends alone tell all. Of a pupil that walks the one on the axis, where the field is mapped from.
    """
    (h0, h1), (v0, v1) = lens.depths
    if math.isinf(lens.object_z) or (h0, v0) == (h1, v1):
        boxes = np.array([[[h, h], [v, v]] for h, v in product(sorted({h0, h1}), sorted({v0, v1}))], dtype=np.float64)
    else:
        t = np.linspace(0.0, 1.0, DEPTH_STEPS + 1)
        h, v = h0 + (h1 - h0) * t, v0 + (v1 - v0) * t
        boxes = np.stack([np.stack([h[:-1], h[1:]], -1), np.stack([v[:-1], v[1:]], -1)], axis=1)
    return boxes, np.array([[lens.focals(*box[:, end]) for end in (0, 1)] for box in boxes]).swapaxes(1, 2)


def times(one: FloatArray, two: FloatArray) -> FloatArray:
    """Least and most (..., 2) of products of what lies between least and most; a single number (..., 1) stands for both."""
    found = np.stack([one[..., i] * two[..., j] for i in (0, -1) for j in (0, -1)])
    return np.stack([found.min(axis=0), found.max(axis=0)], axis=-1)


def quarters(cells: FloatArray) -> FloatArray:
    """Cells (P, 2, 2) as four each."""
    middle = cells.mean(axis=-1)
    halves = np.stack([np.stack([cells[..., 0], middle], -1), np.stack([middle, cells[..., 1]], -1)])  # (2, P, 2, 2)
    four = np.stack([np.stack([halves[i, :, 0], halves[j, :, 1]], axis=1) for i in (0, 1) for j in (0, 1)], axis=1)
    return four.reshape(-1, 2, 2)


def shift_mm(plate: Plate, slope: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least and most (P,) of a plate's shift along its own axis, d (1 - (n^2 + (n^2 - 1) t^2)^-1/2), over slopes (P, 2, 2).

    Snell's law; t is the tangent of the angle to the plate's axis.
    """
    toward = times(plate.axes[:2, 2][:, None], slope).sum(axis=1) + plate.axes[2, 2]
    if (toward[:, 0] <= 0.0).any():
        raise RefusedError("some light would meet a filter from ahead")
    square, n2 = slope**2, plate.index**2
    least = np.where(slope[..., 0] * slope[..., 1] < 0.0, 0.0, square.min(axis=-1)).sum(axis=1)
    ends = (1.0 + least) / toward[:, 1] ** 2, (1.0 + square.max(axis=-1).sum(axis=1)) / toward[:, 0] ** 2
    low, high = (plate.thickness * (1.0 - 1.0 / np.sqrt(n2 + (n2 - 1.0) * np.maximum(end - 1.0, 0.0))) for end in ends)
    return low, high
