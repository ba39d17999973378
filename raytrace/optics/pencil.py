"""A lens as everything else sees it: for each field point, the outline of its pupil and the rays through it.

A *pencil* is the bundle of rays that lights one field point. Every ray of it is straight and named by a pupil point (u, v) of the
unit disc. With X = centre + axes @ (u, v) the crossing point of the reference planes (one plane for x, one for y: anamorphic
lenses have two), the ray is

    x(z) = X_x + (slope_x - X_x * convergence_x) * (z - reference_z_x)        and the same in y.

`slope` is the direction of the ray through X = 0; `convergence` is 1 / distance from the reference plane to the object plane, 0 at
infinity, where all rays of a pencil are parallel. So x(z) is affine in X and in z, which the fast way builds on.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


def _none() -> NDArray[np.float64]:
    return np.zeros(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pencils:
    """N pencils as a struct of arrays, in the frame (x to the operator's left), mm.

    slope             (N, 2) dx/dz, dy/dz of the ray through X = 0 [-]
    reference_z_mm    (N, 2) z of the reference plane for x and for y (negative: behind the front rim)
    convergence_per_mm (N, 2) 1 / (object plane - reference plane); 0 at infinity
    centre_mm         (N, 2) centre of the pupil outline in the reference planes
    axes_mm           (N, 2, 2) maps the unit disc onto the pupil about its centre
    rim_share         (N, K) radius of the pupil outline along K equal angles of the (u, v) disc, as a share of 1; all 1 for a
                      full elliptic pupil; below 1 where the lens's own rims cut. K may be 0: full ellipse everywhere
    falloff           (N,) natural fall-off of the bare lens, relative to the axis [-]; without rims and front ring
    valid             (N,) False where the projection has no ray for this field point
    front_ring_mm     (2,) z and radius of the lens's front glass ring, which cuts the bare pencil; radius inf when not given
    field_tan         (N,) tangent of the angle to the axis by which a tabulated lens is looked up; (0,) where there is no table
    kink_tan          (K,) where a table has rows: between two of them pencils change smoothly with the field, at one they may bend
    """

    slope: NDArray[np.float64]
    reference_z_mm: NDArray[np.float64]
    convergence_per_mm: NDArray[np.float64]
    centre_mm: NDArray[np.float64]
    axes_mm: NDArray[np.float64]
    rim_share: NDArray[np.float64]
    falloff: NDArray[np.float64]
    valid: NDArray[np.bool_]
    front_ring_mm: NDArray[np.float64]
    field_tan: NDArray[np.float64] = field(default_factory=_none)
    kink_tan: NDArray[np.float64] = field(default_factory=_none)

    def __len__(self) -> int:
        """How many field points."""
        return len(self.slope)

    def crossing_mm(self, disc: NDArray[np.float64]) -> NDArray[np.float64]:
        """Reference-plane crossings X of pupil points: disc (R, 2) or (N, R, 2) -> (N, R, 2) [mm]."""
        uv = disc[None] if disc.ndim == 2 else disc
        found = np.empty((len(self), uv.shape[1], 2))
        for axis in range(2):
            along, across = self.axes_mm[:, axis, 0, None], self.axes_mm[:, axis, 1, None]
            found[..., axis] = self.centre_mm[:, axis, None] + (along * uv[..., 0] + across * uv[..., 1])
        return found

    def at_plane_mm(self, crossing_mm: NDArray[np.float64], z_mm: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """(x, y) of rays at z: crossing (N, R, 2), z scalar or (N, R) -> (N, R, 2) [mm]; glass not counted."""
        z = np.broadcast_to(np.asarray(z_mm, dtype=np.float64), crossing_mm.shape[:2])[..., None]
        step = z - self.reference_z_mm[:, None, :]
        return crossing_mm + self.ray_slope(crossing_mm) * step

    def ray_slope(self, crossing_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(dx/dz, dy/dz) of rays by their crossings (N, R, 2) -> (N, R, 2)."""
        return self.slope[:, None, :] - crossing_mm * self.convergence_per_mm[:, None, :]

    def take(self, index: NDArray[np.int64] | NDArray[np.bool_] | slice) -> Pencils:
        """The pencils of some field points."""
        return Pencils(
            slope=self.slope[index],
            reference_z_mm=self.reference_z_mm[index],
            convergence_per_mm=self.convergence_per_mm[index],
            centre_mm=self.centre_mm[index],
            axes_mm=self.axes_mm[index],
            rim_share=self.rim_share[index],
            falloff=self.falloff[index],
            valid=self.valid[index],
            front_ring_mm=self.front_ring_mm,
            field_tan=self.field_tan[index] if len(self.field_tan) else self.field_tan,
            kink_tan=self.kink_tan,
        )


def within_rims(pencils: Pencils, disc: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether pupil points get past the lens's own rims: disc (R, 2) or (N, R, 2) -> (N, R); front ring not counted."""
    uv = np.broadcast_to(disc, (len(pencils), *disc.shape[-2:]))
    count = pencils.rim_share.shape[1]
    radius = np.hypot(uv[..., 0], uv[..., 1])
    if count == 0:
        return radius <= 1.0
    turn = np.arctan2(uv[..., 1], uv[..., 0]) / (2 * np.pi) * count % count
    low = np.floor(turn).astype(np.int64) % count
    rows = np.arange(len(pencils))[:, None]
    share = turn - np.floor(turn)
    rim = (1 - share) * pencils.rim_share[rows, low] + share * pencils.rim_share[rows, (low + 1) % count]
    return radius <= rim
