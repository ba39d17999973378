"""A damaged still is refused in one sentence, and nothing that a library says of it reaches the terminal."""

import io

import numpy as np
import pytest
import tifffile

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
