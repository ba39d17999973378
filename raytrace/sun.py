"""Where the sun stands for a place and a moment, and where that is for a camera that looks some way. Opens nothing.

Published low-accuracy theory of the sun (good to 0.01 deg from 1950 to 2050, some hundredths of its own width): docs/ghosts.md,
"The sun".
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geometry.arrays import FloatArray
from geometry.frame import light_direction

BoolArray = NDArray[np.bool_]

J2000 = 2451545.0  # Julian day of 2000-01-01 12:00
UNIX_EPOCH = 2440587.5  # Julian day of 1970-01-01 00:00 UTC
CENTURY_DAYS = 36525.0
CLOCK_BEHIND_S = 69.0  # terrestrial time minus UTC now; a minute moves the sun along its path by 0.0007 deg
HALF_WIDTH_AT_1_AU_DEG = 959.63 / 3600.0  # Auwers' value (from memory)
PARALLAX_DEG = 8.794 / 3600.0  # the earth's radius seen from the sun
STANDARD_MBAR, STANDARD_C = 1010.0, 10.0  # the air that the refraction formula is written for
LOWEST_REFRACTED_DEG = -1.0  # lower the sun is set, refraction or not, and the formula runs wild
DAY_MINUTES = 1440

Reaches = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """What bends the light of a low sun: pressure and temperature at the place."""

    pressure_mbar: float = STANDARD_MBAR
    temperature_c: float = STANDARD_C


@dataclass(frozen=True, slots=True, kw_only=True)
class SunInSky:
    """The sun above a place at M moments.

    compass_deg  (M,) clockwise from true north, 0 to 360
    height_deg   (M,) of the sun's centre above a level horizon, as it looks through the air
    true_height_deg (M,) the same without air
    width_deg    (M,) how wide the sun looks
    """

    compass_deg: FloatArray
    height_deg: FloatArray
    true_height_deg: FloatArray
    width_deg: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SolarCoordinates:
    """The sun seen from the earth: apparent longitude, right ascension, declination [deg]; distance [astronomical units]."""

    longitude_deg: FloatArray
    right_ascension_deg: FloatArray
    declination_deg: FloatArray
    distance_au: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the camera stands: latitude north and longitude east positive; where it looks: clockwise from true north, and up."""

    latitude_deg: float
    longitude_deg: float
    camera_heading_deg: float = 0.0
    camera_tilt_deg: float = 0.0
    air: Air = Air()


@dataclass(frozen=True, slots=True, kw_only=True)
class SunPath:
    """The sun through a day, minute by minute, as the camera has it.

    azimuth_deg, elevation_deg (M,) in the camera's frame: 0 straight ahead, positive to the operator's right and above
    direction  (M, 3) unit vectors from the lens toward the sun
    up         (M,) whether any of the sun's disc is above a level horizon
    in_frame   (M,) whether any of the sun's disc is in the recorded picture, clouds and hills not counted
    reach      (M,) share of the target that the sun's middle lights through the box; 0 while it is down
    """

    moments: tuple[dt.datetime, ...]
    sky: SunInSky
    azimuth_deg: FloatArray
    elevation_deg: FloatArray
    direction: FloatArray
    up: BoolArray
    in_frame: BoolArray
    reach: FloatArray


def julian_day(moment: dt.datetime) -> float:
    """Julian day of a moment that knows its offset from UTC."""
    return moment.timestamp() / 86400.0 + UNIX_EPOCH


def solar_coordinates(julian_day_tt: ArrayLike) -> SolarCoordinates:
    """The sun's apparent place at Julian days of terrestrial time.

    Mean longitude L and anomaly M, equation of centre C, aberration and the largest term of nutation.

    Source: Meeus, Astronomical Algorithms, 2nd ed., chapter 25, low accuracy (from memory); docs/ghosts.md, "The sun".
    """
    t = (np.asarray(julian_day_tt, dtype=np.float64) - J2000) / CENTURY_DAYS
    mean_longitude = 280.46646 + t * (36000.76983 + 0.0003032 * t)
    anomaly_deg = 357.52911 + t * (35999.05029 - 0.0001537 * t)
    anomaly = np.radians(anomaly_deg)
    eccentricity = 0.016708634 - t * (0.000042037 + 0.0000001267 * t)
    centre_deg = (
        (1.914602 - t * (0.004817 + 0.000014 * t)) * np.sin(anomaly)
        + (0.019993 - 0.000101 * t) * np.sin(2 * anomaly)
        + 0.000289 * np.sin(3 * anomaly)
    )
    distance = 1.000001018 * (1 - eccentricity**2) / (1 + eccentricity * np.cos(np.radians(anomaly_deg + centre_deg)))
    longitude_deg = (mean_longitude + centre_deg - 0.00569 + nutation_deg(t)) % 360.0
    longitude, tilt = np.radians(longitude_deg), np.radians(obliquity_deg(t))
    return SolarCoordinates(
        longitude_deg=longitude_deg,
        right_ascension_deg=np.degrees(np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))) % 360.0,
        declination_deg=np.degrees(np.arcsin(np.sin(tilt) * np.sin(longitude))),
        distance_au=distance,
    )


def _node_rad(t: FloatArray) -> FloatArray:
    return np.radians(125.04 - 1934.136 * t)


def nutation_deg(t: FloatArray) -> FloatArray:
    """Largest term of nutation in longitude, t in Julian centuries from 2000 [deg]. Source: Meeus, chapter 25 (from memory)."""
    return -0.00478 * np.sin(_node_rad(t))


def obliquity_deg(t: FloatArray) -> FloatArray:
    """Tilt of the earth's axis against its path, nutation included [deg]. Source: Meeus, chapters 22 and 25 (from memory)."""
    mean = 23.0 + (26.0 + (21.448 - t * (46.8150 + t * (0.00059 - 0.001813 * t))) / 60.0) / 60.0
    return mean + 0.00256 * np.cos(_node_rad(t))


def sidereal_deg(julian_day_ut: ArrayLike) -> FloatArray:
    """Apparent sidereal time at Greenwich [deg]. Source: Meeus, chapter 12 (from memory)."""
    days = np.asarray(julian_day_ut, dtype=np.float64) - J2000
    t = days / CENTURY_DAYS
    mean = 280.46061837 + 360.98564736629 * days + t * t * (0.000387933 - t / 38710000.0)
    return (mean + nutation_deg(t) * np.cos(np.radians(obliquity_deg(t)))) % 360.0


def refraction_deg(true_height_deg: ArrayLike, air: Air) -> FloatArray:
    """How much higher a body looks through the air, R = P/1010 283/(273+T) 1.02' / tan(h + 10.3 / (h + 5.11)); 0 when set [deg].

    Source: Saemundsson's formula, Meeus, chapter 16; also NREL/TP-560-34302, equation 42 (both from memory).
    """
    h = np.asarray(true_height_deg, dtype=np.float64)
    shown = np.maximum(h, LOWEST_REFRACTED_DEG)
    standard = 1.02 / 60.0 / np.tan(np.radians(shown + 10.3 / (shown + 5.11)))
    bent = air.pressure_mbar / STANDARD_MBAR * (273.0 + STANDARD_C) / (273.0 + air.temperature_c) * standard
    return np.where(h >= LOWEST_REFRACTED_DEG, bent, 0.0)


def sun_in_sky(moments: Sequence[dt.datetime], site: Site) -> SunInSky:
    """The sun above a place.

    sin h = sin phi sin delta + cos phi cos delta cos H, with the hour angle H = sidereal time + longitude - right ascension.

    Source: Meeus, chapter 13 (from memory); docs/ghosts.md, "The sun".
    """
    days = np.array([julian_day(moment) for moment in moments])
    sun = solar_coordinates(days + CLOCK_BEHIND_S / 86400.0)
    hour = np.radians(sidereal_deg(days) + site.longitude_deg - sun.right_ascension_deg)
    phi, delta = np.radians(site.latitude_deg), np.radians(sun.declination_deg)
    height = np.arcsin(np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.cos(hour))
    east, north = -np.cos(delta) * np.sin(hour), np.sin(delta) * np.cos(phi) - np.cos(delta) * np.cos(hour) * np.sin(phi)
    true_deg = np.degrees(height) - PARALLAX_DEG * np.cos(height) / sun.distance_au
    return SunInSky(
        compass_deg=np.degrees(np.arctan2(east, north)) % 360.0,
        height_deg=true_deg + refraction_deg(true_deg, site.air),
        true_height_deg=true_deg,
        width_deg=sun_width_deg(sun.distance_au),
    )


def sun_width_deg(distance_au: ArrayLike) -> FloatArray:
    """How wide the sun looks at a distance in astronomical units, 2 x 959.63" / R [deg]. Source: as HALF_WIDTH_AT_1_AU_DEG."""
    return 2.0 * HALF_WIDTH_AT_1_AU_DEG / np.asarray(distance_au, dtype=np.float64)


def camera_angles(
    compass_deg: ArrayLike, height_deg: ArrayLike, heading_deg: float, tilt_deg: float
) -> tuple[FloatArray, FloatArray]:
    """Azimuth and elevation in the camera's frame of a direction in the sky; the camera is level from side to side [deg].

    The camera looks `tilt_deg` up along the compass heading: turn by the heading, then about the level axis by the tilt.
    """
    beside = np.radians(np.asarray(compass_deg, dtype=np.float64) - heading_deg)
    high, tilt = np.radians(np.asarray(height_deg, dtype=np.float64)), np.radians(tilt_deg)
    right, up, along = np.cos(high) * np.sin(beside), np.sin(high), np.cos(high) * np.cos(beside)
    above, ahead = up * np.cos(tilt) - along * np.sin(tilt), up * np.sin(tilt) + along * np.cos(tilt)
    return np.degrees(np.arctan2(right, ahead)), np.degrees(np.arcsin(np.clip(above, -1.0, 1.0)))


def minutes_of_day(day: dt.datetime, step_minutes: int = 1) -> tuple[dt.datetime, ...]:
    """Moments of the day on which `day` falls, midnight to midnight by its own offset from UTC."""
    midnight = day.replace(hour=0, minute=0, second=0, microsecond=0)
    return tuple(midnight + dt.timedelta(minutes=minute) for minute in range(0, DAY_MINUTES, step_minutes))


InPicture = Callable[[FloatArray, FloatArray], BoolArray]


def sun_path(moments: Sequence[dt.datetime], site: Site, *, in_picture: InPicture, reaches: Reaches) -> SunPath:
    """The sun at given moments as the camera and the glass have it.

    in_picture tells of directions (M, 3) and widths (M,) [deg] whether any of such a light is in the recorded picture;
    reaches gives the share of the target that directions (M, 3) light. It is asked only while the sun is up.
    """
    sky = sun_in_sky(moments, site)
    azimuth, elevation = camera_angles(sky.compass_deg, sky.height_deg, site.camera_heading_deg, site.camera_tilt_deg)
    direction = np.array([light_direction(a, e) for a, e in zip(azimuth, elevation, strict=True)])
    up = sky.height_deg + sky.width_deg / 2 > 0.0
    reach = np.zeros(len(direction))
    reach[up] = reaches(direction[up])
    return SunPath(
        moments=tuple(moments),
        sky=sky,
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        direction=direction,
        up=up,
        in_frame=up & in_picture(direction, sky.width_deg),
        reach=reach,
    )


def spans(moments: Sequence[dt.datetime], holds: BoolArray) -> tuple[tuple[dt.datetime, dt.datetime], ...]:
    """First and last moment of each unbroken run in which something holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    return tuple((moments[first], moments[after - 1]) for first, after in zip(edges[::2], edges[1::2], strict=True))
