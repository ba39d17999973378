"""Scene lens -> lens states: every depth the pupil may have, at one zoom, focus and stop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raytrace.optics.camera import PixelGrid
from raytrace.optics.chief_rays import largest_field_rad
from raytrace.optics.conjugate import pupil_to_object_mm
from raytrace.optics.lens import FixedPupil, LensState, Pupil, TracedPupil, WalkingPupil
from raytrace.optics.prescription import first_order
from raytrace.optics.prescription_pupil import pupil_table
from raytrace.optics.traced_picture import TracedPicture, traced_picture
from raytrace.optics.zoom import InBetween, in_between
from scenes.rig.stated_field import FieldMap, FieldSetting, depths_at, field_map, rows_of
from scenes.rig.traced_focus import check_focal_mm, check_half_field, traced_focus
from scenes.scene_file.resources import GlassTable
from scenes.scene_file.tables.lens import Lens

TRACED_FIELDS = 54  # field angles of a traced pupil's table; between them the outline is interpolated
TRACED_ANGLES = 128  # spokes of each outline
TRACEABLE_SHARE = 0.999  # of the largest field that any ray can be traced from
PICTURE_MARGIN = 1.5  # how far beyond the picture's corner the table reaches: as far as frame margins are looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One of the pupil positions that a state may have, and how to name it."""

    name: str
    lens: LensState


def front_travel_mm(lens: Lens, focal_mm: float, focus_mm: float) -> float:
    """How far the front rim has moved toward the scene at this setting [mm]."""
    return in_between(rows_of(lens), focal_mm, focus_mm).front_travel_mm or 0.0


def field_guess_percent(
    lens: Lens, variants: Sequence[Variant], grid: PixelGrid, focal_mm: float, focus_mm: float
) -> tuple[float, float] | None:
    """How much wider the field is taken to be than at infinity, (across, upright) [% of its tangent]; negative: narrower.

    None where it is no guess: at infinity, where the lens's rows state it, or where it is traced.
    Source: docs/physics.md, "Finite focus".
    """
    here = in_between(rows_of(lens), focal_mm, focus_mm)
    if math.isinf(focus_mm) or lens.prescription is not None or (here.half_field_deg is not None and not here.field_is_held):
        return None
    at_infinity = FieldSetting(lens=lens, grid=grid, focal_mm=focal_mm, focus_mm=math.inf, front_to_sensor_mm=None)
    far = field_map(at_infinity, (0.0, 0.0))
    ways = [_wider_than(far, variant.lens) for variant in variants] or [(1.0, 1.0)]
    return 100.0 * (max(way[0] for way in ways) - 1.0), 100.0 * (max(way[1] for way in ways) - 1.0)


def _wider_than(far: FieldMap, lens: LensState) -> tuple[float, float]:
    """Tangents (across, upright) of the field by those at infinity.

    The field is mapped from the upright pupil. Where the one across lies elsewhere it sees the same object plane, its tangents by
    the distance from it.
    """
    upright = far.focal_mm / lens.field_focal_mm
    across = upright * lens.squeeze / far.squeeze
    if not isinstance(lens.pupil, FixedPupil):
        return across, upright
    across_mm, upright_mm = (lens.object_z_mm + depth for depth in lens.pupil.behind_front_mm)
    return across * upright_mm / across_mm, upright


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
        Variant(name=name, lens=_state(setting, depth, _fixed_pupil(setting, depth)))
        for name, depth in _depths(depths_at(lens, here))
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

    @property
    def field(self) -> FieldSetting:
        return FieldSetting(
            lens=self.lens,
            grid=self.grid,
            focal_mm=self.focal_mm,
            focus_mm=self.focus_mm,
            front_to_sensor_mm=self.front_to_sensor_mm,
        )


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
    return _state(setting, (on_axis, on_axis), pupil)


def _traced_state(setting: _Setting, glass: GlassTable) -> LensState:
    """The lens as its table makes it: pupil, picture, and place of the sharp plane; focused by moving it as a whole."""
    lens, table = setting.lens, glass.prescription
    depth = glass.vertex_behind_front_mm + first_order(table).entrance_pupil_mm
    focus = traced_focus(glass, setting.focus_mm)
    check_focal_mm(table, setting.focal_mm)
    picture = traced_picture(table, focus)
    if not setting.here.field_is_held:
        check_half_field(picture, setting.grid.width_mm / 2, setting.here.half_field_deg)
    picture = picture.until(TRACEABLE_SHARE * largest_field_rad(table, focus.object_mm))
    pupil = pupil_table(
        table,
        setting.f_number,
        _fields_rad(setting.grid, picture),
        object_distance_mm=focus.object_mm,
        n_angles=TRACED_ANGLES,
    )
    return LensState(
        name=lens.name,
        focal_mm=setting.focal_mm,
        f_number=setting.f_number,
        focus_mm=setting.focus_mm,
        field_focal_mm=picture.focal_mm,
        object_z_mm=focus.object_mm - glass.vertex_behind_front_mm,
        pupil=TracedPupil(behind_front_mm=depth, vertex_behind_front_mm=glass.vertex_behind_front_mm, table=pupil),
        half_diagonal_mm=setting.grid.half_diagonal_mm,
        front_radius_mm=_front_radius_mm(lens),
        picture=picture,
    )


def _fields_rad(grid: PixelGrid, picture: TracedPicture) -> NDArray[np.float64]:
    """Field angles of evenly spaced picture points, from the axis to beyond the picture's farthest corner."""
    corner = np.abs(grid.offset_mm) + np.array([grid.width_mm, grid.height_mm]) / 2
    reach_mm = min(PICTURE_MARGIN * float(np.hypot(*corner)), picture.end_mm)
    return picture.field_at(np.linspace(0.0, reach_mm, TRACED_FIELDS))


def _front_radius_mm(lens: Lens) -> float:
    return math.inf if lens.front_glass_mm is None else lens.front_glass_mm / 2


def _object_z_mm(setting: _Setting) -> float:
    """Where the sharp plane lies in the frame [mm]."""
    if math.isinf(setting.focus_mm):
        return math.inf
    length = setting.front_to_sensor_mm or 0.0
    return pupil_to_object_mm(setting.focus_mm, length, 0.0)


def _state(setting: _Setting, depth_mm: tuple[float, float], pupil: Pupil) -> LensState:
    lens, field = setting.lens, field_map(setting.field, depth_mm)
    return LensState(
        name=lens.name,
        focal_mm=setting.focal_mm,
        f_number=setting.f_number,
        focus_mm=setting.focus_mm,
        field_focal_mm=field.focal_mm,
        object_z_mm=_object_z_mm(setting),
        pupil=pupil,
        projection=lens.projection,
        squeeze=field.squeeze,
        distortion=lens.distortion,
        half_diagonal_mm=setting.grid.half_diagonal_mm,
        front_radius_mm=_front_radius_mm(lens),
    )
