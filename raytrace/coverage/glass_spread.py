"""How glass spreads the rays of a pencil that comes to a point: they meet it at different angles, so it shifts each by its own.

What grows evenly from the pupil's middle to its rim goes into the pencil's own scale; what is left over is told as an error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import Glass, GlassKind
from raytrace.optics.bundle import launch
from raytrace.optics.glass import cross, object_plane_after
from raytrace.optics.pencil import Pencils

NEAR_FOCUS = (
    0.05  # of the pupil's size: where the beam is narrower than that, every offset is large beside it and moves shadows little
)
RIM_RAYS = 5  # the fewest that tell even growth from what bends: products of their first three harmonics sum to 0
RIM_RAD = 0.2 + 2 * np.pi * np.arange(RIM_RAYS) / RIM_RAYS  # askew to the axes, along which leaning plates do nothing unlike
RIM = np.stack([np.cos(RIM_RAD), np.sin(RIM_RAD)], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class RimRays:
    """Rays through RIM of N pencils: crossing (N, R, 2) from the pupil's middle [mm], where they are and run, and where they end.

    origin and direction (N R, 3); met (N, R) whether each has met the same glasses as the middle ray.
    """

    crossing_mm: FloatArray
    origin_mm: FloatArray
    direction: FloatArray
    end_z_mm: FloatArray
    met: NDArray[np.bool_]


def rim_rays(pencils: Pencils) -> RimRays:
    """The bare lens's rays through the rims of its pupils."""
    bundle = launch(pencils, RIM)
    return RimRays(
        crossing_mm=pencils.crossing_mm(RIM) - pencils.centre_mm[:, None],
        origin_mm=bundle.origin,
        direction=bundle.direction,
        end_z_mm=bundle.end_z_mm,
        met=np.ones((len(pencils), RIM_RAYS), dtype=np.bool_),
    )


def beyond(rays: RimRays, glass: Glass, middle_through: NDArray[np.bool_]) -> RimRays:
    """The rays after one glass; those past its edge where the middle ray (N,) is not, or the other way round, no longer count."""
    crossing = cross(glass, rays.origin_mm, rays.direction, rays.end_z_mm)
    through = crossing.through
    return RimRays(
        crossing_mm=rays.crossing_mm,
        origin_mm=np.where(through[:, None], crossing.leave_mm, rays.origin_mm),
        direction=np.where(through[:, None], crossing.beyond, rays.direction),
        end_z_mm=object_plane_after(glass, crossing, rays.end_z_mm),
        met=rays.met & (through.reshape(rays.met.shape) == middle_through[:, None]),
    )


def offsets(rays: RimRays, middle_at_mm: FloatArray, scale: FloatArray, z_mm: FloatArray | float) -> FloatArray:
    """How far the rays (N, R, 2) lie at z from where the middle ray (N, 2) and the pencil's scale (N, 2) there put them [mm]."""
    shape = (*rays.met.shape, 2)
    run = (np.repeat(np.broadcast_to(z_mm, len(middle_at_mm)), RIM_RAYS) - rays.origin_mm[:, 2]) / rays.direction[:, 2]
    found = np.empty(shape)
    for axis in range(2):
        at = (rays.origin_mm[:, axis] + rays.direction[:, axis] * run).reshape(shape[:2])
        off = at - middle_at_mm[:, axis, None] - scale[:, axis, None] * rays.crossing_mm[..., axis]
        found[..., axis] = np.where(rays.met, off, 0.0)
    return found


def even_part(rays: RimRays, offset_mm: FloatArray, axes_mm: FloatArray) -> FloatArray:
    """What of the offsets (N, R, 2) grows evenly with the crossing, per axis (N, 2): least squares over the rim.

    Over equal angles the sum of u^2 and that of v^2 are R / 2 and that of u v is 0, so the slopes along u and v are mean products.
    Pencils of which rays were lost at a glass's edge get none.
    """
    u, v = (2.0 / RIM_RAYS * (offset_mm[..., axis] @ RIM) for axis in range(2))  # each offset along u and v of the disc (N, 2)
    xx, xy, yx, yy = axes_mm[:, 0, 0], axes_mm[:, 0, 1], axes_mm[:, 1, 0], axes_mm[:, 1, 1]
    size = xx * yy - xy * yx  # the diagonal of by_disc @ inverse of axes, by cofactors
    even = np.stack([(u[:, 0] * yy - u[:, 1] * yx) / size, (v[:, 1] * xx - v[:, 0] * xy) / size], axis=1)
    return np.where(np.all(rays.met, axis=1, keepdims=True), even, 0.0)


def strays(offset_mm: FloatArray, scale: FloatArray, matrix: FloatArray) -> FloatArray:
    """The farthest offset of each pencil (N,) as its disc sees it [pupil radii]; matrix (N, 2, 2) takes crossings to the disc."""
    wide = np.maximum(scale, NEAR_FOCUS)
    x, y = offset_mm[..., 0] / wide[:, :1], offset_mm[..., 1] / wide[:, 1:]
    u = matrix[:, 0, 0, None] * x + matrix[:, 0, 1, None] * y
    v = matrix[:, 1, 0, None] * x + matrix[:, 1, 1, None] * y
    return np.sqrt((u * u + v * v).max(axis=1))


def spreads(pencils: Pencils, glasses: tuple[Glass, ...]) -> bool:
    """Whether rays of one pencil meet glass at different angles: they come to a point, or a close-up lens makes them."""
    return bool(glasses) and (bool(np.any(pencils.convergence_per_mm)) or any(g.kind is GlassKind.CLOSE_UP for g in glasses))
