"""Camera raw files: read through rawpy where it is installed, else one sentence with the way out."""

import io
import sys
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest
import tifffile

from scenes.scene_file.errors import SceneError
from scenes.stills.blocks import block_shape, blocks_of
from scenes.stills.decode import decode

BLACK, WHITE = 512, 16383
ROWS, COLUMNS = 480, 640


def mosaic():
    """Codes of a sensor of 14 bits under a filter mosaic (H, W): light falls from 0.8 at the left to 0.2 at the right."""
    light = np.broadcast_to(np.linspace(0.8, 0.2, COLUMNS), (ROWS, COLUMNS))
    return np.round(BLACK + (WHITE - BLACK) * light).astype(np.uint16)


def dng(codes):
    """A Digital Negative of one uncompressed picture. Source: the specification's tags, version 1.4."""
    tags = [
        (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, "B", 4, (0, 1, 1, 2), True),  # CFAPattern: red, green, green, blue
        (50706, "B", 4, (1, 4, 0, 0), True),  # DNGVersion
        (50708, "s", 0, "Own camera", True),  # UniqueCameraModel
        (50714, "H", 1, BLACK, True),  # BlackLevel
        (50717, "H", 1, WHITE, True),  # WhiteLevel
        (50721, "2i", 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),  # ColorMatrix1: the identity
        (50778, "H", 1, 21, True),  # CalibrationIlluminant1: D65
    ]
    stream = io.BytesIO()
    tifffile.imwrite(stream, codes, photometric="cfa", extratags=tags, metadata=None)
    return stream.getvalue()


@pytest.fixture
def with_library(monkeypatch):
    """A library that has the two calls made of it, and keeps what it was asked for."""
    asked = {}

    class Raw:
        sizes = SimpleNamespace(width=COLUMNS, height=ROWS)

        def __init__(self, stream):
            self.codes = tifffile.imread(stream)

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def postprocess(self, **options):
            asked.update(options)
            grey = (self.codes[::2, ::2].astype(float) - BLACK) / (WHITE - BLACK)
            return np.repeat(np.round(65535 * grey).astype(np.uint16)[..., None], 3, axis=2)

    module = ModuleType("rawpy")
    module.imread, module.ColorSpace = Raw, SimpleNamespace(raw="raw")
    module.__spec__ = SimpleNamespace(name="rawpy")
    monkeypatch.setitem(sys.modules, "rawpy", module)
    return asked


def test_a_raw_file_is_read_linear_with_its_own_white_and_nothing_brightened(with_library):
    still = decode(dng(mosaic()), "a.dng")
    assert (still.bits, still.raw, still.size) == (16, True, (COLUMNS // 2, ROWS // 2))
    assert (with_library["gamma"], with_library["output_bps"], with_library["no_auto_bright"]) == ((1, 1), 16, True)
    assert (with_library["user_wb"], with_library["adjust_maximum_thr"]) == ([1.0] * 4, 0.0)


@pytest.mark.usefixtures("with_library")
@pytest.mark.parametrize("name", ["a.dng", "a.tif", "A001.RAW"])
def test_a_raw_file_is_known_by_its_tags_or_by_a_suffix_that_no_tiff_has(name):
    assert decode(dng(mosaic()), name).raw


@pytest.mark.usefixtures("with_library")
def test_a_dark_raw_file_is_not_taken_for_one_of_fewer_bits():
    dark = decode(dng(np.round(BLACK + (mosaic() - float(BLACK)) / 8).astype(np.uint16)), "a.dng")
    light = blocks_of(dark, block_shape(dark.size, (24, 32)), curve="linear").light
    assert light[:, 0] == pytest.approx(0.8 / 8, rel=0.02)


@pytest.mark.usefixtures("with_library")
def test_a_raw_file_has_no_curve_but_its_own():
    still = decode(dng(mosaic()), "a.dng")
    with pytest.raises(SceneError, match=r"a\.dng: is a camera raw file, whose codes are linear and full range"):
        blocks_of(still, (24, 32), curve="srgb")


def test_without_the_library_the_way_out_is_said(monkeypatch):
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(SceneError, match=r"is a camera raw file, which needs one more library; install brimline\[raw\]"):
        decode(dng(mosaic()), "a.dng")


def test_light_of_a_raw_file_is_that_of_the_sensor():
    """By LibRaw itself, of a file made here: black and white level taken off, each colour alike."""
    pytest.importorskip("rawpy", reason="the library comes with the extra raw")
    still = decode(dng(mosaic()), "a.dng")
    light = blocks_of(still, block_shape(still.size, (24, 32)), curve="linear").light
    true = np.linspace(0.8, 0.2, COLUMNS).reshape(light.shape[1], -1).mean(axis=1)
    assert light == pytest.approx(np.broadcast_to(true, light.shape), abs=2e-3)
