"""Settings inside a lens's range at which its beam reaches farther than at the ends of the range and at the rows."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from geometry.arrays import FloatArray
from geometry.errors import GeometryError
from raytrace.optics.camera import Guide, PixelGrid
from raytrace.optics.lens import LensState, pencils_for
from raytrace.optics.prescription import first_order
from scenes.scene_file.resources import GlassTable
from scenes.scene_file.tables.lens import Lens, PupilDepth
from scenes.scene_file.tables.scene import NEAREST_FOCUS_IN_FOCAL_LENGTHS
from scenes.states.lens import front_travel_mm, lens_variants
from scenes.states.state import Setting

BULGE_MM = 0.02  # a setting that reaches farther by no more than this is left out: cut-outs are traced to no better
STEPS = 64  # of focus: the beam's edge runs so flat at its farthest that half a step misses a hundredth of a mm of it
ZOOM_STEPS = 8  # of focal length between two rows
PLANES_MM = (0.0, 50.0, 200.0)  # ahead of the back plate, where parts stand
DIRECTIONS = 16  # about the axis, in which the beam's reach is looked at
FOCUS_MM = 0.1  # focus distances are told to this


def bulging(
    lens: Lens,
    glass: GlassTable | None,
    *,
    grid: PixelGrid,
    guides: Sequence[Guide],
    settings: Sequence[Setting],
    usable: Callable[[float, float], bool],
    moves_with_front: bool,
) -> tuple[Setting, ...]:
    """The fewest settings found, between those given, that the beam's reach in any plane needs besides; often none.

    With F = f + m (2 f - c) + f m^2 of the field's guess (c: front to sensor less the pupil's depth) the field is widest where
    m = (c - 2 f) / (2 f), and the wide pupil of a fast lens moves that toward infinity; rows that state pupil, front or field
    make bends of their own. So settings are tried all along the range. usable tells it of a focal length and focus [mm].
    """
    lens = lens if glass is None else _untraced(lens, glass)
    rims_mm = np.concatenate([guide.corners_mm() for guide in guides] + [_edge_middles_mm(guide) for guide in guides])

    def reach(setting: Setting) -> FloatArray | None:
        try:
            return _reach_mm(lens, grid, rims_mm, setting, moves_with_front=moves_with_front)
        except GeometryError:
            return None  # no beam: the object plane would lie in the lens

    have = _most([found for setting in settings if (found := reach(setting)) is not None])
    tried = [(setting, found) for setting in _between(settings, usable) if (found := reach(setting)) is not None]
    farthest = _most([have, *(found for _, found in tried)])
    added: list[Setting] = []
    while float((farthest - have).max()) > BULGE_MM:  # the setting next that leaves least beyond
        left = [float(((farthest - np.maximum(have, found)) ** 2).sum()) for _, found in tried]
        setting, found = tried[int(np.argmin(left))]
        added.append(setting)
        have = np.maximum(have, found)
    return tuple(added)


def _untraced(lens: Lens, glass: GlassTable) -> Lens:
    """The lens with its paraxial pupil, which is enough to say where in its range its beam is widest, and quick."""
    depth = glass.vertex_behind_front_mm + first_order(glass.prescription).entrance_pupil_mm
    return lens.model_copy(update={"pupil_behind_front_mm": PupilDepth(horizontal=(depth, depth), vertical=(depth, depth))})


def _edge_middles_mm(guide: Guide) -> FloatArray:
    corners = guide.corners_mm()
    return (corners + np.roll(corners, -1, axis=0)) / 2


def _between(settings: Sequence[Setting], usable: Callable[[float, float], bool]) -> Iterator[Setting]:
    """Settings all along the range that the given ones span."""
    finite = [setting.focus_mm for setting in settings if math.isfinite(setting.focus_mm)]
    if not finite:
        return
    for focal_mm in _focal_steps_mm(sorted({setting.focal_mm for setting in settings})):
        yield Setting(focal_mm=focal_mm, focus_mm=math.inf, f_number=settings[0].f_number)
        for focus_mm in _focus_steps_mm(focal_mm, min(finite)):
            if usable(focal_mm, focus_mm):
                yield Setting(focal_mm=focal_mm, focus_mm=focus_mm, f_number=settings[0].f_number)


def _focal_steps_mm(rows: Sequence[float]) -> list[float]:
    between = [np.linspace(low, high, ZOOM_STEPS + 1)[:-1].tolist() for low, high in pairwise(rows)]
    return [*(focal_mm for some in between for focal_mm in some), rows[-1]]


def _focus_steps_mm(focal_mm: float, nearest_mm: float) -> list[float]:
    """Focus distances even in 1 / distance, as rows run, and even in magnification, as the field's guess runs [mm]."""
    shares = np.arange(1, STEPS + 1) / STEPS
    found = [nearest_mm / shares]
    times = max(nearest_mm / focal_mm, NEAREST_FOCUS_IN_FOCAL_LENGTHS) - 2.0
    largest = 2.0 / (times + math.sqrt(times * times - 4.0))  # D = f (2 + m + 1/m): docs/physics.md, "Finite focus"
    found.append(focal_mm * (2.0 + largest * shares + 1.0 / (largest * shares)))
    steps = np.round(np.concatenate(found) / FOCUS_MM) * FOCUS_MM
    return sorted({max(round(float(step), 1), nearest_mm) for step in steps})


def _reach_mm(lens: Lens, grid: PixelGrid, rims_mm: FloatArray, setting: Setting, *, moves_with_front: bool) -> FloatArray:
    """How far the beam reaches from the axis in each plane and direction, over all pupil depths (P * D,) [mm]."""
    variants = lens_variants(lens, grid, None, focal_mm=setting.focal_mm, focus_mm=setting.focus_mm, f_number=setting.f_number)
    travel = 0.0 if moves_with_front else front_travel_mm(lens, setting.focal_mm, setting.focus_mm)
    return _most([_state_reach_mm(variant.lens, rims_mm, np.array(PLANES_MM) - travel) for variant in variants])


def _state_reach_mm(lens: LensState, rims_mm: FloatArray, planes_mm: FloatArray) -> FloatArray:
    pencils = pencils_for(lens, rims_mm)
    turns = 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    toward = np.column_stack([np.cos(turns), np.sin(turns)])
    found = []
    for z_mm in planes_mm:
        step = z_mm - pencils.reference_z_mm
        size = 1.0 - pencils.convergence_per_mm * step  # of the pencil, by that of its pupil
        chief = (pencils.slope * step + pencils.centre_mm * size) @ toward.T
        round_it = np.linalg.norm(np.einsum("di,ni,nij->ndj", toward, size, pencils.axes_mm), axis=2)
        lit = pencils.valid & np.all(size > 0.0, axis=1)  # not beyond the plane of focus
        found.append(np.where(lit[:, None], chief + round_it, 0.0).max(axis=0))
    return np.concatenate(found)


def _most(reaches: Sequence[FloatArray]) -> FloatArray:
    return np.max([np.zeros(len(PLANES_MM) * DIRECTIONS), *reaches], axis=0)
