"""Masks as files for the workshop: DXF and SVG in mm with layers CUT and ENGRAVE, a 1:1 PDF, and the scene's own tables. Bytes out.

Every drawing is of the mask as the operator sees it from behind the camera, its origin the mask's centre.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator, Sequence
from html import escape

import numpy as np
import shapely

from geometry.arrays import FloatArray
from geometry.cutouts import Shape, closed_rings_mm, reach_beyond_mm
from geometry.frame import frame_to_right_up
from scenes.io.dxf.bytes import drawing_bytes, new_drawing, same_bytes_each_time
from scenes.io.dxf.outline import read_outline
from scenes.questions.masks.report import CutMask, LensMask, size_mm
from scenes.scene_file.errors import Complaint, SceneError
from scenes.scene_file.messages import plain
from scenes.sheets.pdf_letters import use_letters

CUT, ENGRAVE = "CUT", "ENGRAVE"
DO_NOT_CUT = "do not cut: the scene has a fault"
TEXT_MM = 3.5  # letters that a laser or an engraver writes well
LINE_MM = 6.0
SHORT_MM = 0.015  # ends nearer than a hundredth are one corner to a reader of drawings
READ_BACK_MM = 0.02  # a drawing read back may stray by as much: chords, and ends joined to a hundredth
BORDER_MM = 12.0
FOOT_MM = 34.0  # of a page: words, the bar to measure, the words under the cut-out
BAR_MM = 100.0
PAGES_MM = ((297.0, 210.0), (420.0, 297.0))  # ISO 216 A4 and A3, lying
MM_PER_PT = 25.4 / 72
CAP_SHARE = 0.7  # of the type size: the height of capitals


def as_drawn(shape: Shape) -> Shape:
    """A cut-out as the operator sees it: right to the right."""
    drawn = shapely.transform(shape, frame_to_right_up)
    assert isinstance(drawn, shapely.Polygon | shapely.MultiPolygon)
    return drawn


def rings_to_cut(mask: CutMask) -> tuple[FloatArray, ...]:
    """The closed lines (K, 2) of a drawing [mm], without steps so short that a reader takes both ends for one point."""
    return tuple(_without_short_steps(ring) for ring in closed_rings_mm(as_drawn(mask.cutout)))


def _without_short_steps(ring: FloatArray) -> FloatArray:
    kept = [ring[0]]
    for point in ring[1:]:
        if min(np.hypot(*(point - kept[-1])), np.hypot(*(point - kept[0]))) >= SHORT_MM:
            kept.append(point)
    return np.array(kept)


def engraving(mask: CutMask) -> tuple[str, ...]:
    """What stands on the plate under the cut-out."""
    width, height = size_mm(mask.cutout)
    lines = (f"{mask.name} for {', '.join(mask.lens_names)}", f"cut-out {width:.1f} x {height:.1f} mm, this side to the lens")
    more = ["only with the filters in"] if mask.filters_in else []
    return (*lines, *more, *([DO_NOT_CUT] if mask.in_doubt else []))


def dxf_bytes(mask: CutMask) -> bytes:
    """A DXF drawing (R2010, mm): the cut-out as closed polylines on CUT, words on ENGRAVE. Read back before it is handed out."""
    with same_bytes_each_time():
        data = _drawn(mask)
    _insist_on_same(mask, data)
    return data


def _drawn(mask: CutMask) -> bytes:
    from ezdxf.enums import TextEntityAlignment

    document = new_drawing()
    document.layers.add(CUT, color=7)
    document.layers.add(ENGRAVE, color=8)
    space = document.modelspace()
    for ring in rings_to_cut(mask):
        space.add_lwpolyline(ring.tolist(), close=True, dxfattribs={"layer": CUT})
    for (x, y), text in _words_at(mask):
        text_entity = space.add_text(text, height=TEXT_MM, dxfattribs={"layer": ENGRAVE})
        text_entity.set_placement((x, y), align=TextEntityAlignment.MIDDLE_CENTER)
    return drawing_bytes(document)


def _insist_on_same(mask: CutMask, data: bytes) -> None:
    """A drawing that does not read back as the cut-out must never reach a workshop."""
    again = read_outline(data, source=mask.name).shape
    off_mm = max(reach_beyond_mm(again, mask.cutout), reach_beyond_mm(mask.cutout, again))
    if off_mm > READ_BACK_MM:
        problem = f"its drawing reads back {off_mm:.3f} mm off; cut nothing from it"
        raise SceneError([Complaint(where="", problem=problem, source=mask.name)])


def _words_at(mask: CutMask) -> Iterator[tuple[tuple[float, float], str]]:
    """Words and their middles [mm]: TOP above the cut-out, names and size below it."""
    left, low, right, high = as_drawn(mask.cutout).bounds
    middle = (left + right) / 2
    yield (middle, high + LINE_MM), "TOP"
    for line, text in enumerate(engraving(mask), 1):
        yield (middle, low - LINE_MM * line), text


def svg_bytes(mask: CutMask) -> bytes:
    """The same drawing as SVG: one user unit is a millimetre, groups CUT and ENGRAVE."""
    left, low, right, high = _drawing_bounds(mask)
    width, height = right - left, high - low
    paths = ["M" + " L".join(f"{x:.4f},{-y + 0.0:.4f}" for x, y in ring) + " Z" for ring in rings_to_cut(mask)]
    style = f'font-family="sans-serif" font-size="{TEXT_MM / CAP_SHARE:g}" text-anchor="middle" dominant-baseline="central"'
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm" '
        f'viewBox="{left:.3f} {-high:.3f} {width:.3f} {height:.3f}">'
    )
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        head,
        f"<title>{escape(engraving(mask)[0], quote=False)}</title>",
        f'<g id="{CUT}" fill="none" stroke="#000000" stroke-width="0.1">',
        *(f'<path d="{path}"/>' for path in paths),
        "</g>",
        f'<g id="{ENGRAVE}" fill="#808080" {style}>',
        *(f'<text x="{x:.3f}" y="{-y:.3f}">{escape(text, quote=False)}</text>' for (x, y), text in _words_at(mask)),
        "</g>",
        "</svg>",
    ]
    return ("\n".join(lines) + "\n").encode("utf-8")


def _drawing_bounds(mask: CutMask) -> tuple[float, float, float, float]:
    left, low, right, high = as_drawn(mask.cutout).bounds
    return left - BORDER_MM, low - BORDER_MM - LINE_MM * len(engraving(mask)), right + BORDER_MM, high + BORDER_MM


def pdf_bytes(masks: Sequence[CutMask], title: str) -> bytes:
    """A page for each mask at its true size, with a bar to measure that the printer kept it."""
    from reportlab.pdfgen.canvas import Canvas

    stream = io.BytesIO()
    canvas = Canvas(stream, pageCompression=0, invariant=1)
    canvas.setTitle(title)
    canvas.setViewerPreference("PrintScaling", "None")
    use_letters()
    for mask in masks:
        width, height = page_mm(mask)
        canvas.setPageSize((width / MM_PER_PT, height / MM_PER_PT))
        canvas.scale(1 / MM_PER_PT, 1 / MM_PER_PT)
        _draw_page(canvas, mask, title, width, height)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def page_mm(mask: CutMask) -> tuple[float, float]:
    """The smallest of the usual pages that holds a mask; a page of its own size beyond them."""
    width, height = size_mm(mask.cutout)
    need = width + 2 * BORDER_MM, height + 2 * BORDER_MM + FOOT_MM
    for page in PAGES_MM:
        if need[0] <= page[0] and need[1] <= page[1]:
            return page
    return max(need[0], BAR_MM + 2 * BORDER_MM), need[1]


def _draw_page(canvas: object, mask: CutMask, title: str, width: float, height: float) -> None:
    from reportlab.pdfgen.canvas import Canvas

    assert isinstance(canvas, Canvas)
    drawn = as_drawn(mask.cutout)
    left, low, right, high = drawn.bounds
    shift = np.array([width / 2 - (left + right) / 2, (height + FOOT_MM) / 2 - (low + high) / 2])
    canvas.setLineWidth(0.1)
    for ring in rings_to_cut(mask):
        path = canvas.beginPath()
        (x, y), *rest = (ring + shift).tolist()
        path.moveTo(x, y)
        for x, y in rest:
            path.lineTo(x, y)
        path.close()
        canvas.drawPath(path)
    x, y = shift
    canvas.line(x - 5, y, x + 5, y)
    canvas.line(x, y - 5, x, y + 5)
    canvas.setFont("DejaVuSans", TEXT_MM / CAP_SHARE)
    for place, text in _words_at(mask):
        canvas.drawCentredString(place[0] + x, place[1] + y - TEXT_MM / 2, text)
    _draw_foot(canvas, title)


def _draw_foot(canvas: object, title: str) -> None:
    from reportlab.pdfgen.canvas import Canvas

    assert isinstance(canvas, Canvas)
    canvas.line(BORDER_MM, BORDER_MM, BORDER_MM + BAR_MM, BORDER_MM)
    for end in (BORDER_MM, BORDER_MM + BAR_MM):
        canvas.line(end, BORDER_MM - 2, end, BORDER_MM + 2)
    canvas.setFont("DejaVuSans", 3.2)
    canvas.drawString(BORDER_MM, BORDER_MM + 3, f"This bar is {BAR_MM:g} mm long: print at 100 %, then measure it. {title}"[:110])
    canvas.drawString(BORDER_MM, BORDER_MM - 5, "Seen from behind the camera. The cross is the mask's centre.")


def scene_tables(masks: Sequence[CutMask], folder: str) -> str:
    """[[box.mask]] tables that put the masks into the scene, one for each place that a mask is used at."""
    tables = [
        "# In place of the [[box.mask]] tables of the scene; the paths of the drawings are relative to the scene file.",
        *([f"# {DO_NOT_CUT}."] if any(mask.in_doubt for mask in masks) else []),
    ]
    for number, mask in enumerate(masks, 1):
        places = list(dict.fromkeys(_pose_of(member) for member in mask.members))
        for count, place in enumerate(places, 1):
            members = [member.lens.name for member in mask.members if _pose_of(member) == place]
            name = mask.name if len(places) == 1 else f"{mask.name}, place {count}"
            tables.append(_table(name, place, f"{folder}/mask-{number}.dxf", members))
    return "\n".join(tables)


def _pose_of(member: LensMask) -> tuple[float, float, float, float]:
    place = member.place
    return place.at_mm, place.thickness_mm, place.turn_deg, place.tilt_deg


def _quoted(text: str) -> str:
    """A TOML string: JSON's escapes are among TOML's."""
    return json.dumps(text, ensure_ascii=False)


def _table(name: str, place: tuple[float, float, float, float], outline: str, lenses: Sequence[str]) -> str:
    keys = ("at_mm", "thickness_mm", "turn_deg", "tilt_deg")
    values = [f"{key} = {plain(value)}" for key, value in zip(keys, place, strict=True) if key in keys[:2] or value]
    names = ", ".join(_quoted(lens) for lens in lenses)
    lines = ["", "[[box.mask]]", f"name = {_quoted(name)}", *values, f"outline = {_quoted(outline)}", f"lenses = [{names}]"]
    return "\n".join(lines)
