"""Scene lens -> lens states: every depth the pupil may have, at one zoom, focus and stop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raytrace.optics.camera import PixelGrid
from raytrace.optics.conjugate import conjugate, pupil_to_object_mm
from raytrace.optics.lens import FixedPupil, LensState, Pupil, TracedPupil, WalkingPupil
from raytrace.optics.prescription import first_order
from raytrace.optics.prescription_pupil import largest_field_rad, pupil_table
from raytrace.optics.projection import image_radius_mm, slopes, undistort_radius
from raytrace.optics.zoom import InBetween, StateRow, in_between
from scenes.scene_file.resources import GlassTable
from scenes.scene_file.tables.lens import Lens, PupilDepth
from scenes.scene_file.tables.scene import NEAREST_FOCUS_IN_FOCAL_LENGTHS

TRACED_FIELDS = 48  # field angles of a traced pupil's table; between them the outline is interpolated
TRACED_ANGLES = 128  # spokes of each outline
TRACEABLE_SHARE = 0.999  # of the largest field that any ray can be traced from
FIELD_MARGIN = 1.35  # how far beyond the picture's corner the table reaches, for frame margins and fitted guides


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One of the pupil positions that a state may have, and how to name it."""

    name: str
    lens: LensState


def rows_of(lens: Lens) -> tuple[StateRow, ...]:
    """The scene's state rows as the zoom interpolation takes them."""
    return tuple(
        StateRow(
            focal_mm=row.focal_mm if row.focal_mm is not None else lens.focal_mm,
            focus_mm=row.focus_mm if row.focus_mm is not None else math.inf,
            pupil_mm=_four(row.pupil_behind_front_mm),
            front_travel_mm=row.front_travel_mm,
            half_field_deg=row.half_field_deg,
        )
        for row in lens.state
    )


def _four(depth: PupilDepth | None) -> tuple[float, float, float, float] | None:
    return None if depth is None else (*depth.horizontal, *depth.vertical)


def front_travel_mm(lens: Lens, focal_mm: float, focus_mm: float) -> float:
    """How far the front rim has moved toward the scene at this setting [mm]."""
    return in_between(rows_of(lens), focal_mm, focus_mm).front_travel_mm or 0.0


def field_guess_percent(
    lens: Lens, variants: Sequence[Variant], grid: PixelGrid, focal_mm: float, focus_mm: float
) -> tuple[float, float] | None:
    """How much wider the field is taken to be than at infinity, (across, upright) [% of its tangent]; negative: narrower.

    None where it is no guess: at infinity, or where the lens's rows state it. Source: docs/physics.md, "Finite focus".
    """
    here = in_between(rows_of(lens), focal_mm, focus_mm)
    if math.isinf(focus_mm) or (here.half_field_deg is not None and not here.field_is_held):
        return None
    far = _Setting(lens, grid, in_between(rows_of(lens), focal_mm, math.inf), None, focal_mm, math.inf, lens.f_number)
    far_focal_mm = _field_focal_mm(far, 0.0)
    ways = [_wider_than(far_focal_mm, variant.lens) for variant in variants] or [(1.0, 1.0)]
    return 100.0 * (max(way[0] for way in ways) - 1.0), 100.0 * (max(way[1] for way in ways) - 1.0)


def _wider_than(far_focal_mm: float, lens: LensState) -> tuple[float, float]:
    """Tangents (across, upright) of the field by those at infinity.

    The field is mapped from the upright pupil. Where the one across lies elsewhere it sees the same object plane, its tangents by
    the distance from it.
    """
    upright = far_focal_mm / lens.field_focal_mm
    if not isinstance(lens.pupil, FixedPupil):
        return upright, upright
    across_mm, upright_mm = (lens.object_z_mm + depth for depth in lens.pupil.behind_front_mm)
    return upright * upright_mm / across_mm, upright


def lens_variants(
    lens: Lens, grid: PixelGrid, glass: GlassTable | None, *, focal_mm: float, focus_mm: float, f_number: float
) -> tuple[Variant, ...]:
    """The lens at one setting, once per pupil position that its stated bounds allow: least, middle and most."""
    here = in_between(rows_of(lens), focal_mm, focus_mm)
    travel = here.front_travel_mm or 0.0
    length_mm = None if lens.front_to_sensor_mm is None else lens.front_to_sensor_mm + travel
    setting = _Setting(lens, grid, here, length_mm, focal_mm, focus_mm, f_number)
    if glass is not None:
        return (Variant(name="traced pupil", lens=_traced_state(setting, glass)),)
    if lens.pupil_walk is not None:
        return (Variant(name="walking pupil", lens=_walking_state(setting)),)
    return tuple(
        Variant(name=name, lens=_state(setting, depth[1], _fixed_pupil(setting, depth)))
        for name, depth in _depths(here.pupil_mm or _four(lens.pupil_behind_front_mm) or (0.0, 0.0, 0.0, 0.0))
    )


@dataclass(frozen=True, slots=True)
class _Setting:
    lens: Lens
    grid: PixelGrid
    here: InBetween
    front_to_sensor_mm: float | None
    focal_mm: float
    focus_mm: float
    f_number: float

    @property
    def half_size_mm(self) -> tuple[float, float]:
        radius = self.focal_mm / self.f_number / 2
        return radius * self.lens.pupil_width_factor, radius


def _depths(bounds: tuple[float, float, float, float]) -> list[tuple[str, tuple[float, float]]]:
    """(name, (horizontal, vertical)) of the pupil positions to try: one where it is known, else bounds and middle."""
    h0, h1, v0, v1 = bounds
    if (h0, v0) == (h1, v1):
        return [("pupil as stated", (h0, v0))]
    corners = {(h0, v0), (h1, v1), ((h0 + h1) / 2, (v0 + v1) / 2)}
    if (h0, h1) != (v0, v1):  # an anamorphic lens's two depths need not go together
        corners |= {(h0, v1), (h1, v0)}
    return [(_depth_words(depth), depth) for depth in sorted(corners)]


def _depth_words(depth: tuple[float, float]) -> str:
    if depth[0] == depth[1]:
        return f"pupil {depth[0]:g} mm behind the front"
    return f"pupil {depth[0]:g} mm (horizontal) and {depth[1]:g} mm (vertical) behind the front"


def _fixed_pupil(setting: _Setting, depth: tuple[float, float]) -> FixedPupil:
    return FixedPupil(behind_front_mm=depth, half_size_mm=setting.half_size_mm)


def _walking_state(setting: _Setting) -> LensState:
    rows = setting.lens.pupil_walk or ()
    on_axis = rows[0][1]
    pupil = WalkingPupil(behind_front_mm=on_axis, half_size_mm=setting.half_size_mm, rows=rows)
    return _state(setting, on_axis, pupil)


def _traced_state(setting: _Setting, glass: GlassTable) -> LensState:
    depth = glass.vertex_behind_front_mm + first_order(glass.prescription).entrance_pupil_mm
    object_z = _object_z_mm(setting)
    vertex_to_object = object_z + glass.vertex_behind_front_mm
    fields = _fields_rad(setting, depth, TRACEABLE_SHARE * largest_field_rad(glass.prescription, vertex_to_object))
    table = pupil_table(
        glass.prescription,
        setting.f_number,
        fields,
        object_distance_mm=vertex_to_object,
        n_angles=TRACED_ANGLES,
    )
    pupil = TracedPupil(behind_front_mm=depth, vertex_behind_front_mm=glass.vertex_behind_front_mm, table=table)
    return _state(setting, depth, pupil)


def _fields_rad(setting: _Setting, depth_mm: float, largest_rad: float) -> NDArray[np.float64]:
    """Field angles from the axis to beyond the farthest corner of the picture, as far as the lens can be traced."""
    lens, grid = setting.lens, setting.grid
    corner = np.abs(grid.offset_mm) + np.array([grid.width_mm, grid.height_mm]) / 2
    field = slopes(
        corner[0],
        corner[1],
        lens.projection,
        _field_focal_mm(setting, depth_mm),
        lens.squeeze,
        distortion=lens.distortion,
        half_diagonal_mm=grid.half_diagonal_mm,
    )
    farthest = float(np.hypot(field.tan_right, field.tan_up)) * FIELD_MARGIN
    return np.arctan(np.linspace(0.0, min(farthest, float(np.tan(largest_rad))), TRACED_FIELDS))


def _object_z_mm(setting: _Setting) -> float:
    """Where the sharp plane lies in the frame [mm]."""
    if math.isinf(setting.focus_mm):
        return math.inf
    length = setting.front_to_sensor_mm or 0.0
    return pupil_to_object_mm(setting.focus_mm, length, 0.0)


def _field_focal_mm(setting: _Setting, depth_mm: float) -> float:
    """What maps the picture onto the field: the state's own half field where it has one, else the conjugate's m L [mm].

    A half field that is held from another focal length or focus may be too narrow here: then the wider of both counts.
    """
    lens, half_field = setting.lens, setting.here.half_field_deg
    if half_field is None:
        return _conjugate_focal_mm(setting, depth_mm)
    unit_radius = float(image_radius_mm(np.radians(half_field), 1.0, lens.projection))
    stated_mm = lens.squeeze * _undistorted_edge_mm(setting) / unit_radius
    if not setting.here.field_is_held or _is_nearer_than_a_lens_images(setting):
        return stated_mm
    return min(stated_mm, _conjugate_focal_mm(setting, depth_mm))


def _conjugate_focal_mm(setting: _Setting, depth_mm: float) -> float:
    return conjugate(setting.focal_mm, setting.focus_mm, setting.front_to_sensor_mm or 0.0, depth_mm).effective_focal_mm


def _is_nearer_than_a_lens_images(setting: _Setting) -> bool:
    return setting.focus_mm < NEAREST_FOCUS_IN_FOCAL_LENGTHS * setting.focal_mm


def _undistorted_edge_mm(setting: _Setting) -> float:
    """Where the edge of the picture's width would lie without the lens's distortion: the field was measured with it [mm]."""
    half_diagonal_mm = setting.grid.half_diagonal_mm
    edge = setting.grid.width_mm / 2 / half_diagonal_mm
    return float(undistort_radius(np.array([edge]), setting.lens.distortion)[0]) * half_diagonal_mm


def _state(setting: _Setting, depth_mm: float, pupil: Pupil) -> LensState:
    lens = setting.lens
    return LensState(
        name=lens.name,
        focal_mm=setting.focal_mm,
        f_number=setting.f_number,
        focus_mm=setting.focus_mm,
        field_focal_mm=_field_focal_mm(setting, depth_mm),
        object_z_mm=_object_z_mm(setting),
        pupil=pupil,
        projection=lens.projection,
        squeeze=lens.squeeze,
        distortion=lens.distortion,
        half_diagonal_mm=setting.grid.half_diagonal_mm,
        front_radius_mm=math.inf if lens.front_glass_mm is None else lens.front_glass_mm / 2,
    )
