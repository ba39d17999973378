"""Solids as bytes of files for printers and mills: binary STL and 3MF, in mm, the same bytes for the same solids."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Sequence
from xml.sax.saxutils import quoteattr

import numpy as np

from geometry.polyhedra import Polyhedron, triangles
from scenes.io.finite_numbers import all_finite

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
WRITTEN_AT = (1980, 1, 1, 0, 0, 0)  # the least date that a ZIP can hold: the time of day is no part of a box
TYPES = """<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
</Types>
"""
RELATIONS = """<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>
"""


def stl_bytes(solid: Polyhedron) -> bytes:
    """A binary STL [mm]. STL holds no unit: the file's name has to say it."""
    all_finite(solid.vertices_mm, "an STL file")
    corners = solid.vertices_mm[triangles(solid)].astype("<f4")
    a, b, c = (corners[:, k].astype(np.float64) for k in range(3))
    normal = np.cross(b - a, c - a)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    rows = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("colour", "<u2")])
    rows["normal"], rows["corners"] = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0), corners
    return b"brimline, lengths in mm".ljust(80, b" ") + struct.pack("<I", len(rows)) + rows.tobytes()


def threemf_bytes(solids: Sequence[tuple[str, Polyhedron]], title: str) -> bytes:
    """A 3MF package [mm] (core specification 1.4): an object of its own name for each solid, all where they stand."""
    objects = "".join(_object(number, name, solid) for number, (name, solid) in enumerate(solids, 1))
    items = "".join(f'<item objectid="{number}"/>\n' for number in range(1, len(solids) + 1))
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}">\n'
        f'<metadata name="Title">{_text(title)}</metadata>\n<resources>\n{objects}</resources>\n'
        f"<build>\n{items}</build>\n</model>\n"
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        for name, text in (("[Content_Types].xml", TYPES), ("_rels/.rels", RELATIONS), ("3D/3dmodel.model", model)):
            entry = zipfile.ZipInfo(name, WRITTEN_AT)
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            package.writestr(entry, text.encode())
    return stream.getvalue()


def _text(words: str) -> str:
    return quoteattr(words)[1:-1].replace("&quot;", '"')


def _object(number: int, name: str, solid: Polyhedron) -> str:
    all_finite(solid.vertices_mm, "a 3MF file")
    vertices = "".join(f'<vertex x="{x:.7f}" y="{y:.7f}" z="{z:.7f}"/>\n' for x, y, z in solid.vertices_mm + 0.0)
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in triangles(solid).tolist())
    mesh = f"<mesh>\n<vertices>\n{vertices}</vertices>\n<triangles>\n{faces}</triangles>\n</mesh>\n"
    return f'<object id="{number}" type="model" name={quoteattr(name)}>\n{mesh}</object>\n'
