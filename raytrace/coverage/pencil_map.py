"""Pencils as the kernels want them: rays straight in z between glasses, and the map from a crossing to the unit disc.

A ray is x(z) = a(z) X + b(z), with a and b straight in z on every leg between two glasses, the same in y. `affine` (N, legs, 8)
holds a0 a1 b0 b1 for x, then for y. `disc` (N, 6) holds the pupil's centre and the matrix that takes X - centre to the disc,
turned by DISC_TURN_RAD so that chords of constant v are askew to upright edges.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from raytrace.box import Box, Glass, GlassKind
from raytrace.coverage.glass_spread import through_glasses
from raytrace.coverage.kernels.chords import chord_rule
from raytrace.coverage.kernels.cover_kernels import bare_shares
from raytrace.coverage.kernels.lens_rim import LENS_ROWS
from raytrace.coverage.tables.clip import box_depths_mm
from raytrace.coverage.tables.nodes import Nodes
from raytrace.optics.bundle import Bundle, Fate, launch
from raytrace.optics.glass import walk
from raytrace.optics.pencil import Pencils
from raytrace.optics.sampling import forbes_rings

DISC_TURN_RAD = 0.55  # chords then meet upright edges at 31.5 and 58.5 deg and those at 45 deg at 13.5
RIM_STEPS = 4  # straight pieces between two of a rim's angles
RIMS_AT_ONCE = 256  # pencils whose rims are worked on at a time
BARE_CHORDS = 256

GRADUATED_RULE = (4, 12)  # rings and arms over the pupil
EVEN_RULE = (2, 4)  # angles within one pencil differ by so little that Fresnel's curve is a parabola there


@dataclass(frozen=True, slots=True, kw_only=True)
class Optics:
    """N pencils through a box's glass: affine (N, legs, 8), disc (N, 6), rim (N, K), ring (N, 6), valid (N,).

    lens (N,) is the bare lens's light, glass (N,) the mean transmittance over the bare pupil; glass_stray (N,) how far at the parts
    a ray may lie from where the affine has it, because glass shifts the rays of one pencil unlike [pupil radii]; start_z_mm and
    end_z_mm where rays begin to count and where they come to a point (inf at infinity), over all pencils.
    """

    affine: FloatArray
    disc: FloatArray
    rim: FloatArray
    ring: FloatArray
    ring_radius_mm: float
    lens: FloatArray
    glass: FloatArray
    glass_stray: FloatArray
    valid: NDArray[np.bool_]
    start_z_mm: float
    end_z_mm: float


def optics(pencils: Pencils, box: Box, *, with_glass: bool = True) -> Optics:
    """What the kernels need to know of these pencils; where it is not asked for, `glass` is left at 1."""
    pencils = _sound(pencils)
    disc = _disc(pencils)
    affine, stray = through_glasses(pencils, disc, box.glasses, float(box_depths_mm(box)[1]))
    ring = _ring(pencils, affine, disc)
    rim = _fine_rim(pencils.rim_share)
    glass = _glass(pencils, box.glasses) if with_glass and box.glasses else np.ones(len(pencils))
    known = Optics(
        affine=affine,
        disc=disc,
        rim=rim,
        ring=ring,
        ring_radius_mm=float(pencils.front_ring_mm[1]),
        lens=np.where(pencils.valid, pencils.falloff, 0.0),
        glass=np.where(pencils.valid, glass, 1.0),
        glass_stray=np.where(pencils.valid, stray, 0.0),
        valid=pencils.valid,
        start_z_mm=float(pencils.reference_z_mm[pencils.valid].min(initial=0.0)),
        end_z_mm=_end_z(affine[pencils.valid]),
    )
    return replace(known, lens=known.lens * _bare(known))


def _sound(pencils: Pencils) -> Pencils:
    """The pencils with harmless numbers where there is no ray."""
    if pencils.valid.all():
        return pencils
    dead = ~pencils.valid
    return replace(
        pencils,
        slope=np.where(dead[:, None], 0.0, pencils.slope),
        reference_z_mm=np.where(dead[:, None], 0.0, pencils.reference_z_mm),
        convergence_per_mm=np.where(dead[:, None], 0.0, pencils.convergence_per_mm),
        centre_mm=np.where(dead[:, None], 0.0, pencils.centre_mm),
        axes_mm=np.where(dead[:, None, None], np.eye(2), pencils.axes_mm),
        rim_share=np.where(dead[:, None], 1.0, pencils.rim_share),
    )


def as_nodes(known: Optics, shape: tuple[int, int]) -> Nodes:
    """Optics on a grid of nodes."""
    angle = 2 * np.pi * np.arange(known.rim.shape[1]) / max(known.rim.shape[1], 1) + DISC_TURN_RAD
    return Nodes(
        optics=np.concatenate([known.disc, known.affine.reshape(len(known.disc), -1)], axis=1).reshape(*shape, -1),
        rim=known.rim.reshape(*shape, -1) if known.rim.size else np.ones((*shape, 0)),
        ring=known.ring.reshape(*shape, 6),
        rim_turn=np.stack([np.cos(angle), np.sin(angle)]),
        ring_square=known.ring_radius_mm**2,
    )


def _bare(known: Optics) -> FloatArray:
    """Share of each disc (N,) that rims and front ring let through: by the rims' polygon, by chords where the ring cuts as well."""
    rim, ring = known.rim, known.ring
    open_ = np.ones(len(rim))
    for lot in _some_at_a_time(len(rim) if rim.shape[1] else 0):
        open_[lot] = np.mean(rim[lot] * np.roll(rim[lot], -1, axis=1), axis=1)
    far = np.hypot(ring[:, 0], ring[:, 1]) + np.sqrt(np.sum(ring[:, 2:] ** 2, axis=1))
    cut = np.flatnonzero(far > known.ring_radius_mm)
    if len(cut):
        ringed = replace(known, affine=known.affine[cut], disc=known.disc[cut], rim=rim[cut], ring=ring[cut])
        nodes, out = as_nodes(ringed, (len(cut), 1)), np.ones((len(cut), 1))
        bare_shares(nodes, chord_rule(BARE_CHORDS), np.zeros((LENS_ROWS, BARE_CHORDS)), np.zeros((nodes.rim.shape[2], 2)), out)
        open_[cut] = out[:, 0]
    return open_


def _end_z(affine: FloatArray) -> float:
    """Where the narrowest pencil comes to a point [mm]: a(z) = 0 on the last leg."""
    last = affine[:, -1][:, [0, 1, 4, 5]].reshape(-1, 2)
    closing = last[:, 1] < -1e-12
    return float((-last[closing, 0] / last[closing, 1]).min(initial=np.inf))


def _disc(pencils: Pencils) -> FloatArray:
    c, s = np.cos(DISC_TURN_RAD), np.sin(DISC_TURN_RAD)
    matrix = np.array([[c, -s], [s, c]]) @ _inverse(pencils.axes_mm)
    return np.concatenate([pencils.centre_mm, matrix.reshape(-1, 4)], axis=1)


def _inverse(m: FloatArray) -> FloatArray:
    """Inverses of matrices (N, 2, 2), by their cofactors."""
    turned = np.stack([m[:, 1, 1], -m[:, 0, 1], -m[:, 1, 0], m[:, 0, 0]], axis=1).reshape(-1, 2, 2)
    return turned / (m[:, 0, 0] * m[:, 1, 1] - m[:, 0, 1] * m[:, 1, 0])[:, None, None]


def _some_at_a_time(count: int) -> list[slice]:
    """Pencils in lots whose rims the processor holds at hand."""
    return [slice(low, low + RIMS_AT_ONCE) for low in range(0, count, RIMS_AT_ONCE)]


def _fine_rim(rim_share: FloatArray) -> FloatArray:
    """Rim radii at RIM_STEPS times as many angles, straight in angle as the pencil defines them."""
    share, fine = np.arange(RIM_STEPS) / RIM_STEPS, np.empty((*rim_share.shape, RIM_STEPS))
    for lot in _some_at_a_time(len(fine)):
        one, two = rim_share[lot, :, None], np.roll(rim_share[lot], -1, axis=1)[..., None]
        fine[lot] = one * (1 - share) + two * share
    return fine.reshape(len(rim_share), -1)


def _ring(pencils: Pencils, affine: FloatArray, disc: FloatArray) -> FloatArray:
    """(N, 6): where the rays of disc (0, 0) meet the front ring's plane, and how that moves with u and with v [mm]."""
    z = pencils.front_ring_mm[0]
    first = affine[:, 0]
    scale = np.stack([first[:, 0] + first[:, 1] * z, first[:, 4] + first[:, 5] * z], axis=1)
    offset = np.stack([first[:, 2] + first[:, 3] * z, first[:, 6] + first[:, 7] * z], axis=1)
    back = _inverse(disc[:, 2:].reshape(-1, 2, 2)) * scale[:, :, None]
    return np.concatenate([disc[:, :2] * scale + offset, back[:, :, 0], back[:, :, 1]], axis=1)


def _middle(pencils: Pencils) -> Bundle:
    """The rays through the middle of each pupil, whether the lens's own rims let them by or not."""
    return launch(pencils, np.zeros((1, 2)))


def _glass(pencils: Pencils, glasses: tuple[Glass, ...]) -> FloatArray:
    """Mean transmittance over the bare pupil (N,): that of the middle ray where all lose the same."""
    return walk(_middle(pencils), glasses)[0].weight if _alike(pencils, glasses) else mean_glass(pencils, glasses)


def _alike(pencils: Pencils, glasses: tuple[Glass, ...]) -> bool:
    """Whether all rays of a pencil lose the same: they are parallel, and no glass is graduated."""
    parallel = not np.any(pencils.convergence_per_mm[pencils.valid])
    return parallel and all(g.kind not in (GlassKind.GRADUATED, GlassKind.CLOSE_UP) for g in glasses)


def mean_glass(pencils: Pencils, glasses: tuple[Glass, ...]) -> FloatArray:
    """Mean transmittance over the bare pupil (N,), by Forbes rings: fine ones only where a glass differs from place to place."""
    graduated = any(glass.kind is GlassKind.GRADUATED for glass in glasses)
    disc, weight = forbes_rings(*(GRADUATED_RULE if graduated else EVEN_RULE))
    bundle, _ = walk(launch(pencils, disc), glasses)
    shares = (bundle.fate == Fate.ALIVE).reshape(len(pencils), -1) * weight
    total = shares.sum(axis=1)
    light = (shares * bundle.weight.reshape(len(pencils), -1)).sum(axis=1)
    return np.where(total > 0, light / np.where(total > 0, total, 1.0), 1.0)
