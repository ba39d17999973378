"""Two stills of one exposure are told by their noise; pairs of another renderer, whose exposures are two, are not.

The light and its noise are drawn by chance here; tests/data/stills holds the pairs (README.md there).
"""

import io
import tomllib
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile

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


@pytest.mark.parametrize("pair", ["easy-onedepth", "medium-lowrods"])
def test_pairs_of_another_renderer_are_not_told(pair):
    picture = tomllib.loads((PAIRS / pair / "shoot.toml").read_text())["picture"][0]
    names = picture["with_box"], picture["without_box"]
    both = [blocks((PAIRS / pair / name).read_bytes(), name, picture.get("curve", "linear")) for name in names]
    assert same_shot_words(*both) == ""
