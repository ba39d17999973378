"""Lengths from front to sensor that put the sensor next to the pupil, and copies of one lens that differ, get a word.

Published: pupil behind the first vertex and image plane behind it, by first order from the surfaces, in mm, scaled.
"""

import pytest

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene

PUBLISHED = {
    "US 4,448,497 ex. 1": (50, 25.0, 78.0),
    "US 4,099,850": (28, 21.1, 86.3),
    "US 3,506,336": (35, 22.4, 92.0),
    "DE 953,471": (35, 29.4, 83.0),
    "US 1,955,591": (28, 13.1, 41.2),
}
NEAR, SHORT, AGAIN = (
    "mm ahead of the sensor",
    "is less than half of what the other lenses with such a front have",
    "has the focal length, stop",
)


def lens(name, focal_mm, length_mm, depth, more=""):
    return (
        f'[[lens]]\nname = "{name}"\nfocal_mm = {focal_mm}\nf_number = 2\nfront_diameter_mm = 110\nclose_focus_mm = 500\n'
        f"front_to_sensor_mm = {length_mm}\n{depth if isinstance(depth, str) else f'pupil_behind_front_mm = {depth}'}\n{more}\n"
    )


def rows(depths):
    return "".join(
        f"[[lens.state]]\nfocal_mm = {focal}\npupil_behind_front_mm = {depth}\nfront_travel_mm = {travel}\n"
        for focal, depth, travel in depths
    )


def told(words, *lenses):
    scene = parse_scene(f'brimline = 1\n[camera]\nformat = "36x24"\n{"".join(lenses)}[box]\nahead_mm = 2\n', source="s.toml")
    notes = [(note.part, note.text) for lens in scene.lens for note in doubtful_notes(scene, lens)]
    return [(part, text) for part, text in notes if words in text]


@pytest.mark.parametrize(("focal", "depth", "length"), PUBLISHED.values(), ids=PUBLISHED)
def test_published_primes_have_their_pupil_far_enough_ahead_of_the_sensor(focal, depth, length):
    assert told(NEAR, lens("a", focal, length, depth)) == []


def test_a_pupil_next_to_the_sensor_of_a_wide_prime_is_told_with_both_numbers():
    ((_, text),) = told(NEAR, lens("18", 18, 48, 33))
    assert text.startswith("front_to_sensor_mm = 48 and pupil_behind_front_mm = 33 put the pupil 15 mm ahead of the sensor")
    assert told(NEAR, lens("18", 18, 48, 33, 'confirmed = ["front_to_sensor_mm"]')) == []
    assert told(NEAR, lens("18", 18, 148, 33)) == []
    assert told(NEAR, lens("85", 85, 120, 80)) == []  # telephotos may


@pytest.mark.parametrize(("length", "is_told"), [(96, True), (196, False)])
def test_a_zoom_is_held_to_it_at_each_focal_length_with_its_front_out(length, is_told):
    zoom = lens("24-70", 24, length, rows([(24, 34, 0), (35, 44, 4), (50, 57, 11), (70, 74, 18)]))
    assert [text for _, text in told("put the pupil 40 mm ahead of the sensor, of focal_mm = 70", zoom)] != [] or not is_told
    assert bool(told(NEAR, zoom)) == is_told


def test_the_long_end_of_a_published_tele_zoom_gets_no_word():
    assert told(NEAR, lens("80-200", 80, 256, rows([(80, 81, 0), (140, 152, 0), (200, 250, 0)]))) == []  # JP S53-131852


def test_a_length_far_off_the_set_is_told_and_small_lenses_beside_large_ones_are_not():
    rest = [lens(f"{focal}", focal, length, 40) for focal, length in ((25, 146), (40, 144), (75, 152))]
    ((part, text),) = told(SHORT, lens("18", 18, 68, 33), *rest)
    assert part == "18"
    assert "front_to_sensor_mm = 68 is less than half of what" in text
    assert "146, 144, 152" in text
    assert told(SHORT, lens("18", 18, 74, 33), *rest) == []
    assert told(SHORT, lens("18", 18, 68, 33).replace("= 110", "= 80"), *rest) == []
    assert told(SHORT, lens("18", 18, 68, 33), *rest[:1]) == []


def test_a_spare_copy_of_a_lens_with_another_pupil_is_told():
    ((part, text),) = told(AGAIN, lens("18", 18, 148, 13), lens("18 spare", 18, 148, 33))
    assert part == "18 spare"
    assert "pupil_behind_front_mm = 33, not 13: one is wrong" in text


@pytest.mark.parametrize(
    "other",
    [
        lens("b", 18, 148, 35),
        lens("b", 18, 151, 13),
        lens("b", 21, 148, 13),
        lens("b", 18, 148, 13, 'confirmed = ["pupil_behind_front_mm"]'),
        lens("b", 18, 148, "pupil_behind_front_mm = [10, 20]"),
    ],
)
def test_lenses_that_differ_otherwise_or_by_a_little_are_no_copies(other):
    assert told(AGAIN, lens("a", 18, 148, 33), other) == []


ZOOM = [(24, 52, 0), (70, 120, 0)]


@pytest.mark.parametrize(
    ("depths", "more", "length", "is_told"),
    [
        ([(24, 52, 0), (70, 60, 0)], "", 225, True),
        ([(24, 52, 0), (70, 117, 0)], "", 225, False),
        ([(24, 52, 0), (70, 60, 0)], "", 240, False),
        ([(28, 52, 0), (70, 60, 0)], "", 225, False),
        ([(24, 52, 0), (70, 60, 0)], 'confirmed = ["pupil_behind_front_mm"]\n', 225, False),
    ],
)
def test_a_spare_copy_of_a_zoom_with_another_pupil_at_one_focal_length_is_told(depths, more, length, is_told):
    found = told("has the focal lengths, stop", lens("a", 24, 225, rows(ZOOM)), lens("b", 24, length, more + rows(depths)))
    text = 'front and length of "a", but pupil_behind_front_mm = 60 at focal_mm = 70, focus infinity, not 120: one is wrong'
    assert [part for part, words in found if text in words] == ["b"] * is_told
    assert len(found) == is_told
