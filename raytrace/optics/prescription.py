"""Lenses given as published surface tables: first-order data and exact rays through them.

Optics-text axis: z runs from the first vertex V1 toward the image, light travels toward +z. (The project's frame looks
the other way; whoever places the lens turns it round.) Formulas: docs/physics.md, "Prescriptions".
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from geometry.arrays import FloatArray
from geometry.errors import GeometryError

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int16]

NO_SURFACE = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """One refracting sphere, or a plane, or the stop.

    Attributes
    ----------
    radius_mm : float
        Radius of curvature, positive where the centre lies toward the image; inf for a plane. [mm]
    thickness_mm : float
        Vertex to the next vertex. [mm]
    index : float
        Refractive index of what follows.
    semi_diameter_mm : float
        Clear half diameter; inf where the rim is unknown. [mm]
    """

    radius_mm: float
    thickness_mm: float
    index: float
    semi_diameter_mm: float = np.inf

    @property
    def curvature(self) -> float:
        """1 / radius, 0 for a plane [1/mm]."""
        return 0.0 if np.isinf(self.radius_mm) else 1.0 / self.radius_mm


@dataclass(frozen=True, slots=True)
class Prescription:
    """A lens as a row of surfaces, the stop among them.

    Attributes
    ----------
    surfaces : tuple of Surface
    stop_index : int
        Place of the stop in `surfaces`, from 0. Its semi-diameter is the stop's, wide open.
    source : str
        Where the table was published.
    object_index : float
        Refractive index in front of the lens.
    """

    surfaces: tuple[Surface, ...]
    stop_index: int
    source: str = ""
    object_index: float = 1.0

    def __post_init__(self) -> None:
        """Refuse tables that no ray could be traced through."""
        if not 0 <= self.stop_index < len(self.surfaces):
            raise GeometryError(
                f"prescription: the stop must be one of its {len(self.surfaces)} surfaces, got number {self.stop_index + 1}"
            )
        for number, surface in enumerate(self.surfaces, start=1):
            _check_surface(number, surface)

    def scaled(self, factor: float) -> Self:
        """The same lens with every length multiplied by `factor`."""
        surfaces = tuple(
            replace(
                s,
                radius_mm=s.radius_mm * factor,
                thickness_mm=s.thickness_mm * factor,
                semi_diameter_mm=s.semi_diameter_mm * factor,
            )
            for s in self.surfaces
        )
        return replace(self, surfaces=surfaces)

    def indices(self) -> list[float]:
        """Refractive index before each surface, then after the last."""
        return [self.object_index, *(s.index for s in self.surfaces)]


def _check_surface(number: int, surface: Surface) -> None:
    """Raise GeometryError for a surface that cannot be."""
    where = f"prescription surface {number}"
    if surface.radius_mm == 0.0 or np.isnan(surface.radius_mm):
        raise GeometryError(f"{where}: radius must not be {surface.radius_mm:g}; leave it out or give inf for a flat surface")
    if not 0.0 <= surface.thickness_mm < np.inf:
        raise GeometryError(f"{where}: thickness to the next surface must be 0 or more, got {surface.thickness_mm:g}")
    if not 1.0 <= surface.index < 5.0:
        raise GeometryError(f"{where}: refractive index must be 1 to 5, got {surface.index:g}; 1 stands for air")
    if not surface.semi_diameter_mm > 0.0:
        raise GeometryError(
            f"{where}: semi-diameter must be more than 0, got {surface.semi_diameter_mm:g}; leave it out where unknown"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstOrder:
    """Paraxial data of a prescription [mm].

    Attributes
    ----------
    focal_mm, back_focus_mm, front_focus_mm : float
        Focal length; last vertex to rear focus; V1 to front focus (negative: in front).
    entrance_pupil_mm, exit_pupil_mm : float
        V1 to entrance pupil; last vertex to exit pupil.
    pupil_diameter_mm : float
        Entrance pupil diameter with the stop wide open, EPD.
    pupil_scale : float
        Entrance pupil radius per stop radius.
    pupil_magnification : float
        Exit pupil diameter per entrance pupil diameter, p.
    """

    focal_mm: float
    back_focus_mm: float
    front_focus_mm: float
    entrance_pupil_mm: float
    exit_pupil_mm: float
    pupil_diameter_mm: float
    pupil_scale: float
    pupil_magnification: float


def first_order(lens: Prescription) -> FirstOrder:
    """Paraxial data of a lens.

    With the ray matrix [[A, B], [C, D]] on (height, index x angle), vertex to vertex: focal length -n/C, back focus
    -n' A/C, front focus n D/C. The pupils are the images of the stop through what lies before and behind it.

    Source: Kingslake & Johnson, Lens Design Fundamentals, ch. 3; Gerrard & Burch, Matrix Methods (from memory).
    """
    count, stop, indices = len(lens.surfaces), lens.stop_index, lens.indices()
    whole, front = ray_matrix(lens, 0, count), ray_matrix(lens, 0, stop)
    rear = ray_matrix(lens, stop, count)
    # The stop sits at its vertex before refraction: light starts there with height h and keeps it.
    front = np.array([[1.0, _gap_before(lens, stop)], [0.0, 1.0]]) @ front
    (a, _), (c, d) = whole
    if abs(c) < 1e-12:
        raise GeometryError("prescription: the lens must bend light, but its focal length is infinite; check the radii")
    exit_pupil = -indices[-1] * rear[0, 1] / rear[1, 1]
    entrance_pupil = indices[0] * front[0, 1] / front[0, 0]
    scale_in, scale_out = 1.0 / front[0, 0], 1.0 / rear[1, 1]
    return FirstOrder(
        focal_mm=float(-indices[0] / c),
        back_focus_mm=float(-indices[-1] * a / c),
        front_focus_mm=float(indices[0] * d / c),
        entrance_pupil_mm=float(entrance_pupil),
        exit_pupil_mm=float(exit_pupil),
        pupil_diameter_mm=float(2.0 * lens.surfaces[stop].semi_diameter_mm * abs(scale_in)),
        pupil_scale=float(abs(scale_in)),
        pupil_magnification=float(abs(scale_out / scale_in)),
    )


def axial_height(lens: Prescription, k: int) -> float:
    """Paraxial height at surface k of a ray that comes in along the axis, in its height at the first surface."""
    ahead = ray_matrix(lens, 0, k)
    return float(ahead[0, 0] + _gap_before(lens, k) * ahead[1, 0])


def _gap_before(lens: Prescription, k: int) -> float:
    """Reduced distance from the vertex before surface k to its own; 0 for the first."""
    return 0.0 if k == 0 else lens.surfaces[k - 1].thickness_mm / lens.surfaces[k - 1].index


def ray_matrix(lens: Prescription, start: int, end: int) -> FloatArray:
    """Matrix (2, 2) on (height, index x angle) from before surface `start` to just behind surface `end` - 1."""
    matrix, indices = np.eye(2), lens.indices()
    for k in range(start, end):
        gap = _gap_before(lens, k) if k > start else 0.0
        power = lens.surfaces[k].curvature * (indices[k + 1] - indices[k])
        matrix = np.array([[1.0, 0.0], [-power, 1.0]]) @ np.array([[1.0, gap], [0.0, 1.0]]) @ matrix
    return matrix


@dataclass(frozen=True, slots=True, kw_only=True)
class LensRays:
    """Rays that went through a lens; N rays.

    Attributes
    ----------
    position, direction : ndarray, shape (N, 3)
        Where each ray leaves the last traced surface, z from V1 [mm], and its unit direction. Meaningless where failed.
    stop_point : ndarray, shape (N, 2)
        Height at the stop surface, x and y [mm]. Meaningless where failed before it.
    rim_share : ndarray, shape (N,)
        Largest of (height / semi-diameter) over all surfaces but the stop: above 1 a rim takes the ray.
    clipped_by : ndarray of int16, shape (N,)
        First surface whose rim takes the ray, the stop included, or NO_SURFACE.
    failed_at : ndarray of int16, shape (N,)
        Surface that the ray misses or that reflects it totally, or NO_SURFACE: no ray, rather than a blocked one.
    """

    position: FloatArray
    direction: FloatArray
    stop_point: FloatArray
    rim_share: FloatArray
    clipped_by: IntArray
    failed_at: IntArray

    @property
    def failed(self) -> BoolArray:
        """Rays that the arithmetic could not carry on, shape (N,)."""
        return self.failed_at != NO_SURFACE


def trace(lens: Prescription, origin_mm: FloatArray, direction: FloatArray) -> LensRays:
    """Exact rays through every surface of a lens.

    Parameters
    ----------
    origin_mm : ndarray, shape (N, 3)
        A point of each ray in front of the lens, z from V1. [mm]
    direction : ndarray, shape (N, 3)
        Unit directions toward the lens (z positive).

    Source: Welford, Aberrations of Optical Systems, ch. 4, ray trace through spheres (from memory).
    """
    return _trace(lens.surfaces, lens.indices(), lens.stop_index, origin_mm, direction)


def trace_from_stop(lens: Prescription, angle_rad: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Chief rays, sent from the stop's centre out of the front of the lens.

    Parameters
    ----------
    angle_rad : ndarray, shape (N,)
        Angle u in the space before the stop. [rad]

    Returns
    -------
    height_mm : ndarray, shape (N,)
        Height y at the V1 plane. [mm]
    field_rad : ndarray, shape (N,)
        Field angle t of the light that comes in along this ray. [rad]
    failed : ndarray of bool, shape (N,)
    """
    depth = sum(surface.thickness_mm for surface in lens.surfaces[: lens.stop_index])
    rays = rays_to_front(lens, angle_rad)
    slope = rays.direction[:, 1] / np.where(rays.direction[:, 2] > 0.0, rays.direction[:, 2], 1.0)
    gap = lens.surfaces[lens.stop_index - 1].thickness_mm if lens.stop_index else 0.0
    height = rays.position[:, 1] + (depth - gap - rays.position[:, 2]) * slope
    return height, -np.arctan(slope), rays.failed | (rays.direction[:, 2] <= 0.0)


def rays_to_front(lens: Prescription, angle_rad: FloatArray) -> LensRays:
    """The rays of `trace_from_stop`: z from the vertex before the stop, toward the scene."""
    front = _front_reversed(lens)
    indices = [lens.indices()[lens.stop_index], *(s.index for s in front)]
    origin = np.zeros((len(angle_rad), 3))
    # Mirrored about the stop: light with slope +u coming in leaves downward on its way back.
    direction = np.stack([np.zeros_like(angle_rad), -np.sin(angle_rad), np.cos(angle_rad)], axis=1)
    origin[:, 2] = -lens.surfaces[lens.stop_index - 1].thickness_mm if lens.stop_index else 0.0
    return _trace(front, indices, NO_SURFACE, origin, direction)


def trace_to_image(lens: Prescription, angle_rad: FloatArray, image_mm: float) -> tuple[FloatArray, BoolArray]:
    """Chief rays, sent from the stop's centre through what is behind it to an image plane.

    Parameters
    ----------
    angle_rad : ndarray, shape (N,)
        Angle u in the space before the stop; at a stop on glass the ray is bent there. [rad]
    image_mm : float
        Last vertex to the image plane. [mm]

    Returns
    -------
    height_mm : ndarray, shape (N,)
        Where the ray meets the image plane, positive for light of a positive field. [mm]
    failed : ndarray of bool, shape (N,)
    """
    rays = rays_to_rear(lens, angle_rad)
    last = sum(surface.thickness_mm for surface in lens.surfaces[lens.stop_index : -1])
    slope = rays.direction[:, 1] / np.where(rays.direction[:, 2] > 0.0, rays.direction[:, 2], 1.0)
    return rays.position[:, 1] + (last + image_mm - rays.position[:, 2]) * slope, rays.failed | (rays.direction[:, 2] <= 0.0)


def rays_to_rear(lens: Prescription, angle_rad: FloatArray) -> LensRays:
    """The rays of `trace_to_image`: z from the stop's vertex."""
    direction = np.stack([np.zeros_like(angle_rad), np.sin(angle_rad), np.cos(angle_rad)], axis=1)
    origin = np.zeros((len(angle_rad), 3))
    return _trace(lens.surfaces[lens.stop_index :], lens.indices()[lens.stop_index :], 0, origin, direction)


def _front_reversed(lens: Prescription) -> tuple[Surface, ...]:
    """Surfaces before the stop in the order light meets them on its way out."""
    indices, stop = lens.indices(), lens.stop_index
    rows = [
        Surface(
            radius_mm=-lens.surfaces[k].radius_mm,
            thickness_mm=lens.surfaces[k - 1].thickness_mm if k else 0.0,
            index=indices[k],
            semi_diameter_mm=lens.surfaces[k].semi_diameter_mm,
        )
        for k in reversed(range(stop))
    ]
    return tuple(rows)


def _trace(surfaces: Sequence[Surface], indices: Sequence[float], stop: int, origin: FloatArray, direction: FloatArray) -> LensRays:
    """The loop over surfaces, by columns, with numpy's complaints about rays already marked as failed left out."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return _surface_by_surface(surfaces, indices, stop, origin, direction)


def _surface_by_surface(
    surfaces: Sequence[Surface], indices: Sequence[float], stop: int, origin: FloatArray, direction: FloatArray
) -> LensRays:
    """All surfaces in turn; z of the working point is kept from the current vertex."""
    x, y, z = (np.array(origin[:, k], dtype=np.float64) for k in range(3))
    cx, cy, cz = (np.array(direction[:, k], dtype=np.float64) for k in range(3))
    count, vertex = len(x), 0.0
    rim_share, stop_x, stop_y = np.zeros(count), x, y
    clipped_by, failed_at = (np.full(count, NO_SURFACE, dtype=np.int16) for _ in range(2))
    for k, surface in enumerate(surfaces):
        if k:
            z = z - surfaces[k - 1].thickness_mm
            vertex += surfaces[k - 1].thickness_mm
        x, y, z, cosine, missed = _intersect(surface.curvature, x, y, z, cx, cy, cz)
        share = np.hypot(x, y) / surface.semi_diameter_mm
        if k == stop:
            stop_x, stop_y = x, y
        else:
            rim_share = np.maximum(rim_share, share)
        clipped_by[(share > 1.0) & (clipped_by == NO_SURFACE)] = k
        cx, cy, cz, reflected = _refract(surface.curvature, indices[k], indices[k + 1], (x, y, z), (cx, cy, cz), cosine)
        failed_at[(missed | reflected) & (failed_at == NO_SURFACE)] = k
    return LensRays(
        position=np.stack([x, y, z + vertex], axis=1),
        direction=np.stack([cx, cy, cz], axis=1),
        stop_point=np.stack([stop_x, stop_y], axis=1),
        rim_share=rim_share,
        clipped_by=clipped_by,
        failed_at=failed_at,
    )


def _intersect(
    c: float, x: FloatArray, y: FloatArray, z: FloatArray, cx: FloatArray, cy: FloatArray, cz: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, BoolArray]:
    """Where rays meet a sphere of curvature c at the origin's vertex, cos of incidence, and which miss it.

    From the vertex plane onward the path is F / (G + sqrt(G^2 - c F)), F = c (x^2 + y^2), G = cz - c (x cx + y cy);
    the same root is (G - sqrt(G^2 - c F)) / c, which keeps its digits where G is negative.
    """
    to_plane = -z / cz
    x, y = x + to_plane * cx, y + to_plane * cy
    f = c * (x * x + y * y)
    g = cz - c * (x * cx + y * cy)
    square = g * g - c * f
    missed = square < 0.0
    cosine = np.sqrt(np.maximum(square, 0.0))
    onward = g > 0.0
    path = np.where(onward, f / np.where(onward, g + cosine, 1.0), (g - cosine) / (c or 1.0))
    z = path * cz
    return x + path * cx, y + path * cy, z, cosine, missed | (c * z >= 1.0) | (cz <= 0.0)


def _refract(
    c: float,
    before: float,
    after: float,
    point: tuple[FloatArray, FloatArray, FloatArray],
    direction: tuple[FloatArray, FloatArray, FloatArray],
    cosine: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Direction behind the surface by Snell's law in vector form, and where reflection is total."""
    if before == after:
        return *direction, np.zeros(cosine.shape, dtype=np.bool_)
    ratio = before / after
    square = 1.0 - ratio * ratio * (1.0 - cosine * cosine)
    turn = np.sqrt(np.maximum(square, 0.0)) - ratio * cosine
    (x, y, z), (cx, cy, cz) = point, direction
    return ratio * cx - turn * c * x, ratio * cy - turn * c * y, ratio * cz + turn * (1.0 - c * z), square < 0.0
