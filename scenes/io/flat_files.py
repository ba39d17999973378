"""Flats as drawings to cut and bend by: DXF and SVG in mm on the layers cut, bend and engrave, with a square to measure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

import numpy as np

from geometry.flats import Flat
from geometry.rings import Ring
from scenes.io.dxf.bytes import drawing_bytes, new_drawing, same_bytes_each_time
from scenes.io.finite_numbers import all_finite

CUT, BEND, ENGRAVE, CHECK = "cut", "bend", "engrave", "check"
COLOURS = {CUT: 7, BEND: 5, ENGRAVE: 3, CHECK: 8}  # of DXF layers: black or white, blue, green, grey
INKS = {CUT: "#000000", BEND: "#0050b0", ENGRAVE: "#1d7a3c", CHECK: "#808080"}
SQUARE_MM, AWAY_MM = 100.0, 30.0  # the square to measure, and how far from the flat it stands
SQUARE_WORDS = "100 mm square: measure it, do not cut it"
TEXT_MM, LINE_SHARE = 4.0, 1.6
CAP_SHARE = 0.7  # of the type size: the height of capitals


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Lines to engrave, the first on top, about a place [mm], as high as told, turned anticlockwise."""

    lines: tuple[str, ...]
    at_mm: tuple[float, float]
    height_mm: float = TEXT_MM
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A drawing: flats where they lie, words to engrave; width and height of the sheet that they lie on from (0, 0), if on one."""

    flats: Sequence[Flat]
    words: Sequence[Words] = ()
    sheet_mm: tuple[float, float] | None = None

    @property
    def bounds_mm(self) -> tuple[float, float, float, float]:
        """Left, low, right, high of everything but the square [mm]."""
        boxes = [flat.bounds_mm for flat in self.flats]
        boxes += [(0.0, 0.0, *self.sheet_mm)] if self.sheet_mm is not None else []
        left, low, right, high = zip(*boxes, strict=True)
        return min(left), min(low), max(right), max(high)

    @property
    def square_mm(self) -> tuple[float, float]:
        """Lower left corner of the square to measure: below everything else."""
        left, low, _, _ = self.bounds_mm
        return left, low - AWAY_MM - SQUARE_MM


def dxf_of(drawn: Drawn) -> bytes:
    """The drawing as DXF: arcs and circles as such, every ring closed."""
    _finite(drawn, "a DXF file")
    with same_bytes_each_time():
        document = new_drawing()
        for name, colour in COLOURS.items():
            document.layers.add(name, color=colour)
        space = document.modelspace()
        for flat in drawn.flats:
            for ring in flat.rings:
                _add_ring(space, ring)
            for bend in flat.bends:
                space.add_line(*bend.line_mm.tolist(), dxfattribs={"layer": BEND})
        for line, place, height, turn in _lines(drawn.words):
            _add_text(space, line, place, height, ENGRAVE, turn)
        if drawn.sheet_mm is not None:
            w, h = drawn.sheet_mm
            space.add_lwpolyline([(0, 0), (w, 0), (w, h), (0, h)], close=True, dxfattribs={"layer": CHECK})
        _add_square(space, drawn)
        return drawing_bytes(document)


def _finite(drawn: Drawn, what: str) -> None:
    for flat in drawn.flats:
        for ring in flat.rings:
            all_finite(ring.points_mm, what)
            all_finite(ring.bulges, what)
        for bend in flat.bends:
            all_finite(bend.line_mm, what)
    for words in drawn.words:
        all_finite((*words.at_mm, words.height_mm, words.turn_deg), what)
    all_finite(drawn.sheet_mm or (), what)


def _add_ring(space: Any, ring: Ring) -> None:
    circle = ring.as_circle
    if circle is not None:
        space.add_circle(circle[0], circle[1], dxfattribs={"layer": CUT})
        return
    points = [(x, y, bulge) for (x, y), bulge in zip(ring.points_mm.tolist(), ring.bulges.tolist(), strict=True)]
    space.add_lwpolyline(points, format="xyb", close=True, dxfattribs={"layer": CUT})


def _add_text(space: Any, line: str, place: tuple[float, float], height: float, layer: str, turn_deg: float = 0.0) -> None:
    from ezdxf.enums import TextEntityAlignment

    entity = space.add_text(line, height=height, dxfattribs={"layer": layer, "rotation": turn_deg})
    entity.set_placement(place, align=TextEntityAlignment.MIDDLE_CENTER)


def _add_square(space: Any, drawn: Drawn) -> None:
    x, y = drawn.square_mm
    s = SQUARE_MM
    space.add_lwpolyline([(x, y), (x + s, y), (x + s, y + s), (x, y + s)], close=True, dxfattribs={"layer": CHECK})
    _add_text(space, SQUARE_WORDS, (x + s / 2, y + s / 2), TEXT_MM * 0.75, CHECK)
    look = {"dimtxt": 3.5, "dimasz": 3.0, "dimexe": 2.0, "dimexo": 1.0, "dimdec": 1, "dimgap": 1.0, "dimtad": 1, "dimlfac": 1.0}
    for start, end, base, angle in (
        ((x, y), (x + s, y), (x, y - 9.0), 0),
        ((x, y), (x, y + s), (x - 9.0, y), 90),
    ):
        dimension = space.add_linear_dim(
            base=base, p1=start, p2=end, angle=angle, dimstyle="Standard", override=look, dxfattribs={"layer": CHECK}
        )
        dimension.render()


def _lines(words: Sequence[Words]) -> Iterator[tuple[str, tuple[float, float], float, float]]:
    """Every line with its middle, height and turn."""
    for one in words:
        step = LINE_SHARE * one.height_mm
        c, s = np.cos(np.radians(one.turn_deg)), np.sin(np.radians(one.turn_deg))
        for number, line in enumerate(one.lines):
            down = (number - (len(one.lines) - 1) / 2) * step
            yield line, (one.at_mm[0] + down * float(s), one.at_mm[1] - down * float(c)), one.height_mm, one.turn_deg


def svg_of(drawn: Drawn, title: str) -> bytes:
    """The same drawing as SVG: one user unit is a millimetre, a group for each layer."""
    _finite(drawn, "an SVG file")
    left, low, right, high = drawn.bounds_mm
    x, y = drawn.square_mm
    left, low, right, high = min(left, x) - 20.0, y - 20.0, max(right, x + SQUARE_MM) + 12.0, high + 12.0
    width, height = right - left, high - low
    rings = [_path(ring) for flat in drawn.flats for ring in flat.rings]
    bends = [_straight(bend.line_mm.tolist()) for flat in drawn.flats for bend in flat.bends]
    engraved = [_svg_text(*line) for line in _lines(drawn.words)]
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm" '
            f'viewBox="{left:.3f} {-high:.3f} {width:.3f} {height:.3f}">'
        ),
        f"<title>{escape(title)}</title>",
        *_group(CUT, rings),
        *_group(BEND, bends, ' stroke-dasharray="6 1.5 0.5 1.5"'),
        *_group(ENGRAVE, engraved, filled=True),
        *_group(CHECK, list(_svg_square(drawn, x, y))),
        "</svg>",
    ]
    return ("\n".join(parts) + "\n").encode()


def _group(name: str, items: Sequence[str], more: str = "", *, filled: bool = False) -> Iterator[str]:
    look = f'fill="{INKS[name]}" stroke="none"' if filled else f'fill="none" stroke="{INKS[name]}" stroke-width="0.25"'
    letters = 'font-family="sans-serif" text-anchor="middle" dominant-baseline="central"'
    yield f'<g id="{name}" {look}{more} {letters}>'
    yield from items
    yield "</g>"


def _path(ring: Ring) -> str:
    circle = ring.as_circle
    if circle is not None:
        (x, y), r = circle
        return f'<circle cx="{x:.4f}" cy="{-y + 0.0:.4f}" r="{r:.4f}"/>'
    points = ring.points_mm
    words = f"M{points[0, 0]:.4f},{-points[0, 1] + 0.0:.4f}"
    for start, end, bulge in zip(points, np.roll(points, -1, axis=0), ring.bulges, strict=True):
        if bulge == 0:
            words += f" L{end[0]:.4f},{-end[1] + 0.0:.4f}"
        else:
            half = 2 * np.arctan(abs(bulge))
            radius = np.hypot(*(end - start)) / 2 / np.sin(half)
            words += f" A{radius:.4f},{radius:.4f} 0 {int(abs(bulge) > 1)} {int(bulge < 0)} {end[0]:.4f},{-end[1] + 0.0:.4f}"
    return f'<path d="{words} Z"/>'


def _straight(points: Sequence[Sequence[float]]) -> str:
    return f'<path d="M{" L".join(f"{x:.4f},{-y + 0.0:.4f}" for x, y in points)}"/>'


def _svg_text(line: str, place: tuple[float, float], height: float, turn_deg: float = 0.0) -> str:
    x, y = place
    turn = f' transform="rotate({-turn_deg:.2f} {x:.3f} {-y:.3f})"' if turn_deg else ""
    return f'<text x="{x:.3f}" y="{-y + 0.0:.3f}" font-size="{height / CAP_SHARE:.2f}"{turn}>{escape(line)}</text>'


def _svg_square(drawn: Drawn, x: float, y: float) -> Iterator[str]:
    s = SQUARE_MM
    if drawn.sheet_mm is not None:
        w, h = drawn.sheet_mm
        yield _straight([(0, 0), (w, 0), (w, h), (0, h), (0, 0)])
    yield _straight([(x, y), (x + s, y), (x + s, y + s), (x, y + s), (x, y)])
    for line in ([(x, y - 1), (x, y - 11)], [(x + s, y - 1), (x + s, y - 11)], [(x, y - 9), (x + s, y - 9)]):
        yield _straight(line)
    for line in ([(x - 1, y), (x - 11, y)], [(x - 1, y + s), (x - 11, y + s)], [(x - 9, y), (x - 9, y + s)]):
        yield _straight(line)
    look = f'fill="{INKS[CHECK]}" stroke="none"'
    yield f"<g {look}>"
    yield _svg_text(SQUARE_WORDS, (x + s / 2, y + s / 2), TEXT_MM * 0.75)
    yield _svg_text("100", (x + s / 2, y - 6.0), 3.5)
    yield _svg_text("100", (x - 6.0, y + s / 2), 3.5, 90.0)
    yield "</g>"
