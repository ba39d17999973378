"""Rays through filters: where each face turns them, which straight legs that leaves, and how much light comes through.

Glass is met in the order it stands, going out from the lens. A ray that enters a slab inside its outline is refracted at both faces
and runs on in its old direction, shifted; a ray past the edge of the glass is untouched. A close-up lens is a thin lens in the
middle plane of its slab: it bends by -D r and shifts nothing. Formulas: docs/physics.md, "Glass".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from geometry.arrays import FloatArray, cross_product
from geometry.outline import contains
from raytrace.box import Glass, GlassKind
from raytrace.optics.bundle import BoolArray, Bundle, Leg
from raytrace.optics.closeup import MM_PER_M, bent_slopes
from raytrace.optics.fresnel import face_reflectance, inside_cosine, internal_transmittance_of_density

MOST_MIRRORED = 1 - 1e-12  # at grazing incidence a face mirrors all light and the sum over inner reflections would be 0/0
FACE_EPS_MM = 1e-6  # how far one plate may seem to reach into the next: plates that touch, computed from two poses


@dataclass(frozen=True, slots=True, kw_only=True)
class _Light:
    """Light on its way, per ray: Stokes I, Q and U, with Q along the ray's level axis (square to the ray and to y)."""

    intensity: FloatArray
    q: FloatArray
    u: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Where rays go through one glass, all in the frame: which do, the points on both faces, directions inside and beyond."""

    through: BoolArray
    reach_mm: FloatArray
    entry_mm: FloatArray
    leave_mm: FloatArray
    inside: FloatArray
    beyond: FloatArray


def walk(bundle: Bundle, glasses: Sequence[Glass], *, dimmed: bool = True) -> tuple[Bundle, tuple[Leg, ...]]:
    """The bundle dimmed by every glass its rays go through, and the straight legs they run, in order, up to the object plane.

    Not `dimmed`, it keeps the light that it has: for those who ask for the legs alone.
    """
    origin, direction, end_z = bundle.origin, bundle.direction, bundle.end_z_mm
    start = np.zeros(len(bundle))
    light = _Light(intensity=np.ones(len(bundle)), q=np.zeros(len(bundle)), u=np.zeros(len(bundle)))
    legs: list[Leg] = []
    for glass in glasses:
        crossing = cross(glass, origin, direction, end_z)
        light = _after(glass, crossing, direction, light) if dimmed else light
        legs += _legs_to_far_face(crossing, origin, direction, start)
        start = legs[-1].start_mm + legs[-1].length_mm
        end_z = object_plane_after(glass, crossing, end_z)
        origin = np.where(crossing.through[:, None], crossing.leave_mm, origin)
        direction = np.where(crossing.through[:, None], crossing.beyond, direction)
    legs.append(Leg(origin=origin, direction=direction, length_mm=length_to(end_z, origin, direction), start_mm=start))
    return replace(bundle.dimmed(light.intensity), end_z_mm=end_z), tuple(legs)


def density_share(glass: Glass, up_mm: FloatArray) -> FloatArray:
    """Share of a filter's full density at a height on it: 1 but for graduated ones, whose dark end is up.

    `up_mm` is measured from the slab's centre along its own up. Density rises evenly from 0 to full over `soft_mm` about `edge_mm`.
    """
    if glass.kind is not GlassKind.GRADUATED:
        return np.ones_like(up_mm)
    above = up_mm - glass.edge_mm
    if glass.soft_mm <= 0:
        return np.where(above >= 0, 1.0, 0.0)
    return np.clip(above / glass.soft_mm + 0.5, 0.0, 1.0)


def transmittance_sp(glass: Glass, cosine: FloatArray, up_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Share of s and of p light that a filter passes, all reflections between its own faces summed without interference.

    T = (1 - R)^2 tau / (1 - R^2 tau^2) with tau = tau_0^(share / cos t'): the absorber works along the slanted path, and a
    graduated filter has `density_share` of it. `cosine` (N,) is that of the angle in air, `up_mm` (N,) where the ray crosses the
    middle plane.

    Source: as raytrace.optics.fresnel.plate_sp; docs/physics.md, "Glass".
    """
    angle = np.arccos(np.clip(cosine, 0.0, 1.0))
    straight = internal_transmittance(glass)
    tau = straight ** (density_share(glass, up_mm) / inside_cosine(angle, glass.index))
    s, p = (_summed(r, tau) for r in face_reflectance(angle, glass.index, glass.reflectance))
    return s, p


def internal_transmittance(glass: Glass) -> float:
    """Share that survives one straight passage through the glass, faces not counted; 1 for a filter without density."""
    return internal_transmittance_of_density(glass.density, glass.index, glass.reflectance) if glass.density > 0 else 1.0


def _summed(r: FloatArray, tau: FloatArray) -> FloatArray:
    r = np.minimum(r, MOST_MIRRORED)
    return (1.0 - r) ** 2 * tau / (1.0 - (r * tau) ** 2)


def cross(glass: Glass, origin: FloatArray, direction: FloatArray, end_z: FloatArray) -> Crossing:
    """Where rays that start at `origin` (N, 3) go through one glass, before they reach their object plane `end_z` (N,)."""
    pose, close_up = glass.slab.pose, glass.kind is GlassKind.CLOSE_UP
    o, d = pose.points_to_part(origin), pose.vectors_to_part(direction)
    depth = 0.0 if close_up else glass.slab.thickness_mm
    with np.errstate(divide="ignore", invalid="ignore"):  # rays along the plate give inf or nan: they do not go through
        reach = (-depth / 2 - o[:, 2]) / d[:, 2]
        through = (d[:, 2] > 0) & (reach >= -FACE_EPS_MM) & np.isfinite(reach)
    reach = np.where(through, np.maximum(reach, 0.0), 0.0)
    entry = o + reach[:, None] * d
    through &= contains(glass.slab.outline, entry[:, :2]) & (origin[:, 2] + reach * direction[:, 2] < end_z)
    inside = d if close_up else refracted(d, glass.index)
    leave = entry + inside * (depth / np.where(through, inside[:, 2], 1.0))[:, None]
    beyond = _bent(d, entry, glass.power_dioptre, through) if close_up else d
    return Crossing(
        through=through,
        reach_mm=np.where(through, reach, 0.0),
        entry_mm=np.where(through[:, None], pose.points_to_frame(entry), origin),
        leave_mm=np.where(through[:, None], pose.points_to_frame(leave), origin),
        inside=pose.vectors_to_frame(inside),
        beyond=pose.vectors_to_frame(beyond) if close_up else direction,
    )


def refracted(direction: FloatArray, index: float) -> FloatArray:
    """Unit directions (N, 3) inside glass, of unit directions in air, the face square to z: the part along the face shrinks by n.

    Source: Snell's law as a vector; docs/physics.md, "Glass".
    """
    along = direction[:, :2] / index
    return np.column_stack([along, np.sqrt(1.0 - np.sum(along**2, axis=1))])


def _bent(d: FloatArray, at: FloatArray, power_dioptre: float, through: BoolArray) -> FloatArray:
    """Directions after a thin lens in the plane z = 0."""
    ahead = np.where(through, d[:, 2], 1.0)
    slope = bent_slopes(at[:, :2], d[:, :2] / ahead[:, None], power_dioptre)
    bent = np.column_stack([slope, np.ones(len(d))])
    return bent / np.linalg.norm(bent, axis=1, keepdims=True)


def _legs_to_far_face(crossing: Crossing, origin: FloatArray, direction: FloatArray, start: FloatArray) -> list[Leg]:
    through = crossing.through
    air = Leg(origin=origin, direction=direction, length_mm=crossing.reach_mm, start_mm=start)
    run = np.linalg.norm(crossing.leave_mm - crossing.entry_mm, axis=1)
    inside = np.where(through[:, None], crossing.inside, direction)
    return [air, Leg(origin=crossing.entry_mm, direction=inside, length_mm=run, start_mm=start + crossing.reach_mm)]


def object_plane_after(glass: Glass, crossing: Crossing, end_z: FloatArray) -> FloatArray:
    """Where the rays now come to a point: a close-up lens's power adds to 1 / distance; plates leave the plane where it is."""
    if glass.kind is not GlassKind.CLOSE_UP:
        return end_z
    at = glass.slab.pose.origin_mm[2]
    with np.errstate(divide="ignore"):  # power that just cancels the convergence sends the plane to infinity
        nearer = 1.0 / np.maximum(1.0 / (end_z - at) + glass.power_dioptre / MM_PER_M, 0.0)
    return np.where(crossing.through, at + nearer, end_z)


def length_to(end_z: FloatArray, origin: FloatArray, direction: FloatArray) -> FloatArray:
    """Lengths (N,) of rays up to their object plane; inf for rays that never come there."""
    ahead = direction[:, 2] > 0
    return np.where(ahead, np.maximum(end_z - origin[:, 2], 0.0) / np.where(ahead, direction[:, 2], 1.0), np.inf)


def _after(glass: Glass, crossing: Crossing, direction: FloatArray, light: _Light) -> _Light:
    """Light after one plate, a diattenuator with its axes along s and p, whatever way earlier plates leaned.

    In the plate's own axes I' = A I + B Q, Q' = B I + A Q, U' = sqrt(Ts Tp) U, with A, B half the sum and difference of Ts and Tp.
    Plates that lean in one plane give (product of Ts + product of Tp) / 2; light reflected between two plates is left out.

    Source: Mueller matrix of a linear diattenuator, Chipman, Handbook of Optics, polarimetry (from memory).
    """
    normal = glass.slab.pose.vectors_to_frame(np.array([0.0, 0.0, 1.0]))
    middle = glass.slab.pose.points_to_part((crossing.entry_mm + crossing.leave_mm) / 2)
    s, p = transmittance_sp(glass, direction @ normal, middle[:, 1])
    mean, half, cross = (s + p) / 2, (s - p) / 2, np.sqrt(s * p)
    cos2, sin2 = _twice_the_angle(direction, normal)
    along, askew = cos2 * light.q + sin2 * light.u, cos2 * light.u - sin2 * light.q
    passed = mean * light.intensity + half * along
    along, askew = half * light.intensity + mean * along, cross * askew
    through = crossing.through
    return _Light(
        intensity=np.where(through, passed, light.intensity),
        q=np.where(through, cos2 * along - sin2 * askew, light.q),
        u=np.where(through, sin2 * along + cos2 * askew, light.u),
    )


def _twice_the_angle(direction: FloatArray, normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cosine and sine of twice the angle from the ray's level axis to a plate's s axis, which is square to ray and normal."""
    level = cross_product(np.array([0.0, 1.0, 0.0]), direction)
    level /= np.maximum(np.linalg.norm(level, axis=1, keepdims=True), 1e-300)
    s_axis = cross_product(direction, normal)
    c = np.sum(s_axis * level, axis=1)
    s = np.sum(s_axis * cross_product(direction, level), axis=1)
    square = c * c + s * s
    straight = square < 1e-24  # at normal incidence s and p are alike and any axis will do
    square = np.where(straight, 1.0, square)
    return np.where(straight, 1.0, (c * c - s * s) / square), np.where(straight, 0.0, 2 * c * s / square)
