"""Rays by the thousand as plain columns: where they start, where they run, and what became of each. Knows no parts and no glass."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import NO_PART
from raytrace.optics.pencil import Pencils, within_rims

BoolArray = NDArray[np.bool_]


class Fate(IntEnum):
    """What became of a ray. Lost light, a lens that never sent the ray, and a field point without rays are different things."""

    ALIVE = 0
    CUT_BY_LENS = 1  # past the lens's own rims or front ring: no part of the bare pencil
    NO_RAY = 2  # the projection has no ray for this field point
    BLOCKED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundle:
    """N rays as a read-only struct of arrays, in the frame. Steps return a new bundle.

    origin     (N, 3) start on the pupil's reference plane [mm]
    direction  (N, 3) unit vector, toward the scene
    end_z_mm   (N,) z of the object plane, inf at infinity: what lies beyond it blocks nothing [mm]
    weight     (N,) light carried [-]
    fate       (N,) int8, a Fate
    stopped_by (N,) int16 index of the part that stopped it, or NO_PART
    """

    origin: FloatArray
    direction: FloatArray
    end_z_mm: FloatArray
    weight: FloatArray
    fate: NDArray[np.int8]
    stopped_by: NDArray[np.int16]

    def __post_init__(self) -> None:
        """Refuse columns that do not belong together, and lock them."""
        shapes = [(len(self.origin), *tail) for tail in ((3,), (3,), (), (), (), ())]
        for name, shape in zip(self.__slots__, shapes, strict=True):
            view = np.asarray(getattr(self, name)).view()
            if view.shape != shape:
                raise ValueError(f"bundle.{name}: must have shape {shape}, got {view.shape}")
            view.flags.writeable = False
            object.__setattr__(self, name, view)

    def __len__(self) -> int:
        """How many rays."""
        return len(self.origin)

    @property
    def alive(self) -> BoolArray:
        """Which rays still run (N,)."""
        return self.fate == Fate.ALIVE

    def ended(self, where: BoolArray, fate: Fate) -> Bundle:
        """The bundle with some rays ended; the first end of a ray wins."""
        return replace(self, fate=np.where(where & self.alive, np.int8(fate), self.fate))

    def stopped(self, first_part: NDArray[np.int16]) -> Bundle:
        """The bundle after the box: `first_part` (N,) names what stops each ray, NO_PART where nothing does."""
        hit = (first_part != NO_PART) & self.alive
        return replace(self.ended(hit, Fate.BLOCKED), stopped_by=np.where(hit, first_part, self.stopped_by))

    def dimmed(self, transmittance: FloatArray) -> Bundle:
        """The bundle with its light multiplied by `transmittance` (N,)."""
        return replace(self, weight=self.weight * transmittance)


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """The straight pieces that N rays run between two glass faces, as columns.

    A ray that misses a glass has legs of length 0 there, so that every ray's legs join without a gap.

    origin    (N, 3) [mm]
    direction (N, 3) unit vector
    length_mm (N,) inf for the last leg at infinity focus
    start_mm  (N,) distance run along the ray before this leg
    """

    origin: FloatArray
    direction: FloatArray
    length_mm: FloatArray
    start_mm: FloatArray
    _span_mm: tuple[float, float] | None = field(default=None, init=False, repr=False, compare=False)

    def z_span_mm(self) -> tuple[float, float]:
        """Lowest and highest z that any ray reaches on this leg [mm]; (inf, -inf) where none runs it."""
        if self._span_mm is None:  # every plane of every part asks for it
            object.__setattr__(self, "_span_mm", self._looked_span_mm())
        assert self._span_mm is not None
        return self._span_mm

    def _looked_span_mm(self) -> tuple[float, float]:
        runs = self.length_mm > 0
        if not runs.any():
            return np.inf, -np.inf
        start, slope = self.origin[runs, 2], self.direction[runs, 2]
        with np.errstate(invalid="ignore"):  # a ray square to z on an endless leg gives 0 * inf: it stays at its z
            end = np.where(slope == 0, start, start + slope * self.length_mm[runs])
        return float(min(start.min(), end.min())), float(max(start.max(), end.max()))


def launch(pencils: Pencils, disc: FloatArray) -> Bundle:
    """The bare lens's rays through pupil points `disc` (R, 2): N * R of them, pencil by pencil.

    Anamorphic lenses have two reference planes; their rays start on the one farther back.
    """
    count, per = len(pencils), len(disc)
    crossing = pencils.crossing_mm(disc)
    start_z = np.broadcast_to(pencils.reference_z_mm.min(axis=1)[:, None], (count, per))
    xy = pencils.at_plane_mm(crossing, start_z)
    slope = pencils.ray_slope(crossing)
    origin = np.concatenate([xy, start_z[..., None]], axis=-1).reshape(-1, 3)
    along = np.concatenate([slope, np.ones((count, per, 1))], axis=-1).reshape(-1, 3)
    seen = np.repeat(pencils.valid, per)
    bundle = Bundle(
        origin=np.where(seen[:, None], origin, 0.0),
        direction=_unit(np.where(seen[:, None], along, np.array([0.0, 0.0, 1.0]))),
        end_z_mm=np.repeat(np.where(pencils.valid, object_plane_z_mm(pencils), np.inf), per),
        weight=np.ones(count * per),
        fate=np.full(count * per, Fate.ALIVE, dtype=np.int8),
        stopped_by=np.full(count * per, NO_PART, dtype=np.int16),
    )
    sent = within_rims(pencils, disc) & _within_front_ring(pencils, crossing)
    return bundle.ended(~seen, Fate.NO_RAY).ended(~sent.ravel(), Fate.CUT_BY_LENS)


def object_plane_z_mm(pencils: Pencils) -> FloatArray:
    """Where each pencil comes to a point (N,) [mm]; inf at infinity and for rays that spread; the farther of x and y."""
    convergence = pencils.convergence_per_mm
    with np.errstate(divide="ignore", invalid="ignore"):  # 1 / 0 is infinity focus
        z = pencils.reference_z_mm + 1.0 / convergence
    return np.where(convergence > 0, z, np.inf).max(axis=1)


def _within_front_ring(pencils: Pencils, crossing_mm: FloatArray) -> BoolArray:
    z_mm, radius_mm = pencils.front_ring_mm
    if np.isinf(radius_mm):
        return np.ones(crossing_mm.shape[:2], dtype=np.bool_)
    at = pencils.at_plane_mm(crossing_mm, float(z_mm))
    return np.hypot(at[..., 0], at[..., 1]) <= radius_mm


def _unit(vectors: FloatArray) -> FloatArray:
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
