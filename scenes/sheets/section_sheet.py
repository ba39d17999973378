"""The box cut through the lens axis: hatched parts, beam, dimensions and a parts table. Returns a figure; saves nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from geometry.body import Assembly, Kind
from scenes.scene_file.messages import length_words
from scenes.sheets.colours import GLASS_COLOUR, HIGHLIGHT, INK, PAPER, PART_COLOURS, RAY_BLOCKED, RAY_CLEAR, SOFT_INK
from scenes.sheets.cut_shapes import SIDE, Cut, CutPart, CutPlane, cut_box, flat_points
from scenes.sheets.leaders import Leader, crosses, spread, uncrossed
from scenes.sheets.page import Box, Page, text_size_mm, wrapped
from scenes.sheets.pieces import halo, to_page
from scenes.sheets.style import A4_MM, LABEL_PT

_HEAD_PT, _BODY_PT, _TABLE_PT, _DIM_PT = 17.0, 10.5, 9.0, 8.5  # for A4; in A5 print the least is 6 pt
_MARGIN_MM = 8.0
_LINE_MM, _ROW_AIR_MM = 4.2, 1.3  # of the table: a line of text, and between rows
_TABLE_MM, _NAME_MM = 99.0, 34.0  # wide: the table at the right of the drawing, and the names in it
_BALLOON_MM = 2.7  # radius
_BARREL_MM = 15.0  # of the barrel shown behind the pupil
_BEAM_SHARE = 0.06
_HATCHES = {
    Kind.BACK: "////", Kind.SEAL: "xxxx", Kind.TRAY: "\\\\\\\\", Kind.MASK: "||||", Kind.HOOD: "////", Kind.FLAG: "\\\\\\\\",
    Kind.EXTENSION: "////", Kind.SOLID: "....", Kind.BARREL: "//", Kind.FRONT_RING: "\\\\\\\\", Kind.ROD: "//",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionRay:
    """An edge ray of the beam: points (K, 3) in the frame from the pupil outward [mm], lying in the plane of the cut."""

    points_mm: NDArray[np.float64]
    blocked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionLens:
    """What the cut shows of the lens besides its barrel: the entrance pupil's z (negative: behind the rim) and radius [mm]."""

    name: str
    pupil_z_mm: float
    pupil_radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PartNote:
    """What the table says of a part: '4.0 mm clear', 'top right, 31.0 mm ahead'."""

    room: str
    where: str = ""


@dataclass(frozen=True, slots=True)
class Callout:
    """The place that a sheet points out: its part, the words about it, and where it is on the part (x, y, z) [mm]."""

    part: str
    words: str
    point_mm: tuple[float, float, float]


def section_figure(
    assembly: Assembly,
    rays: Sequence[SectionRay] = (),
    *,
    plane: CutPlane = SIDE,
    title: str,
    subtitle: str = "",
    lens: SectionLens | None = None,
    notes: Mapping[str, PartNote] | None = None,
    callout: Callout | None = None,
) -> Figure:
    """Dimensioned cut of a box on an A4 sheet, in a plane through the lens axis.

    Axes labelled 'section' are in mm, to scale: z ahead of the lens front rim to the right, the plane's own way up the sheet.
    Distances are counted from the lens front. `notes` are by part; the callout's place has to lie in the plane.
    """
    cut = cut_box(assembly, plane)
    page = Page(*A4_MM)
    _write_head(page, title, subtitle, plane)
    _write_table(page, cut, notes or {})
    frame = Box(_MARGIN_MM + 4.0, 33.0, page.width_mm - _MARGIN_MM - _TABLE_MM - 10.0, page.height_mm - 42.0)
    axes = _draw_axes(page, frame, _view_box(cut, lens, frame, callout))
    _draw_parts(axes, cut, "" if callout is None else callout.part)
    _draw_rays(axes, rays, plane)
    _draw_lens(page, axes, frame, lens)
    leaders = _draw_balloons(page, axes, frame, cut)
    _draw_distances(page, axes, frame, cut, lens)
    _draw_openings(page, axes, frame, cut)
    if callout is not None:
        _draw_callout(page, axes, frame, cut, callout, leaders)
    _write_foot(page, cut, rays)
    return page.figure


def _view_box(cut: Cut, lens: SectionLens | None, frame: Box, callout: Callout | None) -> tuple[float, float, float, float]:
    """Limits (z0, z1, low, high) [mm] that hold all parts and the pupil at one scale both ways."""
    bounds = [part.shape.bounds for part in cut.parts] or [(-50.0, -50.0, 50.0, 50.0)]
    if lens is not None:
        bounds.append((lens.pupil_z_mm, -lens.pupil_radius_mm, lens.pupil_z_mm, lens.pupil_radius_mm))
    if callout is not None:
        ((z, v),) = flat_points(np.array([callout.point_mm]), cut.plane)
        bounds.append((z, v, z, v))
    lows, highs = np.min(bounds, axis=0), np.max(bounds, axis=0)
    (z0, v0), (z1, v1) = lows[:2], highs[2:]
    z0 = max(z0, min(0.0 if lens is None else lens.pupil_z_mm, 0.0) - _BARREL_MM)  # a long barrel runs off the sheet
    z1 += _BEAM_SHARE * (z1 - z0)  # the beam past the last part
    scale = max((z1 - z0) * 1.06 / frame.width, (v1 - v0) * 1.06 / frame.height)
    z, v = (z0 + z1) / 2, (v0 + v1) / 2
    return z - frame.width * scale / 2, z + frame.width * scale / 2, v - frame.height * scale / 2, v + frame.height * scale / 2


def _draw_axes(page: Page, frame: Box, limits: tuple[float, float, float, float]) -> Axes:
    axes = page.axes(frame, label="section")
    axes.set_xlim(*limits[:2])
    axes.set_ylim(*limits[2:])
    axes.set_axis_off()
    axes.axhline(0.0, color=SOFT_INK, linewidth=0.7, linestyle=(0, (14, 3, 2, 3)), label="lens axis")
    return axes


def shape_path(shape: BaseGeometry) -> Path:
    """A matplotlib path of a polygon or several, holes included; lines become open paths."""
    pieces = list(getattr(shape, "geoms", [shape]))
    rings = [ring for piece in pieces if piece.geom_type == "Polygon" for ring in (piece.exterior, *piece.interiors)]
    lines = [piece for piece in pieces if piece.geom_type in ("LineString", "LinearRing")]
    return Path.make_compound_path(*[Path(np.asarray(ring.coords), closed=False) for ring in (*rings, *lines)])


def _draw_parts(axes: Axes, cut: Cut, pointed_at: str) -> None:
    for part in cut.parts:
        solid, edge = part.shape.area > 0, HIGHLIGHT if part.name == pointed_at else INK
        if part.kind is None:
            style: dict[str, Any] = {"facecolor": GLASS_COLOUR, "edgecolor": edge}
        else:
            style = {
                "facecolor": PART_COLOURS[part.kind] + "66",
                "edgecolor": edge,
                "hatch": _HATCHES[part.kind],
                "hatch_linewidth": 0.4,
            }
        style = style if solid else {"fill": False, "edgecolor": edge}
        axes.add_patch(PathPatch(shape_path(part.shape), linewidth=0.9 if solid else 1.6, label=part.name, zorder=3, **style))


def _draw_rays(axes: Axes, rays: Sequence[SectionRay], plane: CutPlane) -> None:
    edges = [flat_points(ray.points_mm, plane) for ray in rays if not ray.blocked]
    if len(edges) == 2:
        axes.fill(*np.concatenate([edges[0], edges[1][::-1]]).T, color=RAY_CLEAR, alpha=0.07, linewidth=0.0, zorder=1, label="beam")
    for ray in rays:
        colour, dash = (RAY_BLOCKED, (0, (5, 2))) if ray.blocked else (RAY_CLEAR, "solid")
        axes.plot(*flat_points(ray.points_mm, plane).T, color=colour, linewidth=1.0, linestyle=dash, zorder=4, label="ray")


def _draw_lens(page: Page, axes: Axes, frame: Box, lens: SectionLens | None) -> None:
    if lens is None:
        return
    z, r = lens.pupil_z_mm, lens.pupil_radius_mm
    axes.plot([z, z], [-r, r], color=INK, linewidth=2.4, solid_capstyle="butt", zorder=5, label="entrance pupil")
    ((x, y),) = to_page(axes, frame, np.array([[z, -r]]))
    words = f"pupil ⌀ {2 * r:.3g}"
    half = text_size_mm(words, _DIM_PT)[0] / 2 + 1.0
    places = [
        (min(max(x + shift, frame.left + half), frame.right - half), y - drop)
        for drop in (3.5, 7.0, 11.0)
        for shift in (0.0, -8.0, 8.0)
    ]
    page.label_free(places, words, _DIM_PT, within=page.box, pad_mm=0.2, bbox=_ground(), zorder=6)


def _ground() -> dict[str, object]:
    return {"facecolor": PAPER, "edgecolor": "none", "alpha": 0.9, "boxstyle": "round,pad=0.1"}


def _draw_balloons(page: Page, axes: Axes, frame: Box, cut: Cut) -> list[Leader]:
    """Number the parts above the drawing, below it where a part lies only there; the table gives the names."""
    drawn: list[Leader] = []
    for upper, y in ((True, frame.top + 5.5), (False, frame.bottom - 2.2)):
        chosen = [(i, _anchor(part, upper)) for i, part in enumerate(cut.parts, 1) if _is_upper(part) is upper]
        points = to_page(axes, frame, np.array([anchor for _, anchor in chosen]).reshape(-1, 2))
        order = np.argsort(points[:, 0], kind="stable")
        xs = spread([float(points[k, 0]) for k in order], 2 * _BALLOON_MM + 0.8, frame.left, frame.right)
        feet = uncrossed([((x, y), (float(points[k, 0]), float(points[k, 1]))) for k, x in zip(order, xs, strict=True)])
        for k, (head, foot) in zip(order, feet, strict=True):
            page.line([head, foot], SOFT_INK, 0.6, zorder=2)
            circle = {"facecolor": PAPER, "edgecolor": INK, "linewidth": 0.8, "boxstyle": "circle,pad=0.25"}
            page.text(*head, str(chosen[k][0]), _DIM_PT, ha="center", va="center", weight="bold", bbox=circle, zorder=6)
        drawn += feet
    return drawn


def _is_upper(part: CutPart) -> bool:
    return bool(part.shape.bounds[3] > 0)


def _anchor(part: CutPart, upper: bool) -> tuple[float, float]:
    """A place inside a part's uppermost (or lowest) piece that its number points at."""
    pieces = list(getattr(part.shape, "geoms", [part.shape]))
    piece = max(pieces, key=lambda p: p.bounds[3] if upper else -p.bounds[1])
    z0, low, z1, high = piece.bounds
    if low < 0 < high:  # glass: its middle is full of figures, its edge is not
        end = shapely.box(z0, high - 0.1 * (high - low), z1, high) if upper else shapely.box(z0, low, z1, low + 0.1 * (high - low))
        piece = piece.intersection(end)
    place = piece.representative_point()
    return place.x, place.y


def _draw_distances(page: Page, axes: Axes, frame: Box, cut: Cut, lens: SectionLens | None) -> None:
    """Distances of rear faces from the datum, along a line under the drawing."""
    marks = _distance_marks(cut, lens)
    if not marks:
        return
    y = page.taken_floor(frame) - 1.0
    feet = to_page(axes, frame, np.array([foot for _, foot in marks]))
    xs = spread([float(x) for x in feet[:, 0]], 4.0, frame.left - 4.0, frame.right + 4.0)
    for (words, _), (foot, height), x in zip(marks, feet, xs, strict=True):
        page.line([(foot, height), (foot, y), (x, y - 2.0)], SOFT_INK, 0.4, alpha=0.6, zorder=-1)
        weight = "bold" if words == "0" else "normal"
        page.text(x, y - 2.6, words, _DIM_PT, ha="center", va="top", upright=False, weight=weight)


def _distance_marks(cut: Cut, lens: SectionLens | None) -> list[tuple[str, tuple[float, float]]]:
    """Distances in words, each with the place on the sheet that it belongs to, from rear to front."""
    found: dict[str, tuple[float, float]] = {}
    if lens is not None:
        found[_length(lens.pupil_z_mm)] = (lens.pupil_z_mm, -lens.pupil_radius_mm)
    found["0"] = (0.0, 0.0)
    for part in cut.parts:
        z0, low, z1, _ = part.shape.bounds
        if part.kind is not Kind.BARREL:
            found.setdefault(_length(part.at_mm), (z0, low))
        if part.kind in (Kind.HOOD, Kind.FRONT_RING):
            found.setdefault(_length(part.at_mm + part.depth_mm), (z1, low))
    return sorted(found.items(), key=lambda item: item[1][0])


def _draw_openings(page: Page, axes: Axes, frame: Box, cut: Cut) -> None:
    """Dimension lines across the ways through, where there is room for them; the table has all of them."""
    drawn: list[float] = []
    arrow = {"arrowstyle": "<->", "color": SOFT_INK, "linewidth": 0.7, "shrinkA": 0, "shrinkB": 0}
    for way in sorted(cut.ways, key=lambda way: float(way.ends_mm[0, 0])):
        low, high = to_page(axes, frame, way.ends_mm)
        place = _free_along(page, frame, low, high, way.words)
        if place is None or any(abs(place[0] - other) < 5.0 for other in drawn):
            continue
        axes.annotate("", way.ends_mm[0], way.ends_mm[1], arrowprops=arrow, zorder=5)
        page.text(*place, way.words, _DIM_PT, ha="center", va="center", upright=False, bbox=_ground(), zorder=6)
        drawn.append(place[0])


def _free_along(
    page: Page, frame: Box, low: NDArray[np.float64], high: NDArray[np.float64], words: str
) -> tuple[float, float] | None:
    """The free place for a dimension's figure on its line, nearest the middle."""
    for share in (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74):
        x, y = low + share * (high - low)
        box = page.text_box(x, y, words, _DIM_PT, ha="center", va="center", upright=False, pad_mm=0.3)
        if page.is_free(box, frame):
            return float(x), float(y)
    return None


def _keep_off_parts(page: Page, axes: Axes, frame: Box, cut: Cut) -> None:
    """Take the places along the outlines of all parts, so that no label hides them."""
    for part in cut.parts:
        edge = shapely.segmentize(part.shape, (axes.get_xlim()[1] - axes.get_xlim()[0]) / frame.width * 2.0)
        for x, y in to_page(axes, frame, shapely.get_coordinates(edge)):
            page.take(Box(x - 0.3, y - 0.3, x + 0.3, y + 0.3))


def _draw_callout(page: Page, axes: Axes, frame: Box, cut: Cut, callout: Callout, leaders: Sequence[Leader]) -> None:
    """Ring the place and lead from the words about it, across no other leader."""
    place = flat_points(np.array([callout.point_mm]), cut.plane)
    axes.plot(*place.T, marker="o", markersize=7, markerfacecolor="none", markeredgecolor=HIGHLIGHT, markeredgewidth=1.8,
              zorder=7, path_effects=halo(3.2), label="pointed out", linestyle="none")  # fmt: skip
    ((x, y),) = to_page(axes, frame, place)
    words = f"{wrapped(callout.part, _DIM_PT, 45.0, 'bold')}\n{callout.words}"
    reach = [(r, a) for r in (9.0, 13.0, 18.0, 24.0, 32.0, 42.0, 54.0, 70.0) for a in np.linspace(0, 2 * np.pi, 25)]
    _keep_off_parts(page, axes, frame, cut)
    plate = {**_ground(), "edgecolor": HIGHLIGHT, "boxstyle": "round,pad=0.25"}
    places = [(float(x + r * 1.6 * np.cos(a)), float(y + r * np.sin(a))) for r, a in reach]
    free = [p for p in places if not any(crosses(((x, y), p), leader) for leader in leaders)]
    box = page.label_free([*free, *places], words, _DIM_PT, within=frame, pad_mm=1.0, weight="bold", bbox=plate, zorder=7)
    if box is not None:
        page.line([(x, y), (min(max(x, box.left), box.right), min(max(y, box.bottom), box.top))], HIGHLIGHT, 1.0, zorder=2)


def _write_head(page: Page, title: str, subtitle: str, plane: CutPlane) -> None:
    width = page.width_mm - 2 * _MARGIN_MM
    page.fit(_MARGIN_MM, page.height_mm - 10.5, title, _HEAD_PT, width, weight="bold")
    page.fit(_MARGIN_MM, page.height_mm - 17.0, subtitle, _BODY_PT, width, colour=SOFT_INK)
    words = f"{plane.words} Lengths in mm."
    page.fit(_MARGIN_MM, page.height_mm - 20.5, words, _TABLE_PT, width, lines=2, colour=SOFT_INK, va="top")


def _write_table(page: Page, cut: Cut, notes: Mapping[str, PartNote]) -> None:
    """The parts by number at the right of the sheet: ahead of the lens front, depth, room; below the name its opening and where."""
    left, top, low = page.width_mm - _MARGIN_MM - _TABLE_MM, page.height_mm - 33.0, 14.0
    _write_cells(page, left, top, ("", "part", "ahead", "depth", "room" if notes else ""), SOFT_INK)
    page.line([(left, top - 1.4), (left + _TABLE_MM, top - 1.4)], SOFT_INK, 0.5)
    rows = [_row_of(number, part, notes.get(part.name)) for number, part in enumerate(cut.parts, 1)]
    full = sum(row.height_mm for row in rows) <= top - 2.0 - low
    step = (top - 2.0 - low) / max(len(rows), 1)
    y = top - 2.0 - _LINE_MM
    for row in rows:
        _write_cells(page, left, y, row.cells if full else (*row.cells[:1], row.name, *row.cells[2:]), INK)
        if full and row.more:
            for j, line in enumerate(row.more.split("\n")):
                page.text(left + 6.0, y - (row.name_lines + j) * _LINE_MM, line, LABEL_PT, colour=SOFT_INK)
        y -= row.height_mm if full else min(step, _LINE_MM + _ROW_AIR_MM)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A row of the table: its cells, the plain name, and lines under it."""

    cells: tuple[str, str, str, str, str]
    name: str
    more: str

    @property
    def name_lines(self) -> int:
        return self.cells[1].count("\n") + 1

    @property
    def height_mm(self) -> float:
        lines = self.name_lines + (self.more.count("\n") + 1 if self.more else 0)
        return lines * _LINE_MM + _ROW_AIR_MM


def _row_of(number: int, part: CutPart, note: PartNote | None) -> _Row:
    """A row; names longer than their column go on below."""
    told = [f"opening {part.opening}" if part.opening else "", note.where if note else ""]
    more = wrapped("; ".join(words for words in told if words), LABEL_PT, _TABLE_MM - 6.0)
    name = wrapped(part.name, _TABLE_PT, _NAME_MM)
    cells = (str(number), name, _length(part.at_mm), _length(part.depth_mm), note.room if note else "")
    return _Row(cells=cells, name=part.name, more=more)


def _length(value_mm: float) -> str:
    return length_words(value_mm).replace("-", "−")


def _write_cells(page: Page, left: float, y: float, cells: Sequence[str], colour: str) -> None:
    edges, rooms = (0.0, 6.0, 52.0, 63.0, _TABLE_MM), (5.0, _NAME_MM, 12.0, 11.0, 34.0)
    for k, (cell, edge, room) in enumerate(zip(cells, edges, rooms, strict=True)):
        lines = cell.split("\n")
        for j, line in enumerate(lines):
            page.fit(left + edge, y - j * _LINE_MM, line, _TABLE_PT, room, ha="left" if k < 2 else "right", colour=colour)


def _write_foot(page: Page, cut: Cut, rays: Sequence[SectionRay]) -> None:
    width = page.width_mm - 2 * _MARGIN_MM
    told = ["Distances from the lens front" + (_back_words(cut.back_mm) if cut.back_mm else "") + "."]
    if rays:
        told.append("Blue: the beam." + (" Orange, dashed: rays that are stopped." if any(ray.blocked for ray in rays) else ""))
    told += [f"Not in this cut: {', '.join(cut.missed)}."] if cut.missed else []
    page.fit(_MARGIN_MM, 9.5, " ".join(told), LABEL_PT, width, lines=2, colour=SOFT_INK, va="top")


def _back_words(back_mm: float) -> str:
    way = "more" if back_mm > 0 else "less"
    return f": {length_words(abs(back_mm))} {way} than at_mm in the scene, which counts from the back plate's rear face"
