"""The pupil of a lens given as a surface table: for each field angle, the outline of the light that enters.

Everything is said in the V1 plane (through the first vertex, square to the axis) and the optics-text axis of
`raytrace.optics.prescription`: a field angle t > 0 is light travelling along (0, sin t, cos t), so the object lies at negative
y and so does the chief ray's height. Formulas: docs/physics.md, "Prescriptions".
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from geometry.arrays import FloatArray
from geometry.errors import GeometryError
from raytrace.optics.chief_rays import chief_angles
from raytrace.optics.prescription import FirstOrder, Prescription, first_order, trace, trace_from_stop
from raytrace.optics.pupil_edges import LADDER, Gauge, clear_centre_mm, edges_mm, mirrored_edges_mm

STEP = 1e-3  # of the pupil radius or in rad: fourth-order differences are then good to 1e-10


@dataclass(frozen=True, slots=True, kw_only=True)
class PupilTable:
    """Pupil outlines of F fields, A spokes each; spoke k points along (cos, sin) of `spoke_rad[k]` in (x, y).

    x is sagittal and y tangential in the V1 plane. An outline is empty (radii 0) where rims stop everything.

    Attributes
    ----------
    field_rad : ndarray, shape (F,)
        Field angle; at finite distance as seen from the paraxial entrance pupil. [rad]
    centre_mm : ndarray, shape (F, 2)
        Centre of the spokes, (sagittal 0, tangential): midway between the two meridional edges of what gets through.
    radii_mm : ndarray, shape (F, A)
        Centre to the edge of what passes the stop and every rim. [mm]
    stop_radii_mm : ndarray, shape (F, A)
        The same centre to the edge of what passes the stop alone. [mm]
    stop_edge_mm : ndarray, shape (F, 2)
        Heights y of the upper and the lower meridional ray through the stop's edge. [mm]
    chief_mm : ndarray, shape (F,)
        Height y0 of the ray through the stop's centre. [mm]
    chief_rad : ndarray, shape (F,)
        Angle of that ray; the field itself at infinity. [rad]
    crossing_mm, tangential_mm, tangential_height_mm : ndarray, shape (F,)
        Depth behind V1 where the chief ray crosses the axis (the sagittal pupil), and depth and height of the
        tangential pupil. [mm]
    tangential_scale, sagittal_scale : ndarray, shape (F,)
        Beam half width square to the chief ray per stop half height, near the chief ray.
    axial_radius_mm : float
        Radius at the V1 plane of what passes on the axis from the same distance. [mm]
    object_distance_mm : float
        V1 to the object plane. [mm]
    paraxial : FirstOrder
        First-order data of the lens, its stop as given in the table.
    """

    field_rad: FloatArray
    spoke_rad: FloatArray
    centre_mm: FloatArray
    radii_mm: FloatArray
    stop_radii_mm: FloatArray
    stop_edge_mm: FloatArray
    chief_mm: FloatArray
    chief_rad: FloatArray
    crossing_mm: FloatArray
    tangential_mm: FloatArray
    tangential_height_mm: FloatArray
    tangential_scale: FloatArray
    sagittal_scale: FloatArray
    axial_radius_mm: float
    object_distance_mm: float
    paraxial: FirstOrder

    @property
    def relative_area(self) -> FloatArray:
        """Area square to the chief ray of what gets through, relative to the axis, shape (F,)."""
        return self._relative(self.radii_mm)

    @property
    def relative_stop_area(self) -> FloatArray:
        """Area square to the chief ray of what passes the stop, relative to what gets through on the axis, (F,)."""
        return self._relative(self.stop_radii_mm)

    def _relative(self, radii: FloatArray) -> FloatArray:
        """Polar area (mean r^2) times cos t: a section by V1 is longer than one square to the ray."""
        return np.mean(radii**2, axis=1) * np.cos(self.chief_rad) / self.axial_radius_mm**2


@dataclass(frozen=True, slots=True, kw_only=True)
class PupilOutline:
    """One row of a `PupilTable`, under the same names."""

    field_rad: float
    spoke_rad: FloatArray
    centre_mm: FloatArray
    radii_mm: FloatArray
    stop_radii_mm: FloatArray
    stop_edge_mm: FloatArray
    chief_mm: float
    chief_rad: float
    crossing_mm: float
    tangential_mm: float
    tangential_height_mm: float
    tangential_scale: float
    sagittal_scale: float
    relative_area: float
    relative_stop_area: float

    @property
    def points_mm(self) -> FloatArray:
        """Corners of the outline in the V1 plane, (A, 2) as (sagittal, tangential) [mm]."""
        spokes = np.stack([np.cos(self.spoke_rad), np.sin(self.spoke_rad)], axis=1)
        return self.centre_mm + self.radii_mm[:, None] * spokes


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setup:
    """A lens at one stop and object distance."""

    lens: Prescription
    front: Prescription
    stop_mm: float
    radius_mm: float
    distance_mm: float
    paraxial: FirstOrder


def stop_semi_diameter_mm(lens: Prescription, f_number: float | None) -> float:
    """Half diameter of the stop at which the paraxial entrance pupil is EFL / N wide; the table's own for None [mm]."""
    if f_number is not None:
        data = first_order(lens)
        return abs(data.focal_mm) / (2.0 * f_number * data.pupil_scale)
    wide_open = lens.surfaces[lens.stop_index].semi_diameter_mm
    if np.isinf(wide_open):
        raise GeometryError("prescription: the stop has no semi-diameter, so an f-number must be given")
    return wide_open


def pupil_outline(
    lens: Prescription,
    f_number: float | None,
    field_rad: float,
    object_distance_mm: float = np.inf,
    n_angles: int = 64,
) -> PupilOutline:
    """Outline of the light from one field point that gets through the lens; see `pupil_table`."""
    table = pupil_table(lens, f_number, [field_rad], object_distance_mm, n_angles)
    return PupilOutline(
        field_rad=float(table.field_rad[0]),
        spoke_rad=table.spoke_rad,
        centre_mm=table.centre_mm[0],
        radii_mm=table.radii_mm[0],
        stop_radii_mm=table.stop_radii_mm[0],
        stop_edge_mm=table.stop_edge_mm[0],
        chief_mm=float(table.chief_mm[0]),
        chief_rad=float(table.chief_rad[0]),
        crossing_mm=float(table.crossing_mm[0]),
        tangential_mm=float(table.tangential_mm[0]),
        tangential_height_mm=float(table.tangential_height_mm[0]),
        tangential_scale=float(table.tangential_scale[0]),
        sagittal_scale=float(table.sagittal_scale[0]),
        relative_area=float(table.relative_area[0]),
        relative_stop_area=float(table.relative_stop_area[0]),
    )


def pupil_table(
    lens: Prescription,
    f_number: float | None,
    fields_rad: ArrayLike,
    object_distance_mm: float = np.inf,
    n_angles: int = 64,
) -> PupilTable:
    """Outlines of the light that gets through the lens, by exact rays, for many fields at once.

    Parameters
    ----------
    f_number : float or None
        Sets the stop so that the paraxial entrance pupil is EFL / N wide; None: the stop of the table.
    fields_rad : array_like, shape (F,)
        Field angles from 0; at finite distance those of the object point seen from the paraxial entrance pupil. [rad]
    object_distance_mm : float
        V1 to the object plane. [mm]
    n_angles : int
        Spokes A, even, so that left and right match.

    Source: outlines are found by bisection on exact rays; depths and scales of the astigmatic pupil follow from
    z_T = -y0'(t) cos^2 t and the rotational symmetry of the lens; docs/physics.md, "Prescriptions".
    """
    fields = np.atleast_1d(np.asarray(fields_rad, dtype=np.float64))
    paraxial = first_order(lens)
    stop_mm = stop_semi_diameter_mm(lens, f_number)
    setup = _Setup(
        lens=lens,
        front=Prescription(lens.surfaces[: lens.stop_index + 1], lens.stop_index, lens.source, lens.object_index),
        stop_mm=stop_mm,
        radius_mm=stop_mm * paraxial.pupil_scale,
        distance_mm=object_distance_mm,
        paraxial=paraxial,
    )
    return _table(setup, fields, 2.0 * np.pi * np.arange(n_angles) / n_angles)


def _table(setup: _Setup, fields: FloatArray, spokes: FloatArray) -> PupilTable:
    """The table, with the axis as an extra last row for the reference radius."""
    with_axis = np.append(fields, 0.0)
    inner = chief_angles(setup.lens, setup.distance_mm, with_axis)
    y0, angle, _ = trace_from_stop(setup.lens, inner)
    chief = np.stack([np.zeros_like(y0), y0], axis=1)
    through_stop, through_all = (_gauge(setup, with_axis, rims) for rims in (False, True))
    meridian = np.array([np.pi / 2, -np.pi / 2])
    ladder = setup.radius_mm * LADDER / np.cos(angle)[:, None]
    up_down = edges_mm(through_stop, chief, meridian, ladder)
    stop_edge = y0[:, None] + up_down * np.array([1.0, -1.0])
    centre = clear_centre_mm(through_all, stop_edge, ladder)
    radii = mirrored_edges_mm(through_all, centre, spokes, ladder)
    stop_radii = mirrored_edges_mm(through_stop, centre, spokes, ladder)
    depth, height = _tangential_pupil(setup, inner, y0, angle)
    scales = _differential_scales(setup, with_axis, chief, angle)
    return PupilTable(
        field_rad=fields,
        spoke_rad=spokes,
        centre_mm=centre[:-1],
        radii_mm=radii[:-1],
        stop_radii_mm=stop_radii[:-1],
        stop_edge_mm=stop_edge[:-1],
        chief_mm=y0[:-1],
        chief_rad=angle[:-1],
        crossing_mm=_axis_crossing(setup, y0, angle)[:-1],
        tangential_mm=depth[:-1],
        tangential_height_mm=height[:-1],
        tangential_scale=scales[0][:-1],
        sagittal_scale=scales[1][:-1],
        axial_radius_mm=float(np.sqrt(np.mean(radii[-1] ** 2))),
        object_distance_mm=setup.distance_mm,
        paraxial=setup.paraxial,
    )


def _gauge(setup: _Setup, fields: FloatArray, rims: bool) -> Gauge:
    """A function of points (F, ..., 2) in the V1 plane: height over half diameter at the tightest edge, (F, ...).

    1 is on the edge, inf where no ray gets that far. Without `rims` the stop alone counts.
    """
    lens = setup.lens if rims else setup.front

    def share(points: FloatArray) -> FloatArray:
        origin, direction = _rays(setup, fields, points)
        rays = trace(lens, origin.reshape(-1, 3), direction.reshape(-1, 3))
        stop = np.hypot(rays.stop_point[:, 0], rays.stop_point[:, 1]) / setup.stop_mm
        tightest = np.maximum(stop, rays.rim_share) if rims else stop
        return np.where(rays.failed, np.inf, tightest).reshape(points.shape[:-1])

    return share


def _rays(setup: _Setup, fields: FloatArray, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rays from each field's object point through points (F, ..., 2) of the V1 plane: origins and unit directions."""
    column = fields.reshape(-1, *(1 for _ in points.shape[1:-1]))
    origin = np.concatenate([points, np.zeros((*points.shape[:-1], 1))], axis=-1)
    if np.isinf(setup.distance_mm):
        y, z = np.broadcast_arrays(np.sin(column), points[..., 0])[0], np.broadcast_to(np.cos(column), points.shape[:-1])
        return origin, np.stack([np.zeros_like(y), y, z], axis=-1)
    object_y = -(setup.distance_mm + setup.paraxial.entrance_pupil_mm) * np.tan(column)
    across = np.stack([points[..., 0], points[..., 1] - object_y], axis=-1)
    direction = np.concatenate([across, np.full((*points.shape[:-1], 1), setup.distance_mm)], axis=-1)
    return origin, direction / np.linalg.norm(direction, axis=-1, keepdims=True)


def _axis_crossing(setup: _Setup, y0: FloatArray, angle: FloatArray) -> FloatArray:
    """Depth -y0 / tan t where the chief ray crosses the axis; the paraxial pupil on the axis itself [mm]."""
    on_axis = angle == 0.0
    return np.where(on_axis, setup.paraxial.entrance_pupil_mm, -y0 / np.tan(np.where(on_axis, 1.0, angle)))


def _slope(values: FloatArray, step: float) -> FloatArray:
    """Fourth-order slope from values (4, ...) at -2, -1, 1 and 2 steps."""
    return (values[0] - values[3] + 8.0 * (values[2] - values[1])) / (12.0 * step)


def _tangential_pupil(setup: _Setup, inner: FloatArray, y0: FloatArray, angle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Depth z_T = -y0'(t) cos^2 t and height y_T = y0 + z_T tan t of the caustic of chief rays [mm]."""
    steps = STEP * np.array([-2.0, -1.0, 1.0, 2.0])[:, None]
    height, field, _ = trace_from_stop(setup.lens, (inner + steps).ravel())
    slope = _slope(height.reshape(4, -1), STEP) / _slope(field.reshape(4, -1), STEP)
    depth = -slope * np.cos(angle) ** 2
    return depth, y0 + depth * np.tan(angle)


def _differential_scales(setup: _Setup, fields: FloatArray, chief: FloatArray, angle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Tangential and sagittal beam half width square to the chief ray per stop half height, at the V1 plane."""
    step = STEP * setup.radius_mm
    offsets = step * np.array([-2.0, -1.0, 1.0, 2.0])
    points = np.repeat(np.repeat(chief[:, None, None, :], 2, axis=1), 4, axis=2)
    points[:, 0, :, 1] += offsets
    points[:, 1, :, 0] += offsets
    origin, direction = _rays(setup, fields, points)
    rays = trace(setup.front, origin.reshape(-1, 3), direction.reshape(-1, 3))
    at_stop = rays.stop_point.reshape(*points.shape)
    tangential = _slope(at_stop[:, 0, :, 1].T, step)
    sagittal = _slope(at_stop[:, 1, :, 0].T, step)
    return np.cos(angle) / np.abs(tangential), 1.0 / np.abs(sagittal)
