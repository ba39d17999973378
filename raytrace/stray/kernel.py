"""The optics of mirrored rays, compiled: one ray after another through all faces of a path. Formulas: docs/stray-light.md."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.outline import Circle, RoundedRectangle, half_size_mm
from raytrace.box import Glass, GlassKind
from raytrace.optics.glass import internal_transmittance

F = TypeVar("F", bound=Callable[..., Any])

COLUMNS = 22  # of the glass table: rotation 0-8, origin 9-11, then as named below
HALF, INDEX, WIDE, HIGH, CORNER, TAU, REFLECTANCE, GRADUATED, EDGE, SOFT = range(12, 22)
BY_FRESNEL = -1.0  # stands in the table where no reflectance is stated
BACK_MM = 1e-3  # a ray may lie this far past a face it has yet to meet: rounding of faces that touch


def _compiled(kernel: F) -> F:
    settings: dict[str, Any] = {"no_cpython_wrapper": True}
    return cast("F", numba.njit(nogil=True, error_model="numpy", **settings)(kernel))


def _entry(kernel: F) -> F:
    return cast("F", numba.njit(nogil=True, error_model="numpy", cache=True)(kernel))


def glass_table(glasses: Sequence[Glass]) -> FloatArray:
    """The glasses as rows (G, COLUMNS) of numbers. A free outline is taken as the upright rectangle that holds it."""
    table = np.zeros((len(glasses), COLUMNS))
    for row, glass in zip(table, glasses, strict=True):
        slab, outline = glass.slab, glass.slab.outline
        row[0:9], row[9:12] = slab.pose.rotation.ravel(), slab.pose.origin_mm
        row[HALF], row[INDEX] = slab.thickness_mm / 2, glass.index
        row[WIDE], row[HIGH] = half_size_mm(outline)
        row[CORNER] = outline.radius_mm if isinstance(outline, Circle) else 0.0
        row[CORNER] = outline.corner_mm if isinstance(outline, RoundedRectangle) else row[CORNER]
        row[TAU] = internal_transmittance(glass)
        row[REFLECTANCE] = BY_FRESNEL if glass.reflectance is None else glass.reflectance
        row[GRADUATED] = float(glass.kind is GlassKind.GRADUATED)
        row[EDGE], row[SOFT] = glass.edge_mm, glass.soft_mm
    return table


@_compiled
def _on_glass(row: FloatArray, x: float, y: float) -> bool:
    """Whether a point of a plate's plane lies inside its outline: a rectangle with round corners, or a circle as one."""
    right, up = abs(x) - row[WIDE] + row[CORNER], abs(y) - row[HIGH] + row[CORNER]
    if row[CORNER] <= 0.0:
        return bool(right < 0.0 and up < 0.0)
    out = math.hypot(max(right, 0.0), max(up, 0.0))
    return bool(out + min(max(right, up), 0.0) < row[CORNER])


@_compiled
def _reflectances(row: FloatArray, cosine: float) -> tuple[float, float]:
    """Rs and Rp of a face by the cosine in air: Fresnel, or as stated. Source: as raytrace.optics.fresnel.face_reflectance."""
    if row[REFLECTANCE] >= 0.0:
        return float(row[REFLECTANCE]), float(row[REFLECTANCE])
    n = row[INDEX]
    inside = math.sqrt(1.0 - (1.0 - cosine * cosine) / (n * n))
    s = (cosine - n * inside) / (cosine + n * inside)
    p = (n * cosine - inside) / (n * cosine + inside)
    return float(s * s), float(p * p)


@_compiled
def _density_share(row: FloatArray, up: float) -> float:
    """Share of the full density at a height on the glass. Source: as raytrace.optics.glass.density_share."""
    if row[GRADUATED] == 0.0:
        return 1.0
    above = up - row[EDGE]
    if row[SOFT] <= 0.0:
        return 1.0 if above >= 0.0 else 0.0
    return float(min(max(above / row[SOFT] + 0.5, 0.0), 1.0))


@_compiled
def _to_glass(row: FloatArray, x: float, y: float, z: float) -> tuple[float, float, float]:
    """A vector of the frame along a glass's own axes."""
    return (
        row[0] * x + row[3] * y + row[6] * z,
        row[1] * x + row[4] * y + row[7] * z,
        row[2] * x + row[5] * y + row[8] * z,
    )


@_compiled
def _to_frame(row: FloatArray, x: float, y: float, z: float) -> tuple[float, float, float]:
    """A vector along a glass's own axes in the frame."""
    return (
        row[0] * x + row[1] * y + row[2] * z,
        row[3] * x + row[4] * y + row[5] * z,
        row[6] * x + row[7] * y + row[8] * z,
    )


@_compiled
def _absorbed(row: FloatArray, cosine: float, up: float) -> float:
    """Share that one passage through the glass leaves, at the cosine in air and the height of the passage's middle."""
    inside = math.sqrt(1.0 - (1.0 - cosine * cosine) / (row[INDEX] * row[INDEX]))
    return float(row[TAU] ** (_density_share(row, up) / inside))


@_compiled
def _parted(row: FloatArray, cosine: float, mirrored: bool, polarised: bool) -> tuple[float, float]:
    """Shares of s and p light that go the path's way at a face: what it mirrors, or what it lets by."""
    s, p = _reflectances(row, cosine)
    if not polarised:
        s = (s + p) / 2.0
        p = s
    return (s, p) if mirrored else (1.0 - s, 1.0 - p)


@_entry
def follow(  # noqa: PLR0915 - one ray's whole way, kept in registers
    start: FloatArray, direction: FloatArray, sent: NDArray[np.bool_], faces: NDArray[np.int64], mirrors: NDArray[np.bool_],
    table: FloatArray, least: float, caught_radius: float, polarised: bool, out_direction: FloatArray, corners: FloatArray,
) -> FloatArray:  # fmt: skip
    """Strengths (N,) of rays after all faces of a path, 0 where a ray misses a mirror, ends in the lens or falls under `least`.

    start, direction (N, 3); sent (N,); faces, mirrors (S,); table (G, COLUMNS). Fills out_direction (N, 3), corners (N, S + 1, 3).
    """
    strengths = np.zeros(len(start))
    for i in range(len(start)):
        if not sent[i]:
            continue
        px, py, pz = start[i, 0], start[i, 1], start[i, 2]
        dx, dy, dz = direction[i, 0], direction[i, 1], direction[i, 2]
        corners[i, 0, 0], corners[i, 0, 1], corners[i, 0, 2] = px, py, pz
        light_s, light_p, in_glass, lives = 1.0, 1.0, False, True
        for k in range(len(faces)):
            row, front = table[faces[k] // 2], faces[k] % 2 == 1
            ox, oy, oz = _to_glass(row, px - row[9], py - row[10], pz - row[11])
            ux, uy, uz = _to_glass(row, dx, dy, dz)
            cosine = abs(uz)
            rx, ry, rz = ux, uy, uz
            if in_glass:
                rx, ry = ux / row[INDEX], uy / row[INDEX]
                rz = math.copysign(math.sqrt(1.0 - rx * rx - ry * ry), uz)
            reach = ((row[HALF] if front else -row[HALF]) - oz) / rz
            ax, ay, az = ox + reach * rx, oy + reach * ry, oz + reach * rz
            entering = (uz > 0.0) != front
            hits = _on_glass(row, ax, ay) if entering else in_glass
            if not (reach >= -BACK_MM and reach < 1e9) or (mirrors[k] and not hits):
                lives = False
                break
            if in_glass and not entering and row[TAU] < 1.0:
                left = _absorbed(row, cosine, (oy + ay) / 2.0)
                light_s, light_p = light_s * left, light_p * left
            if hits:
                share_s, share_p = _parted(row, cosine, mirrors[k], polarised)
                light_s, light_p = light_s * share_s, light_p * share_p
            if light_s + light_p <= 2.0 * least:
                lives = False
                break
            in_glass = not entering if mirrors[k] else entering and hits
            dx, dy, dz = _to_frame(row, ux, uy, -uz if mirrors[k] else uz)
            px, py, pz = _to_frame(row, ax, ay, az)
            px, py, pz = px + row[9], py + row[10], pz + row[11]
            corners[i, k + 1, 0], corners[i, k + 1, 1], corners[i, k + 1, 2] = px, py, pz
        if not lives or (dz < 0.0 and math.hypot(px - pz / dz * dx, py - pz / dz * dy) < caught_radius):
            continue
        out_direction[i, 0], out_direction[i, 1], out_direction[i, 2] = dx, dy, dz
        strengths[i] = (light_s + light_p) / 2.0
    return strengths
