"""Settings inside a lens's range whose beams reach out of those at the ends of the range and at the rows.

Beams are one at a time: where one setting is wide and another tall, one between them may reach out at the corners, although in no
direction farther than both. So each pencil of a guide's corners and sides has to lie in the beam of some setting that is looked at.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.errors import GeometryError
from raytrace.beam.beam import outer_guides
from raytrace.optics.camera import Guide, PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, aims_of_fixed, pencils_for
from raytrace.optics.prescription import first_order
from scenes.rig.lens import front_travel_mm, lens_variants
from scenes.scene_file.resources import GlassTable
from scenes.scene_file.tables.lens import Lens, PupilDepth
from scenes.scene_file.tables.scene import NEAREST_FOCUS_IN_FOCAL_LENGTHS
from scenes.states.keys import Setting

BULGE_MM = 0.02  # a setting that reaches farther in no direction by more than this is left out: cut-outs are traced to no better
CORNER_MM = 0.25  # nor one whose corners reach no farther out of the others: to tell them finer takes dozens
STEPS = 64  # of focus: the beam's edge runs so flat at its farthest that half a step misses a hundredth of a mm of it
STEPS_OF_A_ZOOM = 16  # the same at each of many focal lengths
ZOOM_STEPS = 16  # of focal length between two rows: of a bulge some 1/250 is missed
PLANES_MM = (0.0, 30.0, 80.0, 200.0, 400.0)  # ahead of the back plate, where parts stand
DIRECTIONS = 48  # about the axis, in which a section's reach is known: outlines stand off it by a thousandth of their radius
FEW = 8  # of the directions one is asked first
RIM_POINTS = 12  # of each pencil
INSIDE_SHARES = (1.0, 0.8, 0.6, 0.4, 0.2)  # of the guides, where a pupil shrinks as it walks
AT_ONCE = 8  # states whose reach is worked out together: a megabyte or two
FOCUS_MM = 0.1  # focus distances are told to this


@dataclass(frozen=True, slots=True)
class _Reach:
    """A setting's beam: rim points (S, P, N, 2) of its pencils, by pupil place and guide and by plane; (S, P, DIRECTIONS) how far.

    nan, and -inf, where a plane lies beyond the plane in focus.
    """

    rims_mm: FloatArray
    reach_mm: FloatArray


def bulging(
    lens: Lens,
    glass: GlassTable | None,
    *,
    grid: PixelGrid,
    guides: Sequence[Guide],
    settings: Sequence[Setting],
    usable: Callable[[float, float], bool],
    moves_with_front: bool,
) -> tuple[tuple[Setting, ...], float]:
    """Settings between those given, without which some beams of the range would reach out of all that are looked at; often none.

    And how far the corners of what is left out still reach out of them [mm].

    With F = f + m (2 f - c) + f m^2 of the field's guess (c: front to sensor less the pupil's depth) the field is widest where
    m = (c - 2 f) / (2 f), and the wide pupil of a fast lens moves that toward infinity; rows that state pupil, front or field
    make bends of their own. So settings are tried all along the range. usable tells it of a focal length and focus [mm].
    """
    lens = lens if glass is None else _untraced(lens, glass)
    shares = (1.0,) if lens.pupil_walk is None else INSIDE_SHARES
    fields_mm = [np.concatenate([share * _rim_mm(guide) for share in shares]) for guide in outer_guides(guides)]

    have = [found for _, found in _reaches(lens, grid, fields_mm, settings, moves_with_front=moves_with_front)]
    between = tuple(_between(settings, usable))
    tried = _reaches(lens, grid, fields_mm, between, moves_with_front=moves_with_front)
    added, left_mm = _needed(have, [found for _, found in tried])
    return tuple(tried[k][0] for k in added), left_mm


def _needed(have: Sequence[_Reach], tried: Sequence[_Reach]) -> tuple[list[int], float]:
    """Which of those tried to add, and how far the rest may then reach out at corners [mm]."""
    if not have or not tried:
        return [], 0.0
    reach = np.stack([one.reach_mm.max(axis=0) for one in tried]).clip(min=0.0)
    known, added = np.max([one.reach_mm.max(axis=0) for one in have], axis=0).clip(min=0.0), list[int]()
    while float((reach.max(axis=0) - known).max()) > BULGE_MM:  # the setting next that leaves least beyond
        left = ((reach.max(axis=0) - np.maximum(known, reach)) ** 2).sum(axis=(1, 2))
        added.append(int(left.argmin()))
        known = np.maximum(known, reach[added[-1]])
    out = _Out([*have, *(tried[k] for k in added)], tried)
    while out.farthest_mm > CORNER_MM:  # the corner next that is farthest out
        added.append(out.farthest)
        out.add(tried[out.farthest])
    return added, max(out.farthest_mm, 0.0)


class _Out:
    """Rim points of settings that lie out of all beams that are had: how far each lies out of the nearest, in its own plane."""

    def __init__(self, have: Sequence[_Reach], tried: Sequence[_Reach]) -> None:
        rims = np.stack([one.rims_mm for one in tried])
        there = np.moveaxis(~np.isnan(rims[..., 0]) & ~_held_whole(have, tried)[..., None], 2, 0)
        self._points = [np.moveaxis(rims, 2, 0)[plane][there[plane]] for plane in range(len(there))]
        self._owner = [np.nonzero(one)[0] for one in there]
        self._beyond = [np.full(len(points), np.inf) for points in self._points]
        self._leave_out_held(have)
        for one in have:
            self.add(one)

    def _leave_out_held(self, have: Sequence[_Reach]) -> None:
        """Drop the points that lie in some beam: few directions tell of most that they lie out of it, all of the rest."""
        toward = _toward()
        for plane, points in enumerate(self._points):
            left = np.arange(len(points))
            for reach_mm in (reach for one in have for reach in one.reach_mm[:, plane]):
                near = (points[left] @ toward[::FEW].T <= reach_mm[::FEW] + BULGE_MM).all(axis=1)
                held = (points[left[near]] @ toward.T <= reach_mm + BULGE_MM).all(axis=1)
                near[near] = held
                left = left[~near]
            self._points[plane], self._owner[plane], self._beyond[plane] = (
                some[plane][left] for some in (self._points, self._owner, self._beyond)
            )

    def add(self, one: _Reach) -> None:
        """Count one more setting's beams; points that are no farther out than is left out are done with."""
        toward = _toward()
        for plane, points in enumerate(self._points):
            beyond = self._beyond[plane]
            for reach_mm in one.reach_mm[:, plane]:
                beyond = np.minimum(beyond, (points @ toward.T - reach_mm).max(axis=1, initial=-np.inf))
            keep = beyond > BULGE_MM
            self._points[plane], self._owner[plane], self._beyond[plane] = points[keep], self._owner[plane][keep], beyond[keep]

    @property
    def farthest_mm(self) -> float:
        """How far the farthest point lies out; 0 where none lies out by more than is left out."""
        return max((float(beyond.max(initial=0.0)) for beyond in self._beyond), default=0.0)

    @property
    def farthest(self) -> int:
        """The setting whose point that is."""
        plane = int(np.argmax([beyond.max(initial=0.0) for beyond in self._beyond]))
        return int(self._owner[plane][self._beyond[plane].argmax()])


def _held_whole(have: Sequence[_Reach], tried: Sequence[_Reach]) -> NDArray[np.bool_]:
    """Which beams tried (T, S, P) reach in no direction farther than some single one of those that are had."""
    reach_mm = np.stack([one.reach_mm for one in tried])
    held = np.zeros(reach_mm.shape[:3], dtype=np.bool_)
    for own_mm in (own for one in have for own in one.reach_mm):
        held |= (reach_mm <= own_mm + BULGE_MM).all(axis=3)
    return held


@cache
def _toward() -> FloatArray:
    turns = 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    return np.column_stack([np.cos(turns), np.sin(turns)])


def _untraced(lens: Lens, glass: GlassTable) -> Lens:
    """The lens with its paraxial pupil, which is enough to say where in its range its beam is widest, and quick."""
    depth = glass.vertex_behind_front_mm + first_order(glass.prescription).entrance_pupil_mm
    return lens.model_copy(update={"pupil_behind_front_mm": PupilDepth(horizontal=(depth, depth), vertical=(depth, depth))})


def _rim_mm(guide: Guide) -> FloatArray:
    """A guide's corners and the middles of its sides."""
    corners = guide.corners_mm()
    return np.concatenate([corners, (corners + np.roll(corners, -1, axis=0)) / 2])


def _between(settings: Sequence[Setting], usable: Callable[[float, float], bool]) -> Iterator[Setting]:
    """Settings all along the range that the given ones span."""
    finite = [setting.focus_mm for setting in settings if math.isfinite(setting.focus_mm)]
    if not finite:
        return
    rows = sorted({setting.focal_mm for setting in settings})
    for focal_mm in _focal_steps_mm(rows):
        yield Setting(focal_mm=focal_mm, focus_mm=math.inf, f_number=settings[0].f_number)
        for focus_mm in _focus_steps_mm(focal_mm, min(finite), STEPS if len(rows) == 1 else STEPS_OF_A_ZOOM):
            if usable(focal_mm, focus_mm):
                yield Setting(focal_mm=focal_mm, focus_mm=focus_mm, f_number=settings[0].f_number)


def _focal_steps_mm(rows: Sequence[float]) -> list[float]:
    between = [np.linspace(low, high, ZOOM_STEPS + 1)[:-1].tolist() for low, high in pairwise(rows)]
    return [*(focal_mm for some in between for focal_mm in some), rows[-1]]


def _focus_steps_mm(focal_mm: float, nearest_mm: float, steps: int) -> list[float]:
    """Focus distances even in 1 / distance, as rows run, and even in magnification, as the field's guess runs [mm]."""
    shares = np.arange(1, steps + 1) / steps
    found = [nearest_mm / shares]
    times = max(nearest_mm / focal_mm, NEAREST_FOCUS_IN_FOCAL_LENGTHS) - 2.0
    largest = 2.0 / (times + math.sqrt(times * times - 4.0))  # D = f (2 + m + 1/m): docs/physics.md, "Finite focus"
    found.append(focal_mm * (2.0 + largest * shares + 1.0 / (largest * shares)))
    told = np.round(np.concatenate(found) / FOCUS_MM) * FOCUS_MM
    return sorted({max(round(float(distance), 1), nearest_mm) for distance in told})


def _reaches(
    lens: Lens, grid: PixelGrid, fields_mm: Sequence[FloatArray], settings: Sequence[Setting], *, moves_with_front: bool
) -> list[tuple[Setting, _Reach]]:
    """The beams of all pupil depths and guides at those settings that have any."""
    found, states, travels_mm = list[tuple[Setting, slice]](), list[LensState](), list[float]()
    for setting in settings:
        at = {"focal_mm": setting.focal_mm, "focus_mm": setting.focus_mm}
        try:
            variants = lens_variants(lens, grid, None, **at, f_number=setting.f_number)
        except GeometryError:  # no beam: the object plane would lie in the lens
            continue
        found.append((setting, slice(len(states), len(states) + len(variants))))
        states += [variant.lens for variant in variants]
        travels_mm += [0.0 if moves_with_front else front_travel_mm(lens, **at)] * len(variants)
    if not states:
        return []
    planes_mm = np.array(PLANES_MM) - np.array(travels_mm)[:, None]
    try:
        rims_mm = np.stack([_rims_mm(states, field, planes_mm) for field in fields_mm], axis=1)
    except GeometryError:  # the guides lie beyond a fold of the lens's distortion, at every setting
        return []
    reach_mm = np.concatenate([_farthest_mm(rims_mm[k : k + AT_ONCE]) for k in range(0, len(rims_mm), AT_ONCE)])
    beams = ((setting, rims_mm[of], reach_mm[of]) for setting, of in found)
    return [(setting, _Reach(_one_by_one(rims), _one_by_one(reach))) for setting, rims, reach in beams]


def _one_by_one(of_guides: FloatArray) -> FloatArray:
    """Pupil places and guides as one axis."""
    return of_guides.reshape(-1, *of_guides.shape[2:])


def _farthest_mm(points_mm: FloatArray) -> FloatArray:
    """How far points (..., N, 2) reach in each direction (..., DIRECTIONS); -inf where all are nan."""
    far_mm = np.fmax.reduce(points_mm @ _toward().T, axis=-2)
    return np.where(np.isnan(far_mm), -np.inf, far_mm)


def _rims_mm(states: Sequence[LensState], field_mm: FloatArray, planes_mm: FloatArray) -> FloatArray:
    """Points of pencils' rims in planes (S, P) of S states of a lens (S, P, N, 2).

    nan beyond the plane in focus, and where the lens has no ray.
    """
    turns = 2 * np.pi * np.arange(RIM_POINTS) / RIM_POINTS
    rim = np.column_stack([np.cos(turns), np.sin(turns)])
    if any(not isinstance(state.pupil, FixedPupil) for state in states):
        return np.stack([_rims_of_one_mm(state, field_mm, rim, own_mm) for state, own_mm in zip(states, planes_mm, strict=True)])
    slope, convergence, valid = aims_of_fixed(states, field_mm)
    pupils = [state.pupil for state in states if isinstance(state.pupil, FixedPupil)]
    steps = planes_mm[..., None] + np.array([pupil.behind_front_mm for pupil in pupils])[:, None]
    crossing = np.array([pupil.half_size_mm for pupil in pupils])[:, None, None] * rim
    ray_slope = slope[:, :, None] - crossing * convergence[:, None, None]
    there = crossing[:, None] + ray_slope[:, None] * steps[:, :, None, None]
    lit = valid[:, None] & np.all(1.0 - convergence[:, None] * steps > 0.0, axis=2)[..., None]
    return np.where(lit[..., None, None], there, np.nan).reshape(*planes_mm.shape, -1, 2)


def _rims_of_one_mm(lens: LensState, field_mm: FloatArray, rim: FloatArray, planes_mm: FloatArray) -> FloatArray:
    """The same of one state with any pupil (P, N, 2)."""
    pencils = pencils_for(lens, field_mm)
    crossing = pencils.crossing_mm(rim)
    z_mm = planes_mm[:, None, None]
    lit = pencils.valid & np.all(1.0 - pencils.convergence_per_mm * (z_mm - pencils.reference_z_mm) > 0.0, axis=2)
    steps = z_mm[..., None] - pencils.reference_z_mm[:, None, :]  # as `Pencils.at_plane_mm`, all planes at once
    there = crossing + pencils.ray_slope(crossing) * steps
    return np.where(lit[:, :, None, None], there, np.nan).reshape(len(planes_mm), -1, 2)
