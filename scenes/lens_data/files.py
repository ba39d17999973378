"""Files of lens metadata -> readings, by what they hold."""

from __future__ import annotations

from pathlib import Path

from scenes.io.half_saved import is_half_saved
from scenes.io.library_remarks import printable
from scenes.io.reading import read_bytes
from scenes.lens_data.exr_header import header_reading, read_header
from scenes.lens_data.measured_table import read_table
from scenes.lens_data.opentrackio import read_opentrackio
from scenes.lens_data.reading import Reading, refusal

EXR = b"\x76\x2f\x31\x01"
LARGEST_TEXT = 64_000_000  # bytes; an hour of samples, and reading a film by mistake should not fill the memory


def readings_of(path: Path, *, pupil_in_mm: bool = False, focus_in_mm: bool = False) -> list[Reading]:
    """All readings of a file; SceneError with one sentence where it cannot be used."""
    data, name = read_bytes(path), shown_name(path)
    if not data.strip():
        raise refusal(name, "", "is an empty file; export it again")
    if data.startswith(EXR):
        return [header_reading(read_header(data, name), name)]
    text = _text(data, name)
    if text.lstrip("\ufeff \t\r\n").startswith(("{", "[")):
        return read_opentrackio(text, name, pupil_in_mm=pupil_in_mm, focus_in_mm=focus_in_mm)
    if is_half_saved(data):
        raise refusal(name, "", f"ends within a line after {len(data)} bytes, as if saved or copied by half; export it again")
    return read_table(text, name)


def shown_name(path: Path) -> str:
    """A file's name as it may stand in a comment or a sentence, on one line."""
    return printable(path.name)


def _text(data: bytes, name: str) -> str:
    if len(data) > LARGEST_TEXT:
        raise refusal(
            name, "", f"must be at most {LARGEST_TEXT // 1_000_000} MB, found {len(data) / 1e6:.0f} MB; export less of it"
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise refusal(
            name, "", "must be OpenTrackIO JSON, an EXR frame or a CSV table in UTF-8, found something else; export it again"
        )
    return text
