"""Cut-outs from drawing files (DXF): bytes -> outline in mm. Opens nothing."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely
from shapely.ops import unary_union

from geometry.frame import right_up_to_frame
from geometry.outline import Freeform
from scenes.scene_file.errors import Complaint, SceneError

FLATNESS_MM = 0.002  # chords of arcs and splines stray at most this much: a fiftieth of what a file takes off metal
JOIN_MM = 0.01  # ends this close are one corner; drawing programs leave gaps of a few micrometres
DRAWN = "LINE ARC CIRCLE ELLIPSE SPLINE LWPOLYLINE POLYLINE"
UNIT_MM = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 13: 0.001, 14: 100.0}  # DXF reference, header variable $INSUNITS
PLAUSIBLE_MM = (15.0, 1000.0)  # a cut-out for any lens on any box is larger and smaller than this


def read_outline(data: bytes, source: str) -> Freeform:
    """The closed outlines of a DXF drawing as one shape in mm, x to the operator's left.

    The drawing is of the mask as the operator sees it from behind the camera; its origin is the mask's centre.
    """
    document = _document(data, source)
    unit_mm = _unit_mm(document, source)
    rings = _rings(document, unit_mm)
    if not rings:
        raise _refusal(source, "holds no closed outline; join its lines and arcs end to end")
    if any(a.contains(b) for a in rings for b in rings if a is not b):
        raise _refusal(source, "holds outlines inside each other; keep only the cut-out, without the plate's edge and screw holes")
    shape = unary_union(rings)
    _plausible(shape, unit_mm, source)
    mirrored = shapely.transform(shape, right_up_to_frame)
    if not isinstance(mirrored, shapely.Polygon | shapely.MultiPolygon):
        raise _refusal(source, "holds no closed outline")
    return Freeform(shapely.normalize(mirrored))


def _refusal(source: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=source)])


def _document(data: bytes, source: str) -> Any:
    from ezdxf import recover
    from ezdxf.lldxf.const import DXFError

    try:
        document, _ = recover.read(io.BytesIO(data))
    except (DXFError, OSError, ValueError, IndexError, KeyError):
        raise _refusal(source, "is no readable DXF drawing; export the cut-out as DXF again") from None
    return document


def _unit_mm(document: Any, source: str) -> float:
    code = int(document.header.get("$INSUNITS", 0))
    if code == 0:
        return 1.0  # unitless: taken as mm, and held against plausible sizes below
    if code not in UNIT_MM:
        raise _refusal(source, f"is drawn in a unit of no use for metal work ($INSUNITS = {code}); save it in mm")
    return UNIT_MM[code]


def _rings(document: Any, unit_mm: float) -> list[shapely.Polygon]:
    """Polygons that the drawing's lines close, each on its own."""
    lines = []
    for entity in document.modelspace().query(DRAWN):
        for points in _chains(entity, FLATNESS_MM / unit_mm):
            places = np.array([(point[0], point[1]) for point in points]) * unit_mm
            if len(places) > 1 and np.ptp(places, axis=0).max() > JOIN_MM:
                lines.append(shapely.LineString(places))
    if not lines:
        return []
    joined = shapely.line_merge(shapely.set_precision(shapely.MultiLineString(lines), JOIN_MM, mode="pointwise"))
    return [shapely.Polygon(line.coords) for line in getattr(joined, "geoms", [joined]) if line.is_ring]


def _chains(entity: Any, flatness: float) -> Iterator[list[Any]]:
    """Points along an entity, curves as chords with their ends on the curve: an opening never grows. In the drawing's unit."""
    match entity.dxftype():
        case "LINE":
            yield [entity.dxf.start, entity.dxf.end]
        case "LWPOLYLINE" | "POLYLINE":
            for piece in entity.virtual_entities():
                yield from _chains(piece, flatness)
        case _:
            yield list(entity.flattening(flatness))


def _unit_guess(size_mm: float, unit_mm: float) -> str:
    """Which unit the drawing was probably made in, where its own makes no sense."""
    low, high = PLAUSIBLE_MM
    if unit_mm != 1.0 and low <= size_mm / unit_mm <= high:
        return "; its numbers look like mm, but the drawing states another unit: set its unit to mm ($INSUNITS = 4)"
    inches = size_mm / unit_mm * UNIT_MM[1]
    if low <= inches <= high:
        return f"; it looks drawn in inches ({inches:.0f} mm), save it in mm"
    return "; draw it at full size in mm"


def _plausible(shape: Any, unit_mm: float, source: str) -> None:
    x0, y0, x1, y1 = shape.bounds
    size = max(x1 - x0, y1 - y0)
    if not PLAUSIBLE_MM[0] <= size <= PLAUSIBLE_MM[1]:
        limits = f"{PLAUSIBLE_MM[0]:g} to {PLAUSIBLE_MM[1]:g} mm"
        raise _refusal(source, f"must be a cut-out of {limits}, found {size:.0f} mm{_unit_guess(size, unit_mm)}")
    if not shape.contains(shapely.Point(0, 0)):
        found = f"found x {x0:.4g} to {x1:.4g}, y {y0:.4g} to {y1:.4g} mm"
        raise _refusal(source, f"must be drawn about its origin, the mask's centre; {found}, move it there")
