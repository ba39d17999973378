"""A TIFF that speaks against itself is refused; those that other libraries write, in every way that is read, are not."""

import io
import struct

import numpy as np
import pytest
import tifffile
from PIL import Image

from scenes.scene_file.errors import SceneError
from scenes.stills.decode import decode

GREY = (np.arange(120 * 160, dtype=np.uint16) * 3).reshape(120, 160)
GREY[:24] //= 50  # an upper fifth that is dark
COLOURED = np.stack([GREY, GREY // 2, GREY // 3], axis=-1)
COMPRESSION, ROWS, SAMPLES, PREDICTOR = 259, 278, 277, 317
STRIPS, LENGTHS, SOFTWARE = 273, 279, 305
SHORT = 3  # a data type. Source: TIFF revision 6.0, section 2


def tiff(pixels=GREY, **how):
    stream = io.BytesIO()
    photometric = "minisblack" if pixels.ndim == 2 else "rgb"
    tifffile.imwrite(stream, pixels, photometric=photometric, metadata=None, **{"rowsperstrip": 60, **how})
    return stream.getvalue()


def place_of(data, code):
    """Where a tag's entry begins, and where its values stand. TIFF 6.0, section 2: number, data type, count, value or offset."""
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        tag = file.pages[0].tags[code]
        return tag.offset, tag.valueoffset


def with_bytes(data, place, form, *numbers):
    changed = bytearray(data)
    struct.pack_into(form, changed, place, *numbers)
    return bytes(changed)


def refusal_of(data):
    with pytest.raises(SceneError) as caught:
        decode(data, "with_box.tif")
    words = str(caught.value)
    assert words.isprintable()
    return words


@pytest.mark.parametrize("compression", [None, "lzw", "deflate", "adobe_deflate", "packbits", "lzma", "zstd"])
@pytest.mark.parametrize("layout", [{}, {"rowsperstrip": 7}, {"rowsperstrip": 500}, {"tile": (64, 48), "rowsperstrip": None}])
@pytest.mark.parametrize("how", [{}, {"byteorder": ">"}, {"bigtiff": True}, {"byteorder": ">", "bigtiff": True}])
@pytest.mark.parametrize("predictor", [False, True])
def test_whatever_way_a_sound_tiff_is_packed_its_codes_are_read(compression, layout, how, predictor):
    predictor &= compression not in {None, "packbits"}
    for pixels in (GREY, COLOURED, (GREY / 65535).astype(np.float32)):
        read = decode(tiff(pixels, compression=compression, predictor=predictor, **layout, **how), "with_box.tif")
        assert np.array_equal(read.codes.squeeze(), pixels)


@pytest.mark.parametrize("compression", [None, "lzw", "deflate", "packbits"])
@pytest.mark.parametrize("layout", [{}, {"tile": (64, 48), "rowsperstrip": None}])
def test_a_sound_tiff_with_its_colours_in_planes_is_read(compression, layout):
    data = tiff(np.moveaxis(COLOURED, -1, 0), compression=compression, planarconfig="separate", **layout)
    assert np.array_equal(decode(data, "with_box.tif").codes, COLOURED)


@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_adobe_deflate", "tiff_deflate", "packbits"])
def test_a_sound_tiff_of_another_program_is_read(compression):
    """PIL packs by libtiff, which most programs write by."""
    for picture in (Image.fromarray(GREY), Image.fromarray((COLOURED // 256).astype(np.uint8))):
        stream = io.BytesIO()
        picture.save(stream, "tiff", compression=compression, dpi=(300, 300), software="of a test", description="a still")
        assert np.array_equal(decode(stream.getvalue(), "with_box.tif").codes.squeeze(), np.asarray(picture))


@pytest.mark.parametrize("layout", [{"rowsperstrip": 16}, {"rowsperstrip": 48}, {"tile": (64, 48), "rowsperstrip": None}])
def test_a_sound_tiff_whose_strips_are_jpegs_is_read(layout):
    pixels = (COLOURED // 256).astype(np.uint8)
    assert decode(tiff(pixels, compression="jpeg", **layout), "with_box.tif").size == (160, 120)


@pytest.mark.parametrize("code", [STRIPS, LENGTHS, COMPRESSION, SOFTWARE])
def test_a_tag_of_a_data_type_that_there_is_not_is_refused_for_readers_leave_it_out(code):
    """TIFF 6.0, section 2, "Types": 1 to 12. A compression that is left out is none: packed codes were taken for light."""
    data = tiff(compression="packbits")
    entry, _ = place_of(data, code)
    assert f"tag {code} is of the data type 4099" in refusal_of(with_bytes(data, entry + 2, "<H", 4099))


@pytest.mark.parametrize(
    ("number", "words"), [(309, "none that TIFF knows"), (316, "holds text"), (319, "holds ratios"), (33085, "none that")]
)
def test_a_predictor_whose_number_lost_a_bit_is_refused_for_differences_are_no_light(number, words):
    """TIFF 6.0, section 14: with Predictor 2 the codes are differences to the pixel before. 309 is no tag; 316 is HostComputer."""
    data = tiff(compression="deflate", predictor=True)
    entry, _ = place_of(data, PREDICTOR)
    assert words in refusal_of(with_bytes(data, entry, "<H", number))


@pytest.mark.parametrize(
    ("code", "number", "words"), [(SAMPLES, 276, "tag 276"), (COMPRESSION, 258, "twice"), (COMPRESSION, 263, "ascending")]
)
def test_a_tag_that_is_there_twice_out_of_order_or_unknown_is_refused(code, number, words):
    """TIFF 6.0, section 2: "The entries in an IFD must be sorted in ascending order by Tag"."""
    data = tiff()
    entry, _ = place_of(data, code)
    assert words in refusal_of(with_bytes(data, entry, "<H", number))


@pytest.mark.parametrize("count", [0, 2, 3])
def test_a_list_where_one_number_stands_is_refused(count):
    data = tiff()
    entry, _ = place_of(data, COMPRESSION)
    assert "in place of one" in refusal_of(with_bytes(data, entry + 4, "<I", count))


@pytest.mark.parametrize("compression", [None, "lzw", "deflate", "packbits"])
def test_strips_upon_each_other_upon_the_tags_or_beyond_the_file_are_refused(compression):
    data = tiff(compression=compression)
    _, strips = place_of(data, STRIPS)
    first, second = struct.unpack_from("<2I", data, strips)
    assert "lies upon" in refusal_of(with_bytes(data, strips, "<I", second))
    assert "lies upon" in refusal_of(with_bytes(data, strips + 4, "<I", second - 16))
    assert "lies upon" in refusal_of(with_bytes(data, strips, "<I", 0))
    assert "lies upon" in refusal_of(with_bytes(data, strips, "<I", first - 16))
    assert "beyond" in refusal_of(with_bytes(data, strips + 4, "<I", second + 64))


def test_a_strip_of_no_bytes_is_refused_for_readers_fill_it_with_black():
    data = tiff(compression="lzw")
    _, lengths = place_of(data, LENGTHS)
    form = "<H" if data[place_of(data, LENGTHS)[0] + 2] == SHORT else "<I"
    assert "empty" in refusal_of(with_bytes(data, lengths, form, 0))


@pytest.mark.parametrize("compression", [None, "lzw", "deflate", "adobe_deflate", "packbits", "lzma", "zstd"])
@pytest.mark.parametrize("rows", [61, 92])
def test_strips_that_hold_other_rows_than_their_number_tells_are_refused(compression, rows):
    """Two strips of 60 rows each, of which the head tells 61 and 59, or 92 and 28: TIFF 6.0, tag RowsPerStrip."""
    data = tiff(compression=compression)
    _, place = place_of(data, ROWS)
    assert "where its size needs" in refusal_of(with_bytes(data, place, "<H", rows))


@pytest.mark.parametrize("short", [2, 400])
def test_an_unpacked_strip_of_fewer_bytes_than_its_rows_need_is_refused(short):
    """TIFF 6.0, tag StripByteCounts: "the number of bytes in the strip after compression", of which there is none here."""
    data = tiff(np.vstack([GREY] * 2), rowsperstrip=120)
    entry, lengths = place_of(data, LENGTHS)
    form = "<H" if data[entry + 2] == SHORT else "<I"
    (length,) = struct.unpack_from(form, data, lengths)
    assert "where its size needs" in refusal_of(with_bytes(data, lengths, form, length - short))


def test_of_a_long_chain_of_pages_no_more_are_read_than_tell_that_it_is_no_still():
    """The chain's third page lies beyond the file: whoever goes there calls the file damaged."""
    stream = io.BytesIO()
    with tifffile.TiffWriter(stream) as writer:
        for _ in range(2):
            writer.write(GREY, contiguous=False, metadata=None)
    data = stream.getvalue()
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        second = file.pages[1].offset
    entries = int.from_bytes(data[second : second + 2], "little")
    assert "more than one picture" in refusal_of(with_bytes(data, second + 2 + 12 * entries, "<I", len(data) + 1000))


def test_a_chain_of_previews_is_not_read_to_its_end():
    stream = io.BytesIO()
    with tifffile.TiffWriter(stream) as writer:
        for k in range(20):
            writer.write(GREY, contiguous=False, metadata=None, subfiletype=min(k, 1))
    assert "more than 16 pages" in refusal_of(stream.getvalue())
