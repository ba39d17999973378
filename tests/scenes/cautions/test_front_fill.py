"""Pupil depths that are all too shallow are told by a front glass that they leave half empty, and those of patents are not.

Published: depth behind the first vertex and diameter of the first lens, in mm, in a barrel that begins there.
"""

import pytest

from scenes.cautions.doubtful_numbers import doubtful_notes
from scenes.scene_file.parse import parse_scene

WORDS = "and hardly a front is made so large for nothing"
FULL_FRAME = 'format = "36x24"'
PUBLISHED = {
    "US 4,099,850 at 28 mm, tests/data": (28, 3.5, 36.4, 21.06),
    "US 4,448,497 ex. 1 at 50 mm, tests/data": (49.9, 1.4, 38, 24.98),
    "US 2007/0236805 ex. 4 at 1.03 m": (100, 1.24, 89.06, 93.6),
}


def told(focal_mm, f_number, glass_mm, depth, *, camera=FULL_FRAME, more=""):
    lens = (
        f'[[lens]]\nname = "a"\nfocal_mm = {focal_mm}\nf_number = {f_number}\nfront_diameter_mm = {glass_mm + 10}\n'
        f"front_glass_mm = {glass_mm}\n{depth if isinstance(depth, str) else f'pupil_behind_front_mm = {depth}'}\n{more}\n"
    )
    scene = parse_scene(f"brimline = 1\n[camera]\n{camera}\n{lens}[box]\nahead_mm = 2\n", source="s.toml")
    return [note.text for note in doubtful_notes(scene, scene.lens[0]) if WORDS in note.text]


@pytest.mark.parametrize("lens", PUBLISHED.values(), ids=PUBLISHED)
@pytest.mark.parametrize(
    "camera", [FULL_FRAME, 'format = "super-35-3perf"', "width_mm = 12.8\nheight_mm = 7.2\npixels = [1920, 1080]"]
)
def test_fronts_of_published_lenses_are_filled_however_small_the_picture(lens, camera):
    assert told(*lens, camera=camera) == []


@pytest.mark.parametrize(("focal", "stop", "glass", "depth"), [(28, 3.5, 36.4, 10.5), (20, 2.2, 102, 20), (20, 2.2, 102, 22.5)])
def test_a_pupil_that_leaves_much_of_its_front_empty_is_told_with_the_depth_that_fills_it(focal, stop, glass, depth):
    (text,) = told(focal, stop, glass, depth)
    across_mm = (glass * 0.9 - focal / stop) / 2
    assert text.startswith(f"pupil_behind_front_mm = {depth:g}, ")
    assert f"front_glass_mm = {glass:g}, " in text
    assert f"about {across_mm * focal / 21.63:.0f} would fill it" in text


def test_a_walking_pupil_is_told_by_its_walk():
    (text,) = told(20, 2.2, 102, "pupil_walk = [[0, 20, 1, 1], [60, 20, 1, 1]]")
    assert text.startswith("pupil_walk = 20, ")


@pytest.mark.parametrize(
    "more",
    [
        'confirmed = ["pupil_behind_front_mm"]',
        'confirmed = ["front_glass_mm"]',
        'projection = "equidistant"',
        "[[lens.state]]\nfocal_mm = 20\npupil_behind_front_mm = 20\n[[lens.state]]\nfocal_mm = 35\npupil_behind_front_mm = 74",
    ],
)
def test_a_front_that_was_measured_again_a_fisheye_or_a_zoom_that_fills_it_elsewhere_gets_no_word(more):
    assert told(20, 2.2, 102, 20, more=more) == []


@pytest.mark.parametrize(("glass", "is_told"), [(84, False), (104, False), (120, True)])
def test_a_front_that_a_set_shares_may_stay_a_third_empty(glass, is_told):
    rows = "".join(
        f"[[lens.state]]\nfocal_mm = {focal}\npupil_behind_front_mm = {depth}\n"
        for focal, depth in ((24, 34), (35, 44), (50, 57), (70, 74))
    )
    assert bool(told(24, 2.8, glass, "", more=rows)) == is_told
