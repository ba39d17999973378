"""What an out-of-focus highlight looks like: the pupil as that point sees it through lens and box, which is its blur's outline."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import Box
from raytrace.intersect import passes_whole
from raytrace.optics.bundle import launch
from raytrace.optics.glass import walk
from raytrace.optics.lens import LensState, pencils_for
from raytrace.optics.pencil import Pencils
from raytrace.reference import plain_tracer

LATTICE = 81  # pupil points across: a share is good to 0.3 %
PENCILS_AT_ONCE = 4  # of LATTICE**2 rays each
RIM_POINTS = 32  # round a pencil
RIM_SHARE = 1.02  # of the pupil: more than glass bends the rays between from straight


@dataclass(frozen=True, slots=True, kw_only=True)
class Blurs:
    """Blurs of highlights at N picture places, as the pupil seen from behind the camera.

    right_mm, up_mm (N, R) where each of R rays crosses the pupil, from its centre; lit (N, R) whether the bare lens takes it;
    stopped_by (N, R) the part that stops it, -1 where none does.
    """

    points_mm: FloatArray
    right_mm: FloatArray
    up_mm: FloatArray
    lit: NDArray[np.bool_]
    stopped_by: NDArray[np.int16]

    @property
    def open(self) -> NDArray[np.bool_]:
        """Rays (N, R) that reach the highlight."""
        return self.lit & (self.stopped_by < 0)

    @property
    def lost_share(self) -> FloatArray:
        """Share of each blur's area (N,) that the box takes; 0 where the lens itself is dark."""
        bare = self.lit.sum(axis=1)
        return 1.0 - np.where(bare > 0, self.open.sum(axis=1) / np.maximum(bare, 1), 1.0)

    @property
    def lean(self) -> FloatArray:
        """How far the light's centre is pushed off (N, 2) right and up, in radii of a round blur of the bare area; 0 where dark.

        An even disc cut in half through its middle leans by 4 / (3 pi) = 0.42.
        """
        cell = _cell_mm2(self.right_mm, self.up_mm)
        radius = np.sqrt(np.maximum(self.lit.sum(axis=1) * cell, 1e-30) / np.pi)
        lean = (_centre(self, self.open) - _centre(self, self.lit)) / radius[:, None]
        return np.where(self.open.sum(axis=1)[:, None] > 0, lean, 0.0)

    def blamed(self) -> NDArray[np.int64]:
        """The part that takes most of each blur (N,), -1 where none takes any."""
        stopped = np.where(self.lit, self.stopped_by, -1)
        return np.array([_most(row[row >= 0]) for row in stopped], dtype=np.int64)


def _most(parts: NDArray[np.int16]) -> int:
    return int(np.bincount(parts).argmax()) if len(parts) else -1


def _centre(blurs: Blurs, which: NDArray[np.bool_]) -> FloatArray:
    count = np.maximum(which.sum(axis=1), 1)
    return np.stack([(at * which).sum(axis=1) / count for at in (blurs.right_mm, blurs.up_mm)], axis=1)


def _cell_mm2(right_mm: FloatArray, up_mm: FloatArray) -> FloatArray:
    """Area of the pupil that a lattice point stands for (N,)."""
    return np.ptp(right_mm, axis=1) * np.ptp(up_mm, axis=1) / (LATTICE - 1) ** 2


def pupil_lattice(count: int = LATTICE) -> FloatArray:
    """Points (R, 2) of a square lattice that lie in the unit disc."""
    step = np.linspace(-1.0, 1.0, count)
    u, v = np.meshgrid(step, step)
    inside = np.hypot(u, v) <= 1.0
    return np.column_stack([u[inside], v[inside]])


def _may_stop(pencils: Pencils, box: Box) -> list[bool]:
    """Which parts (P,) may stop a ray of some pencils: those that rays round them do not show to be passed by all."""
    around = RIM_SHARE / np.cos(np.pi / RIM_POINTS) * _circle(RIM_POINTS)
    _, legs = walk(launch(pencils, around), box.glasses, dimmed=False)
    if any(crossed.any() and not crossed.all() for crossed in (leg.length_mm > 0.0 for leg in legs)):
        return [True] * len(box.parts)  # some past the edge of a glass
    return [not passes_whole(part.body, legs) for part in box.parts]


def _circle(count: int) -> FloatArray:
    turn = 2 * np.pi * np.arange(count) / count
    return np.column_stack([np.cos(turn), np.sin(turn)])


def highlight_blurs(lens: LensState, points_mm: FloatArray, box: Box, *, highlight_z_mm: float) -> Blurs:
    """Blurs of highlights at z = `highlight_z_mm` ahead of the lens front (inf: far away), seen at picture points (N, 2).

    Source: geometric optics; the blur of a point is the pupil projected from it, docs/physics.md "Highlights out of focus".
    """
    pencils, disc = pencils_for(replace(lens, object_z_mm=highlight_z_mm), points_mm), pupil_lattice()
    lit, stopped = [], []
    for first in range(0, len(points_mm), PENCILS_AT_ONCE):
        some = pencils.take(slice(first, first + PENCILS_AT_ONCE))
        bundle, legs = walk(launch(some, disc), box.glasses, dimmed=False)
        trace = plain_tracer(box, _may_stop(some, box))
        lit.append(bundle.alive.reshape(-1, len(disc)))
        stopped.append(trace(bundle, legs).first_part.reshape(-1, len(disc)))
    across = pencils.crossing_mm(disc) - pencils.centre_mm[:, None]
    return Blurs(
        points_mm=points_mm,
        right_mm=-across[:, :, 0],
        up_mm=across[:, :, 1],
        lit=np.concatenate(lit),
        stopped_by=np.concatenate(stopped),
    )
