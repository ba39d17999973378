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


@pytest.mark.parametrize("how", [{"rowsperstrip": 16}, {"rowsperstrip": 16, "compression": "lzw"}, {"tile": (64, 64)}])
def test_a_tiff_with_more_strips_or_tiles_than_its_height_needs_is_refused(how):
    """TIFF 6.0, section 3: StripsPerImage = floor((ImageLength + RowsPerStrip - 1) / RowsPerStrip)."""
    stream = io.BytesIO()
    tifffile.imwrite(stream, np.arange(240 * 160, dtype=np.uint16).reshape(240, 160), **how)
    whole = stream.getvalue()
    assert decode(whole, "with_box.tif").size == (160, 240)
    with tifffile.TiffFile(io.BytesIO(whole)) as file:
        height = file.pages[0].tags["ImageLength"].valueoffset
    lower = bytearray(whole)
    lower[height] ^= 0x80  # 240 becomes 112
    with pytest.raises(SceneError, match="strips or tiles"):
        decode(bytes(lower), "with_box.tif")


def picture():
    """A frame whose upper fifth is dark."""
    light = np.full((120, 180), 0.5, dtype=np.float32)
    light[:24] = 0.001
    return light


def refusal_of(data, name):
    with pytest.raises(SceneError) as caught:
        decode(data, name)
    return str(caught.value)


def exr(folder, channels, **header):
    library = pytest.importorskip("OpenEXR")
    path = folder / "still.exr"
    with library.File({"compression": library.ZIP_COMPRESSION, "type": library.scanlineimage, **header}, channels) as file:
        file.write(str(path))
    return path.read_bytes()


@pytest.mark.parametrize("names", [("A", "Y"), ("A", "B", "G", "R"), ("Y",), ("B", "G", "R", "Z"), ("light",)], ids="-".join)
def test_of_an_exr_the_channels_of_light_are_read_and_not_what_is_opaque_or_far(tmp_path, names):
    """OpenEXR, Technical Introduction, "Channel Names": A is alpha, Z depth, Y luminance; files hold them in the order of names."""
    channels = {name: np.ones_like(picture()) if name in {"A", "Z"} else picture() for name in names}
    assert (decode(exr(tmp_path, channels), "with_box.exr").codes[..., 0] == picture()).all()


@pytest.mark.parametrize(
    "names",
    [("beauty.A", "beauty.B", "beauty.G", "beauty.R"), ("BY", "RY", "Y"), ("a", "b", "g", "r"), ("R", "G"), ("A",)],
    ids="-".join,
)
def test_an_exr_without_plain_channels_of_light_is_refused_for_the_first_of_them_may_be_its_transparency(tmp_path, names):
    """A program that puts layers before its channels' names: the first of them was taken, which is bright where the box is dark."""
    assert "no plain R, G and B" in refusal_of(exr(tmp_path, dict.fromkeys(names, picture())), "with_box.exr")


def test_an_exr_that_has_lost_its_dark_rows_to_a_trimmed_window_is_refused(tmp_path):
    """OpenEXR, Technical Introduction: the data window may be smaller or larger than the display window, which is the frame."""
    whole, trimmed = ((np.array([0, top], np.int32), np.array([179, 119], np.int32)) for top in (0, 24))
    data = exr(tmp_path, dict.fromkeys("RGB", picture()[24:]), dataWindow=trimmed, displayWindow=whole)
    assert "holds the pixels 0, 24 to 179, 119 of a picture of 0, 0 to 179, 119" in refusal_of(data, "with_box.exr")


def tiff(*pages, **how):
    stream = io.BytesIO()
    with tifffile.TiffWriter(stream) as writer:
        for pixels, more in pages:
            writer.write(pixels, photometric="rgb", **more, **how)
    return stream.getvalue()


COLOURED = (np.stack([picture()] * 3, axis=-1) * 65535).astype(np.uint16)


@pytest.mark.parametrize(
    ("photometric", "words"), [(4, "mask"), (6, "YCbCr"), (8, "Lab"), (9, "Lab"), (10, "Lab"), (32845, "LogLuv")]
)
def test_a_tiff_whose_codes_are_no_levels_of_light_is_refused(photometric, words):
    """TIFF revision 6.0, tag 262 (PhotometricInterpretation), and its later values: YCbCr, CIELab, ICCLab, ITULab, LogLuv."""
    stream = io.BytesIO()
    tifffile.imwrite(stream, COLOURED, photometric="rgb", metadata=None)
    head = (262).to_bytes(2, "little") + (3).to_bytes(2, "little") + (1).to_bytes(4, "little")
    whole = stream.getvalue()
    assert decode(whole, "with_box.tif").size == (180, 120)
    changed = whole.replace(head + (2).to_bytes(4, "little"), head + photometric.to_bytes(4, "little"))
    if photometric == 6:  # of which its reader asks whether colours are told as often as brightness
        stream = io.BytesIO()
        Image.fromarray((COLOURED // 256).astype(np.uint8)).convert("YCbCr").save(stream, "tiff")
        changed = stream.getvalue()
    assert words in refusal_of(changed, "with_box.tif")


def test_a_tiff_packed_as_jpeg_is_read_for_its_reader_makes_rgb_of_it():
    stream = io.BytesIO()
    Image.fromarray((COLOURED // 256).astype(np.uint8)).save(stream, "tiff", compression="jpeg")
    assert decode(stream.getvalue(), "with_box.tif").codes[60, 60].tolist() == pytest.approx([127] * 3, abs=2)


def test_of_several_pictures_in_one_tiff_none_is_taken_and_no_preview_for_the_picture():
    """TIFF revision 6.0, tag 254 (NewSubfileType), bit 0: a reduced version of another picture of the file."""
    reduced, whole = (COLOURED[:100, :150], {"subfiletype": 1}), (COLOURED, {})
    assert "begins with a preview" in refusal_of(tiff(reduced, whole), "with_box.tif")
    assert "holds more than one picture" in refusal_of(tiff(whole, whole), "with_box.tif")
    assert decode(tiff(whole, reduced), "with_box.tif").size == (180, 120)


@pytest.mark.parametrize(("last", "back_to"), [(0, 0), (1, 0), (2, 1)])
@pytest.mark.parametrize("how", [{}, {"byteorder": ">"}, {"bigtiff": True}])
def test_a_tiff_whose_pages_run_in_a_circle_is_refused_and_not_read_without_end(last, back_to, how):
    """TIFF 6.0, section 2: the offset of the next directory stands behind the last entry of each; 0 ends the chain."""
    stream = io.BytesIO()
    with tifffile.TiffWriter(stream, **how) as writer:
        for k in range(last + 1):  # a picture and its previews
            writer.write(np.ones((120, 160), dtype=np.uint16), contiguous=False, metadata=None, subfiletype=min(k, 1))
    with tifffile.TiffFile(io.BytesIO(stream.getvalue())) as file:
        held, kind = [page.offset for page in file.pages], file.tiff
    data = bytearray(stream.getvalue())
    order = "little" if kind.byteorder == "<" else "big"
    entries = int.from_bytes(data[held[last] : held[last] + kind.tagnosize], order)
    link = held[last] + kind.tagnosize + entries * kind.tagsize
    data[link : link + kind.offsetsize] = held[back_to].to_bytes(kind.offsetsize, order)
    with pytest.raises(SceneError, match="circle"):
        decode(bytes(data), "with_box.tif")
