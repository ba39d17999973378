"""Stills read bit by bit against a second reader, and their noise against a simulated photon transfer."""

import io
import sys

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from scenes.scene_file.errors import SceneError
from scenes.stills.blocks import blocks_of
from scenes.stills.cells import measured_pair
from scenes.stills.decode import decode
from scenes.stills.transfer import light_to_srgb

RNG = np.random.default_rng(5)
GREY = RNG.integers(0, 65536, (120, 160), dtype=np.uint16)
COLOUR = RNG.integers(0, 65536, (120, 160, 3), dtype=np.uint16)


def tiff(codes, **more):
    stream = io.BytesIO()
    tifffile.imwrite(stream, codes, **more)
    return stream.getvalue()


@pytest.mark.parametrize("packing", [None, "deflate", "lzw"])
def test_a_tiff_of_16_bits_keeps_every_bit(packing):
    still = decode(tiff(COLOUR, compression=packing, photometric="rgb"), "a.tif")
    assert (still.bits, still.codes.dtype) == (16, np.uint16)
    assert np.array_equal(still.codes, COLOUR)


def test_a_grey_png_of_16_bits_reads_as_pillow_reads_it():
    data = imagecodecs.png_encode(GREY)
    assert np.array_equal(decode(data, "a.png").codes[..., 0], np.asarray(Image.open(io.BytesIO(data))))


def test_a_colour_png_of_16_bits_keeps_every_bit():
    assert np.array_equal(decode(imagecodecs.png_encode(COLOUR), "a.png").codes, COLOUR)


def test_8_bits_read_as_pillow_reads_them():
    eight = (COLOUR >> 8).astype(np.uint8)
    png, jpeg = io.BytesIO(), io.BytesIO()
    Image.fromarray(eight).save(png, "png")
    Image.fromarray(eight).save(jpeg, "jpeg", quality=95)
    assert np.array_equal(decode(png.getvalue(), "a.png").codes, eight)
    read = decode(jpeg.getvalue(), "a.jpg").codes.astype(int)
    assert np.abs(read - np.asarray(Image.open(jpeg)).astype(int)).max() <= 2  # decoders may round unlike


def test_codes_of_10_bits_in_a_16_bit_file_are_taken_as_such_and_said():
    still = decode(tiff(np.clip(GREY >> 6, 4, 1019)), "a.tif")
    blocks = blocks_of(still, (12, 16), curve="linear")
    assert blocks.light.mean() == pytest.approx(0.5, abs=0.02)
    assert "10 bits" in blocks.notes[0]


def test_noise_of_a_block_is_that_of_a_photon_transfer():
    """EMVA 1288: variance K mu + K^2 r^2 + 1/12; K 0.25, r 3 e, mu 500 DN of 4095. A block of 4 x 4 pixels has a sixteenth."""
    rng = np.random.default_rng(1)
    mu, gain, read = 500.0, 0.25, 3.0
    electrons = rng.poisson(mu / gain, (480, 640)) + rng.normal(0, read, (480, 640))
    codes = np.floor(gain * electrons + 0.5).astype(np.uint16)
    codes[0, 0] = 4095  # so that 12 bits are seen
    blocks = blocks_of(decode(tiff(codes), "a.tif"), (120, 160), curve="linear")
    wanted = np.sqrt((gain * mu + gain**2 * read**2 + 1 / 12) / 16) / 4095
    assert float(np.median(blocks.noise)) == pytest.approx(wanted, rel=0.05)


def test_half_a_patch_at_009_and_half_at_036_is_0225_of_light():
    """Averaging the signal of BT.709 would read 0.200207."""
    signal = np.where(np.arange(160) % 2, 0.272883, 0.594959)
    ramp = np.linspace(0.999, 1.001, 120)[:, None]  # a still that is the same all over is refused
    codes = np.floor(65535 * signal * ramp + 0.5).astype(np.uint16)
    blocks = blocks_of(decode(tiff(codes), "a.tif"), (12, 16), curve="rec709")
    assert blocks.light.mean() == pytest.approx(0.225, rel=1e-4)


def test_what_dust_takes_from_both_frames_is_no_loss():
    y, x = np.mgrid[:320, :480]
    dust = 1 - 0.4 * np.exp(-((x - 200) ** 2 + (y - 100) ** 2) / 18)
    light = (0.4 + 0.0002 * x) * dust
    frame = decode(tiff((65535 * light).astype(np.uint16)), "a.tif")
    blocks = blocks_of(frame, (320 // 4, 480 // 4), curve="linear")
    measured = measured_pair(blocks, blocks, (16, 24))
    assert measured.marked.any()
    assert measured.light == pytest.approx(np.ones((16, 24)))


def wall(curve, narrow=False):
    """A wall of 0.15 to 0.6 of white with the noise of photons, 16 bits."""
    light = np.linspace(0.15, 0.6, 480) * np.ones((320, 1))
    signal = curve(light + np.random.default_rng(2).normal(size=light.shape) * np.sqrt(1e-4 * light))
    codes = 4096 + 56064 * signal if narrow else 65535 * signal
    return decode(tiff(np.floor(codes + 0.5).astype(np.uint16)), "a.tif")


def test_noise_that_does_not_grow_with_light_speaks_against_the_curve():
    """Variance of photon noise is in proportion to the light: EMVA 1288. Through the curve of sRGB it falls instead."""
    coded = wall(light_to_srgb)
    assert "its curve is not linear" in " ".join(blocks_of(coded, (80, 120), curve="linear").notes)
    assert blocks_of(coded, (80, 120), curve="srgb").notes == ()
    assert blocks_of(wall(lambda light: light), (80, 120), curve="linear").notes == ()


def test_codes_that_speak_against_the_range_are_said():
    """Source: BT.2100, table 9: narrow range ends at 16 and 235 of 8 bits."""
    dark = wall(lambda light: np.clip((light - 0.2) * 2.6, 0, 1))
    assert 'write code_range = "full"' in " ".join(blocks_of(dark, (80, 120), curve="linear", code_range="narrow").notes)
    narrow = wall(lambda light: np.clip((light - 0.2) * 2.6, 0, 1), narrow=True)
    assert 'write code_range = "narrow"' in " ".join(blocks_of(narrow, (80, 120), curve="linear").notes)


BROKEN = {
    "empty": (b"", "empty file"),
    "text": (b"hello, this is a note", "no picture but text"),
    "other": (b"\x00\x01\x02\x03" * 50, "no picture that can be read"),
    "cut png": (imagecodecs.png_encode(COLOUR)[:2000], "damaged or cut short"),
    "cut tiff": (tiff(GREY)[:3000], "damaged or cut short"),
    "thumbnail": (imagecodecs.png_encode(GREY[:40, :60].copy()), "too small"),
    "stack": (tiff(np.zeros((120, 160, 7), np.uint8), photometric="minisblack", planarconfig="contig"), "not one picture"),
    "negative": (tiff(GREY, photometric="miniswhite"), "is a negative"),
    "inks": (tiff(np.stack([GREY] * 4, axis=-1), photometric="separated"), "has inks"),
    "camera raw": (tiff(GREY, extratags=[(50706, 1, 4, (1, 6, 0, 0), True)]), "is a camera raw file"),
    "signed": (tiff(GREY.astype(np.int32)), "8 or 16 bits"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_file_that_is_no_still_is_refused_in_one_sentence(kind, monkeypatch):
    monkeypatch.setitem(sys.modules, "rawpy", None)  # as where raw files are not read
    data, words = BROKEN[kind]
    with pytest.raises(SceneError, match=words) as error:
        decode(data, "a.tif")
    assert str(error.value).startswith("a.tif: ")
    assert str(error.value).count("\n") == 0


def test_a_still_of_50000_pixels_is_refused_before_it_is_unpacked():
    head = bytearray(imagecodecs.png_encode(GREY))
    head[16:24] = (50_000).to_bytes(4, "big") + (40_000).to_bytes(4, "big")
    with pytest.raises(SceneError, match="50000 x 40000 pixels, more than 20000"):
        decode(bytes(head), "a.png")


@pytest.mark.parametrize(
    ("codes", "words"),
    [(np.zeros((120, 160), np.uint16), "black all over"), (np.full((120, 160), 30000, np.uint16), "same all over")],
)
def test_a_still_without_a_picture_is_refused(codes, words):
    with pytest.raises(SceneError, match=words):
        blocks_of(decode(tiff(codes), "a.tif"), (12, 16), curve="linear")


def test_a_clipped_still_is_refused():
    codes = np.where(np.arange(160) > 60, 65535, GREY // 4)
    blocks = blocks_of(decode(tiff(codes.astype(np.uint16)), "a.tif"), (12, 16), curve="linear")
    with pytest.raises(SceneError, match="clipped over"):
        measured_pair(blocks, None, (12, 16))
