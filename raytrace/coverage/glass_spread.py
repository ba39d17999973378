"""Glass and pencils as rows for the kernel that follows them, and when the rays of a pencil meet glass at different angles."""

from __future__ import annotations

import numpy as np

from geometry.arrays import FloatArray
from geometry.outline import Circle, Freeform, Outline, RoundedRectangle, polygon_loops
from raytrace.box import Glass, GlassKind
from raytrace.coverage.kernels.glass_legs import CIRCLE, DRAWN, GLASS_COLUMNS, RAY_COLUMNS, ROUNDED, legs_of_pencils
from raytrace.optics.closeup import MM_PER_M
from raytrace.optics.pencil import Pencils

RIM_RAYS = 5  # the fewest that tell even growth from what bends: products of their first three harmonics sum to 0
RIM_RAD = 0.2 + 2 * np.pi * np.arange(RIM_RAYS) / RIM_RAYS  # askew to the axes, along which leaning plates do nothing unlike
RIM = np.stack([np.cos(RIM_RAD), np.sin(RIM_RAD)], axis=1)
NO_RIM = np.zeros((0, 2))


def through_glasses(pencils: Pencils, disc: FloatArray, glasses: tuple[Glass, ...], far_mm: float) -> tuple[FloatArray, FloatArray]:
    """Affine (N, 1 + G, 8) of pencils on every leg; how far (N,) rays stray from it at the parts, up to far_mm [pupil radii]."""
    rows, edges = glass_rows(glasses)
    rim = RIM if spreads(pencils, glasses) else NO_RIM
    affine, stray = np.empty((len(pencils), 1 + len(glasses), 8)), np.empty(len(pencils))
    scratch = np.empty((1 + len(rim), RAY_COLUMNS)), np.empty(8)
    legs_of_pencils(pencil_rows(pencils), np.array(pencils.valid), disc, rows, edges, rim, far_mm, *scratch, affine, stray)
    return affine, stray


def pencil_rows(pencils: Pencils) -> FloatArray:
    """Pencils as rows (N, PENCIL_COLUMNS)."""
    p = pencils
    columns = (p.slope, p.reference_z_mm, p.convergence_per_mm, p.centre_mm, p.axes_mm.reshape(-1, 4))
    return np.concatenate(columns, axis=1, dtype=np.float64)


def glass_rows(glasses: tuple[Glass, ...]) -> tuple[FloatArray, FloatArray]:
    """Glasses as rows (G, GLASS_COLUMNS), and the edges (E, 4) of those that are drawn."""
    rows, edges = np.zeros((len(glasses), GLASS_COLUMNS)), [np.zeros((0, 4))]
    for row, glass in zip(rows, glasses, strict=True):
        close_up, pose = glass.kind is GlassKind.CLOSE_UP, glass.slab.pose
        power = glass.power_dioptre / MM_PER_M if close_up else 0.0
        kind, size = _outline(glass.slab.outline, edges)
        thickness = 0.0 if close_up else glass.slab.thickness_mm
        row[:] = [*pose.rotation.ravel(), *pose.origin_mm, thickness, glass.index, power, float(close_up), kind, *size]
    return rows, np.concatenate(edges)


def _outline(outline: Outline, edges: list[FloatArray]) -> tuple[float, tuple[float, float, float]]:
    match outline:
        case Circle():
            return CIRCLE, (outline.radius_mm, 0.0, 0.0)
        case RoundedRectangle():
            corner = outline.corner_mm
            return ROUNDED, (outline.width_mm / 2 - corner, outline.height_mm / 2 - corner, corner)
        case Freeform():
            first = sum(map(len, edges))
            edges += [np.concatenate([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in polygon_loops(outline)]
            return DRAWN, (float(first), float(sum(map(len, edges))), 0.0)


def spreads(pencils: Pencils, glasses: tuple[Glass, ...]) -> bool:
    """Whether rays of one pencil meet glass at different angles: they come to a point, or a close-up lens makes them."""
    return bool(glasses) and (bool(np.any(pencils.convergence_per_mm)) or any(g.kind is GlassKind.CLOSE_UP for g in glasses))
