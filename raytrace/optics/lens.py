"""One lens at one zoom, focus and stop, and the pencils of its field points. Everything about a lens ends here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geometry.arrays import FloatArray
from geometry.frame import right_up_to_frame
from raytrace.optics.falloff import natural_falloff
from raytrace.optics.pencil import Pencils
from raytrace.optics.prescription_pupil import PupilTable
from raytrace.optics.projection import FieldSlopes, Projection, picture_point, slopes
from raytrace.optics.traced_picture import TracedPicture, point_through, slopes_through

SAME_FIELD_RAD = 1e-12  # rounding of a field that is looked up by its tangent
LEAST_PUPIL_MM = 1e-6  # where rims stop everything the outline has no size; this keeps its shares finite
NO_RIMS = 0  # columns of Pencils.rim_share for a full elliptic pupil


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedPupil:
    """A flat elliptic pupil square to the axis at one depth for x and one for y.

    behind_front_mm (horizontal, vertical) depths; half_size_mm (half width, half height).
    """

    behind_front_mm: tuple[float, float]
    half_size_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkingPupil:
    """A pupil that moves and grows with the field, as tabulated.

    behind_front_mm is the depth on the axis; rows hold, per field angle [deg], the depth of the chief ray's axis crossing [mm]
    and the tangential and sagittal half sizes square to the chief ray, relative to the axis. Beyond the last row it goes on
    straight.
    """

    behind_front_mm: float
    half_size_mm: tuple[float, float]
    rows: tuple[tuple[float, float, float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedPupil:
    """A pupil traced through a published prescription: outlines of the entering beam in the first vertex plane."""

    behind_front_mm: float  # paraxial entrance pupil
    vertex_behind_front_mm: float
    table: PupilTable


Pupil = FixedPupil | WalkingPupil | TracedPupil


@dataclass(frozen=True, slots=True, kw_only=True)
class LensState:
    """A lens at one zoom, focus and stop.

    field_focal_mm maps the picture onto the field (m L of the conjugate; the focal length at infinity). object_z_mm is the
    sharp plane in the frame, inf at infinity. half_diagonal_mm is where the distortion polynomial has r = 1. Where `picture` is
    given the field is traced: projection, squeeze and distortion then say nothing.
    """

    name: str
    focal_mm: float
    f_number: float
    focus_mm: float
    field_focal_mm: float
    object_z_mm: float
    pupil: Pupil
    projection: Projection = "rectilinear"
    squeeze: float = 1.0
    distortion: tuple[float, float] = (0.0, 0.0)
    half_diagonal_mm: float = 1.0
    front_radius_mm: float = np.inf
    picture: TracedPicture | None = None


def field_slopes(lens: LensState, x_mm: ArrayLike, y_mm: ArrayLike) -> FieldSlopes:
    """Where picture points look, right and up of the lens axis [mm]; any shapes that broadcast."""
    if lens.picture is not None:
        return slopes_through(lens.picture, x_mm, y_mm)
    return slopes(
        x_mm,
        y_mm,
        lens.projection,
        lens.field_focal_mm,
        lens.squeeze,
        distortion=lens.distortion,
        half_diagonal_mm=lens.half_diagonal_mm,
    )


def picture_of(lens: LensState, tan_right: ArrayLike, tan_up: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Picture point right and up of field slopes, the inverse of `field_slopes` [mm].

    Beyond the edge of a traced picture it lies outside that; beyond a fold of the distortion see `projection.picture_point`.
    """
    if lens.picture is not None:
        return point_through(lens.picture, tan_right, tan_up)
    return picture_point(
        tan_right,
        tan_up,
        lens.projection,
        lens.field_focal_mm,
        lens.squeeze,
        distortion=lens.distortion,
        half_diagonal_mm=lens.half_diagonal_mm,
    )


def pencils_for(lens: LensState, points_mm: ArrayLike) -> Pencils:
    """Pencils of picture points (N, 2), right and up from the lens axis on the image plane [mm].

    Source: docs/physics.md, "Which rays light a pixel".
    """
    p = np.asarray(points_mm, dtype=np.float64)
    field = field_slopes(lens, p[:, 0], p[:, 1])
    tangent = right_up_to_frame(np.column_stack([field.tan_right, field.tan_up]))
    match lens.pupil:
        case FixedPupil():
            return _fixed(lens, lens.pupil, tangent, field.valid)
        case WalkingPupil():
            return _walking(lens, lens.pupil, tangent, field.valid)
        case TracedPupil():
            return _traced(lens, lens.pupil, tangent, field.valid)


def slopes_of_fixed(lens: LensState, points_mm: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """All that differs between the pencils of a lens whose pupil stays in place: their slopes (N, 2), and which it has (N,)."""
    assert isinstance(lens.pupil, FixedPupil)
    field = field_slopes(lens, points_mm[:, 0], points_mm[:, 1])
    tangent = right_up_to_frame(np.column_stack([field.tan_right, field.tan_up]))
    depth = lens.pupil.behind_front_mm
    return _aim(lens, depth[1], tangent, -np.array(depth))[0], field.valid


def aims_of_fixed(lenses: Sequence[LensState], points_mm: FloatArray) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """The same of S states of one lens at once, which differ in zoom, focus and pupil: slopes (S, N, 2), which they have (S, N).

    Between them convergences (S, 2). A call for all takes as long as one for a few states one by one.
    """
    pupils, first = [lens.pupil for lens in lenses if isinstance(lens.pupil, FixedPupil)], lenses[0]
    assert len(pupils) == len(lenses)
    assert first.picture is None
    field = slopes(
        points_mm[:, 0],
        points_mm[:, 1],
        first.projection,
        np.array([[lens.field_focal_mm] for lens in lenses]),
        np.array([[lens.squeeze] for lens in lenses]),
        distortion=first.distortion,
        half_diagonal_mm=first.half_diagonal_mm,
    )
    tangent = right_up_to_frame(np.stack([field.tan_right, field.tan_up], axis=-1))
    depth, object_z = np.array([pupil.behind_front_mm for pupil in pupils]), np.array([[lens.object_z_mm] for lens in lenses])
    far = np.isinf(object_z)
    convergence = np.where(far, 0.0, 1.0 / (object_z + depth))
    object_mm = tangent * np.where(far, 0.0, object_z + depth[:, 1:])[..., None]
    return np.where(far[..., None], tangent, object_mm * convergence[:, None]), convergence, field.valid


def _aim(lens: LensState, depth_mm: float, tangent: FloatArray, reference_z_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slopes and convergences (N, 2) of rays from the reference planes to the object points seen from the paraxial pupil.

    An anamorphic lens has two pupils but one object plane; its field is mapped from the vertical one, whose focal length it is.
    """
    if np.isinf(lens.object_z_mm):
        return tangent, np.zeros_like(tangent)
    object_mm = tangent * (lens.object_z_mm + depth_mm)
    convergence = 1.0 / (lens.object_z_mm - reference_z_mm)
    return object_mm * convergence, convergence


def _pencils(
    lens: LensState,
    *,
    aim: tuple[FloatArray, FloatArray],
    reference_z_mm: FloatArray,
    centre_mm: FloatArray,
    axes_mm: FloatArray,
    rim_share: FloatArray,
    falloff: FloatArray,
    valid: NDArray[np.bool_],
) -> Pencils:
    return Pencils(
        slope=aim[0],
        convergence_per_mm=aim[1],
        reference_z_mm=reference_z_mm,
        centre_mm=centre_mm,
        axes_mm=axes_mm,
        rim_share=rim_share,
        falloff=falloff,
        valid=valid,
        front_ring_mm=np.array([0.0, lens.front_radius_mm]),
    )


def _fixed(lens: LensState, pupil: FixedPupil, tangent: FloatArray, valid: NDArray[np.bool_]) -> Pencils:
    n = len(tangent)
    depth = np.array(pupil.behind_front_mm)
    reference = np.broadcast_to(-depth, (n, 2)).copy()
    return _pencils(
        lens,
        aim=_aim(lens, pupil.behind_front_mm[1], tangent, reference),
        reference_z_mm=reference,
        centre_mm=np.zeros((n, 2)),
        axes_mm=np.broadcast_to(np.diag(pupil.half_size_mm), (n, 2, 2)).copy(),
        rim_share=np.ones((n, NO_RIMS)),
        falloff=natural_falloff(_field_rad(tangent), lens.projection),
        valid=valid,
    )


def _walking(lens: LensState, pupil: WalkingPupil, tangent: FloatArray, valid: NDArray[np.bool_]) -> Pencils:
    field_rad = _field_rad(tangent)
    depth, tangential, sagittal = _walk_at(pupil.rows, np.degrees(field_rad))
    reference = np.repeat(-depth[:, None], 2, axis=1)
    # The table's sizes stand square to the chief ray; its section by a plane square to the axis is longer by 1 / cos.
    radial = _radial_projector(tangent)
    spread = (tangential / np.cos(field_rad))[:, None, None] * radial + sagittal[:, None, None] * (np.eye(2) - radial)
    bare = _pencils(
        lens,
        aim=_aim(lens, pupil.behind_front_mm, tangent, reference),
        reference_z_mm=reference,
        centre_mm=np.zeros_like(tangent),
        axes_mm=spread * np.array(pupil.half_size_mm)[None, :, None],
        rim_share=np.ones((len(tangent), NO_RIMS)),
        falloff=natural_falloff(field_rad, lens.projection) * tangential * sagittal / np.cos(field_rad),
        valid=valid,
    )
    return _looked_up(bare, field_rad, np.radians([row[0] for row in pupil.rows]))


def _traced(lens: LensState, pupil: TracedPupil, tangent: FloatArray, valid: NDArray[np.bool_]) -> Pencils:
    n = len(tangent)
    field_rad = _field_rad(tangent)
    reference = np.full((n, 2), -pupil.vertex_behind_front_mm)
    centre, radii = _outline_at(pupil.table, field_rad)
    reach = max(float(pupil.table.radii_mm.max()), LEAST_PUPIL_MM)  # one for all fields, so that pupils change smoothly
    toward_object = _radial_direction(tangent)
    # The table's tangential axis points away from the object, the frame's field direction toward it.
    centre_mm = -centre[:, None] * toward_object
    outline = _turned(radii, toward_object)
    size = (reach / pupil.table.axial_radius_mm) ** 2
    bare = _pencils(
        lens,
        aim=_aim(lens, pupil.behind_front_mm, tangent, reference),
        reference_z_mm=reference,
        centre_mm=centre_mm,
        axes_mm=np.broadcast_to(reach * np.eye(2), (n, 2, 2)).copy(),
        rim_share=outline / reach,
        falloff=_brightness(lens, field_rad) * size,
        valid=valid & (field_rad <= pupil.table.field_rad[-1] + SAME_FIELD_RAD),
    )
    return _looked_up(bare, field_rad, pupil.table.field_rad)


def _brightness(lens: LensState, field_rad: FloatArray) -> FloatArray:
    """Light of a pupil of constant size square to the axis (N,), relative to the axis: by the traced picture where there is one."""
    if lens.picture is None:
        return natural_falloff(field_rad, lens.projection)
    return lens.picture.brightness_at(field_rad) * np.cos(field_rad)


def _looked_up(pencils: Pencils, field_rad: FloatArray, rows_rad: FloatArray) -> Pencils:
    """The pencils with where their table has rows, for those who take them as smooth from one field to the next."""
    return replace(pencils, field_tan=np.tan(field_rad), kink_tan=np.tan(rows_rad[rows_rad < np.pi / 2]))


def _field_rad(tangent: FloatArray) -> FloatArray:
    return np.arctan(np.hypot(tangent[:, 0], tangent[:, 1]))


def _radial_direction(tangent: FloatArray) -> FloatArray:
    """Unit vectors (N, 2) of the field's direction in the frame; up on the axis, where it does not matter."""
    length = np.hypot(tangent[:, 0], tangent[:, 1])
    on_axis = length < 1e-12
    unit = tangent / np.where(on_axis, 1.0, length)[:, None]
    unit[on_axis] = (0.0, 1.0)
    return unit


def _radial_projector(tangent: FloatArray) -> FloatArray:
    unit = _radial_direction(tangent)
    return unit[:, :, None] * unit[:, None, :]


def _walk_at(
    rows: tuple[tuple[float, float, float, float], ...], field_deg: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Depth, tangential and sagittal size at field angles, straight between rows and straight on beyond the last."""
    table = np.array(sorted(rows), dtype=np.float64)
    if len(table) == 1:
        return tuple(np.full_like(field_deg, table[0, k]) for k in (1, 2, 3))  # type: ignore[return-value]
    row = np.clip(np.searchsorted(table[:, 0], field_deg) - 1, 0, len(table) - 2)
    share = np.maximum((field_deg - table[row, 0]) / (table[row + 1, 0] - table[row, 0]), 0.0)
    depth, tangential, sagittal = (table[row, k] + share * (table[row + 1, k] - table[row, k]) for k in (1, 2, 3))
    return depth, np.maximum(tangential, 1e-3), np.maximum(sagittal, 1e-3)


def _outline_at(table: PupilTable, field_rad: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Tangential centre (N,) and spoke radii (N, A) of the traced outline, straight between the table's fields in tan(field)."""
    position = np.interp(np.tan(field_rad), np.tan(table.field_rad), np.arange(len(table.field_rad)))
    row = np.minimum(position.astype(np.int64), len(table.field_rad) - 2)
    share = position - row
    centre = (1 - share) * table.centre_mm[row, 1] + share * table.centre_mm[row + 1, 1]
    radii = (1 - share)[:, None] * table.radii_mm[row] + share[:, None] * table.radii_mm[row + 1]
    return centre, radii


def _turned(radii: FloatArray, toward_object: FloatArray) -> FloatArray:
    """Spoke radii (N, A) along the frame's own equal angles, from those along the table's (sagittal, tangential) axes.

    The outline is the same on both sides of the meridional plane, so which way the sagittal axis runs does not matter.
    """
    count = radii.shape[1]
    first = -(np.arctan2(toward_object[:, 1], toward_object[:, 0]) / (2 * np.pi) + 0.25) * count % count
    low = np.floor(first)
    share = (first - low)[:, None]
    here = np.take_along_axis(radii, (low.astype(np.int64)[:, None] + np.arange(count)) % count, axis=1)
    return (1 - share) * here + share * np.roll(here, -1, axis=1)
