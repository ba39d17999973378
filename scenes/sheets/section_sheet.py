"""The box cut through the lens axis: hatched parts, beam, dimensions and a parts table. Returns a figure; saves nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

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
from scenes.sheets.cut_shapes import SIDES_OF_VIEW, WORDS_OF_VIEW, Cut, CutPart, View, cut_box, flat_points
from scenes.sheets.page import Box, Page, text_size_mm, wrapped
from scenes.sheets.pieces import halo, to_page
from scenes.sheets.style import A4_MM

_HEAD_PT, _BODY_PT, _TABLE_PT, _DIM_PT = 17.0, 10.5, 9.0, 8.5  # for A4; in A5 print the least is 6 pt
_MARGIN_MM = 8.0
_ROW_MM = 4.9
LEAST_TOLD_MM = 0.05  # less than this in the beam is written as touching
_BALLOON_MM = 2.7  # radius
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


def section_figure(
    assembly: Assembly,
    rays: Sequence[SectionRay] = (),
    *,
    axis: Literal["side", "top"] = "side",
    title: str,
    subtitle: str = "",
    lens: SectionLens | None = None,
) -> Figure:
    """Dimensioned cut of a box on an A4 sheet: the upright plane through the lens axis ('side') or the level one ('top').

    Axes labelled 'section' are in mm, to scale: z ahead of the lens front rim to the right; up the sheet is up from the side, and
    the operator's left from above. Distances are counted from the rear face of the back plate, as in the scene file.
    """
    view = View(axis)
    cut = cut_box(assembly, view, [ray.points_mm for ray in rays if not ray.blocked])
    page = Page(*A4_MM)
    table_top = _write_table(page, cut)
    _write_head(page, title, subtitle, view)
    frame = Box(_MARGIN_MM + 6.0, table_top + 19.0, page.width_mm - _MARGIN_MM - 6.0, page.height_mm - 41.0)
    axes = _draw_axes(page, frame, _view_box(cut, lens, frame))
    _draw_parts(axes, cut)
    _draw_rays(axes, rays, view)
    _draw_lens(page, axes, frame, lens)
    _draw_balloons(page, axes, frame, cut)
    _draw_distances(page, axes, frame, cut, lens)
    _draw_openings(page, axes, frame, cut)
    _draw_tightest(page, axes, frame, cut)
    _write_foot(page, cut, rays)
    return page.figure


def _view_box(cut: Cut, lens: SectionLens | None, frame: Box) -> tuple[float, float, float, float]:
    """Limits (z0, z1, low, high) [mm] that hold all parts and the pupil at one scale both ways."""
    bounds = [part.shape.bounds for part in cut.parts] or [(-50.0, -50.0, 50.0, 50.0)]
    if lens is not None:
        bounds.append((lens.pupil_z_mm, -lens.pupil_radius_mm, lens.pupil_z_mm, lens.pupil_radius_mm))
    lows, highs = np.min(bounds, axis=0), np.max(bounds, axis=0)
    (z0, v0), (z1, v1) = lows[:2], highs[2:]
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


def _draw_parts(axes: Axes, cut: Cut) -> None:
    for part in cut.parts:
        solid = part.shape.area > 0
        if part.kind is None:
            style: dict[str, Any] = {"facecolor": GLASS_COLOUR, "edgecolor": INK}
        else:
            style = {
                "facecolor": PART_COLOURS[part.kind] + "66",
                "edgecolor": INK,
                "hatch": _HATCHES[part.kind],
                "hatch_linewidth": 0.4,
            }
        style = style if solid else {"fill": False, "edgecolor": INK}
        axes.add_patch(PathPatch(shape_path(part.shape), linewidth=0.9 if solid else 1.6, label=part.name, zorder=3, **style))


def _draw_rays(axes: Axes, rays: Sequence[SectionRay], view: View) -> None:
    for ray in rays:
        colour, dash = (RAY_BLOCKED, (0, (5, 2))) if ray.blocked else (RAY_CLEAR, "solid")
        axes.plot(*flat_points(ray.points_mm, view).T, color=colour, linewidth=1.0, linestyle=dash, zorder=4, label="ray")


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


def spread(wanted: Sequence[float], step: float, low: float, high: float) -> list[float]:
    """Places near the wanted ones (in their order), at least a step apart and within limits where these leave room."""
    placed: list[float] = []
    for value in wanted:
        placed.append(max(value, placed[-1] + step if placed else low))
    top = high
    for i in range(len(placed) - 1, -1, -1):
        placed[i] = min(placed[i], top)
        top = placed[i] - step
    return placed


def _draw_balloons(page: Page, axes: Axes, frame: Box, cut: Cut) -> None:
    """Number the parts above the drawing, below it where a part lies only there; the table gives the names."""
    for upper, y in ((True, frame.top + 5.5), (False, frame.bottom - 2.2)):
        chosen = [(i, _anchor(part, upper)) for i, part in enumerate(cut.parts, 1) if _is_upper(part) is upper]
        points = to_page(axes, frame, np.array([anchor for _, anchor in chosen]).reshape(-1, 2))
        order = np.argsort(points[:, 0], kind="stable")
        xs = spread([float(points[k, 0]) for k in order], 2 * _BALLOON_MM + 0.8, frame.left, frame.right)
        for k, x in zip(order, xs, strict=True):
            page.line([(x, y), (points[k, 0], points[k, 1])], SOFT_INK, 0.6, zorder=2)
            circle = {"facecolor": PAPER, "edgecolor": INK, "linewidth": 0.8, "boxstyle": "circle,pad=0.25"}
            page.text(x, y, str(chosen[k][0]), _DIM_PT, ha="center", va="center", weight="bold", bbox=circle, zorder=6)


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
        found[_length(cut.along_mm(lens.pupil_z_mm))] = (lens.pupil_z_mm, -lens.pupil_radius_mm)
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


def _draw_tightest(page: Page, axes: Axes, frame: Box, cut: Cut) -> None:
    """Point out where the beam comes nearest to a part, or the part that stands deepest in the beam."""
    near = [(tightest, part) for part in cut.parts if (tightest := part.tightest) is not None]
    if not near:
        return
    tightest, part = min(near, key=lambda item: item[0].mm)
    gap, ends = tightest.mm, tightest.ends_mm
    axes.plot(*ends.T, color=HIGHLIGHT, linewidth=2.0, marker=".", zorder=7, path_effects=halo(3.2), label="tightest clearance")
    on_page = to_page(axes, frame, ends)
    x, y = on_page.mean(axis=0)
    if not (frame.left <= x <= frame.right and frame.bottom <= y <= frame.top):
        x, y = on_page[1]  # the beam's edge leaves the sheet there, the material does not
    name = wrapped(part.name, _DIM_PT, 45.0, "bold")
    words = f"{name}: {gap:.1f} clear" if gap > 0 else f"{name}: {_gap_words(gap)}{' the beam' if gap <= -LEAST_TOLD_MM else ''}"
    reach = [(r, a) for r in (9.0, 13.0, 18.0, 24.0, 32.0, 42.0, 54.0) for a in np.linspace(0, 2 * np.pi, 25)]
    _keep_off_parts(page, axes, frame, cut)
    plate = {**_ground(), "edgecolor": HIGHLIGHT, "boxstyle": "round,pad=0.25"}
    places = [(x + r * 1.6 * np.cos(a), y + r * np.sin(a)) for r, a in reach]
    box = page.label_free(places, words, _DIM_PT, within=frame, pad_mm=1.0, weight="bold", bbox=plate, zorder=7)
    if box is not None:
        page.line([(x, y), (min(max(x, box.left), box.right), min(max(y, box.bottom), box.top))], HIGHLIGHT, 1.0, zorder=2)


def _write_head(page: Page, title: str, subtitle: str, view: View) -> None:
    width = page.width_mm - 2 * _MARGIN_MM
    page.fit(_MARGIN_MM, page.height_mm - 10.5, title, _HEAD_PT, width, weight="bold")
    page.fit(_MARGIN_MM, page.height_mm - 17.0, subtitle, _BODY_PT, width, colour=SOFT_INK)
    page.text(_MARGIN_MM, page.height_mm - 22.5, f"{WORDS_OF_VIEW[view]} All lengths in mm.", _TABLE_PT, colour=SOFT_INK)


_TABLE_MM = 137.0


def _write_table(page: Page, cut: Cut) -> float:
    """The parts by number, in two columns at the foot; the height of its upper edge [mm]."""
    rows = -(-max(len(cut.parts), 1) // 2)
    top = 14.0 + (rows + 1) * _ROW_MM
    told = any(gap is not None for part in cut.parts for gap in part.clearance_mm)
    clear = f"clear {' / '.join(SIDES_OF_VIEW[cut.view])}" if told else ""
    for half in (0, 1):
        left = _MARGIN_MM + half * (_TABLE_MM + 7.0)
        _write_row(page, left, top - _ROW_MM, ("", "part", "at", "depth", "opening", clear), SOFT_INK)
        page.line([(left, top - _ROW_MM - 1.3), (left + _TABLE_MM, top - _ROW_MM - 1.3)], SOFT_INK, 0.5)
        for i, part in enumerate(cut.parts[half * rows : (half + 1) * rows]):
            cells = (str(half * rows + i + 1), part.name, _length(part.at_mm), _length(part.depth_mm), part.opening, _clear(part))
            _write_row(page, left, top - (i + 2) * _ROW_MM, cells, INK)
    return top


def _length(value_mm: float) -> str:
    return length_words(value_mm).replace("-", "−")


def _clear(part: CutPart) -> str:
    if all(value is None for value in part.clearance_mm):
        return ""
    return " / ".join("–" if value is None else _gap_words(value) for value in part.clearance_mm)


def _gap_words(gap_mm: float) -> str:
    return f"{gap_mm:.1f}" if gap_mm > 0 else "touches" if gap_mm > -LEAST_TOLD_MM else f"{-gap_mm:.1f} in"


def _write_row(page: Page, left: float, y: float, cells: Sequence[str], colour: str) -> None:
    edges = (0.0, 6.0, 61.0, 72.5, 75.5, _TABLE_MM)
    for k, (cell, edge) in enumerate(zip(cells, edges, strict=True)):
        room = (5.0, 44.0, 11.0, 11.0, 34.5, 26.0)[k]
        page.fit(left + edge, y, cell, _TABLE_PT, room, ha="right" if k in (2, 3, 5) else "left", colour=colour)


def _write_foot(page: Page, cut: Cut, rays: Sequence[SectionRay]) -> None:
    width = page.width_mm - 2 * _MARGIN_MM
    told = [f"Distances ('at') from the {cut.datum}."]
    if rays:
        told.append("Clearances square to the beam's edge.")
        told.append(
            "'in': in the beam. Blue: the edge of the beam."
            + (" Orange, dashed: rays that are stopped." if any(ray.blocked for ray in rays) else "")
        )
    page.fit(_MARGIN_MM, 7.8, " ".join(told), _TABLE_PT, width, colour=SOFT_INK)
    if cut.missed:
        page.fit(_MARGIN_MM, 3.6, f"Not met by this cut: {', '.join(cut.missed)}.", _TABLE_PT, width, colour=SOFT_INK)
