"""Every ghost of given lights behind one lens: its filters as mirrors, the ways between them, and what arrives.

Strengths are relative to the light's own image; what the lens itself takes on the way out and back is not counted, so they are
upper limits. Formulas: raytrace/ghosts/mirrored.py and docs/ghosts.md.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geometry.arrays import FloatArray, cross_product
from geometry.frame import Pose, frame_to_right_up
from raytrace.box import Glass, GlassKind
from raytrace.ghosts.mirrored import double_direction, ghost_blur_mm, image_mm_of, near_ghost_direction, point_blur_mm, spreading
from raytrace.kept import Kept
from raytrace.optics.conjugate import magnification_of_focus
from raytrace.optics.fresnel import Plate, face_reflectance, loss_stops, plate_sp
from raytrace.optics.glass import density_share, internal_transmittance
from raytrace.optics.lens import LensState, picture_of
from raytrace.optics.projection import distortion_fold, picture_point

RIM_POINTS = 12  # of a light's disc: its ghost's size comes out within 2 % of its radius, and only widens what is called in frame
_TURN = 2 * np.pi * np.arange(RIM_POINTS) / RIM_POINTS
_ROUND = np.stack([np.cos(_TURN), np.sin(_TURN)], axis=1)
LARGEST_FIELD_COSINE = np.cos(np.radians(89.0))  # farther from the axis no lens of this program has a picture


class Route(StrEnum):
    """Between what the light goes back and forth."""

    SENSOR = "sensor and filter"
    FILTERS = "two filters"


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """A light as the lens sees it: direction from the middle of the pupil, half its width, how far off it is."""

    name: str
    direction: FloatArray
    half_width_deg: float = 0.0
    distance_mm: float = np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Mirror:
    """A filter as a plane mirror: its normal (3,), its centre (3,) [mm], and the plate that says how much it mirrors and passes."""

    name: str
    normal: FloatArray
    centre_mm: FloatArray
    plate: Plate


@dataclass(frozen=True, slots=True, kw_only=True)
class Ghost:
    """One ghost of one light.

    mirrors       names of the filters that mirror; one of them: the sensor is the other
    direction     (3,) where it seems to stand, from the lens
    picture_mm    (right, up) on the image plane from the lens axis; nan where the lens has no picture
    light_mm      where the light itself stands in the picture
    share         light of all faces together, relative to the light's own image
    nearest_share of which by one pair of faces alone: sensor and rear face, or the two faces that look at each other
    blur_mm       diameter to which it spreads a point
    radius_mm     half the size of the whole spot: the light's own width, mirrored, and the blur
    peak_share    its brightest place, relative to the brightest of the light's own image; spreading makes it weaker
    """

    light: str
    route: Route
    mirrors: tuple[str, ...]
    direction: FloatArray
    incidence_deg: float
    picture_mm: tuple[float, float]
    light_mm: tuple[float, float]
    share: float
    nearest_share: float
    blur_mm: float
    radius_mm: float
    peak_share: float

    @property
    def strength_stops(self) -> float:
        """How many stops below the light itself [stops]."""
        return float(loss_stops(self.share))


def mirrors_of(glasses: Sequence[Glass], light: FloatArray, pupil_mm: FloatArray) -> tuple[Mirror, ...]:
    """Filters as mirrors for a light in this direction; close-up lenses, whose faces are curved, are left out.

    A graduated filter passes what it passes where the light's chief ray goes through.
    """
    return tuple(_mirror(glass, light, pupil_mm) for glass in glasses if glass.kind is not GlassKind.CLOSE_UP)


def _mirror(glass: Glass, light: FloatArray, pupil_mm: FloatArray) -> Mirror:
    pose = glass.slab.pose
    normal = pose.rotation[:, 2]
    share = float(density_share(glass, np.array([_height_mm(pose, light, pupil_mm)]))[0])
    plate = Plate(index=glass.index, internal_transmittance=internal_transmittance(glass) ** share, reflectance=glass.reflectance)
    return Mirror(name=glass.name, normal=normal, centre_mm=pose.origin_mm, plate=plate)


def _height_mm(pose: Pose, light: FloatArray, pupil_mm: FloatArray) -> float:
    """How far above a filter's centre, along its own up, the light's chief ray goes through [mm]."""
    along = float(light @ pose.rotation[:, 2])
    reach = float((pose.origin_mm - pupil_mm) @ pose.rotation[:, 2]) / (along if abs(along) > 1e-9 else 1e-9)
    return float(pose.points_to_part(pupil_mm + reach * light)[1])


def pupil_mm(lens: LensState) -> FloatArray:
    """The middle of the paraxial pupil in the frame (3,); of an anamorphic lens the vertical one [mm]."""
    depth = lens.pupil.behind_front_mm
    return np.array([0.0, 0.0, -(depth[1] if isinstance(depth, tuple) else depth)])


def sharp_mm(lens: LensState) -> float:
    """Pupil to the sharp plane; inf at infinity [mm]."""
    return float(lens.object_z_mm - pupil_mm(lens)[2])


def picture_mm(lens: LensState, direction: ArrayLike) -> FloatArray:
    """Where directions (..., 3) lie in the picture (..., 2), right and up [mm]; nan where the lens has no picture of them."""
    d = np.asarray(direction, dtype=np.float64)
    d = d / np.linalg.norm(d, axis=-1, keepdims=True)
    seen = d[..., 2] > LARGEST_FIELD_COSINE
    tangent = frame_to_right_up(d[..., :2] / np.where(seen, d[..., 2], 1.0)[..., None])
    seen &= _inside_picture(lens, tangent)
    return np.where(seen[..., None], np.stack(picture_of(lens, tangent[..., 0], tangent[..., 1]), axis=-1), np.nan)


def _inside_picture(lens: LensState, tangent: FloatArray) -> NDArray[np.bool_]:
    """Whether field slopes (..., 2) lie on this side of a fold of the distortion, or of the edge of a traced picture (...)."""
    if lens.picture is not None:
        return np.hypot(tangent[..., 0], tangent[..., 1]) <= np.tan(lens.picture.end_rad)
    plain = picture_point(tangent[..., 0], tangent[..., 1], lens.projection, lens.field_focal_mm, lens.squeeze)
    return np.hypot(*plain) < distortion_fold(lens.distortion)[0] * lens.half_diagonal_mm


def _disc(light: Light) -> FloatArray:
    u = light.direction / np.linalg.norm(light.direction)
    across = cross_product(u, np.array([0.0, 1.0, 0.0] if abs(u[1]) < 0.9 else [1.0, 0.0, 0.0]))
    across /= np.linalg.norm(across)
    half = np.radians(light.half_width_deg)
    ring = _ROUND[:, :1] * across + _ROUND[:, 1:] * cross_product(u, across)
    found = np.concatenate([u[None], np.cos(half) * u + np.sin(half) * ring])
    found.flags.writeable = False
    return found


# The light's middle, then points round its rim, as unit vectors (1 + RIM_POINTS, 3); worked out once for a light, tilt after tilt.
disc_directions: Kept[Light, FloatArray] = Kept(_disc, 1024)


def spot_mm(lens: LensState, directions: FloatArray, blur_mm: float) -> tuple[FloatArray, float]:
    """Middle (2,) and radius of a spot by the directions of its middle and rim (1 + R, 3); radius nan where out of picture [mm]."""
    points = picture_mm(lens, directions)
    return points[0], float(np.hypot(*(points[1:] - points[0]).T).max()) + blur_mm / 2


LightBack = Callable[[Mirror, Light], float]  # the share of a light's image that comes back into the pupil off a filter


def _all_back(mirror: Mirror, light: Light) -> float:  # noqa: ARG001 - a LightBack
    return 1.0


def ghosts_of(
    lens: LensState,
    lights: Sequence[Light],
    glasses: Sequence[Glass],
    *,
    sensor_reflectance: float,
    on_sensor: Sequence[bool],
    back: LightBack = _all_back,
) -> tuple[Ghost, ...]:
    """Every ghost of every light: sensor and each filter where the light is on the sensor, and each pair of filters always.

    Of those off the sensor only what comes `back` into the pupil counts (raytrace.ghosts.returning).
    """
    found: list[Ghost] = []
    for light, lit in zip(lights, on_sensor, strict=True):
        mirrors = mirrors_of(glasses, light.direction, pupil_mm(lens))
        found += _sensor_ghosts(lens, light, mirrors, sensor_reflectance, back) if lit else ()
        found += _filter_ghosts(lens, light, mirrors)
    return tuple(found)


def _sensor_ghosts(
    lens: LensState, light: Light, mirrors: Sequence[Mirror], sensor_reflectance: float, back: LightBack
) -> Iterator[Ghost]:
    for k, mirror in enumerate(mirrors):
        caught = back(mirror, light)
        if caught <= 0.0:
            continue
        toward = near_ghost_direction(disc_directions(light), mirror.normal, plate_mm(lens, mirror), sharp_mm(lens))
        share, nearest = (sensor_reflectance * caught * value for value in back_share(mirrors, k, light.direction))
        blur = sensor_blur_mm(lens, mirror, light.distance_mm)
        yield _ghost(lens, light, (mirror,), Route.SENSOR, toward, (share, nearest), blur)


def sensor_blur_mm(lens: LensState, mirror: Mirror, light_mm: float) -> float:
    """Blur of a point's ghost between sensor and a filter, the lens taken as thin at its pupil [mm]."""
    sharp = thin_sharp_mm(lens)
    return ghost_blur_mm(lens.focal_mm, lens.f_number, sharp, plate_mm(lens, mirror), light_mm)


def plate_mm(lens: LensState, mirror: Mirror) -> float:
    """From the pupil's middle to a filter, along its normal [mm]."""
    return float((mirror.centre_mm - pupil_mm(lens)) @ mirror.normal)


def thin_sharp_mm(lens: LensState) -> float:
    """Sharp distance of the thin lens that stands for this one, f (1 + 1/m); inf at infinity [mm]."""
    if np.isinf(lens.focus_mm) or lens.focus_mm < 4 * lens.focal_mm:
        return sharp_mm(lens)
    return lens.focal_mm * (1.0 + 1.0 / magnification_of_focus(lens.focal_mm, lens.focus_mm))


def _filter_ghosts(lens: LensState, light: Light, mirrors: Sequence[Mirror]) -> Iterator[Ghost]:
    for near, far in combinations(range(len(mirrors)), 2):
        pair = (mirrors[near], mirrors[far])
        toward = double_direction(disc_directions(light), pair[0].normal, pair[1].normal)
        longer_mm = 2.0 * abs(float((pair[1].centre_mm - pair[0].centre_mm) @ pair[0].normal))
        blur = light_blur_mm(lens, light.distance_mm + longer_mm)
        yield _ghost(lens, light, pair, Route.FILTERS, toward, pair_share(mirrors, near, far, light.direction), blur)


def light_blur_mm(lens: LensState, distance_mm: float) -> float:
    """Blur of a point at a distance from the pupil, as the lens is focused [mm]."""
    image_mm = image_mm_of(lens.focal_mm, thin_sharp_mm(lens))
    return point_blur_mm(lens.focal_mm, lens.f_number, image_mm, -1.0 / distance_mm)


def _ghost(
    lens: LensState,
    light: Light,
    mirrors: tuple[Mirror, ...],
    route: Route,
    toward: FloatArray,
    shares: tuple[float, float],
    blur_mm: float,
) -> Ghost:
    middle, radius = spot_mm(lens, toward, blur_mm)
    own_middle, own_radius = spot_mm(lens, disc_directions(light), 0.0)
    own_blur = light_blur_mm(lens, light.distance_mm)
    return Ghost(
        light=light.name,
        route=route,
        mirrors=tuple(mirror.name for mirror in mirrors),
        direction=toward[0],
        incidence_deg=float(np.degrees(np.arccos(min(1.0, abs(float(light.direction @ mirrors[0].normal)))))),
        picture_mm=(float(middle[0]), float(middle[1])),
        light_mm=(float(own_middle[0]), float(own_middle[1])),
        share=shares[0],
        nearest_share=shares[1],
        blur_mm=blur_mm,
        radius_mm=radius,
        peak_share=shares[0] * spreading(radius - blur_mm / 2, blur_mm, own_radius, own_blur),
    )


def back_share(mirrors: Sequence[Mirror], which: int, light: FloatArray) -> tuple[float, float]:
    """Share of a light's image that a filter sends back to the lens: both faces, and its rear face alone.

    The filters nearer the lens are passed twice more. Mean over s and p, all inner reflections of a plate summed.

    Source: Fresnel's formulas, docs/physics.md, "Glass".
    """
    direct, passed = _passing(mirrors, light)
    between = _product([passed[i] ** 2 for i in range(which)])
    angle = _incidence_rad(mirrors[which], light)
    plate = mirrors[which].plate
    whole = np.array(plate_sp(angle, plate)[1])
    rear = np.array(face_reflectance(angle, plate.index, plate.reflectance))
    return _relative(direct, between * whole), _relative(direct, between * rear)


def pair_share(mirrors: Sequence[Mirror], near: int, far: int, light: FloatArray) -> tuple[float, float]:
    """Share of a light that two filters mirror between them once back and forth: all faces, and the two facing ones alone."""
    direct, passed = _passing(mirrors, light)
    between = _product([passed[i] ** 2 for i in range(near + 1, far)])
    whole, facing = np.ones(2), np.ones(2)
    for k in (near, far):
        angle, plate = _incidence_rad(mirrors[k], light), mirrors[k].plate
        whole = whole * np.array(plate_sp(angle, plate)[1])
        facing = facing * np.array(face_reflectance(angle, plate.index, plate.reflectance))
    return _relative(direct, between * whole), _relative(direct, between * facing)


def _incidence_rad(mirror: Mirror, light: FloatArray) -> float:
    return float(np.arccos(min(1.0, abs(float(light @ mirror.normal)))))


def _passing(mirrors: Sequence[Mirror], light: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
    """Transmittance for s and p (2,) of all filters together, and of each."""
    each = [np.array(plate_sp(_incidence_rad(mirror, light), mirror.plate)[0]) for mirror in mirrors]
    return _product(each), each


def _product(factors: Sequence[FloatArray]) -> FloatArray:
    return np.asarray(np.prod(np.array([np.ones(2), *factors]), axis=0))


def _relative(direct: FloatArray, share: FloatArray) -> float:
    return float((direct * share).sum() / direct.sum())
