"""What metadata says beside its field, by which that may be wider than it was taken; files that agree are read without a word.

Source of the keys: SMPTE RIS OSVP camdkit, schemas of version 1.0 (overscan of a distortion, overscan at most of a lens, custom)
and 0.9 (distortionOverscan, focalLength).
"""

import copy

import pytest

from tests.scenes.lens_data.samples_made import STATIC, sample, table_of

ZEROS = [{"model": "Brown-Conrady D-U", "radial": [0.0, 0.0, 0.0]}]
BARREL = [{"model": "Brown-Conrady D-U", "radial": [1e-4]}]  # 4.7 % at 21.6 mm
SAYS_NOTHING = {"no distortion, or one of zeros", "overscan of", "custom", "says a focal length", "photosites"}


def told(folder, *samples, **own):
    """The cautions of these checks."""
    cautions = table_of(folder, list(samples), close_focus_mm=400.0, **own).cautions
    return [one for one in cautions if any(words in one for words in SAYS_NOTHING)]


def with_static(lens=(), **camera):
    static = copy.deepcopy(STATIC)
    static["lens"].update(lens)
    static["camera"].update(camera)
    return static


@pytest.mark.parametrize(
    "lens",
    [
        {"distortion": [{**ZEROS[0], "overscan": 1.08}]},
        {"distortion": ZEROS, "undistortionOverscan": 1.08},
        {"distortion": ZEROS, "distortionOverscan": 1.08},
        {"distortion": None, "undistortionOverscan": 1.08},
    ],
)
def test_an_overscan_beside_a_distortion_of_zeros_is_told(tmp_path, lens):
    (caution,) = told(tmp_path, sample(**lens))
    assert caution.startswith(
        "the files state an overscan of 1.08, which a lens without distortion needs none of, and no distortion"
    )


def test_the_overscan_at_most_of_a_lens_is_held_against_a_distortion_of_zeros_too(tmp_path):
    (caution,) = told(tmp_path, sample(with_static({"undistortionOverscanMax": 1.1}), distortion=ZEROS))
    assert "an overscan of 1.1," in caution


@pytest.mark.parametrize(
    "lens",
    [
        {"distortion": [{**BARREL[0], "overscan": 1.1}]},  # with room to spare
        {"distortion": [{**BARREL[0], "overscan": 1.02}]},  # the field is that of the distortion, which is wider
        {"distortion": [{**ZEROS[0], "overscan": 1.0}], "distortionOverscan": 1.0, "custom": [0.0, 0.0]},
        {"distortion": ZEROS},
        {"distortion": None, "custom": []},
        {"distortion": BARREL, "focalLength": 24.4, "undistortionOverscan": "none"},
    ],
)
def test_overscans_and_terms_that_go_together_are_read_without_a_word(tmp_path, lens):
    assert told(tmp_path, sample(**lens)) == []


def test_a_sample_that_has_lost_its_distortion_among_others_is_told(tmp_path):
    near = sample(focusDistance=0.4, distortion=ZEROS)
    (caution,) = told(tmp_path, sample(distortion=BARREL), near)
    assert "has no distortion, or one of zeros, and others move the corner by up to 4.7 %" in caution
    assert told(tmp_path, sample(distortion=BARREL), sample(focusDistance=0.4, distortion=[{"radial": [0.9e-4]}])) == []


@pytest.mark.parametrize("lens", [{"custom": [0.0, 1e-5]}, {"distortion": [{**BARREL[0], "custom": [0.2]}]}])
def test_terms_that_only_their_maker_knows_are_told(tmp_path, lens):
    (caution,) = told(tmp_path, sample(**lens))
    assert caution.startswith("terms of the maker's own (custom) go on where the lens model ends, and are not read")


def test_a_pinhole_longer_than_the_focal_length_of_its_sample_is_told(tmp_path):
    (caution,) = told(tmp_path, sample(focalLength=22.0))
    assert "says a focal length of 22 mm, and of 25 mm for the pinhole" in caution
    assert told(tmp_path, sample(focalLength=27.0)) == []


@pytest.mark.parametrize(("pixels", "is_told"), [((6000, 4000), False), ((4096, 2160), True), ((6000, 3980), False)])
def test_an_active_area_whose_photosites_would_be_oblong_is_told(tmp_path, pixels, is_told):
    static = with_static(activeSensorResolution={"width": pixels[0], "height": pixels[1]})
    cautions = told(tmp_path, sample(static))
    assert len(cautions) == is_told
    assert all("photosites would have oblong ones, 8.79 x 11.11 um" in caution for caution in cautions)  # 36 / 4.096, 24 / 2.16
    assert told(tmp_path, sample(static), width_mm=36.0, height_mm=24.0) == []
