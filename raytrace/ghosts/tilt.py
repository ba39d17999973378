"""Which tilt sends ghosts out of the frame: the whole box or one tray, to either side. Whether the beam then clears is not here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.frame import rotation_about_x
from raytrace.ghosts.mirrored import near_ghost_direction
from raytrace.ghosts.paths import Light, Mirror, disc_directions, picture_mm, plate_mm, sensor_blur_mm, sharp_mm
from raytrace.ghosts.returning import light_back, pupil_share
from raytrace.kept import Kept
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState

BoolArray = NDArray[np.bool_]
MirrorsAt = Callable[[float], Sequence[Mirror]]  # the filters at a tilt [deg]

MOST_TILT_DEG = 30.0  # no tray or box is tilted farther
SCAN_STEP_DEG = 0.25  # a window of tilts narrower than this may be passed over; what is then found is larger, not wrong
TILT_EPS_DEG = 1e-4  # bisection stops here, far finer than any hand


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What a tilt moves: filters as mirrors at the present tilt, that tilt, and the point (3,) it turns about [mm]."""

    mirrors: tuple[Mirror, ...]
    tilt_deg: float
    pivot_mm: FloatArray

    def at(self, tilt_deg: float) -> tuple[Mirror, ...]:
        """The mirrors at another tilt."""
        turn = rotation_about_x(tilt_deg - self.tilt_deg)
        return tuple(
            replace(m, normal=turn @ m.normal, centre_mm=self.pivot_mm + turn @ (m.centre_mm - self.pivot_mm)) for m in self.mirrors
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class GhostEscape:
    """The smallest tilt to one side that sends every ghost of the moved filters and the sensor out of the frame.

    tilt_deg None: none up to the limit does; room_mm is then how far out the best one gets (negative: still in by that much).
    """

    toward_scene: bool
    tilt_deg: float | None
    room_mm: float


def outside_mm(points_mm: FloatArray, radius_mm: FloatArray | float, guides: Sequence[Guide]) -> FloatArray:
    """How far spots (N, 2) stay outside all guides (N,) [mm]; negative where they reach in; inf where the lens has no picture."""
    gaps = [_gap_mm(points_mm, guide) for guide in guides]
    room = np.min(gaps, axis=0) - radius_mm
    return np.where(np.isfinite(points_mm).all(axis=-1) & np.isfinite(room), room, np.inf)


def _gap_mm(points_mm: FloatArray, guide: Guide) -> FloatArray:
    beyond = np.abs(points_mm - np.array(guide.centre_mm)) - np.array([guide.half_width_mm, guide.half_height_mm])
    return np.hypot(*np.maximum(beyond, 0.0).T) + np.minimum(beyond.max(axis=-1), 0.0)


def room_mm(
    lens: LensState,
    lights: Sequence[Light],
    mirrors: Sequence[Mirror],
    guides: Sequence[Guide],
    pupils: Sequence[LensState] = (),
) -> float:
    """How far the nearest sensor ghost of any light stays outside the guides; inf without lights or filters [mm].

    Ghosts whose light does not come back into the pupil, at any of the depths of `pupils`, count as out.
    """
    return float(rooms_mm(lens, lights, mirrors, guides, pupils).min(initial=np.inf))


def rooms_mm(
    lens: LensState,
    lights: Sequence[Light],
    mirrors: Sequence[Mirror],
    guides: Sequence[Guide],
    pupils: Sequence[LensState] = (),
) -> FloatArray:
    """The same of each light by itself (L,) [mm]."""
    discs = _discs(tuple(lights))
    each = [_mirror_rooms(lens, discs, mirror, guides, pupils or (lens,)) for mirror in mirrors if lights]
    return np.min([np.full(len(lights), np.inf), *each], axis=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Discs:
    """Lights as directions: middles (L, 3); of the wide ones their numbers and rims (W, R, 3); points' numbers by distance [mm]."""

    lights: tuple[Light, ...]
    middles: FloatArray
    wide: NDArray[np.intp]
    rims: FloatArray
    points: tuple[tuple[float, NDArray[np.intp]], ...]


def _discs_of(lights: tuple[Light, ...]) -> _Discs:
    discs = np.array([disc_directions(light) for light in lights])
    is_wide = np.array([light.half_width_deg > 0 for light in lights], dtype=np.bool_)
    far = np.array([light.distance_mm for light in lights])
    points = tuple((mm, np.flatnonzero(~is_wide & (far == mm))) for mm in dict.fromkeys(far[~is_wide].tolist()))
    wide = np.flatnonzero(is_wide)
    rims = discs[wide, 1:] if len(wide) else np.empty((0, 0, 3))
    return _Discs(lights=lights, middles=discs.reshape(len(lights), -1, 3)[:, 0], wide=wide, rims=rims, points=points)


_discs: Kept[tuple[Light, ...], _Discs] = Kept(_discs_of, 64)  # the same lights are asked about tilt after tilt


def _mirror_rooms(
    lens: LensState, discs: _Discs, mirror: Mirror, guides: Sequence[Guide], pupils: Sequence[LensState]
) -> FloatArray:
    """Room of the ghosts of one filter (L,)."""
    plate, sharp = plate_mm(lens, mirror), sharp_mm(lens)
    places = picture_mm(lens, near_ghost_direction(discs.middles, mirror.normal, plate, sharp))
    reach = np.zeros(len(places))  # of a point's ghost, but for its blur
    if len(discs.wide):
        rims = picture_mm(lens, near_ghost_direction(discs.rims, mirror.normal, plate, sharp))
        reach[discs.wide] = np.hypot(*np.moveaxis(rims - places[discs.wide, None], -1, 0)).max(axis=1)
    blurs = {far: sensor_blur_mm(lens, mirror, far) for far in {light.distance_mm for light in discs.lights}}
    blur = np.array([blurs[light.distance_mm] for light in discs.lights])
    return np.where(_comes_back(pupils, mirror, discs), outside_mm(places, reach + blur / 2, guides), np.inf)


def _comes_back(pupils: Sequence[LensState], mirror: Mirror, discs: _Discs) -> BoolArray:
    """Whether any light of a ghost (L,) comes back into the pupil."""
    found = np.zeros(len(discs.lights), dtype=np.bool_)
    for far, some in discs.points:
        found[some] = np.any([pupil_share(lens, mirror, discs.middles[some], far) > 0 for lens in pupils], axis=0)
    for k in map(int, discs.wide):
        found[k] = light_back(pupils, mirror, discs.lights[k]) > 0
    return found


def escape(
    lens: LensState,
    lights: Sequence[Light],
    mirrors_at: MirrorsAt,
    guides: Sequence[Guide],
    *,
    toward_scene: bool,
    most_deg: float = MOST_TILT_DEG,
    pupils: Sequence[LensState] = (),
) -> GhostEscape:
    """The smallest tilt to one side, positive with the top edge toward the scene, with which no ghost is left in the frame.

    Tilts are tried upward from none in steps, then the edge between the last bad and the first good one is halved down to.
    """
    sign = 1.0 if toward_scene else -1.0

    def room(size_deg: float) -> float:
        return room_mm(lens, lights, mirrors_at(sign * size_deg), guides, pupils)

    sizes = np.arange(0.0, most_deg + SCAN_STEP_DEG / 2, SCAN_STEP_DEG)
    best = -np.inf
    for size in sizes:
        found = room(float(size))
        if found > 0:
            least = 0.0 if size == 0 else _halved(room, float(size) - SCAN_STEP_DEG, float(size))
            return GhostEscape(toward_scene=toward_scene, tilt_deg=sign * least + 0.0, room_mm=room(least))
        best = max(best, found)
    return GhostEscape(toward_scene=toward_scene, tilt_deg=None, room_mm=best)


def _halved(room: Callable[[float], float], bad_deg: float, good_deg: float) -> float:
    while good_deg - bad_deg > TILT_EPS_DEG:
        middle = (bad_deg + good_deg) / 2
        bad_deg, good_deg = (bad_deg, middle) if room(middle) > 0 else (middle, good_deg)
    return good_deg


def tilt_curves(lens: LensState, light: Light, mirrors_at: MirrorsAt, tilts_deg: FloatArray) -> FloatArray:
    """Where the sensor ghosts of a light lie at each tilt, by moved filter (T, K, 2), right and up [mm]; nan out of picture."""
    return np.array([_places(lens, light, mirrors_at(float(tilt))) for tilt in tilts_deg])


def _places(lens: LensState, light: Light, mirrors: Sequence[Mirror]) -> FloatArray:
    toward = [near_ghost_direction(light.direction, m.normal, plate_mm(lens, m), sharp_mm(lens)) for m in mirrors]
    return picture_mm(lens, np.array(toward))
