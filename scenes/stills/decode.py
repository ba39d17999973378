"""Bytes of a picture file -> code values with all their bits; a SceneError with one sentence where that cannot be."""

from __future__ import annotations

import io
import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenes.io.folders.own_folder import own_folder
from scenes.io.library_remarks import printable, remarks_of, short_words
from scenes.scene_file.errors import Complaint, SceneError
from scenes.stills.camera_raw import RAW_WORDS, can_read_raw, is_raw_tiff, read_raw
from scenes.stills.file_notes import (
    EXIF,
    UNTOLD,
    UPRIGHT,
    SaidCurve,
    SaidSetting,
    orientation_in,
    orientation_notes,
    orientation_problem,
    png_curve,
    png_exif,
    setting_in,
)
from scenes.stills.tiff_soundness import PLACES as TIFF_PLACES
from scenes.stills.tiff_soundness import insist_on_sound

LARGEST_SIDE = 20_000  # pixels: no camera of today records more, and a slip of the pen should not fill the memory
LARGEST_COUNT = 150_000_000  # pixels
LEAST_SIDE = 96
PNG_COLOUR, PNG_PALETTE = 25, 3  # byte of the colour type, and that of a palette. Source: PNG specification, IHDR
JPEG_SCAN, JPEG_END = 0xDA, b"\xff\xd9"  # ITU-T T.81, table B.1: start of scan, end of image
JPEG_APP1 = 0xE1  # in which cameras write Exif data. Source: Exif 3.0, 4.7.2
YCBCR = 6  # of the tag PhotometricInterpretation. Source: TIFF revision 6.0
MOST_PAGES = 16  # of a TIFF: the picture, and its previews by halves
RGB = ("R", "G", "B")
KINDS = "TIFF, PNG, JPEG or EXR"
EXR_WORDS = "is an EXR picture, which needs one more library; install brimline[exr], or save it as 16-bit TIFF"
SUFFIXES = (".tif", ".tiff", ".png", ".jpg", ".jpeg", ".exr", ".dng")


@dataclass(frozen=True, slots=True, kw_only=True)
class Still:
    """A picture as the file has it: codes (H, W, C), 1 or 3 channels; whole numbers of `bits`, or floats where bits is 0.

    said: what the file itself says of its codes, shot_at: of its setting; notes: what there is to say of how it was read.
    """

    codes: NDArray[Any]
    bits: int
    name: str
    lossy: bool = False
    raw: bool = False
    said: SaidCurve | None = None
    shot_at: SaidSetting = UNTOLD
    notes: tuple[str, ...] = ()

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.codes.shape[1], self.codes.shape[0]


def refusal(name: str, problem: str) -> SceneError:
    """An error about a still."""
    return SceneError([Complaint(where="", problem=problem, source=name)])


def decode(data: bytes, name: str) -> Still:
    """The picture that bytes hold."""
    with remarks_of("tifffile"), remarks_of("imagecodecs"):
        return _decoded(data, name)


def _decoded(data: bytes, name: str) -> Still:
    kind = _kind(data, name)
    _insist_on_size(_size(data, kind), name)
    try:
        codes = _READ[kind](data)
    except _UnfitError as unfit:
        raise refusal(name, str(unfit)) from None
    except ImportError:
        raise refusal(name, RAW_WORDS if kind == "raw" else EXR_WORDS) from None
    except Exception as error:  # noqa: BLE001 - whatever a broken file makes a decoder trip over
        raise refusal(
            name,
            f"is damaged or cut short and cannot be read as {kind.upper()}; copy it from the card again ({short_words(error)})",
        ) from None
    exif = _exif(data, kind)
    orientation = orientation_in(exif) if exif else UPRIGHT
    if problem := orientation_problem(orientation):
        raise refusal(name, problem)
    said = png_curve(data) if kind == "png" else None
    shot_at = setting_in(exif) if exif else UNTOLD
    return replace(_still(np.asarray(codes), kind, name), said=said, shot_at=shot_at, notes=orientation_notes(orientation, name))


def _exif(data: bytes, kind: str) -> bytes:
    """Bytes of the TIFF that says how the camera was held and set: the file itself, or its Exif data; empty where it has none."""
    match kind:
        case "tiff":
            return data
        case "jpeg":
            parts = (data[at + 4 : at + 2 + length] for at, length in _jpeg_applications(data))
            return next((part for part in parts if part.startswith(EXIF)), b"")
        case "png":
            return png_exif(data)
    return b""


class _UnfitError(ValueError):
    """A picture that can be read, but whose codes are no levels of light."""


_UNFIT_TIFF = {  # by the tag PhotometricInterpretation. Source: TIFF revision 6.0
    0: "is a negative (white is code 0); invert it, or export it anew",
    3: "has a palette of a few colours in place of levels; save it as grey or RGB",
    4: "is a mask and no picture; save it as grey or RGB",
    5: "has inks (CMYK) in place of light; save it as RGB",
    YCBCR: "has brightness and two differences of colour (YCbCr) in place of light; save it as RGB",
    **dict.fromkeys((8, 9, 10), "has lightness and two differences of colour (Lab) in place of light; save it as RGB"),
    **dict.fromkeys((32844, 32845), "has logarithms (LogLuv) in place of light; save it as RGB, linear"),
}
_RGB_MADE_OF = {6, 7}  # of YCbCr, by the tag Compression: JPEG, which its reader turns into RGB


def _kind(data: bytes, name: str) -> str:
    if not data:
        raise refusal(name, "is an empty file; copy it from the card again")
    for kind, marks in _MARKS.items():
        if data.startswith(marks):
            return "raw" if kind == "tiff" and (Path(name).suffix.lower() not in ("", *SUFFIXES) or is_raw_tiff(data)) else kind
    if data[:4].isalpha() or data[:1] in {b"{", b"#", b"["}:
        raise refusal(name, f"is no picture but text; name a {KINDS} file")
    if Path(name).suffix.lower() not in SUFFIXES and can_read_raw():  # raw files begin in many ways
        return "raw"
    raise refusal(name, f"is no picture that can be read here; save it as {KINDS}, 16-bit TIFF for the best")


_MARKS: dict[str, tuple[bytes, ...]] = {
    "png": (b"\x89PNG\r\n\x1a\n",),
    "jpeg": (b"\xff\xd8\xff",),
    "tiff": (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),
    "exr": (b"\x76\x2f\x31\x01",),
}


def _size(data: bytes, kind: str) -> tuple[int, int] | None:
    """Width and height before anything is unpacked; None where only the decoder can tell."""
    if kind == "png" and len(data) >= 24:
        width, height = struct.unpack(">II", data[16:24])
        return width, height
    if kind == "tiff":
        return _tiff_size(data)
    return _jpeg_size(data) if kind == "jpeg" else None


def _tiff_size(data: bytes) -> tuple[int, int] | None:
    import tifffile

    try:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            page = file.pages.first
            return int(page.imagewidth), int(page.imagelength)
    except Exception:  # noqa: BLE001 - the decoder says what is wrong
        return None


def _jpeg_size(data: bytes) -> tuple[int, int] | None:
    """From the frame header: marker FFC0 to FFCF but for C4, C8 and CC. Source: ITU-T T.81, B.2.2."""
    for marker, at in _jpeg_segments(data):
        if 0xC0 <= marker <= 0xCF and marker not in {0xC4, 0xC8, 0xCC}:
            height, width = struct.unpack(">HH", data[at + 5 : at + 9])
            return width, height
    return None


def _jpeg_segments(data: bytes) -> Iterator[tuple[int, int]]:
    """Marker and place of what stands before the picture's own codes, and of the head of these. Source: ITU-T T.81, B.1.1."""
    at, marker = 2, 0
    while at + 9 < len(data) and data[at] == 0xFF and marker != JPEG_SCAN:
        marker = data[at + 1]
        yield marker, at
        at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]


def _jpeg_applications(data: bytes) -> Iterator[tuple[int, int]]:
    """Place and length of the segments that may hold Exif data."""
    return ((at, struct.unpack(">H", data[at + 2 : at + 4])[0]) for marker, at in _jpeg_segments(data) if marker == JPEG_APP1)


def _insist_on_size(size: tuple[int, int] | None, name: str) -> None:
    if size is not None and (problem := _size_problem(size)):
        raise refusal(name, problem)


def _size_problem(size: tuple[int, int]) -> str:
    """What is wrong with (width, height) in pixels; '' where nothing is."""
    width, height = size
    if max(size) > LARGEST_SIDE or width * height > LARGEST_COUNT:
        return f"is {width} x {height} pixels, more than {LARGEST_SIDE} on a side; scale it to 4096 wide in linear light"
    if min(size) < LEAST_SIDE:
        return f"is {width} x {height} pixels, too small to measure on; hand in the full picture, not its thumbnail"
    return ""


def _read_png(data: bytes) -> NDArray[Any]:
    from imagecodecs import png_decode

    if len(data) > PNG_COLOUR and data[PNG_COLOUR] == PNG_PALETTE:
        raise _UnfitError("has a palette of a few colours in place of levels; save it as grey or RGB")
    return png_decode(data)


def _read_jpeg(data: bytes) -> NDArray[Any]:
    from imagecodecs import jpeg8_decode

    begin = next((at for marker, at in _jpeg_segments(data) if marker == JPEG_SCAN), 0)
    if data.find(JPEG_END, begin) < 0:  # its reader would fill the rest with grey: light where the box may be dark
        raise ValueError("its codes do not end")
    codes = jpeg8_decode(data)
    if codes.ndim == 3 and codes.shape[2] == 4:
        raise _UnfitError("has inks (CMYK) in place of light; save it as RGB")
    return codes


def _read_tiff(data: bytes) -> NDArray[Any]:
    import tifffile

    with tifffile.TiffFile(io.BytesIO(data)) as file:
        page: Any = file.pages[0]
        unfit = _UNFIT_TIFF.get(getattr(page, "photometric", -1))
        if unfit and not (page.photometric == YCBCR and page.compression in _RGB_MADE_OF):
            raise _UnfitError(unfit)
        _insist_on_one_page(file.pages)
        _insist_on_its_height(page)
        insist_on_sound(data, page)
        pixels = page.asarray()
        if page.axes.startswith("S"):  # planes one after another
            pixels = np.moveaxis(pixels, 0, -1)
        return pixels


def _insist_on_its_height(page: Any) -> None:
    """Refuse a page that holds more or fewer strips or tiles than its size needs, as where a bit of the height is lost."""
    held = next((page.tags[code].count for code in TIFF_PLACES if code in page.tags), None)
    if held is not None and held != math.prod(page.chunked):
        raise ValueError(f"it holds {held} strips or tiles, where its size needs {math.prod(page.chunked)}")


def _insist_on_one_page(pages: Any) -> None:
    """Refuse a preview that stands for the picture, and pictures behind the first: which of them is meant nobody knows."""
    if pages[0].is_reduced:
        raise _UnfitError("begins with a preview in place of the picture; save it without, as one page")
    whole, seen = 0, set[int]()
    for page in pages:  # one after another: a list of pages may be as long as the file
        if page.offset in seen:
            raise _UnfitError("names its pages in a circle, so that they never end; save it anew, as one page")
        seen.add(page.offset)
        whole += not page.is_reduced and not page.is_mask
        if whole > 1:
            raise _UnfitError("holds more than one picture; hand in a single grey or RGB frame")
        if len(seen) > MOST_PAGES:
            raise _UnfitError(f"holds more than {MOST_PAGES} pages; save it anew, as one page")


def _read_exr(data: bytes) -> NDArray[Any]:
    import OpenEXR

    with own_folder() as folder:
        path = folder / "still.exr"
        path.write_bytes(data)
        with OpenEXR.File(str(path), separate_channels=True) as file:
            if len(file.parts) > 1:
                raise _UnfitError(f"holds {len(file.parts)} pictures; hand in a single grey or RGB frame")
            _insist_on_whole_window(file.header())
            channels = {name: channel.pixels for name, channel in file.channels().items()}
    return np.stack([channels[name] for name in _light_of(tuple(channels))], axis=-1)


def _insist_on_whole_window(header: dict[str, Any]) -> None:
    """The pixels are those of the picture: programs trim what is black, or add what lies beyond the frame.

    Source: OpenEXR, Technical Introduction, "Display Window and Data Window".
    """
    held, shown = (np.array(header[key]).ravel().tolist() for key in ("dataWindow", "displayWindow"))
    if held != shown:
        raise _UnfitError(
            f"holds the pixels {held[0]}, {held[1]} to {held[2]}, {held[3]} of a picture of {shown[0]}, {shown[1]} to {shown[2]}, "
            f"{shown[3]}; save it whole, neither trimmed nor with more than the frame"
        )


def _light_of(names: tuple[str, ...]) -> tuple[str, ...]:
    """The channels that hold light: R, G and B, or grey. What is transparent, or how far things are, is as bright in the dark.

    Source: OpenEXR, Technical Introduction, "Channel Names": Y is luminance, RY and BY are what is left of its colours.
    """
    if set(RGB) <= set(names):
        return RGB
    if "Y" in names and not {"RY", "BY"} & set(names):
        return ("Y",)
    if len(names) == 1 and names[0] != "A":
        return names
    listed = ", ".join(printable(name)[:30] for name in names[:4])
    raise _UnfitError(f"has the channels {listed} and no plain R, G and B; save it with these three alone, or grey with Y")


def _read_raw(data: bytes) -> NDArray[Any]:
    return read_raw(data, _insist_on_fit_size)


def _insist_on_fit_size(size: tuple[int, int]) -> None:
    if problem := _size_problem(size):
        raise _UnfitError(problem)


_READ = {"png": _read_png, "jpeg": _read_jpeg, "tiff": _read_tiff, "exr": _read_exr, "raw": _read_raw}


def _still(codes: NDArray[Any], kind: str, name: str) -> Still:
    if codes.ndim == 2:
        codes = codes[..., None]
    if codes.ndim != 3 or codes.shape[2] not in {1, 2, 3, 4}:
        raise refusal(name, f"holds an array of shape {codes.shape}, not one picture; hand in a single grey or RGB frame")
    _insist_on_size((codes.shape[1], codes.shape[0]), name)
    codes = codes[..., : 3 if codes.shape[2] >= 3 else 1]  # a transparency channel says nothing of light
    if codes.dtype.kind == "f":
        if not np.isfinite(codes).all():
            codes = np.nan_to_num(codes, nan=0.0, posinf=np.inf, neginf=0.0)
        return Still(codes=codes, bits=0, name=name)
    if codes.dtype not in {np.dtype(np.uint8), np.dtype(np.uint16)}:
        raise refusal(name, f"holds {codes.dtype} values; save it with 8 or 16 bits a channel")
    return Still(codes=codes, bits=8 * codes.dtype.itemsize, name=name, lossy=kind == "jpeg", raw=kind == "raw")
