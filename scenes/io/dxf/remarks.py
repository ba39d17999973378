"""What a drawing says where no drawing program shows it: remarks between its lines (group code 999), and its own properties."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

REMARK = b"999"
# When a file was written, as programs note it: no scale of 1 : 20.
MOMENT = re.compile(
    r"\b\d{1,4}([-./])\d{1,2}\1\d{2,4}[ T,]+\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?"
    r"|\b\d{1,2}:\d{2}(?::\d{2})?(?=\s+(?:\d{4}\b|[A-Z]{3,4}\b))|\b\d{1,2}:\d{2}(?::\d{2})?\s*[AaPp]\.?[Mm]\b\.?"
)
PROPERTIES = "DWGPROPS"  # an XRECORD of that name: title 2, subject 3, remarks 6, key words 7, own ones "name=value" from 300
TOLD_IN = {2, 3, 6, 7, *range(300, 310)}


def unseen_words(document: Any, data: bytes) -> tuple[str, ...]:
    """Remarks of the file's text and the properties of the drawing, each once."""
    told = (*_remarks(data), *_properties(document))
    return tuple(dict.fromkeys(plain for words in told if (plain := MOMENT.sub(" ", words).strip())))


def _remarks(data: bytes) -> Iterator[str]:
    lines = data.splitlines()
    for code, value in zip(lines[::2], lines[1::2], strict=False):
        if code.strip() == REMARK:
            yield _decoded(value)


def _decoded(value: bytes) -> str:
    """The words of a remark, which files in the old form hold in one byte a letter."""
    try:
        return value.decode("utf-8").strip()
    except UnicodeDecodeError:
        return value.decode("cp1252", "replace").strip()


def _properties(document: Any) -> Iterator[str]:
    for name, value in document.header.custom_vars.properties:
        yield f"{name}: {value}"
    record = document.rootdict.get(PROPERTIES)
    if record is not None and record.dxftype() == "XRECORD":
        for code, value in record.tags:
            if code in TOLD_IN:
                yield str(value)
