"""Two stills of one exposure are told by their noise, or their files; pairs of another renderer, whose exposures are two, are not.

The light and its noise are drawn by chance here; tests/data/stills holds the pairs (README.md there).
"""

import io
import tomllib
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from scenes.stills.blocks import block_shape, blocks_of
from scenes.stills.decode import decode
from scenes.stills.same_shot import same_shot_words

PAIRS = Path(__file__).parents[2] / "data" / "stills"


def exposure(seed):
    """Light of an even wall through a lens, with the noise of photons (30 000 at white)."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[-1:1:320j, -1:1:480j]
    return rng.poisson(24000 * (1 - 0.3 * (x**2 + y**2) / 2)) / 30000


def blocks(data, name, curve="linear"):
    still = decode(data, name)
    return blocks_of(still, block_shape(still.size, (32, 48)), curve=curve)


def tiff(light):
    stream = io.BytesIO()
    tifffile.imwrite(stream, np.round(light * 65535).astype(np.uint16))
    return blocks(stream.getvalue(), "with_box.tif")


def png(light):
    return blocks(imagecodecs.png_encode(np.round(light * 255).astype(np.uint8)), "without_box.png")


@pytest.mark.parametrize("way", [lambda light: light, lambda light: 0.98 * light, np.fliplr, np.flipud])
def test_a_shot_that_is_saved_twice_is_told_also_brighter_mirrored_or_upside_down(way):
    light = exposure(1)
    assert "with_box.tif and without_box.png have the same grain" in same_shot_words(tiff(way(light)), png(light))


def test_two_exposures_of_one_wall_are_not_told():
    assert same_shot_words(tiff(exposure(1)), png(exposure(2))) == ""


# Exif 3.0, 4.6.6: DateTimeOriginal, SubSecTimeOriginal, ImageUniqueID; blanks and zeros where nothing is known.
MOMENT, PART, IMAGE = 36867, 37521, 42016


def saved(light, quality, kind):
    """Bytes of a still of this light, on the curve of sRGB, with what its file says of the shot."""

    def with_exif(told):
        found = Image.Exif()
        found.get_ifd(34665).update(told)
        codes = np.clip(np.round(light ** (1 / 2.2) * 255), 0, 255).astype(np.uint8)
        stream = io.BytesIO()
        Image.fromarray(codes).save(stream, kind, exif=found.tobytes(), quality=quality)
        return blocks(stream.getvalue(), f"{quality}.{kind}", "srgb")

    return with_exif


@pytest.mark.parametrize(
    ("told", "other", "words"),
    [
        (
            {MOMENT: "2026:05:01 10:11:12"},
            {MOMENT: "2026:05:01 10:11:12"},
            "shot in the same second, 2026:05:01 10:11:12, in which",
        ),
        ({MOMENT: "2026:05:01 10:11:12", PART: "10"}, {MOMENT: "2026:05:01 10:11:12", PART: "91"}, "shot in the same second"),
        ({IMAGE: "4A5B6C01"}, {IMAGE: "4a5b6c01"}, "of one image, number 4a5b6c01: are both of one shot"),
        ({MOMENT: "2026:05:01 10:11:12"}, {MOMENT: "2026:05:01 10:13:40"}, ""),
        ({MOMENT: "2026:05:01 10:11:12"}, {}, ""),
        ({MOMENT: "0000:00:00 00:00:00"}, {MOMENT: "0000:00:00 00:00:00"}, ""),
        ({MOMENT: "    :  :     :  :  "}, {MOMENT: "    :  :     :  :  "}, ""),
        ({IMAGE: "0" * 32}, {IMAGE: "0" * 32}, ""),
        ({IMAGE: "4a5b6c01"}, {IMAGE: "4a5b6c02"}, ""),
    ],
)
@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff"])
def test_two_stills_whose_noise_tells_nothing_are_told_where_their_files_name_one_shot(told, other, words, kind):
    one, again = saved(exposure(1), 95, kind)(told), saved(exposure(2), 75, kind)(other)
    found = same_shot_words(one, again)
    assert (words in found) if words else found == ""


@pytest.mark.parametrize("pair", ["easy-onedepth", "medium-lowrods"])
def test_pairs_of_another_renderer_are_not_told(pair):
    picture = tomllib.loads((PAIRS / pair / "shoot.toml").read_text())["picture"][0]
    names = picture["with_box"], picture["without_box"]
    both = [blocks((PAIRS / pair / name).read_bytes(), name, picture.get("curve", "linear")) for name in names]
    assert same_shot_words(*both) == ""
