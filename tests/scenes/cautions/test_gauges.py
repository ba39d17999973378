"""A sensor smaller than the gauge that a scene is called by sees less of the box than the camera does: it gets a word.

Sizes: SMPTE and ISO film gauges as in scenes/data/formats.toml; what digital sensors of these names measure is common practice.
"""

from pathlib import Path

import pytest

from scenes.cautions.gauges import gauge_words
from scenes.scene_file.catalogue import formats
from scenes.scene_file.parse import parse_scene
from scenes.states.load import load_scene

REPOSITORY = Path(__file__).parents[3]


def told(title, camera, focal_mm=40, guide=""):
    named = f'[[camera.guide]]\nname = "{guide}"\naspect = 1.78\n' if guide else ""
    lens = f'[[lens]]\nname = "a"\nfocal_mm = {focal_mm}\nf_number = 2\nfront_diameter_mm = 114\npupil_behind_front_mm = 50\n'
    scene = parse_scene(f'brimline = 1\ntitle = "{title}"\n[camera]\n{camera}\n{named}{lens}[box]\nahead_mm = 2\n', source="s.toml")
    return list(gauge_words(scene))


@pytest.mark.parametrize(
    ("title", "camera"),
    [
        ("Quay, full frame", 'format = "super-35-4perf"'),
        ("Quay, FF, A camera", "width_mm = 24.9\nheight_mm = 14"),
        ("Salt flats, 65 mm", 'format = "36x24"'),
        ("Salt flats, 65mm 5-perf", 'format = "super-35-3perf"'),
        ("Salt flats, 15-perf", 'format = "65-5perf"'),
        ("Quay, super 35", 'format = "super-16"'),
        ("Quay, S35", "width_mm = 17.3\nheight_mm = 13"),
        ("Quay, Super 16", "width_mm = 6.2\nheight_mm = 4.6"),
        ("Quay, B camera, 36 x 24", "width_mm = 23.6\nheight_mm = 15.7"),
        ("Quay, 35 mm full frame", 'format = "super-35-4perf"'),
    ],
)
def test_a_sensor_far_narrower_than_the_title_says_is_told_with_both_sizes(title, camera):
    (text,) = told(title, camera)
    assert f'is narrower than the scene\'s title "{title}" says (' in text
    assert "width_mm = " in text


@pytest.mark.parametrize(
    ("title", "camera"),
    [
        *((f"Quay, {one.title}", f'format = "{name}"') for name, one in formats().items()),
        ("Quay, S35", "width_mm = 23.1\nheight_mm = 13"),
        ("Quay, full frame", "width_mm = 35.6\nheight_mm = 18.8"),
        ("Quay, full frame, 1.33 crop", "width_mm = 24\nheight_mm = 18"),
        ("Quay, S35 mode of a full frame camera", 'format = "super-35-3perf"'),
        ("Quay, S35", 'format = "36x24"'),
        ("Test of the 65 mm lens", 'format = "36x24"'),
        ("Quay at 16:9, 4 x 5.65 filters", 'format = "super-16"'),
        ("Staff 12, 35 sheets", 'format = "super-16"'),
        ("Quay, 54 x 40", "width_mm = 53.4\nheight_mm = 40"),
    ],
)
def test_a_sensor_of_its_name_or_a_larger_one_gets_no_word(title, camera):
    assert told(title, camera) == []


@pytest.mark.parametrize(
    ("title", "camera"),
    [
        ("Super 35 4-perf, night", 'format = "35-2perf"'),
        ("Super 35 4-perf, night", 'format = "super-35-3perf"'),
        ("Super 35 3-perf", "width_mm = 24.89\nheight_mm = 8.37"),
        ("Salt flats, 5 perf", "width_mm = 52.48\nheight_mm = 13.01"),
    ],
)
def test_a_picture_lower_than_film_of_so_many_perforations_is_told(title, camera):
    """Heights of SMPTE ST 59 and ST 215 as in scenes/data/formats.toml: 16 or 18.67, 13.87, 9.47 and 23.01 mm."""
    (text,) = [text for text in told(title, camera) if "is lower than" in text]
    assert f'is lower than the scene\'s title "{title}" says (' in text


@pytest.mark.parametrize("camera", ['format = "academy-35-4perf"', 'format = "super-35-4perf"', 'format = "36x24"'])
def test_each_picture_of_four_perforations_and_a_higher_one_get_no_word(camera):
    assert told("Super 35 4-perf", camera) == [] or "is lower" not in " ".join(told("Super 35 4-perf", camera))


def test_a_number_of_mm_that_is_a_lens_of_the_scene_is_no_film():
    assert told("Quay, 65 mm", 'format = "36x24"', focal_mm=65) == []
    assert len(told("Quay, 65 mm", 'format = "36x24"', focal_mm=50)) == 1


@pytest.mark.parametrize(("guide", "is_told"), [("S35 1.78", True), ("full frame 1.78", False), ("35 mm back-up", False)])
def test_a_guide_called_by_a_larger_gauge_is_told(guide, is_told):
    assert (
        any(f'the name of its guide "{guide}" says' in text for text in told("Quay", 'format = "super-16"', guide=guide)) == is_told
    )


def test_a_small_gauge_under_the_pixels_of_a_large_one_is_told():
    (text,) = told("Quay", 'format = "super-16"\npixels = [8192, 4849]')
    assert "makes photosites of 1.5 um" in text
    assert told("Quay", 'format = "super-35-3perf"\npixels = [8192, 4565]') == []


def test_a_size_that_was_checked_gets_no_word():
    assert told("Quay, full frame", 'width_mm = 23.6\nheight_mm = 15.7\nconfirmed = ["width_mm"]') == []


@pytest.mark.parametrize("name", ["demo.toml", "demo-36x24.toml"])
def test_the_demo_shows_get_no_word(name):
    assert list(gauge_words(load_scene(REPOSITORY / "scenes" / "demo" / name).scene)) == []


@pytest.mark.parametrize(
    ("title", "camera", "is_told"),
    [
        ("Quay, B camera, 32 x 18 sensor", "width_mm = 23.8\nheight_mm = 13.4", True),
        ("Quay, B camera, 32 x 18 mm sensor", "width_mm = 32\nheight_mm = 13.4", True),
        ("Quay, B camera, 32 x 18 sensor", "width_mm = 31.7\nheight_mm = 17.8", False),
        ("Quay, B camera, 32 x 18 sensor", 'format = "36x24"', False),
        ("Quay, 1.2 crop of a 32 x 18 sensor", "width_mm = 26.7\nheight_mm = 15", False),
    ],
)
def test_a_sensor_smaller_than_the_title_gives_it_is_told_whatever_its_size(title, camera, is_told):
    texts = [text for text in told(title, camera) if "is narrower than the scene's title" in text]
    assert len(texts) == is_told


def framed(title, aspect, camera='format = "36x24"', squeeze=1):
    guide = f'[[camera.guide]]\nname = "extraction"\naspect = {aspect}\n' if aspect else ""
    lens = '[[lens]]\nname = "a"\nfocal_mm = 40\nf_number = 2\nfront_diameter_mm = 114\npupil_behind_front_mm = 50\n'
    text = f'brimline = 1\ntitle = "{title}"\n[camera]\n{camera}\n{guide}{lens}squeeze = {squeeze}\n[box]\nahead_mm = 2\n'
    return [told for told in gauge_words(parse_scene(text, source="s.toml")) if "names a frame of" in told]


@pytest.mark.parametrize(
    ("title", "aspect", "named"),
    [
        ("16:9 delivery, Harbour", 3.2, "1.78"),
        ("Harbour, delivered in 1.85", 2.76, "1.85"),
        ("Harbour, 2.39 extraction", 1.2, "2.39"),
        ("Harbour, framed for 4:3", 2.39, "1.33"),
    ],
)
def test_guides_that_leave_out_much_of_the_frame_in_the_title_are_told_with_both_aspects(title, aspect, named):
    (text,) = framed(title, aspect)
    assert f"names a frame of {named}, but aspect = {aspect} of its guide" in text


@pytest.mark.parametrize(
    ("title", "aspect", "squeeze"),
    [
        ("16:9 delivery, Harbour", 1.7778, 1),
        ("16:9 delivery, Harbour", "", 1),
        ("2.39 delivery, Harbour", 1.5, 1),  # the whole picture holds it
        ("2.39 delivery, Harbour", 1.195, 2),
        ("1.85 delivery, Harbour", 2.0, 1),
        ("16:9 sensor, Harbour", 2.39, 1),
        ("Scene 2.40, frame 12, Harbour", 1.2, 1),
        ("Harbour at 5:30 am", 2.39, 1),
    ],
)
def test_guides_that_hold_the_frame_in_the_title_and_titles_of_other_things_get_no_word(title, aspect, squeeze):
    assert framed(title, aspect, squeeze=squeeze) == []
