"""What single filters do to the picture: a density's own corner loss, and where and how soft a graduated filter's edge falls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geometry.arrays import FloatArray
from raytrace.box import Glass
from raytrace.optics.bundle import launch
from raytrace.optics.fresnel import loss_stops
from raytrace.optics.glass import cross, density_share, object_plane_after, transmittance_sp
from raytrace.optics.lens import LensState, pencils_for
from raytrace.optics.sampling import sunflower_disc

PROFILE_RAYS = 512  # of each pencil: a hard edge is known to a five-hundredth of the pupil
PROFILE_POINTS = 49
SPREAD_SHARES = (0.02, 0.98)  # of the full loss: a second look lies between
SOFT_SHARES = (0.1, 0.5, 0.9)  # of the full loss in stops: where a transition is seen to begin, its middle, its end


def extra_loss_stops(glass: Glass, angle_deg: float, axis_angle_deg: float = 0.0) -> float:
    """What a filter takes more of light at one angle from its normal than at another [stops]; a graduated one at its dark end.

    Source: transmittance of an absorbing plate, docs/physics.md, "Glass".
    """
    cosine = np.cos(np.radians([angle_deg, axis_angle_deg]))
    s, p = transmittance_sp(glass, cosine, np.full(2, np.inf))
    corner, axis = loss_stops((s + p) / 2)
    return float(corner - axis)


def graded_share(lens: LensState, points_mm: FloatArray, glasses: Sequence[Glass], place: int, rays: int) -> FloatArray:
    """Share of light (N,) that the gradation of one of a box's filters passes, averaged over each picture point's pencil.

    Only its density by position counts, straight through; faces and the slanted path are left to the maps. points_mm (N, 2) right,
    up; glasses in the order light meets them going out.
    """
    bundle = launch(pencils_for(lens, points_mm), sunflower_disc(rays))
    origin, direction, end_z = bundle.origin, bundle.direction, bundle.end_z_mm
    for glass in glasses[:place]:
        crossing = cross(glass, origin, direction, end_z)
        end_z = object_plane_after(glass, crossing, end_z)
        origin = np.where(crossing.through[:, None], crossing.leave_mm, origin)
        direction = np.where(crossing.through[:, None], crossing.beyond, direction)
    graded = glasses[place]
    crossing = cross(graded, origin, direction, end_z)
    middle = graded.slab.pose.points_to_part((crossing.entry_mm + crossing.leave_mm) / 2)
    passed = np.where(crossing.through, 10.0 ** (-graded.density * density_share(graded, middle[:, 1])), 1.0)
    alive = bundle.alive.reshape(len(points_mm), -1)
    return np.asarray((passed.reshape(alive.shape) * alive).sum(axis=1) / np.maximum(alive.sum(axis=1), 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class GradedEdge:
    """Where a tenth, half and nine tenths of a graduated filter's loss are reached in the picture.

    begins_mm, middle_mm, ends_mm run from the picture's middle toward the dark side, along the filter's own up; None where that
    lies outside the picture.
    """

    begins_mm: float | None
    middle_mm: float | None
    ends_mm: float | None

    @property
    def soft_mm(self) -> float | None:
        """Length of the transition in the picture [mm]; None where it does not lie wholly inside."""
        return None if self.begins_mm is None or self.ends_mm is None else self.ends_mm - self.begins_mm


def graded_edge(
    lens: LensState,
    glasses: Sequence[Glass],
    place: int,
    *,
    turn_deg: float,
    half_mm: tuple[float, float],
    middle_mm: tuple[float, float],
) -> GradedEdge:
    """The edge of a graduated filter along the line through the picture's middle that runs up the filter.

    half_mm are half the picture's width and height, middle_mm is its middle against the lens axis (right, up).
    """
    toward_dark = np.array([np.sin(np.radians(turn_deg)), np.cos(np.radians(turn_deg))])
    reach = reach_mm(half_mm, turn_deg)
    along = np.linspace(-reach, reach, PROFILE_POINTS)
    full_stops = glasses[place].density / np.log10(2.0)

    def lost_at(along: FloatArray, rays: int) -> FloatArray:
        points = np.asarray(middle_mm) + along[:, None] * toward_dark
        return loss_stops(graded_share(lens, points, glasses, place, rays)) / full_stops

    lost = lost_at(along, PROFILE_RAYS // 4)
    between = np.flatnonzero((lost > SPREAD_SHARES[0]) & (lost < SPREAD_SHARES[1]))
    first = int(between[0]) if len(between) else int((lost >= SOFT_SHARES[1]).argmax())
    last = int(between[-1]) if len(between) else first
    along = np.linspace(along[max(first - 1, 0)], along[min(last + 1, PROFILE_POINTS - 1)], PROFILE_POINTS)
    lost = lost_at(along, PROFILE_RAYS)
    begins, half, ends = (_first_above(along, lost, wanted) for wanted in SOFT_SHARES)
    return GradedEdge(begins_mm=begins, middle_mm=half, ends_mm=ends)


def reach_mm(half_mm: tuple[float, float], turn_deg: float) -> float:
    """How far a picture reaches from its middle along a line turned from upright [mm]."""
    s, c = abs(np.sin(np.radians(turn_deg))), abs(np.cos(np.radians(turn_deg)))
    return float(min(half_mm[0] / max(s, 1e-9), half_mm[1] / max(c, 1e-9)))


def _first_above(along: FloatArray, lost: FloatArray, wanted: float) -> float | None:
    """Where a rising loss first passes a level, straight between samples; None where it does not inside the picture."""
    above = lost >= wanted
    k = int(above.argmax())
    if not above.any() or k == 0:
        return None
    share = (wanted - lost[k - 1]) / (lost[k] - lost[k - 1])
    return float(along[k - 1] + share * (along[k] - along[k - 1]))
