"""Figures and maps as bytes of files, in every format that is offered; opens no file and needs no display."""

from __future__ import annotations

import hashlib
import io
import warnings
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from scenes.io.folders.own_folder import own_folder
from scenes.io.reading import from_home, read_bytes
from scenes.io.writing import COMPRESSION
from scenes.scene_file.errors import Complaint, SceneError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PRINT_DPI = 200
PNG, SVG, PDF, TIFF, EXR = "png", "svg", "pdf", "tiff", "exr"
FIGURE_FORMATS = (PNG, SVG, PDF)
SIGNATURE = b"tEXtSoftware\0brimline "
PNG_HEAD = 33  # bytes: its signature and sizes


def figure_png(figure: Figure, dpi: int = PRINT_DPI) -> bytes:
    """The figure as PNG bytes; needs no display."""
    stream = io.BytesIO()
    with _letters_may_lack():
        figure.savefig(stream, format="png", dpi=dpi, pil_kwargs={"compress_level": COMPRESSION})
    return stream.getvalue()


@contextmanager
def _letters_may_lack() -> Iterator[None]:
    """Keep from the terminal a warning for each letter that the typeface lacks, as those of a Chinese name: a box stands for it."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        yield


def figure_files(stem: str, figure: Figure, formats: Sequence[str] = (PNG,)) -> Iterator[tuple[str, bytes]]:
    """The figure as files, by name and bytes: one for each format, of the same bytes whenever it is the same figure."""
    for form in formats:
        yield f"{stem}.{form}", figure_png(figure) if form == PNG else _drawing(figure, form)


def _drawing(figure: Figure, form: str) -> bytes:
    """The figure as lines and letters: SVG or PDF, without the date and with names that do not change."""
    import matplotlib as mpl

    buffer, undated = io.BytesIO(), {"Date": None} if form == SVG else {"CreationDate": None}
    with mpl.rc_context({"svg.hashsalt": "brimline"}), _letters_may_lack():
        figure.savefig(buffer, format=form, metadata=undated)
    return buffer.getvalue()


def signed(png: bytes) -> bytes:
    """The PNG with a note of the program that drew it, ahead of its pixels (PNG specification, 11.3.3.1, Software).

    The note holds the SHA-256 of all else: people draw on a picture, and some programs keep the notes in what they save.
    """
    words = SIGNATURE + hashlib.sha256(png).hexdigest().encode()
    return png[:PNG_HEAD] + (len(words) - 4).to_bytes(4, "big") + words + zlib.crc32(words).to_bytes(4, "big") + png[PNG_HEAD:]


def _is_as_drawn(data: bytes) -> bool:
    added = len(signed(b""))
    return data == signed(data[:PNG_HEAD] + data[PNG_HEAD + added :])


def own_picture(path: Path) -> Path:
    """Where a picture may be written, links followed; a SceneError where that would cost somebody a file that is none of ours."""
    real = from_home(path).resolve()
    if real.exists() and not _is_as_drawn(read_bytes(real)):
        problem = "is there already and is not as `brimline view` drew it; give another name, or move it away first"
        raise SceneError([Complaint(where="", problem=problem, source=str(path))])
    return real


def layers_tiff(layers: Mapping[str, NDArray[np.float32]]) -> bytes:
    """Layers (H, W) float32 as the pages of a TIFF, each with its name as its description."""
    import tifffile

    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer) as tiff:
        for name, layer in layers.items():
            pixels = np.ascontiguousarray(layer, dtype=np.float32)
            tiff.write(pixels, compression="zlib", description=name, software="brimline", metadata=None, photometric="minisblack")
    return buffer.getvalue()


def exr_trouble(formats: Sequence[str]) -> str:
    """Why maps cannot be written as EXR here; empty where they can, or are not asked for."""
    if EXR not in formats or find_spec("OpenEXR") is not None:
        return ""
    return "--format exr needs one more library; install brimline[exr], or use --format tiff"


def layers_exr(layers: Mapping[str, NDArray[np.float32]]) -> bytes:
    """Layers (H, W) float32 as the channels of an OpenEXR frame, each by its name; row 0 is the top."""
    import OpenEXR

    channels = {name: np.ascontiguousarray(layer, dtype=np.float32) for name, layer in layers.items()}
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    with own_folder() as folder:  # the library writes by name alone
        path = folder / "map.exr"
        with OpenEXR.File(header, channels) as frame:
            frame.write(str(path))
        return path.read_bytes()
