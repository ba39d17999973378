"""A walk far beyond the picture's corner is told with what would have the corner there; one measured for larger film is not.

Corners are atan(d / f) of a rectilinear lens and d / f rad of an equidistant one (any textbook), d half the diagonal: 21.63 mm of
36 x 24. The numbers of the walks are invented.
"""

import pytest

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene

SCENE = """
brimline = 1
[camera]
{size}
[[lens]]
name = "A"
focal_mm = {focal}
f_number = 2.8
front_diameter_mm = 114
projection = "{projection}"
pupil_walk = [[0, 40, 1, 1], [15, 39.5, 1, 1], [30, 38.5, 1, 1], [{last}, 37.5, 1, 1]]
[box]
ahead_mm = 4
"""
FILM, SMALL = "width_mm = 36\nheight_mm = 24", "width_mm = 24.9\nheight_mm = 18.7"


def told(focal, last, projection="rectilinear", size=FILM):
    scene = parse_scene(SCENE.format(focal=focal, last=last, projection=projection, size=size), source="s.toml")
    return [note.text for note in doubtful_notes(scene, scene.lens[0]) if note.text.startswith("pupil_walk goes")]


@pytest.mark.parametrize(
    ("focal", "last", "words"),
    [
        (18, 68.9, 'corner is at 50.2 deg; "equidistant" would have it at 68.9 deg'),
        (31, 46, "corner is at 34.9 deg; focal_mm = 21 would have it at 45.9 deg"),
        (52, 41, "corner is at 22.6 deg; focal_mm = 25 would have it at 40.9 deg"),
        (40, 52, "corner is at 28.4 deg: is one of the three wrong?"),
    ],
)
def test_a_walk_far_beyond_the_corner_is_told_with_what_would_have_it_there(focal, last, words):
    (text,) = told(focal, last)
    assert words in text


@pytest.mark.parametrize(
    ("focal", "last", "projection", "size"),
    [
        (21, 46, "rectilinear", FILM),
        (21, 48, "rectilinear", FILM),  # measured a little farther
        (18, 69, "equidistant", FILM),
        (24, 42, "rectilinear", SMALL),  # measured for 36 x 24
    ],
)
def test_a_walk_to_the_corner_or_to_that_of_a_larger_picture_gets_no_word(focal, last, projection, size):
    assert told(focal, last, projection, size) == []
