"""What a still says of its own curve and of how the camera was held is held against the notes, or told."""

import io
import struct
import zlib

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from scenes.scene_file.errors import SceneError
from scenes.stills.blocks import block_shape, blocks_of
from scenes.stills.decode import decode
from scenes.stills.file_notes import SaidSetting, setting_notes

RNG = np.random.default_rng(1)
CODES = (np.linspace(9000, 60000, 480).astype(np.uint16) + RNG.integers(0, 900, (320, 480), dtype=np.uint16)).astype(np.uint16)
HEAD = 33  # bytes of a PNG before its other chunks: signature and IHDR


def png(*chunks):
    """PNG specification, 5.3: length, name, content, CRC of the latter two; cICP and the like stand before the pixels."""
    whole = imagecodecs.png_encode(CODES)
    added = b"".join(
        struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content)) for name, content in chunks
    )
    return whole[:HEAD] + added + whole[HEAD:]


def told(data, curve="srgb", *, code_range="full", table=(), name="with_box.png"):
    still = decode(data, name)
    found = blocks_of(still, block_shape(still.size, (8, 12)), curve=curve, table=table, code_range=code_range)
    return [note for note in found.notes if "says" in note]


def cicp(transfer, full=1):
    return (b"cICP", bytes([1, transfer, 0, full]))


def gama(gamma):
    return (b"gAMA", struct.pack(">I", round(100_000 * gamma)))


SPEAKS_AGAINST = {
    "PQ by H.273": ([cicp(16)], "srgb", "on the curve pq or pq-camera"),
    "HLG by H.273": ([cicp(18)], "rec709", "on the curve hlg"),
    "linear by H.273": ([cicp(8)], "srgb", "linear"),
    "sRGB by H.273": ([cicp(13)], "rec709", "on the curve srgb"),
    "BT.709 by H.273": ([cicp(1)], "linear", "on the curve rec709 or bt1886"),
    "sRGB in a word": ([(b"sRGB", b"\0")], "linear", "on the curve srgb"),
    "a gamma of display": ([gama(1 / 2.2)], "linear", "light to the power of 0.455"),
    "a gamma of one": ([gama(1.0)], "rec709", "linear"),
    "a gamma of display for PQ": ([gama(1 / 2.2)], "pq", "light to the power of 0.455"),
    "cICP before gAMA": ([gama(1 / 2.2), cicp(16)], "srgb", "on the curve pq or pq-camera"),
}


@pytest.mark.parametrize(("chunks", "curve", "words"), SPEAKS_AGAINST.values(), ids=SPEAKS_AGAINST.keys())
def test_what_a_png_says_against_the_stated_curve_is_told(chunks, curve, words):
    (note,) = told(png(*chunks), curve)
    assert words in note
    assert f"the notes state {curve}" in note


AGREES = {
    "PQ of display": ([cicp(16)], "pq"),
    "PQ of camera": ([cicp(16)], "pq-camera"),
    "the same of BT.2020": ([cicp(14)], "rec709"),
    "display light": ([cicp(1)], "bt1886"),
    "unspecified": ([cicp(2)], "linear"),
    "the gamma of sRGB": ([gama(1 / 2.2)], "srgb"),
    "the gamma that programs write for BT.709 too": ([gama(1 / 2.2)], "rec709"),
    "a colour profile, which counts before it": ([gama(1 / 2.2), (b"iCCP", b"p\0\0")], "linear"),
    "nothing": ([], "linear"),
}


@pytest.mark.parametrize(("chunks", "curve"), AGREES.values(), ids=AGREES.keys())
def test_what_agrees_with_the_stated_curve_or_says_none_is_not_told(chunks, curve):
    assert told(png(*chunks), curve) == []


def test_a_table_is_held_against_what_a_png_says_by_how_dark_the_middle_is():
    like_srgb = ((0.0, 0.0), (0.5, 0.21), (1.0, 1.0))  # IEC 61966-2-1: 0.214
    assert told(png(cicp(13)), "table", table=like_srgb) == []
    assert "linear" in told(png(cicp(8)), "table", table=like_srgb)[0]


def test_the_range_of_codes_that_a_png_says_is_held_against_the_stated_one():
    """H.273, VideoFullRangeFlag: 0 for narrow."""
    assert "of narrow range, and the notes state full" in told(png(cicp(1, full=0)), "rec709")[0]
    assert "of full range, and the notes state narrow" in told(png(cicp(1)), "rec709", code_range="narrow")[0]


def exif(orientation):
    found = Image.Exif()
    found[274] = orientation
    return found.tobytes()


def held(kind, orientation):
    stream = io.BytesIO()
    if kind == "jpeg":
        Image.fromarray((CODES >> 8).astype(np.uint8)).save(stream, "jpeg", exif=exif(orientation))
    elif kind == "png":
        return png((b"eXIf", exif(orientation).removeprefix(b"Exif\0\0")))
    else:
        tifffile.imwrite(stream, CODES, extratags=[(274, 3, 1, orientation, True)], metadata=None)
    return stream.getvalue()


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff"])
@pytest.mark.parametrize(("orientation", "words"), [(3, "upside down"), (6, "on its side"), (8, "on its side")])
def test_how_a_camera_was_held_is_told_and_the_still_taken_as_recorded(kind, orientation, words):
    """Exif 3.0, 4.6.5: 3 is turned by 180 degrees, 6 and 8 by 90. The box turns with the camera."""
    (note,) = told(held(kind, orientation), "srgb", name="a")
    assert f"the camera was {words} (orientation {orientation})" in note
    assert np.array_equal(decode(held(kind, orientation), "a").codes, decode(held(kind, 1), "a").codes)
    assert told(held(kind, 1), "srgb", name="a") == []


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff"])
@pytest.mark.parametrize("orientation", [2, 4, 5, 7])
def test_a_still_that_is_to_be_shown_mirrored_is_refused_for_no_camera_records_one_so(kind, orientation):
    with pytest.raises(SceneError, match=f"shown mirrored .orientation {orientation}."):
        decode(held(kind, orientation), "a")


@pytest.mark.parametrize("spoilt", [b"", b"II", b"II*\0\x08\0\0\0\xff\xff", b"junk" * 9])
def test_exif_data_that_cannot_be_read_cost_no_still(spoilt, caplog):
    assert told(png((b"eXIf", spoilt))) == []
    assert not caplog.records


def shot_at(kind, f_number, focal_mm):
    found = Image.Exif()
    found.get_ifd(34665).update({33437: f_number, 37386: focal_mm})  # Exif 3.0, 4.6.6: FNumber, FocalLength
    stream = io.BytesIO()
    picture = Image.fromarray((CODES >> 8).astype(np.uint8))
    picture.save(stream, kind, exif=found.tobytes())
    return decode(stream.getvalue(), "a").shot_at


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff"])
def test_what_a_still_says_that_it_was_shot_at_is_read(kind):
    assert shot_at(kind, IFDRational(28, 10), IFDRational(50, 1)) == SaidSetting(f_number=2.8, focal_mm=50)


def test_a_tiff_may_say_it_among_its_own_tags():
    """ISO 12234-2 (TIFF/EP) has FNumber and FocalLength beside the picture's tags."""
    stream = io.BytesIO()
    tifffile.imwrite(stream, CODES, extratags=[(33437, 5, 1, (28, 10), True), (37386, 5, 1, (50, 1), True)], metadata=None)
    assert decode(stream.getvalue(), "a").shot_at == SaidSetting(f_number=2.8, focal_mm=50)


@pytest.mark.parametrize("unknown", [IFDRational(0, 1), IFDRational(0, 0)])
def test_a_stop_that_the_camera_does_not_know_is_none(unknown):
    assert shot_at("jpeg", unknown, IFDRational(50, 1)) == SaidSetting(focal_mm=50)


def notes_on(*said, f_number=2.0, focal_mm=18.0):
    files = [(f"{name}.jpg", SaidSetting(f_number=stop, focal_mm=focal)) for name, (stop, focal) in zip("ab", said, strict=False)]
    return setting_notes(files, SaidSetting(f_number=f_number, focal_mm=focal_mm))


def test_stills_that_say_another_stop_or_focal_length_than_the_notes_are_told_in_one_sentence():
    (note,) = notes_on((8, 50), (11, 18))
    assert note.startswith(
        "a.jpg says of itself f/8 and 50 mm, b.jpg says of itself f/11 and 18 mm, and the notes say f/2 and 18 mm: "
    )
    (note,) = notes_on((8, 18))
    assert note.startswith("a.jpg says of itself f/8, and the notes say f/2: ")
    (note,) = notes_on((0, 50), (2, 0))
    assert note.startswith("a.jpg says of itself 50 mm, and the notes say 18 mm: ")


def test_what_is_within_a_third_of_a_stop_and_five_per_cent_or_unknown_is_not_told():
    assert notes_on((2.2, 18.8), (2.1, 18)) == ()  # 0.28 stop, 4.4 %
    assert notes_on((0, 0)) == ()


def test_a_pair_is_held_against_each_other_where_both_agree_with_the_notes():
    (note,) = notes_on((2.2, 18), (1.9, 18))  # 0.28 and 0.15 stop off the notes, 0.42 off each other
    assert note.startswith("a.jpg says of itself f/2.2, b.jpg says of itself f/1.9, and the notes say f/2: ")
