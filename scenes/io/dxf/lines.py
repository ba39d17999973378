"""What a DXF drawing draws, as lines in mm: blocks taken apart, curves as chords; whatever it holds besides is refused by name."""

from __future__ import annotations

import io
import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count, islice
from typing import Any

import numpy as np

from scenes.io.dxf.dimensions import held_places, other_scale
from scenes.io.dxf.doubts import Points
from scenes.io.dxf.joined_lines import DRAWN, JOIN_MM, Line
from scenes.io.dxf.leftovers import idle_blocks
from scenes.io.dxf.sheet_blocks import is_title_block
from scenes.io.dxf.sheets import WRITING, words_of
from scenes.io.dxf.splines import off_its_points, spline_points
from scenes.io.dxf.tags import contradiction, entity_heads
from scenes.io.dxf.units import is_of_units
from scenes.io.library_remarks import in_one_line, remarks_of
from scenes.scene_file.errors import Complaint, SceneError

FLATNESS_MM = 0.002  # chords of arcs and splines stray at most this much: a fiftieth of what a file takes off metal
MOST_FIT_MM = 0.5  # off its points that a spline may state for itself: more is a slip, or no cut-out for a box
LARGEST_BYTES = 20_000_000
MOST_PIECES, MOST_POINTS, DEEPEST = 20_000, 400_000, 16
MOST_THINGS = 40_000  # of any kind in the file: its reader takes some five seconds for these
MOST_TAGS = 1_500_000  # in the file: of as many corners as are taken, with room for all else
LARGEST_MM = 100_000.0  # a hundred times the largest cut-out: a slip of a unit still gets its own words
GUESSES = ("recovered invalid", "ignoring content", "skipped")  # words of the reader's remarks on what it made up or left out
CLOSED_WITH = b"EOF"
BINARY_DXF, DWG = (
    b"AutoCAD Binary DXF",
    b"AC10",
)  # DXF reference, "Binary DXF Files"; a DWG begins with its version, AC1015 and so on
FULL_LINES = {"CONTINUOUS", "BYLAYER", "BYBLOCK"}
CLEAR_SHARE = 0.95  # transparency of lines that nobody sees
NEVER_PRINTED = "defpoints"  # the layer that drawing programs keep for the points of dimensions, and print nothing of
SMOOTHED = 4  # DXF reference, POLYLINE, group code 70: its vertices are those of a frame, not of the line
CORNER_IN_SPACE = 32  # DXF reference, VERTEX, group code 70
FRAME_CORNER = 16  # DXF reference, VERTEX, group code 70: of such a frame


def _refusal(source: str, problem: str) -> SceneError:
    return SceneError([Complaint(where="", problem=problem, source=source)])


def read_document(data: bytes, source: str) -> Any:
    """The drawing, read whole; SceneError where it is damaged or cut short, be it by one entity."""
    from ezdxf import recover
    from ezdxf.lldxf.const import DXFError

    if len(data) > LARGEST_BYTES:
        raise _refusal(
            source, f"must be at most {LARGEST_BYTES // 1_000_000} MB, found {len(data) / 1e6:.0f} MB; save the cut-out alone"
        )
    _is_text(data, source)
    _soon_read(data, source)
    try:
        with remarks_of("ezdxf") as remarks:
            document, audit = recover.read(io.BytesIO(data))
    except (DXFError, OSError, ValueError, IndexError, KeyError):
        raise _refusal(source, "is no readable DXF drawing; export the cut-out as DXF again") from None
    if not data.rstrip().rstrip(b"\0").endswith(CLOSED_WITH):
        raise _refusal(source, "is cut short: it does not end with EOF as every DXF does; export it again")
    guessed = next((remark for remark in remarks if any(word in remark for word in GUESSES)), None)
    if guessed:
        raise _refusal(source, f"is damaged: its reader had to guess ({in_one_line(guessed)[:200]}); export it again")
    spoilt = contradiction(data)
    if spoilt:
        raise _refusal(source, f"is damaged: {spoilt}; export it again")
    lost = _written(data) - _read(document)
    if lost or audit.errors:
        what = ", ".join(f"{count} {kind}" for kind, count in sorted(lost.items())) or in_one_line(audit.errors[0].message)[:200]
        raise _refusal(source, f"is damaged: it cannot be read whole ({what}); export it again")
    return document


def _is_text(data: bytes, source: str) -> None:
    """Refuse the two other forms that drawings are saved in."""
    if data.startswith(BINARY_DXF):
        raise _refusal(source, "is a binary DXF, which is not read; save it as text (ASCII) DXF")
    if data.startswith(DWG):
        raise _refusal(source, "is a DWG drawing, which is not read; save it as text (ASCII) DXF")


def _soon_read(data: bytes, source: str) -> None:
    """Refuse a file that its reader would take minutes for, before it begins."""
    tags = data.count(b"\n") // 2
    things = sum(1 for _ in entity_heads(data)) if tags <= MOST_TAGS else MOST_THINGS + 1
    if things > MOST_THINGS:
        raise _refusal(source, f"holds more than {MOST_THINGS} lines, texts and other things; save the cut-out alone")


def _written(data: bytes) -> Counter[str]:
    """How many things of each kind the file's text holds: all that draw, wherever they stand, and all among the entities."""
    return Counter(head for head, inside in entity_heads(data) if inside or head in {*DRAWN, "INSERT"})


def _read(document: Any) -> Counter[str]:
    """How many of each kind its reader has, and for all but lines in a place where they show: what it does not know has none."""
    lines = Counter(entity.dxftype() for entity in document.entitydb.values() if entity.is_alive)
    placed = Counter(entity.dxftype() for block in document.blocks for entity in block)
    texts = (entity for block in document.blocks for entity in block if entity.dxftype() == "MTEXT" and entity.has_columns)
    placed["MTEXT"] += sum(len(text.columns.linked_columns) for text in texts)  # before R2018 each column is a text of its own
    return Counter({kind: lines[kind] if kind in {*DRAWN, "INSERT"} else placed[kind] for kind in {*lines, *placed}})


@dataclass(frozen=True, slots=True)
class Drawn:
    """What model space holds: lines (N, 2) [mm], and besides each once the texts, the lines' layers, what dimensions hold on to.

    blocks: names of blocks whose lines are among them, and the layers that these stand on. scaled: blocks at a size of their own.
    """

    lines: list[Line]
    texts: tuple[str, ...]
    layers: tuple[str, ...]
    measured: tuple[Points, ...]
    blocks: tuple[str, ...]
    scaled: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class _Met:
    """What is met on the way through a drawing in this unit: how many things, the texts among them, layers, what is measured.

    is_stated: whether the drawing states its unit.
    """

    unit_mm: float
    is_stated: bool
    counted: Iterator[int] = field(default_factory=count)
    texts: dict[str, None] = field(default_factory=dict)
    layers: dict[str, None] = field(default_factory=dict)
    measured: dict[Points, None] = field(default_factory=dict)
    blocks: dict[str, None] = field(default_factory=dict)
    scaled: dict[tuple[str, float], None] = field(default_factory=dict)

    def enter(self, insert: Any) -> None:
        """Keep the name, layer and size of a block that draws lines of its own."""
        block = insert.block()
        if block is None or not any(entity.dxftype() in DRAWN for entity in block):
            return
        self.blocks.update({block.name: None, str(insert.dxf.layer): None})
        times = abs(float(insert.dxf.xscale))
        if not is_of_units(times, block.units, self.unit_mm if self.is_stated else None):
            self.scaled[block.name, round(times, 6)] = None

    def read(self, text: Any) -> None:
        """Keep the words of a text."""
        self.texts.update(dict.fromkeys(words_of(text)))


def read_drawn(document: Any, unit_mm: float, source: str) -> Drawn:
    """What model space draws and says; curves are chords with their ends on the curve, so an opening never grows."""
    _nothing_in_idle_blocks(document, source)
    lines: list[Line] = []
    left, heights = MOST_POINTS, set[float]()
    met = _Met(unit_mm, is_stated=document.header.get("$INSUNITS", 0) != 0)
    for number, piece in enumerate(_pieces(document.modelspace(), source, met)):
        if number >= MOST_PIECES:
            raise _refusal(source, f"holds more than {MOST_PIECES} lines and curves; save the cut-out alone")
        _within_reach(piece, unit_mm, source)
        points = [tuple(point) for point in islice(_points(piece, FLATNESS_MM / unit_mm, left), left + 1)]
        left -= len(points)
        heights |= {point[2] for point in points if len(point) > 2}
        if left < 0:
            raise _refusal(source, f"holds curves of more than {MOST_POINTS} points; save the cut-out alone, as arcs and lines")
        flat = _finite(np.array([point[:2] for point in points], dtype=np.float64).reshape(-1, 2), piece, source)
        _runs_through_its_points(piece, flat, unit_mm, source)
        lines.append(flat * unit_mm)
    if heights and (max(heights) - min(heights)) * unit_mm > JOIN_MM:
        raise _refusal(source, f"is not flat: its z runs from {min(heights):g} to {max(heights):g}; draw the cut-out in one plane")
    return Drawn(
        lines=lines,
        texts=tuple(met.texts),
        layers=tuple(met.layers),
        measured=tuple(met.measured),
        blocks=tuple(met.blocks),
        scaled=tuple(met.scaled),
    )


def _nothing_in_idle_blocks(document: Any, source: str) -> None:
    """Refuse lines in a block that is inserted nowhere: the cut-out may be what it holds."""
    for block in idle_blocks(document):
        if any(entity.dxftype() in DRAWN for entity in block):
            raise _refusal(
                source,
                f'holds lines in the block "{block.name[:40]}", which is inserted nowhere, so nobody sees them; insert it if it is '
                "the cut-out, or purge it",
            )


def _pieces(entities: Any, source: str, met: _Met, depth: int = 0) -> Iterator[Any]:
    """Lines and curves, with blocks and polylines taken apart; `met` counts whatever is met on the way, writing too."""
    for entity in entities:
        if next(met.counted) >= MOST_PIECES:
            raise _refusal(source, f"comes to more than {MOST_PIECES} copies of blocks, lines and texts; save the cut-out alone")
        kind = entity.dxftype()
        if kind in {*DRAWN, "INSERT"}:
            _shows(entity, source)
        if kind in DRAWN:
            met.layers[str(entity.dxf.layer)] = None
        if kind == "INSERT":
            for attribute in entity.attribs:
                met.read(attribute)
            _is_no_title_block(entity, source)
            met.enter(entity)
            yield from _pieces(_block_parts(entity, source, depth), source, met, depth + 1)
        elif kind in {"LWPOLYLINE", "POLYLINE"}:
            yield from _polyline_parts(entity, source)
        elif kind in DRAWN:
            _runs_one_way(entity, source)
            yield entity
        elif "DIMENSION" in kind:
            _at_full_size(entity, met.unit_mm, source)
            met.measured[_measured(entity, met.unit_mm)] = None
        elif kind in WRITING:
            met.read(entity)
        else:
            raise _refusal(
                source, f"holds {_a(kind)}, which is no line or arc; delete it, or draw it as lines and arcs, and export again"
            )


def _runs_one_way(entity: Any, source: str) -> None:
    """Refuse a spline of points that it runs through: how it runs between them each drawing program has of its own."""
    if entity.dxftype() == "SPLINE" and len(entity.fit_points) and not len(entity.control_points):
        raise _refusal(
            source,
            "holds a SPLINE given only by the points that it runs through, and each program draws it its own way between them; "
            "export it with its control points, or as arcs and lines",
        )


def _runs_through_its_points(piece: Any, flat: Line, unit_mm: float, source: str) -> None:
    """Refuse a spline whose points to run through speak against its control points: which of the two are spoilt nobody knows."""
    if piece.dxftype() != "SPLINE":
        return
    off_mm = off_its_points(piece, flat) * unit_mm
    stated_mm = min(max(float(piece.dxf.get("fit_tolerance", 0.0)), 0.0) * unit_mm, MOST_FIT_MM)
    if off_mm > JOIN_MM + FLATNESS_MM + stated_mm:
        raise _refusal(
            source,
            f"holds a SPLINE that passes {off_mm:.2g} mm off its own points to run through; export it again, as arcs and lines",
        )


def _at_full_size(dimension: Any, unit_mm: float, source: str) -> None:
    """Refuse a drawing whose dimensions tell other sizes than its lines have: it is to a scale, or a size was changed alone."""
    words = other_scale(dimension, unit_mm)
    if words:
        raise _refusal(source, f"is not drawn at full size: {words}; draw the cut-out at full size, 1 : 1")


def _measured(dimension: Any, unit_mm: float) -> Points:
    """The places [mm] on what is drawn that a dimension holds on to; none of those that measure angles."""
    return tuple((x * unit_mm, y * unit_mm) for x, y in held_places(dimension))


def _shows(entity: Any, source: str) -> None:
    """Refuse what does not show on the screen, or not in print: whoever cuts the metal may cut it or not."""
    name, kind = str(entity.dxf.layer), entity.dxftype()
    layers = entity.doc.layers if entity.doc else {}
    layer = layers.get(name) if name in layers else None
    _is_full_line(entity, layer, source)
    if _is_clear(entity, layer):
        raise _refusal(source, f"holds {_a(kind)} that is fully transparent; show it or delete it")
    hidden = layer is not None and (layer.is_off() or layer.is_frozen() or not layer.dxf.plot)
    hidden = hidden or name.lower() == NEVER_PRINTED
    if hidden or entity.dxf.invisible:
        where = f'on the layer "{name[:40]}", which is off, frozen or not printed' if hidden else "that is made invisible"
        raise _refusal(source, f"holds {_a(kind)} {where}; show it or delete it")


def _is_clear(entity: Any, layer: Any) -> bool:
    """Whether nothing shows of a line because it, or its layer, is transparent."""
    of_layer = entity.is_transparency_by_layer and layer is not None
    return float(layer.transparency if of_layer else entity.transparency) >= CLEAR_SHARE


def _is_full_line(entity: Any, layer: Any, source: str) -> None:
    """Refuse dashed lines: they stand for what is hidden, bent or engraved as often as for a cut."""
    name = str(entity.dxf.linetype)
    if name.upper() == "BYLAYER" and layer is not None:
        name = str(layer.dxf.linetype)
    kind = entity.doc.linetypes.get(name) if entity.doc and name in entity.doc.linetypes else None
    if name.upper() not in FULL_LINES and kind is not None and kind.simplified_line_pattern():
        raise _refusal(
            source,
            f'holds {_a(entity.dxftype())} drawn as a "{name[:40]}" line; draw what is cut as a full line, delete the rest',
        )


def _a(kind: str) -> str:
    return f"{'an' if kind[0] in 'AEIO' else 'a'} {kind}"


def _block_parts(insert: Any, source: str, depth: int) -> Iterator[Any]:
    block = insert.block()
    if block is None or block.block.is_xref or depth >= DEEPEST:
        raise _refusal(
            source, f'holds the block "{insert.dxf.get("name", "")}", whose lines are not in this file; explode it and export again'
        )

    across, up = abs(float(insert.dxf.xscale)), abs(float(insert.dxf.yscale))
    if not math.isclose(across, up, rel_tol=1e-6):
        raise _refusal(
            source,
            f'shows its block "{block.name[:40]}" at two scales, {across:g} across and {up:g} up; explode it and export again',
        )
    deep = abs(float(insert.dxf.zscale))
    if not math.isclose(deep, 1.0, rel_tol=1e-6) and not math.isclose(deep, across, rel_tol=1e-6):
        raise _refusal(
            source,
            f'shows its block "{block.name[:40]}" at two scales, {across:g} across and {deep:g} deep; explode it and export again',
        )
    if _is_clipped(insert):
        raise _refusal(source, f'shows only a part of its block "{block.name[:40]}"; explode it and export again')
    if not len(block):
        raise _refusal(source, f'is damaged: its block "{block.name[:40]}" holds nothing; explode it and export again')

    def refuse(entity: Any, _why: str) -> None:
        kind = entity.dxftype()
        if kind not in WRITING and "DIMENSION" not in kind:
            raise _refusal(source, f"holds a {kind} in a block that cannot be taken apart; explode the block and export again")

    copies = insert.multi_insert() if insert.mcount > 1 else [insert]
    for copy in islice(copies, MOST_PIECES):
        yield from copy.virtual_entities(skipped_entity_callback=refuse)


def _is_no_title_block(insert: Any, source: str) -> None:
    """Refuse a title block among the lines of the model, where its frame is a line like any other and would be cut."""
    block = insert.block()
    if block is not None and is_title_block(block.name) and any(entity.dxftype() in DRAWN for entity in block):
        raise _refusal(
            source,
            f'holds the title block "{block.name[:40]}" in model space, where its lines are read as lines to cut; delete it there, '
            "or move it to a sheet (paper space)",
        )


def _is_clipped(insert: Any) -> bool:
    """Whether a block is shown within a frame only; DXF reference, SPATIAL_FILTER, which stands in the block's ACAD_FILTER."""
    return bool(insert.has_extension_dict and "ACAD_FILTER" in insert.get_extension_dict())


def _polyline_parts(entity: Any, source: str) -> Iterator[Any]:
    if entity.dxftype() == "POLYLINE" and (not (entity.is_2d_polyline or entity.is_3d_polyline) or entity.dxf.flags & SMOOTHED):
        raise _refusal(source, "holds a POLYLINE that is a mesh or a smoothed frame; draw it as lines and arcs, and export again")
    if entity.dxftype() == "POLYLINE" and any(vertex.dxf.flags & FRAME_CORNER for vertex in entity.vertices):
        raise _refusal(source, "is damaged: a POLYLINE that is no smoothed one holds corners of a frame; export it again")
    if entity.dxftype() == "POLYLINE" and entity.is_3d_polyline and not all(map(_is_in_space, entity.vertices)):
        raise _refusal(source, "is damaged: a POLYLINE in space holds corners, bulges or widths of a flat one; export it again")
    if not entity.dxf.flags & 8 and entity.has_width:  # 8: a 3D polyline, which has none
        raise _refusal(source, f"holds a {entity.dxftype()} that is drawn wide; draw its edges as lines, and export again")
    pieces = list(islice(entity.virtual_entities(), MOST_PIECES + 1))
    if not pieces:
        raise _refusal(source, f"holds {_a(entity.dxftype())} without corners; delete it, or export it again")
    for piece in pieces:
        if piece.dxftype() not in DRAWN:
            raise _refusal(source, f"holds a {piece.dxftype()} in a polyline; draw it as lines and arcs, and export again")
        yield piece


def _is_in_space(vertex: Any) -> bool:
    """Whether this is a corner of a polyline in space, which has no bulge and no width."""
    flat = (vertex.dxf.get("bulge", 0.0), vertex.dxf.get("start_width", 0.0), vertex.dxf.get("end_width", 0.0))
    return bool(vertex.dxf.flags & CORNER_IN_SPACE) and not any(flat)


def _within_reach(piece: Any, unit_mm: float, source: str) -> None:
    """Refuse a curve that would take ever so many chords, before any is made."""
    sizes = np.array(list(_sizes(piece)), dtype=np.float64) * unit_mm
    if not np.isfinite(sizes).all():
        raise _refusal(source, f"holds a {piece.dxftype()} whose numbers are not finite; export it again")
    if len(sizes) and np.abs(sizes).max() > LARGEST_MM:
        found = f"{np.abs(sizes).max():.3g} mm"
        raise _refusal(
            source, f"holds a {piece.dxftype()} that reaches {found} out; draw the cut-out at full size in mm about its origin"
        )


def _sizes(piece: Any) -> Iterator[float]:
    match piece.dxftype():
        case "LINE":
            yield from (*piece.dxf.start, *piece.dxf.end)
        case "ARC":
            yield from (*piece.dxf.center, piece.dxf.radius, math.radians(piece.dxf.start_angle), math.radians(piece.dxf.end_angle))
        case "CIRCLE":
            yield from (*piece.dxf.center, piece.dxf.radius)
        case "ELLIPSE":
            yield from (*piece.dxf.center, *piece.dxf.major_axis, piece.dxf.ratio, piece.dxf.start_param, piece.dxf.end_param)
        case "SPLINE":
            for place in (*piece.control_points, *piece.fit_points):
                yield from map(float, place)
            yield from (*map(float, piece.knots), *map(float, piece.weights))


def _points(piece: Any, flatness: float, most: int) -> Iterator[Any]:
    if piece.dxftype() == "LINE":
        return iter([piece.dxf.start, piece.dxf.end])
    if piece.dxftype() == "SPLINE" and len(piece.control_points):
        return spline_points(piece, flatness, most)
    return iter(piece.flattening(flatness))


def _finite(line: Line, piece: Any, source: str) -> Line:
    if not np.isfinite(line).all():
        raise _refusal(source, f"holds a {piece.dxftype()} whose numbers are not finite; export it again")
    return line
