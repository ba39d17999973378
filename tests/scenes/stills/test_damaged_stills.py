"""A damaged still is refused in one sentence, and nothing that a library says of it reaches the terminal."""

import io

import numpy as np
import pytest
import tifffile
from PIL import Image

from scenes.scene_file.errors import SceneError
from scenes.stills.decode import decode


def test_a_tiff_whose_head_is_spoilt_is_one_sentence_and_no_word_more(caplog):
    stream = io.BytesIO()
    tifffile.imwrite(stream, np.arange(160 * 120, dtype=np.uint16).reshape(120, 160))
    spoilt = bytearray(stream.getvalue())
    for place in range(14, 200, 7):  # behind the mark by which a TIFF is known
        spoilt[place] ^= 0xFF
    with pytest.raises(SceneError) as caught:
        decode(bytes(spoilt), "with_box.tif")
    assert str(caught.value).isprintable()
    assert not caplog.records


def jpeg(**how):
    rng = np.random.default_rng(1)
    stream = io.BytesIO()
    Image.fromarray(rng.integers(0, 255, (240, 320), dtype=np.uint8)).save(stream, "jpeg", **how)
    return stream.getvalue()


@pytest.mark.parametrize("how", [{}, {"progressive": True}, {"exif": b"Exif\0\0 with a preview that ends \xff\xd9"}])
@pytest.mark.parametrize(
    "cut", [lambda data: data[: len(data) * 2 // 3], lambda data: data[: len(data) // 2].ljust(len(data), b"\0")]
)
def test_a_jpeg_cut_short_is_refused_for_its_reader_would_put_light_in_place_of_the_rest(how, cut):
    """ITU-T T.81, B.2.1: the codes of a picture end with EOI, FFD9."""
    whole = jpeg(**how)
    assert decode(whole + b"a preview behind it", "with_box.jpg").size == (320, 240)
    with pytest.raises(SceneError, match="cut short"):
        decode(cut(whole), "with_box.jpg")


def test_a_tiff_that_holds_its_colours_one_after_another_is_as_large_as_its_picture():
    stream = io.BytesIO()
    tifffile.imwrite(stream, np.ones((3, 120, 160), dtype=np.uint16), photometric="rgb", planarconfig="separate")
    assert decode(stream.getvalue(), "with_box.tif").size == (160, 120)
