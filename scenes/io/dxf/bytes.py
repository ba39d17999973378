"""A DXF drawing as bytes: the same drawing is the same file, whenever and wherever it is written."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def same_bytes_each_time() -> Iterator[None]:
    """Let the drawing library write neither the time nor random numbers."""
    from ezdxf._options import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def new_drawing() -> Any:
    """An empty drawing (R2010, mm)."""
    from ezdxf import units
    from ezdxf.filemanagement import new

    document = new("R2010", units=units.MM)
    document.header["$MEASUREMENT"] = 1
    return document


def drawing_bytes(document: Any) -> bytes:
    """The drawing as text, its classes in one order."""
    for name in sorted(document.entitydb.dxf_types_in_use()):
        document.classes.add_class(name)  # else the library writes them in an order that changes from run to run
    stream = io.StringIO()
    document.write(stream)
    return str(stream.getvalue()).encode("utf-8")
