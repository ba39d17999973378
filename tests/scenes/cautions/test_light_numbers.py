"""Lights whose numbers speak against their name, the clock or the sky get a word; a sun that has set lit nothing without one.

Clocks: UTC offsets of real places (from memory); the sun's height is the program's own, held against Meeus elsewhere.
"""

import pytest

from scenes.cautions.light_numbers import light_number_words
from scenes.scene_file.parse import parse_scene

LENS = '[[lens]]\nname = "a"\nfocal_mm = 40\nf_number = 2\nfront_diameter_mm = 94\npupil_behind_front_mm = 50\n'


def told(light, name="key"):
    text = f'brimline = 1\n[camera]\nformat = "36x24"\n{LENS}[box]\nahead_mm = 2\n[[light]]\nname = "{name}"\n{light}\n'
    return [words for _, words in light_number_words(parse_scene(text, source="s.toml"))]


def sun(latitude, longitude, time):
    return f"sun = {{ latitude_deg = {latitude}, longitude_deg = {longitude}, time = {time}, camera_heading_deg = 200 }}"


@pytest.mark.parametrize(
    ("name", "light", "is_told"),
    [
        ("edge lamp left", "position_mm = [2600, 1900, 1500]\nsize_mm = 400", True),
        ("edge lamp left", "position_mm = [-2600, 1900, 1500]\nsize_mm = 400", False),
        ("right kicker", "position_mm = [-2600, 1900, -900]\nsize_mm = 400", True),
        ("sun back right", "azimuth_deg = -65\nelevation_deg = 35", True),
        ("sun back right", "azimuth_deg = 65\nelevation_deg = 35", False),
        ("right window", "azimuth_deg = 300\nelevation_deg = 35", True),
        ("left of right door", "azimuth_deg = 65\nelevation_deg = 35", False),
        ("left lamp", "position_mm = [20, 1900, 1500]\nsize_mm = 400", False),
        ("bright lamp", "azimuth_deg = -65\nelevation_deg = 35", False),
    ],
)
def test_a_light_on_the_other_side_than_its_name_says_is_told(name, light, is_told):
    assert any("against its name; positive is right" in text for text in told(light, name)) == is_told


@pytest.mark.parametrize(
    ("name", "light", "words"),
    [
        (
            "window 50 deg",
            "azimuth_deg = 5\nelevation_deg = 20",
            "azimuth_deg = 5 and elevation_deg = 20 speak against its name, 50 deg",
        ),
        ("window 50 deg", "azimuth_deg = -50\nelevation_deg = 20", ""),
        ("sun 20 deg up", "azimuth_deg = 50\nelevation_deg = 20", ""),
        ("backlight 30 deg", "azimuth_deg = 150\nelevation_deg = 20", ""),
        ("backlight 30 deg", "azimuth_deg = 130\nelevation_deg = 20", "speak against its name, 30 deg"),
        ("lamp 19 degree lens", "azimuth_deg = 50\nelevation_deg = 20", ""),
        ("lamp at 3 m", "position_mm = [-2600, 1900, 1500]", ""),
        ("lamp at 8 m", "position_mm = [-2600, 1900, 1500]", "[-2600, 1900, 1500], 3.6 m away, speaks against its name, 8 m"),
        ("lamp 2 m up", "position_mm = [-2600, 1900, 1500]", ""),
        ("1.2 m tube", "position_mm = [-2600, 1900, 1500]", ""),
        ("2 m frame at 8 m", "position_mm = [-260, 190, 150]", "speaks against its name, 8 m"),
        ("lamp max 8 m away", "position_mm = [-2600, 1900, 1500]", ""),
    ],
)
def test_a_light_called_by_another_angle_or_distance_than_its_own_is_told(name, light, words):
    """2.6 m left, 1.9 m up and 1.5 m ahead is 3.55 m away, by Pythagoras; 3.0 m along the floor."""
    texts = [text for text in told(f"{light}\n" + ("size_mm = 400" if "position" in light else ""), name) if "its name" in text]
    assert [words in text for text in texts] == [True] * bool(words)


@pytest.mark.parametrize(("size", "is_told"), [(0.4, True), (1.2, True), (0, False), (10, False), (400, False)])
def test_a_lamp_of_a_mm_is_told(size, is_told):
    texts = told(f"position_mm = [-2600, 1900, 1500]\nsize_mm = {size}")
    assert any("written in m? It would be" in text for text in texts) == is_told


@pytest.mark.parametrize(
    ("place", "is_told"),
    [
        ((34.05, 118.24, "2024-12-21T15:00:00-08:00"), True),  # Los Angeles, its west lost
        ((34.05, -118.24, "2024-12-21T15:00:00-08:00"), False),
        ((53.55, 10.0, "2026-06-21T17:30:00-07:00"), True),
        ((53.55, 10.0, "2026-06-21T15:30:00Z"), False),
        ((39.5, 76.0, "2026-06-21T15:30:00+08:00"), False),  # Kashgar keeps the clock of Beijing
        ((42.9, -9.2, "2026-06-21T17:30:00+02:00"), False),  # Galicia in summer
        ((-13.8, -172.0, "2026-06-21T13:30:00+13:00"), False),  # Samoa
    ],
)
def test_a_clock_of_another_part_of_the_world_is_told(place, is_told):
    assert any("hours off the clock" in text for text in told(sun(*place))) == is_told


@pytest.mark.parametrize(
    ("place", "is_told"),
    [
        ((53.55, 10.0, "2026-06-21T03:30:00+02:00"), True),
        ((53.55, 10.0, "2026-12-21T17:30:00+01:00"), True),
        ((-53.55, 10.0, "2026-06-21T17:30:00+02:00"), True),  # its north turned: winter there
        ((53.55, 10.0, "2026-06-21T17:30:00+02:00"), False),
        ((69.6, 19.0, "2026-06-21T00:30:00+02:00"), False),  # Tromso at midnight in June
    ],
)
def test_a_sun_below_the_horizon_is_told(place, is_told):
    assert any("has the sun below the horizon" in text for text in told(sun(*place))) == is_told


@pytest.mark.parametrize(
    ("name", "time", "words"),
    [
        ("low sun", "2026-03-12T12:10:00-07:00", "51 deg up, high for what its name calls low"),
        ("sunset", "2026-03-12T14:10:00-07:00", "high for what its name calls low"),
        ("evening sun", "2026-03-12T08:10:00-07:00", "still rising, against the end of the day in its name"),
        ("morning sun", "2026-03-12T17:10:00-07:00", "sinking, against the morning in its name"),
        ("low sun", "2026-03-12T17:10:00-07:00", ""),
        ("evening sun", "2026-03-12T17:10:00-07:00", ""),
        ("morning sun", "2026-03-12T09:10:00-07:00", ""),
        ("afternoon sun", "2026-03-12T13:10:00-07:00", ""),
        ("noon sun", "2026-03-12T12:10:00-07:00", ""),
    ],
)
def test_a_sun_at_another_time_of_the_day_than_its_name_says_is_told(name, time, words):
    """Los Angeles in March: noon by the sun is at 13:03 on the clock; it is 53 degrees up then."""
    texts = told(sun(34.05, -118.25, time), name)
    assert texts == [] if not words else words in texts[0]


def test_a_low_sun_by_an_elevation_far_up_is_told_and_a_low_lamp_is_not():
    (text,) = told("azimuth_deg = 20\nelevation_deg = 51", "low sun")
    assert text.startswith("elevation_deg = 51 is high for what its name calls low")
    assert told("azimuth_deg = 20\nelevation_deg = 51", "low lamp") == []
    assert told("azimuth_deg = 20\nelevation_deg = 11", "low sun") == []


def test_a_clock_of_another_place_by_which_the_sun_has_set_says_that_it_is_not_looked_at():
    (text,) = told(sun(34.05, -118.25, "2026-03-12T17:10:00+07:00"), "low sun")
    assert "hours off the clock" in text
    assert text.endswith("By these the sun is below the horizon, so it is not looked at")
