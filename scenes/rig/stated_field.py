"""How a lens's picture maps onto its field at one setting: by its focal length, or by half fields that its rows state.

A stated field that other numbers of the lens speak against is never believed where it is the narrower. Why, and how far a measured
field may be from the focal length's: docs/physics.md, "Stated fields".
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from raytrace.kept import Kept
from raytrace.optics.camera import PixelGrid
from raytrace.optics.conjugate import conjugate, magnification_of_focus
from raytrace.optics.projection import field_angle_rad, image_radius_mm, undistort_radius
from raytrace.optics.zoom import InBetween, StateRow, in_between
from scenes.scene_file.tables.lens import Lens, PupilDepth
from scenes.scene_file.tables.scene import NEAREST_FOCUS_IN_FOCAL_LENGTHS

FOCAL_SHARE = 1.05  # a focal length may differ that much from the marked one: ISO 517 (from memory)
DISTORTION_SHARE = 1.05  # of the tangent at the edge, where no distortion is given; 1.02 and 1.0125 in two published tables
HONEST_SHARE = FOCAL_SHARE * DISTORTION_SHARE
WIDER_SHARE = 1.5  # a lens that focuses inside may lose a third of its focal length close up; common practice
NARROWER_SHARE = 1.25  # and one that moves its front group may gain a quarter; common practice
LEAST_PUPIL_MAGNIFICATION = 0.5  # of a telephoto lens: none narrows its field more by being moved than f (1 + m / 0.5)
LEAST_FOCUS_SLACK = 1.000001  # of four focal lengths


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldSetting:
    """A lens at a zoom and focus. front_to_sensor_mm is with the front's travel; None where it is not given."""

    lens: Lens
    grid: PixelGrid
    focal_mm: float
    focus_mm: float
    front_to_sensor_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldMap:
    """focal_mm and squeeze that map the picture onto the field as seen from the upright pupil (tan = squeeze x / focal)."""

    focal_mm: float
    squeeze: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldDoubt:
    """A stated half field that the lens's focal length, format, projection and squeeze speak against [deg]."""

    way: str
    focal_mm: float
    focus_mm: float
    stated_deg: float
    expected_deg: float


def _rows(lens: Lens) -> tuple[StateRow, ...]:
    return tuple(
        StateRow(
            focal_mm=row.focal_mm if row.focal_mm is not None else lens.focal_mm,
            focus_mm=row.focus_mm if row.focus_mm is not None else math.inf,
            pupil_mm=four_depths(row.pupil_behind_front_mm),
            front_travel_mm=row.front_travel_mm,
            half_field_deg=None if row.half_field_deg is None else row.half_field_deg.horizontal,
            half_field_up_deg=None if row.half_field_deg is None else row.half_field_deg.vertical,
            pupil_magnification=row.pupil_magnification,
        )
        for row in lens.state
    )


_rows_of: Kept[Lens, tuple[StateRow, ...]] = Kept(_rows)


def rows_of(lens: Lens) -> tuple[StateRow, ...]:
    """The scene's state rows as the zoom interpolation takes them."""
    return _rows_of(lens)


def four_depths(depth: PupilDepth | None) -> tuple[float, float, float, float] | None:
    """(horizontal least, most, vertical least, most) [mm]."""
    return None if depth is None else (*depth.horizontal, *depth.vertical)


def depths_at(lens: Lens, here: InBetween) -> tuple[float, float, float, float]:
    """The same bounds at a setting; those of the axis where a walk is given."""
    if lens.pupil_walk is not None:
        return (lens.pupil_walk[0][1],) * 4
    return here.pupil_mm or four_depths(lens.pupil_behind_front_mm) or (0.0, 0.0, 0.0, 0.0)


def values_at(lens: Lens, grid: PixelGrid, focal_mm: float, focus_mm: float) -> InBetween:
    """What the lens's rows say at a setting."""
    edges = edges_mm(lens, grid)
    return in_between(rows_of(lens), focal_mm, focus_mm, (lens.squeeze * edges[0], edges[1]))


def edges_mm(lens: Lens, grid: PixelGrid) -> tuple[float, float]:
    """Where the middles of the picture's sides and of its top would lie without the lens's distortion [mm].

    A half field is measured with the distortion.
    """
    half_mm = grid.half_diagonal_mm
    radii = undistort_radius(np.array([grid.width_mm, grid.height_mm]) / 2 / half_mm, lens.distortion) * half_mm
    return float(radii[0]), float(radii[1])


def field_map(setting: FieldSetting, depth_mm: tuple[float, float]) -> FieldMap:
    """The map at a setting for one pupil, (horizontal, vertical) depth [mm].

    A half field that is held from another focal length or focus grows with the guess from there to here, and is never narrower than
    either; one in doubt (`field_doubts`) never narrower than the guess.
    """
    lens = setting.lens
    here = values_at(lens, setting.grid, setting.focal_mm, setting.focus_mm)
    guess_mm = guessed_focal_mm(setting, depth_mm[1])
    if here.half_field_deg is None or here.field_from is None:
        return FieldMap(focal_mm=guess_mm, squeeze=lens.squeeze)
    source = _at(setting, here.field_from)
    there_mm = guessed_focal_mm(source, depth_mm[1]) if here.field_is_held else None
    doubted = bool(field_doubts(lens, setting.grid))
    across_edge_mm, upright_edge_mm = edges_mm(lens, setting.grid)
    stated_mm = _focal_of_mm(here.half_field_deg, lens.squeeze * across_edge_mm, lens, _turned(source, depth_mm))
    across_mm = _settled_mm(stated_mm, guess_mm, there_mm, doubted=doubted)
    if here.half_field_up_deg is None:
        return FieldMap(focal_mm=across_mm, squeeze=lens.squeeze)
    stated_mm = _focal_of_mm(here.half_field_up_deg, upright_edge_mm, lens, 1.0)
    upright_mm = _settled_mm(stated_mm, guess_mm, there_mm, doubted=doubted)
    return FieldMap(focal_mm=upright_mm, squeeze=lens.squeeze * upright_mm / across_mm)


def guessed_focal_mm(setting: FieldSetting, depth_mm: float) -> float:
    """The conjugate's effective focal length, from f, the focus and the pupil magnification alone [mm].

    Nearer than four focal lengths, where it says nothing, that at four.
    """
    least_mm = NEAREST_FOCUS_IN_FOCAL_LENGTHS * setting.focal_mm * LEAST_FOCUS_SLACK
    states_it = any(row.half_field_deg is not None for row in setting.lens.state)
    focus_mm = max(setting.focus_mm, least_mm) if states_it else setting.focus_mm
    found = conjugate(setting.focal_mm, focus_mm, setting.front_to_sensor_mm or 0.0, depth_mm, pupil_magnification_of(setting))
    return found.effective_focal_mm


def pupil_magnification_of(setting: FieldSetting) -> float | None:
    """Exit over entrance pupil at a setting: its row's, else the lens's; None without the lens's length, which it needs."""
    if setting.front_to_sensor_mm is None or all(row.pupil_magnification is None for row in setting.lens.state):
        return None if setting.front_to_sensor_mm is None else setting.lens.pupil_magnification
    here = in_between(rows_of(setting.lens), setting.focal_mm, setting.focus_mm).pupil_magnification
    return setting.lens.pupil_magnification if here is None else here


def _at(setting: FieldSetting, place: tuple[float, float]) -> FieldSetting:
    return FieldSetting(
        lens=setting.lens,
        grid=setting.grid,
        focal_mm=place[0],
        focus_mm=place[1],
        front_to_sensor_mm=setting.front_to_sensor_mm,
    )


def _turned(setting: FieldSetting, depth_mm: tuple[float, float]) -> float:
    """Tangents as seen from the upright pupil by those from the one across, of the same point of the object plane."""
    if math.isinf(setting.focus_mm) or depth_mm[0] == depth_mm[1]:
        return 1.0
    object_mm = setting.focus_mm - (setting.front_to_sensor_mm or 0.0)
    return (object_mm + depth_mm[0]) / (object_mm + depth_mm[1])


def _focal_of_mm(half_field_deg: float, edge_mm: float, lens: Lens, turned: float) -> float:
    """The focal length whose picture has its edge at this half field [mm]."""
    angle_rad = np.arctan(np.tan(np.radians(half_field_deg)) * turned)
    return edge_mm / float(image_radius_mm(angle_rad, 1.0, lens.projection))


def _settled_mm(stated_mm: float, guess_mm: float, guess_there_mm: float | None, *, doubted: bool) -> float:
    if guess_there_mm is not None:
        return min(stated_mm, stated_mm * guess_mm / guess_there_mm, guess_mm)
    return min(stated_mm, guess_mm) if doubted else stated_mm


@lru_cache(maxsize=64)
def field_doubts(lens: Lens, grid: PixelGrid) -> tuple[FieldDoubt, ...]:
    """Half fields of the lens's rows that its other numbers speak against; none where they are confirmed, or the lens is traced."""
    if "half_field_deg" in lens.confirmed or lens.prescription is not None:
        return ()
    return tuple(doubt for row in rows_of(lens) for doubt in _row_doubts(lens, grid, row))


def _row_doubts(lens: Lens, grid: PixelGrid, row: StateRow) -> Iterator[FieldDoubt]:
    if row.half_field_deg is None:
        return
    here = values_at(lens, grid, row.focal_mm, row.focus_mm)
    length_mm = None if lens.front_to_sensor_mm is None else lens.front_to_sensor_mm + (here.front_travel_mm or 0.0)
    setting = FieldSetting(lens=lens, grid=grid, focal_mm=row.focal_mm, focus_mm=row.focus_mm, front_to_sensor_mm=length_mm)
    if (length_mm is None and math.isfinite(row.focus_mm)) or (length_mm is not None and row.focus_mm <= length_mm):
        return  # nothing to hold it against
    h0, h1, v0, v1 = depths_at(lens, here)
    edges = edges_mm(lens, grid)
    depths = [(h, v) for h in (h0, h1) for v in (v0, v1)]
    ways = [("horizontal", row.half_field_deg, lens.squeeze * edges[0], [_turned(setting, depth) for depth in depths])]
    if row.half_field_up_deg is not None:
        ways.append(("vertical", row.half_field_up_deg, edges[1], [1.0] * len(depths)))
    for way, stated_deg, edge_mm, turns in ways:
        found = [_doubt(setting, way, stated_deg, edge_mm, depth[1], turned) for depth, turned in zip(depths, turns, strict=True)]
        if found[0] is not None and all(found):
            yield found[0]


def _doubt(setting: FieldSetting, way: str, stated_deg: float, edge_mm: float, depth_mm: float, turned: float) -> FieldDoubt | None:
    lens, focal_mm = setting.lens, setting.focal_mm
    stated_mm = _focal_of_mm(stated_deg, edge_mm, lens, turned)
    guess_mm = guessed_focal_mm(setting, depth_mm)
    widest_mm, narrowest_mm = focal_mm, focal_mm
    if math.isfinite(setting.focus_mm):
        m = magnification_of_focus(focal_mm, max(setting.focus_mm, 4.0 * focal_mm * LEAST_FOCUS_SLACK))
        p = pupil_magnification_of(setting) or LEAST_PUPIL_MAGNIFICATION
        widest_mm, narrowest_mm = min(focal_mm, guess_mm) / WIDER_SHARE, max(focal_mm * max(1.0 + m / p, NARROWER_SHARE), guess_mm)
    if widest_mm / HONEST_SHARE <= stated_mm <= narrowest_mm * HONEST_SHARE:
        return None
    expected_rad = float(field_angle_rad(edge_mm, guess_mm, lens.projection)[0])
    return FieldDoubt(
        way=way,
        focal_mm=focal_mm,
        focus_mm=setting.focus_mm,
        stated_deg=stated_deg,
        expected_deg=float(np.degrees(np.arctan(np.tan(expected_rad) / turned))) if expected_rad < np.pi / 2 else 90.0,
    )
