"""A walk that runs far beyond the picture's corner gets a word: the corner lies at atan(r / f), or at r / f of an equidistant lens.

Projections: Ray, Applied Photographic Optics (from memory); r = 21.63 mm of a picture of 36 x 24 mm, by Pythagoras.
"""

import pytest

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene


def told(focal_mm, last_deg, more="", camera="width_mm = 36\nheight_mm = 24"):
    walk = f"pupil_walk = [[0, 40, 1, 1], [15, 39.5, 0.99, 1], [30, 38.5, 0.96, 0.99], [{last_deg}, 36.5, 0.86, 0.97]]"
    lens = f'[[lens]]\nname = "A"\nfocal_mm = {focal_mm}\nf_number = 2.8\nfront_diameter_mm = 114\n{walk}\n{more}\n'
    scene = parse_scene(f"brimline = 1\n[camera]\n{camera}\n{lens}[box]\nahead_mm = 4\n", source="s.toml")
    return [note.text for note in doubtful_notes(scene, scene.lens[0]) if "put the picture's corner" in note.text]


@pytest.mark.parametrize(
    ("focal_mm", "last_deg", "words"),
    [
        (31, 46, "corner at 34.9 deg, and pupil_walk runs to 46, just the corner of focal_mm = 21"),
        (18, 70, 'corner at 50.2 deg, and pupil_walk runs to 70, just the corner of projection = "equidistant"'),
        (53, 32, "corner at 22.2 deg, and pupil_walk runs to 32, just the corner of focal_mm = 35"),
        (40, 55, "check focal_mm, projection and the camera's width_mm and height_mm, unless it was measured for a larger picture"),
    ],
)
def test_a_walk_far_beyond_the_corner_is_told_with_what_would_put_the_corner_there(focal_mm, last_deg, words):
    (text,) = told(focal_mm, last_deg)
    assert words in text


@pytest.mark.parametrize(
    ("focal_mm", "last_deg", "more"),
    [(21, 46, ""), (21, 52, ""), (18, 70, 'projection = "equidistant"'), (31, 46, 'confirmed = ["focal_mm"]')],
)
def test_a_walk_to_the_corner_or_a_little_beyond_or_of_a_lens_that_is_confirmed_gets_no_word(focal_mm, last_deg, more):
    assert told(focal_mm, last_deg, more) == []
