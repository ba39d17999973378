"""Bytes of a picture file -> code values with all their bits; a SceneError with one sentence where that cannot be."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenes.io.library_remarks import remarks_of, short_words
from scenes.scene_file.errors import Complaint, SceneError
from scenes.stills.camera_raw import RAW_WORDS, can_read_raw, is_raw_tiff, read_raw

LARGEST_SIDE = 20_000  # pixels: no camera of today records more, and a slip of the pen should not fill the memory
LARGEST_COUNT = 150_000_000  # pixels
LEAST_SIDE = 96
PNG_COLOUR, PNG_PALETTE = 25, 3  # byte of the colour type, and that of a palette. Source: PNG specification, IHDR
JPEG_SCAN, JPEG_END = 0xDA, b"\xff\xd9"  # ITU-T T.81, table B.1: start of scan, end of image
KINDS = "TIFF, PNG, JPEG or EXR"
EXR_WORDS = "is an EXR picture, which needs one more library; install brimline[exr], or save it as 16-bit TIFF"
SUFFIXES = (".tif", ".tiff", ".png", ".jpg", ".jpeg", ".exr", ".dng")


@dataclass(frozen=True, slots=True, kw_only=True)
class Still:
    """A picture as the file has it: codes (H, W, C), 1 or 3 channels; whole numbers of `bits`, or floats where bits is 0."""

    codes: NDArray[Any]
    bits: int
    name: str
    lossy: bool = False
    raw: bool = False

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.codes.shape[1], self.codes.shape[0]


def refusal(name: str, problem: str) -> SceneError:
    """An error about a still."""
    return SceneError([Complaint(where="", problem=problem, source=name)])


def decode(data: bytes, name: str) -> Still:
    """The picture that bytes hold."""
    with remarks_of("tifffile"):
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
    return _still(np.asarray(codes), kind, name)


class _UnfitError(ValueError):
    """A picture that can be read, but whose codes are no levels of light."""


_UNFIT_TIFF = {  # by the tag PhotometricInterpretation. Source: TIFF revision 6.0
    0: "is a negative (white is code 0); invert it, or export it anew",
    3: "has a palette of a few colours in place of levels; save it as grey or RGB",
    5: "has inks (CMYK) in place of light; save it as RGB",
}


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
        page = file.pages[0]
        if unfit := _UNFIT_TIFF.get(getattr(page, "photometric", -1)):
            raise _UnfitError(unfit)
        pixels = page.asarray()
        if page.axes.startswith("S"):  # planes one after another
            pixels = np.moveaxis(pixels, 0, -1)
        return pixels


def _read_exr(data: bytes) -> NDArray[Any]:
    import tempfile

    import OpenEXR

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "still.exr"
        path.write_bytes(data)
        with OpenEXR.File(str(path), separate_channels=True) as file:
            channels = {name: channel.pixels for name, channel in file.channels().items()}
    names = [name for name in ("R", "G", "B") if name in channels] or list(channels)[:1]
    return np.stack([channels[name] for name in names], axis=-1)


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
