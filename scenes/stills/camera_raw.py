"""Camera raw files as linear codes of 16 bits, through rawpy (LibRaw), an optional library."""

from __future__ import annotations

import io
from collections.abc import Callable
from importlib.util import find_spec
from typing import Any

import numpy as np
from numpy.typing import NDArray

RAW_TAG = 50706  # DNGVersion. Source: Digital Negative specification 1.7
CFA, LINEAR_RAW = 32803, 34892  # PhotometricInterpretation of raw pictures. Source: the same
RAW_WORDS = (
    "is a camera raw file, which needs one more library; install brimline[raw], or develop it to a linear 16-bit TIFF, without "
    'lens corrections, and state curve = "linear"'
)
GREYS = (1.0, 1.0, 1.0, 1.0)  # gains of the colours: each pair of stills is compared colour by colour, so none is favoured


def is_raw_tiff(data: bytes) -> bool:
    """Whether a TIFF file holds a camera's raw picture: it says so, or its pixels lie under a filter mosaic."""
    import tifffile

    try:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            page = file.pages[0]
            return RAW_TAG in getattr(page, "tags", ()) or int(getattr(page, "photometric", -1) or 0) in {CFA, LINEAR_RAW}
    except Exception:  # noqa: BLE001 - whatever a broken file makes the reader trip over: the decoder says what is wrong
        return False


def can_read_raw() -> bool:
    """Whether the library is there."""
    return find_spec("rawpy") is not None


def read_raw(data: bytes, insist_on_size: Callable[[tuple[int, int]], None]) -> NDArray[Any]:
    """Codes (H, W, C), black 0, the sensor's white 65535, linear; a pixel is one group of the filter mosaic, nothing interpolated.

    ImportError without the library; what `insist_on_size` raises of (width, height) before anything is unpacked.
    """
    import rawpy

    with rawpy.imread(io.BytesIO(data)) as raw:
        insist_on_size((int(raw.sizes.width), int(raw.sizes.height)))
        codes = raw.postprocess(
            half_size=True,
            output_bps=16,
            gamma=(1, 1),
            user_wb=list(GREYS),
            output_color=rawpy.ColorSpace.raw,
            no_auto_bright=True,
            adjust_maximum_thr=0.0,  # white is the sensor's, not the brightest pixel's
            user_flip=0,  # as the sensor lies, whatever the camera thought was up
        )
    return np.asarray(codes)
