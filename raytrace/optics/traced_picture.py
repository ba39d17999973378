"""Where the picture of a lens given as a surface table looks, by real chief rays: image height against field, at one focus.

The lens is focused by moving it as a whole. The image plane stands at the paraxial focus. Formulas: docs/physics.md,
"The picture of a traced lens".
"""

from dataclasses import dataclass, replace
from typing import Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geometry.arrays import FloatArray
from geometry.errors import GeometryError
from raytrace.optics.prescription import (
    FirstOrder,
    Prescription,
    first_order,
    rays_to_front,
    rays_to_rear,
    trace_from_stop,
    trace_to_image,
)
from raytrace.optics.projection import LARGEST_SLOPE_FIELD_RAD, FieldSlopes

BoolArray = NDArray[np.bool_]
End = Literal["glass", "fold", "steep"]

FIRST_SAMPLES = 357  # chief rays of the first look, a quarter of a degree apart in the stop's space
LARGEST_STOP_RAD = np.radians(89.0)
CLOSER_LOOKS = 3  # each divides the last interval by FIRST_SAMPLES - 1
ROWS = 1537  # straight lines between so many chief rays are out by some 1e-8 of the field
AXIS_MM = 1e-9  # nearer the axis than this the field is paraxial
BACK_AGAIN_SAMPLES = 720  # chief rays beyond the end, in which light is looked for that comes back into the picture


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedFocus:
    """A lens moved to focus, by its paraxial image.

    object_mm : V1 to the object plane, inf at infinity. [mm]
    image_mm : last vertex to the image plane. [mm]
    moved_mm : how much farther that is than at infinity. [mm]
    magnification : image size per object size, 0 at infinity.
    """

    object_mm: float
    image_mm: float
    moved_mm: float
    magnification: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedPicture:
    """Image height against field, K rows from the axis outward, both rising.

    Attributes
    ----------
    radius_mm, field_rad : ndarray, shape (K,)
        Distance of a picture point from the axis [mm], and the field it looks at, as seen from the paraxial entrance pupil [rad].
    brightness : ndarray, shape (K,)
        Solid angle per picture area, relative to the axis.
    ends : "glass", "fold" or "steep"
        Why there are no rows farther out: no chief ray gets through the glass, the picture folds back, or the field comes
        to 89 deg.
    back_again_mm : float
        Where the picture folds: how near to the axis light from beyond the fold lands again; inf where none does. [mm]
    rims_known : bool
        Whether every surface has its rim, so that such light is known to get through.
    """

    radius_mm: FloatArray
    field_rad: FloatArray
    brightness: FloatArray
    ends: End
    back_again_mm: float = np.inf
    rims_known: bool = True

    @property
    def focal_mm(self) -> float:
        """Image height per tangent of the field next to the axis [mm]."""
        return float(self.radius_mm[1] / np.tan(self.field_rad[1]))

    @property
    def end_mm(self) -> float:
        """Radius of the picture [mm]."""
        return float(self.radius_mm[-1])

    @property
    def end_rad(self) -> float:
        """Field at its edge [rad]."""
        return float(self.field_rad[-1])

    def until(self, largest_rad: float) -> Self:
        """The picture out to a field, where it reaches farther [rad]."""
        if largest_rad >= self.end_rad:
            return self
        inner = self.field_rad < largest_rad
        return replace(
            self,
            radius_mm=np.append(self.radius_mm[inner], self.radius_at(largest_rad)),
            field_rad=np.append(self.field_rad[inner], largest_rad),
            brightness=np.append(self.brightness[inner], self.brightness_at(largest_rad)),
        )

    def field_at(self, radius_mm: ArrayLike) -> FloatArray:
        """Field of picture points at these distances from the axis; that of the picture's edge beyond it [rad]."""
        r = np.minimum(np.asarray(radius_mm, dtype=np.float64), self.end_mm)
        return np.asarray(r * np.interp(r, self.radius_mm, _ratio(self.field_rad, self.radius_mm)))

    def radius_at(self, field_rad: ArrayLike) -> FloatArray:
        """Distance from the axis of the image of fields; beyond the largest it runs on by the tangent [mm]."""
        t = np.asarray(field_rad, dtype=np.float64)
        inside = np.minimum(t, self.end_rad)
        radius = inside * np.interp(inside, self.field_rad, _ratio(self.radius_mm, self.field_rad))
        steep = np.tan(np.minimum(np.maximum(t, self.end_rad), LARGEST_SLOPE_FIELD_RAD)) / np.tan(self.end_rad)
        return np.asarray(np.where(t > self.end_rad, self.end_mm * np.maximum(steep, 1.0 + 1e-6), radius))

    def brightness_at(self, field_rad: ArrayLike) -> FloatArray:
        """Solid angle per picture area at fields, relative to the axis."""
        return np.asarray(np.interp(np.asarray(field_rad, dtype=np.float64), self.field_rad, self.brightness))


def _ratio(values: FloatArray, by: FloatArray) -> FloatArray:
    """One by the other, which both begin at 0; a smooth even function, so that its first value is as good as its second."""
    ratio = values[1:] / by[1:]
    return np.concatenate([ratio[:1], ratio])


def focus_of(lens: Prescription, focus_mm: float) -> TracedFocus:
    """The lens focused at `focus_mm` from the image plane by moving it as a whole; GeometryError nearer than it images.

    With f the focal length, F and F' the foci and m the magnification the object lies f / m ahead of F and the image f m
    behind F', so that focus_mm = f (m + 1 / m) + F F'.

    Source: Newton's form of the lens law, any optics text.
    """
    data = first_order(lens)
    f, back = data.focal_mm, data.back_focus_mm
    if f <= 0.0 or back <= 0.0:
        raise GeometryError(
            f"prescription: the lens must form an image behind its last surface, but its focal length is {f:.4g} mm and its "
            f"focus lies {back:.4g} mm behind it; check the signs of the radii"
        )
    if np.isinf(focus_mm):
        return TracedFocus(object_mm=np.inf, image_mm=back, moved_mm=0.0, magnification=0.0)
    apart = focus_mm - foci_apart_mm(lens, data)
    if apart < 2.0 * f:
        raise GeometryError(
            f"focus_mm: moved as a whole, this lens forms no image nearer than {focus_mm - apart + 2.0 * f:.4g} mm from the image "
            f"plane, got {focus_mm:g}; real lenses that focus nearer move their groups: leave the prescription out there"
        )
    m = 2.0 * f / (apart + np.sqrt(apart * apart - 4.0 * f * f))
    return TracedFocus(
        object_mm=float(f / m - data.front_focus_mm), image_mm=float(back + f * m), moved_mm=float(f * m), magnification=float(m)
    )


def foci_apart_mm(lens: Prescription, data: FirstOrder) -> float:
    """Front focus to rear focus [mm]."""
    return glass_length_mm(lens) + data.back_focus_mm - data.front_focus_mm


def glass_length_mm(lens: Prescription) -> float:
    """First vertex to last [mm]."""
    return float(sum(surface.thickness_mm for surface in lens.surfaces[:-1]))


def traced_picture(lens: Prescription, focus: TracedFocus) -> TracedPicture:
    """The picture of a lens at one focus, as far out as its chief rays go one way.

    Source: real chief rays through the centre of the stop, traced both ways from there.
    """
    chief = _Chief(lens, focus, first_order(lens).entrance_pupil_mm)
    end, ends = _end_of(chief)
    radius, field, _, _ = chief.at(np.linspace(0.0, end, ROWS))
    radius[0] = field[0] = 0.0
    back_again = _back_again_mm(chief, end) if ends == "fold" else np.inf
    return TracedPicture(
        radius_mm=radius,
        field_rad=field,
        brightness=_brightness(radius, field),
        ends=ends,
        back_again_mm=back_again,
        rims_known=bool(np.isfinite([surface.semi_diameter_mm for surface in lens.surfaces]).all()),
    )


@dataclass(frozen=True, slots=True)
class _Chief:
    """Rays through the centre of the stop of one lens at one focus."""

    lens: Prescription
    focus: TracedFocus
    pupil_mm: float

    def at(self, angle_rad: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray, BoolArray]:
        """Image height [mm], field [rad], which fail in the glass, which look 89 deg off and more, by angles at the stop (N,)."""
        height, leaving, failed = trace_from_stop(self.lens, angle_rad)
        image, lost = trace_to_image(self.lens, angle_rad, self.focus.image_mm)
        seen = self._seen(height, leaving)
        return image, seen, failed | lost, seen > LARGEST_SLOPE_FIELD_RAD

    def _seen(self, height: FloatArray, leaving: FloatArray) -> FloatArray:
        distance = self.focus.object_mm
        if np.isinf(distance):
            return leaving
        return np.arctan((distance * np.tan(leaving) - height) / (distance + self.pupil_mm))


def _end_of(chief: _Chief) -> tuple[float, End]:
    """The largest angle at the stop up to which chief rays go one way, and what ends them there."""
    low, high = 0.0, float(LARGEST_STOP_RAD)
    ends: End = "glass"
    for _ in range(CLOSER_LOOKS):
        angles = np.linspace(low, high, FIRST_SAMPLES)
        radius, field, failed, steep = chief.at(angles)
        bad = failed | steep
        bad[1:] |= (np.diff(radius) <= 0.0) | (np.diff(field) <= 0.0)
        bad[0] = False
        if not bad.any():
            return high, ends
        first = int(np.argmax(bad))
        ends = "glass" if failed[first] else "steep" if steep[first] else "fold"
        # The turn of a fold may lie before the last angle that still rose.
        low, high = float(angles[max(first - (2 if ends == "fold" else 1), 0)]), float(angles[first])
    if low <= 0.0:
        raise GeometryError(
            "prescription: no ray from the centre of the stop gets out of both ends of the lens; check the radii and the stop's row"
        )
    return low, ends


def _brightness(radius: FloatArray, field: FloatArray) -> FloatArray:
    """Solid angle sin t dt by picture area r dr, relative to the axis (K,)."""
    slope = np.gradient(field, radius, edge_order=2)
    sine = np.concatenate([[0.0], np.sin(field[1:])])
    share = sine[1:] * slope[1:] / radius[1:]
    return np.concatenate([[1.0], share / share[0]])


def _back_again_mm(chief: _Chief, end_rad: float) -> float:
    """How near to the axis chief rays beyond a fold land that no known rim stops; inf where none does [mm]."""
    angles = np.linspace(end_rad, LARGEST_STOP_RAD, BACK_AGAIN_SAMPLES)[1:]
    radius, _, failed, _ = chief.at(angles)
    stopped = failed | (_rim_shares(chief.lens, angles) > 1.0)
    return float(np.abs(radius[~stopped]).min(initial=np.inf))


def _rim_shares(lens: Prescription, angle_rad: FloatArray) -> FloatArray:
    """Largest height over half diameter at any rim of chief rays, both ways from the stop (N,)."""
    return np.maximum(rays_to_front(lens, angle_rad).rim_share, rays_to_rear(lens, angle_rad).rim_share)


def slopes_through(picture: TracedPicture, x_mm: ArrayLike, y_mm: ArrayLike) -> FieldSlopes:
    """Field slopes of picture points right and up of the axis; not valid beyond the picture's edge [mm]."""
    x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=np.float64), np.asarray(y_mm, dtype=np.float64))
    radius = np.hypot(x, y)
    tangent = np.tan(picture.field_at(radius))
    per_mm = np.where(radius > AXIS_MM, tangent / np.maximum(radius, AXIS_MM), 1.0 / picture.focal_mm)
    return FieldSlopes(x * per_mm, y * per_mm, radius <= picture.end_mm)


def point_through(picture: TracedPicture, tan_right: ArrayLike, tan_up: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Picture point right and up of field slopes: the inverse of `slopes_through`, and outside where they are [mm]."""
    right, up = np.asarray(tan_right, dtype=np.float64), np.asarray(tan_up, dtype=np.float64)
    tangent = np.hypot(right, up)
    off_axis = tangent > 0.0
    per = np.where(off_axis, picture.radius_at(np.arctan(tangent)) / np.where(off_axis, tangent, 1.0), picture.focal_mm)
    return right * per, up * per
