"""Where the rim rays of pencils cross the planes of a chain of glass."""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raytrace.judge.field import FieldPencils
from raytrace.judge.kernels.faces import CLOSE_UP
from raytrace.judge.kernels.hull import DIRECTIONS
from raytrace.judge.kernels.pupil_sides import SIDE_ROWS, SPOKES
from raytrace.judge.kernels.rays import END, OK, follow

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


class Scratch(threading.local):
    """Room that is kept for the next beam, one for each thread: the system takes as long to hand it out as beams take to follow."""

    def __init__(self, kind: type[np.float64] | type[np.int64]) -> None:
        self._room: NDArray[Any] = np.empty(0, dtype=kind)

    def of(self, *shape: int) -> NDArray[Any]:
        """An array of that shape with anything in it, until the next one is asked for."""
        size = math.prod(shape)
        if size > self._room.size:
            self._room = np.empty(size * 5 // 4, dtype=self._room.dtype)
        return self._room[:size].reshape(shape)


_points, _corners, _fields, _ways, _keys = (Scratch(np.float64) for _ in range(5))
_numbers = Scratch(np.int64)


@dataclass(frozen=True, slots=True)
class Crossings:
    """All crossings (P, 3, N) [mm], where asked for, and of these the corners (n, 3) of each plane, one plane after the other.

    fields (n, 2): the picture point of each corner, nan where pencils of all cross alike; starts (P + 1,): where planes begin;
    bends_mm (P,): how far rays between field points may stray from the straight way between them; end_z_mm: the last plane;
    followed: whether all rays came through in order.
    """

    points: FloatArray | None
    corners: FloatArray
    fields: FloatArray
    starts: IntArray
    bends_mm: FloatArray
    end_z_mm: float
    followed: bool


def crossings(
    field: FieldPencils,
    sides: int,
    blend: tuple[float, float],
    ring: FloatArray,
    before: FloatArray,
    glasses: FloatArray,
    far_z_mm: float,
    object_z_mm: float,
    *,
    parted: bool,
    shares: int = 0,
    with_points: bool = False,
) -> Crossings:
    """The crossings of polygons about the pupils, with so many sides, or, with another blend than 1, 1, about stand-ins for them.

    ring (z, radius) of the lens front; before (B,): z of planes before the glass; glasses (G, GLASS_FIELDS); parted: with a plane
    just ahead of all parts; shares: 0 where light inside the polygons keeps within the hull of their corners, else how closely it
    is looked at: 1 for the middle alone, 2 for half-way as well.
    """
    pencils = field.rows
    count = len(pencils) * sides
    planes = len(before) + (2 if parted else 1) + planes_of(glasses)
    points, corners, fields = _points.of(planes, 3, count), _corners.of(planes * count, 3), _fields.of(planes * count, 2)
    ways, numbers, keys = _ways.of(3, count), _numbers.of(4, 2 * count + 2), _keys.of(max(count, sides, planes))
    starts, told = np.zeros(planes + 1, dtype=np.int64), np.zeros(2 + planes)
    spokes = pencils.shape[1] - SPOKES
    outline = spokes * -(-sides // spokes) if spokes else 0
    inner = np.empty((1, pencils.shape[1])), np.empty((planes, 3, sides))
    scratch = np.empty((SIDE_ROWS, sides + 1)), np.empty((2, outline)), *inner, np.empty((DIRECTIONS + 1, 2))
    follow(
        *(pencils, np.array(blend), float(ring[0]), float(ring[1]), before, glasses, far_z_mm, object_z_mm, parted, shares),
        *(field.triples, field.weights, field.points_mm, with_points),
        *(points, ways, *scratch),
        *(corners, keys, numbers, fields),
        starts,
        told,
    )
    total = int(starts[-1])
    kept = points.copy() if with_points else None
    return Crossings(kept, corners[:total].copy(), fields[:total].copy(), starts, told[2:], float(told[END]), bool(told[OK]))


def planes_of(glasses: FloatArray) -> int:
    """How many planes filters (G, GLASS_FIELDS) part a beam by: two faces each, or the one of a close-up lens."""
    return 2 * len(glasses) - int((glasses[:, CLOSE_UP] > 0.0).sum())
