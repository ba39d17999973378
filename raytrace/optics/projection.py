"""Where a picture point looks: lens projections, radial distortion, squeeze. Plain numbers in, plain arrays out.

Picture coordinates are millimetres on the image plane, right and up as on the monitor. Field slopes are tangents to
the right and up as the operator sees them. Formulas: docs/physics.md, "Projections and distortion".
"""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geometry.arrays import FloatArray
from geometry.errors import GeometryError

BoolArray = NDArray[np.bool_]
Projection = Literal["rectilinear", "equidistant", "equisolid", "stereographic", "orthographic"]
PROJECTIONS: tuple[Projection, ...] = get_args(Projection)

LARGEST_SLOPE_FIELD_RAD = np.radians(89.0)  # beyond it a slope (57 mm per mm) says nothing a box could use
NEWTON_STEP_LIMIT = 1e-15  # share of the half diagonal: float64 has no more
NEWTON_ROUNDS = 80  # bisection alone would need 60 to reach that limit
FARTHEST_FOLD = 100.0  # half diagonals: a fold beyond any picture, too far for float64 powers, counts as none
AXIS_RADIUS_MM = 1e-12  # nearer the axis than this the slope is radius / focal length to float64


@dataclass(frozen=True, slots=True)
class FieldSlopes:
    """Where picture points look; arrays share one shape.

    Attributes
    ----------
    tan_right, tan_up : ndarray
        Tangents of the field to the right and up. Finite everywhere, meaningful where `valid`.
    valid : ndarray of bool
        False where the field is beyond 89 deg or no ray of this projection reaches the point.
    """

    tan_right: FloatArray
    tan_up: FloatArray
    valid: BoolArray


def image_radius_mm(theta_rad: ArrayLike, focal_mm: float, projection: Projection) -> FloatArray:
    """Distance of the image point from the axis.

    r = f tan t (rectilinear), f t (equidistant), 2 f sin(t/2) (equisolid), 2 f tan(t/2) (stereographic),
    f sin t (orthographic). Rectilinear from 90 deg on: inf.

    Parameters
    ----------
    theta_rad : array_like
        Field angle t from the axis, 0 to pi. [rad]

    Source: Ray, Applied Photographic Optics (fisheye projections; from memory); docs/physics.md, "Projections and distortion".
    """
    t = np.asarray(theta_rad, dtype=np.float64)
    match projection:
        case "rectilinear":
            seen = t < np.pi / 2 - 1e-12
            return np.where(seen, focal_mm * np.tan(np.where(seen, t, 0.0)), np.inf)
        case "equidistant":
            return focal_mm * t
        case "equisolid":
            return 2.0 * focal_mm * np.sin(t / 2.0)
        case "stereographic":
            return 2.0 * focal_mm * np.tan(t / 2.0)
        case "orthographic":
            return focal_mm * np.sin(t)


def field_angle_rad(radius_mm: ArrayLike, focal_mm: float | FloatArray, projection: Projection) -> tuple[FloatArray, BoolArray]:
    """Field angle of an image radius, and whether any ray reaches that radius.

    The inverse of `image_radius_mm`. Radii out of reach (orthographic beyond f, equisolid beyond 2 f, equidistant
    beyond pi f) get the largest angle of the projection and False.

    Parameters
    ----------
    radius_mm : array_like
        Distance from the axis, >= 0. [mm]
    """
    s = np.asarray(radius_mm, dtype=np.float64) / focal_mm
    match projection:
        case "rectilinear":
            return np.arctan(s), np.isfinite(s)
        case "equidistant":
            return np.minimum(s, np.pi), s <= np.pi
        case "equisolid":
            return 2.0 * np.arcsin(np.minimum(s / 2.0, 1.0)), s <= 2.0
        case "stereographic":
            return 2.0 * np.arctan(s / 2.0), np.isfinite(s)
        case "orthographic":
            return np.arcsin(np.minimum(s, 1.0)), s <= 1.0


def distort_radius(radius: ArrayLike, distortion: tuple[float, float]) -> FloatArray:
    """Distorted radius r (1 + k1 r^2 + k2 r^4); radii are in half diagonals of the format.

    Source: Brown, "Decentering distortion of lenses", Photogrammetric Engineering 32 (1966) (radial terms; from memory).
    """
    r = np.asarray(radius, dtype=np.float64)
    k1, k2 = distortion
    r2 = r * r
    return r * (1.0 + r2 * (k1 + k2 * r2))


def distortion_fold(distortion: tuple[float, float]) -> tuple[float, float]:
    """Radius at which the picture folds back, before and after distortion, in half diagonals; inf where it never does.

    The slope 1 + 3 k1 u + 5 k2 u^2, u = r^2, has its first zero there.
    """
    k1, k2 = distortion
    under_root = 9.0 * k1 * k1 - 20.0 * k2
    divisor = -3.0 * k1 + np.sqrt(under_root) if under_root >= 0.0 else -1.0
    if divisor <= 2.0 / FARTHEST_FOLD**2:
        return np.inf, np.inf
    radius = float(np.sqrt(2.0 / divisor))
    return radius, float(distort_radius(radius, distortion))


def check_distortion(distortion: tuple[float, float], reach: float = 1.0) -> None:
    """Raise GeometryError where the distorted radius stops growing before `reach` half diagonals."""
    k1, k2 = distortion
    fold = distortion_fold(distortion)[1]
    if fold <= reach:
        raise GeometryError(
            f"distortion = [{k1:g}, {k2:g}]: the distorted radius must keep growing out to {reach:.4g} half diagonals "
            f"of the format, but it turns back at {fold:.4g}; use coefficients fitted with r = 1 at the half diagonal"
        )


def undistort_radius(radius: ArrayLike, distortion: tuple[float, float]) -> FloatArray:
    """Radius before distortion: the inverse of `distort_radius` on its rising branch, in half diagonals.

    Newton's method kept inside a bracket, so that strong barrel distortion cannot throw it off the branch.
    GeometryError where a radius lies beyond the fold.
    """
    target = np.asarray(radius, dtype=np.float64)
    if distortion == (0.0, 0.0) or target.size == 0:
        return target
    check_distortion(distortion, float(target.max()))
    low = np.zeros_like(target)
    high = np.full_like(target, _upper_bracket(float(target.max()), distortion))
    r = np.minimum(target, high)
    for _ in range(NEWTON_ROUNDS):
        error = distort_radius(r, distortion) - target
        low, high = np.where(error < 0.0, r, low), np.where(error > 0.0, r, high)
        step = r - error / _distortion_slope(r, distortion)
        following = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        moved = float(np.abs(following - r).max())
        r = following
        if moved <= NEWTON_STEP_LIMIT:
            break
    return r


def _distortion_slope(r: FloatArray, distortion: tuple[float, float]) -> FloatArray:
    """Slope 1 + 3 k1 r^2 + 5 k2 r^4, kept off zero."""
    k1, k2 = distortion
    r2 = r * r
    return np.maximum(1.0 + r2 * (3.0 * k1 + 5.0 * k2 * r2), 1e-12)


def _upper_bracket(target: float, distortion: tuple[float, float]) -> float:
    """A radius that distorts to at least `target`, on the rising branch."""
    fold = distortion_fold(distortion)[0]
    high = max(target, 1e-3)
    while high < fold and float(distort_radius(high, distortion)) < target:
        high *= 1.5
    return min(high, fold)


def slopes(
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    projection: Projection,
    focal_mm: float | FloatArray,
    squeeze: float | FloatArray = 1.0,
    *,
    distortion: tuple[float, float] = (0.0, 0.0),
    half_diagonal_mm: float = 1.0,
) -> FieldSlopes:
    """Field slopes of picture points: undo the distortion, spread the squeeze, then the projection.

    For a rectilinear lens tan_right = squeeze x / f and tan_up = y / f.

    Parameters
    ----------
    x_mm, y_mm : array_like
        Picture points from the lens axis, right and up; any shapes that broadcast. [mm]
    focal_mm : float or ndarray
        Focal length f, of the vertical section where there is a squeeze; at finite focus m L of the conjugate. [mm]
    squeeze : float or ndarray
        Factor by which the horizontal field grows. Arrays, as (S, 1) against N points, ask for several states at once.
    distortion, half_diagonal_mm : tuple, float
        k1, k2 with r = 1 at the half diagonal of the format, as recorded (before the squeeze is spread). [mm]

    Source: docs/physics.md, "Projections and distortion".
    """
    x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=np.float64), np.asarray(y_mm, dtype=np.float64))
    if distortion != (0.0, 0.0):
        share = _undistorted_share(np.hypot(x, y) / half_diagonal_mm, distortion)
        x, y = x * share, y * share
    right = squeeze * x
    radius = np.hypot(right, y)
    theta, reached = field_angle_rad(radius, focal_mm, projection)
    valid = reached & (theta <= LARGEST_SLOPE_FIELD_RAD)
    tangent = np.tan(np.minimum(theta, LARGEST_SLOPE_FIELD_RAD))
    per_mm = np.where(radius > AXIS_RADIUS_MM, tangent / np.maximum(radius, AXIS_RADIUS_MM), 1.0 / focal_mm)
    return FieldSlopes(right * per_mm, y * per_mm, valid)


def _undistorted_share(radius: FloatArray, distortion: tuple[float, float]) -> FloatArray:
    """Radius before distortion per radius after it; 1 on the axis."""
    off_axis = radius > 0.0
    return np.where(off_axis, undistort_radius(radius, distortion) / np.where(off_axis, radius, 1.0), 1.0)


def picture_point(
    tan_right: ArrayLike,
    tan_up: ArrayLike,
    projection: Projection,
    focal_mm: float,
    squeeze: float = 1.0,
    *,
    distortion: tuple[float, float] = (0.0, 0.0),
    half_diagonal_mm: float = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """Picture point right and up of a pair of field slopes: the inverse of `slopes` [mm].

    Points beyond a fold of the distortion are mapped by the plain polynomial and then lie back inside.
    """
    right = np.asarray(tan_right, dtype=np.float64)
    up = np.asarray(tan_up, dtype=np.float64)
    tangent = np.hypot(right, up)
    radius = image_radius_mm(np.arctan(tangent), focal_mm, projection)
    mm_per = np.where(tangent > 0.0, radius / np.where(tangent > 0.0, tangent, 1.0), focal_mm)
    x, y = right * mm_per / squeeze, up * mm_per
    k1, k2 = distortion
    r2 = (x * x + y * y) / half_diagonal_mm**2
    gain = 1.0 + r2 * (k1 + k2 * r2)
    return x * gain, y * gain
