"""Files of lens metadata -> readings, by what they hold."""

from __future__ import annotations

from pathlib import Path

from scenes.io.files import read_bytes, read_text
from scenes.lens_data.exr_header import header_reading, read_header
from scenes.lens_data.measured_table import read_table
from scenes.lens_data.opentrackio import read_opentrackio
from scenes.lens_data.reading import Reading

EXR = b"\x76\x2f\x31\x01"


def readings_of(path: Path, *, pupil_in_mm: bool = False) -> list[Reading]:
    """All readings of a file; SceneError with one sentence where it cannot be used."""
    if read_bytes(path).startswith(EXR):
        return [header_reading(read_header(path), path.name)]
    text = read_text(path)
    if text.lstrip("\ufeff \t\r\n").startswith(("{", "[")):
        return read_opentrackio(text, path.name, pupil_in_mm=pupil_in_mm)
    return read_table(text, path.name)
