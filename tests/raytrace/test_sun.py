"""The sun's place against published worked examples and other programs; the camera's view of it against plain geometry."""

import datetime as dt

import numpy as np
import pytest

from raytrace.sun import (
    Air,
    Site,
    camera_angles,
    julian_day,
    minutes_of_day,
    refraction_deg,
    solar_coordinates,
    spans,
    sun_in_sky,
    sun_path,
    sun_width_deg,
)

SUN_TOLERANCE_DEG = 0.02  # the sun's radius is 0.27 deg
GOLDEN = dt.datetime(2003, 10, 17, 12, 30, 30, tzinfo=dt.timezone(dt.timedelta(hours=-7)))


def sky(moment, latitude_deg, longitude_deg, **air):
    return sun_in_sky([moment], Site(latitude_deg=latitude_deg, longitude_deg=longitude_deg, air=Air(**air)))


def utc(*when):
    return dt.datetime(*when, tzinfo=dt.UTC)


def test_the_worked_example_of_the_published_algorithm_comes_out():
    # NREL/TP-560-34302, example: apparent zenith 50.11162, azimuth 194.34024, without air 39.872046 high
    found = sky(GOLDEN, 39.742476, -105.1786, pressure_mbar=820.0, temperature_c=11.0)
    assert 90 - found.height_deg[0] == pytest.approx(50.11162, abs=SUN_TOLERANCE_DEG)
    assert found.true_height_deg[0] == pytest.approx(39.872046, abs=SUN_TOLERANCE_DEG)
    assert found.compass_deg[0] == pytest.approx(194.34024, abs=SUN_TOLERANCE_DEG)


def test_the_suns_coordinates_match_the_textbook_example():
    # Meeus, Astronomical Algorithms, example 25.a (from memory): 1992-10-13 0h TD
    found = solar_coordinates(julian_day(utc(1992, 10, 13)))
    assert found.longitude_deg == pytest.approx(199.90895, abs=2e-5)
    assert found.declination_deg == pytest.approx(-7.78507, abs=2e-5)
    assert found.distance_au == pytest.approx(0.99766, abs=5e-6)


@pytest.mark.parametrize(
    ("moment", "latitude", "longitude", "height", "compass"),
    [
        # pvlib 0.16.1, its implementation of the NREL algorithm; heights without air
        (utc(2024, 6, 20, 12), 51.5, 0.0, 61.93472, 179.16844),
        (utc(2024, 12, 21, 23), 34.05, -118.24, 17.12407, 224.71955),
        (utc(2024, 3, 20, 6), -33.87, 151.21, 24.99917, 288.30760),
    ],
)
def test_the_sun_stands_where_an_exact_program_puts_it(moment, latitude, longitude, height, compass):
    found = sky(moment, latitude, longitude)
    assert found.true_height_deg[0] == pytest.approx(height, abs=SUN_TOLERANCE_DEG)
    assert found.compass_deg[0] == pytest.approx(compass, abs=SUN_TOLERANCE_DEG)


@pytest.mark.parametrize(("distance", "width"), [(1.0, 0.53312778), (0.98329, 0.54218773), (1.01671, 0.52436563)])
def test_the_sun_looks_wider_in_january(distance, width):
    assert sun_width_deg(distance) == pytest.approx(width, abs=5e-9)  # 2 x 959.63" / R


def test_air_lifts_the_setting_sun_by_its_own_width():
    assert refraction_deg(0.0, Air()) == pytest.approx(29 / 60, abs=1 / 60)  # 29' at the horizon, almanacs (from memory)
    assert refraction_deg(90.0, Air()) == pytest.approx(0.0, abs=1e-4)
    assert refraction_deg(-20.0, Air()) == 0.0


def test_the_moment_counts_not_the_clock_that_says_it():
    local, same = GOLDEN, GOLDEN.astimezone(dt.UTC)
    assert sky(local, 39.7, -105.2).compass_deg == sky(same, 39.7, -105.2).compass_deg
    assert julian_day(utc(2000, 1, 1, 12)) == 2451545.0  # J2000 by definition


def test_what_lies_clockwise_of_the_heading_is_on_the_operators_right():
    azimuth, elevation = camera_angles(250.0, 0.0, 230.0, 0.0)
    assert (azimuth, elevation) == (pytest.approx(20.0), pytest.approx(0.0))
    assert camera_angles(200.0, 10.0, 230.0, 0.0)[0] < 0


def test_a_camera_that_looks_up_has_the_sky_lower():
    assert camera_angles(230.0, 35.0, 230.0, 12.0) == (pytest.approx(0.0, abs=1e-9), pytest.approx(23.0))
    # Straight overhead, seen from a camera that looks 12 deg past it from the back: behind and above
    azimuth, elevation = camera_angles(0.0, 90.0, 230.0, 12.0)
    assert elevation == pytest.approx(78.0)
    assert abs(azimuth) == pytest.approx(0.0, abs=1e-9)
    # Due right stays level with the lens whatever the tilt: the camera turns about that line
    assert camera_angles(320.0, 0.0, 230.0, 12.0) == (pytest.approx(90.0), pytest.approx(0.0, abs=1e-9))


def test_the_path_asks_for_the_glass_only_while_the_sun_is_up():
    asked = []

    def reaches(direction):
        asked.append(len(direction))
        return np.where(direction[:, 0] < 0, 0.75, 0.0)  # open to the operator's right only

    site = Site(latitude_deg=51.5, longitude_deg=0.0, camera_heading_deg=150.0)
    moments = minutes_of_day(utc(2024, 6, 20, 9))
    path = sun_path(moments, site, in_picture=lambda d, _: d[:, 2] > 0.9, reaches=reaches)
    assert asked == [int(path.up.sum())]
    # Sunrise and sunset at Greenwich on 20 June, civil almanac to the minute (from memory): 03:43 and 20:21 UTC
    ((rise, fall),) = spans(moments, path.up)
    assert abs((rise - utc(2024, 6, 20, 3, 43)).total_seconds()) <= 120
    assert abs((fall - utc(2024, 6, 20, 20, 21)).total_seconds()) <= 120
    lit = spans(moments, path.reach > 0)[0][0]
    assert lit == moments[int(np.flatnonzero(path.up & (path.azimuth_deg > 0))[0])]
    assert not path.in_frame[~path.up].any()


def test_spans_are_unbroken_runs():
    moments = minutes_of_day(utc(2024, 6, 20), step_minutes=240)
    found = spans(moments, np.array([True, True, False, True, False, True]))
    assert [(a.hour, b.hour) for a, b in found] == [(0, 4), (12, 12), (20, 20)]
