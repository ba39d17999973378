"""The side section of one state: every part cut through the lens axis from top to bottom, with sizes, as plain arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
import trimesh

from geometry.arrays import FloatArray
from geometry.body import Assembly, Kind, Tube
from geometry.outline import Circle, half_size_mm
from raytrace.box import Box
from raytrace.optics.camera import Guide
from scenes.scene_file.messages import length_words
from scenes.view3d.content import Label, Line, Place, RayPath, Scene3D, Solid, View
from scenes.view3d.rays import PencilsAt, shown_rays, upright_fan
from scenes.view3d.solids import GLASS_KIND, solids_of

_CUTTER: Any = trimesh.intersections  # not annotated by its makers

CUT_X_MM = 1.3e-4  # a hair off the axis, where no corner of a mesh lies: cuts through corners give broken outlines
SAME_PLACE_MM = 1e-6
RAY_X_MM, GLASS_X_MM, LINE_X_MM = -3.0, -1.0, -4.0  # drawn one before the other, seen from the operator's right
BEYOND_OPACITY = 0.10
OVERRUN = 0.22  # rays go on ahead of the box for this share of its length
LONGEST = 1.3  # and those that run nearly sideways end after this many times the way straight ahead
DIM_COLOUR = (0.30, 0.30, 0.30)
AXIS_COLOUR = (0.55, 0.55, 0.55)
SHORT_MM = 0.05  # half a tenth: edges this near to the highest are its edge


@dataclass(frozen=True, slots=True)
class Cut:
    """A solid's outline in the upright plane of the lens axis: polygons in (z, y) [mm]."""

    solid: Solid
    polygons: tuple[shapely.Polygon, ...]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Least z and y, greatest z and y [mm]."""
        z0, y0, z1, y1 = shapely.MultiPolygon(self.polygons).bounds
        return float(z0), float(y0), float(z1), float(y1)


Up = tuple[float, float]  # unit vector (x, y) of the frame: the cutting plane holds it and the lens axis


def section_of(
    assembly: Assembly,
    box: Box,
    pencils_at: PencilsAt,
    guide: Guide,
    *,
    title: tuple[str, ...],
    note: str,
    up: Up = (0.0, 1.0),
    named: Sequence[str] | None = None,
) -> Scene3D:
    """The section as a scene of flat things, `up` up the sheet: what is cut in full colour, what stands beyond it faint.

    `named`: the parts that get a label; all of them if not given.
    """
    solids = tuple(_turned(solid, up) for solid in solids_of(assembly))
    cuts = [cut for cut in map(cut_of, solids) if cut.polygons]
    rear, low, front = _bounds(solids)
    end_z = front + OVERRUN * (front - rear)
    rays = _fan(pencils_at, box, guide, end_z, LONGEST * (end_z - _pupil(pencils_at, up)[0]), up)
    lines = (_axis(rear, end_z), *_pupil_bar(pencils_at, up), *_ruler(cuts, low), *_heights(cuts, front))
    shown = [cut for cut in cuts if named is None or cut.solid.name in named]
    names = (*_names(shown, round_sizes_mm(assembly)), *(_uncut_names(solids, cuts) if named is None else ()))
    labels = (*names, *_places(cuts, pencils_at, low, up), *_height_labels(cuts, front))
    beyond = [_beyond(solid) for solid in solids]
    flat = [_flat(cut) for cut in cuts]
    return Scene3D(
        view=View.SECTION,
        title=title,
        note=note,
        solids=(*(s for s in beyond if s is not None), *flat),
        rays=rays,
        lines=lines,
        labels=labels,
    )


def _turned(solid: Solid, up: Up) -> Solid:
    """The solid turned about the lens axis until `up` stands upright."""
    turn = np.array([[up[1], up[0], 0.0], [-up[0], up[1], 0.0], [0.0, 0.0, 1.0]])
    return replace(solid, vertices_mm=solid.vertices_mm @ turn, edges_mm=solid.edges_mm @ turn)


def cut_of(solid: Solid) -> Cut:
    """The solid's outline in the plane; empty where the plane misses it."""
    mesh = trimesh.Trimesh(solid.vertices_mm, solid.faces, process=False)
    segments = _CUTTER.mesh_plane(mesh, plane_normal=[1.0, 0.0, 0.0], plane_origin=[CUT_X_MM, 0.0, 0.0])
    if len(segments) == 0:
        return Cut(solid, ())
    lines = shapely.set_precision(shapely.multilinestrings(segments[:, :, [2, 1]]), SAME_PLACE_MM)
    rings = shapely.get_parts(shapely.polygonize([shapely.unary_union(lines)]))
    return Cut(solid, tuple(p for p in rings if _is_material(p, segments)))


def _is_material(polygon: shapely.Polygon, segments: FloatArray) -> bool:
    """Whether a face of the cut is filled: a line upward from inside it leaves material an odd number of times."""
    z, y = polygon.representative_point().coords[0]
    a, b = segments[:, 0, :], segments[:, 1, :]
    spans = (a[:, 2] > z) != (b[:, 2] > z)
    run = np.where(spans, b[:, 2] - a[:, 2], 1.0)
    height = a[:, 1] + (z - a[:, 2]) / run * (b[:, 1] - a[:, 1])
    return bool(np.count_nonzero(spans & (height > y)) % 2)


def _flat(cut: Cut) -> Solid:
    """The cut faces as triangles in the plane, opaque."""
    x = GLASS_X_MM if cut.solid.kind == GLASS_KIND else 0.0
    vertices, faces, edges, count = [], [], [], 0
    for polygon in cut.polygons:
        zy, triangles = trimesh.creation.triangulate_polygon(polygon, engine="earcut")
        vertices.append(_in_plane(zy, x))
        faces.append(np.asarray(triangles) + count)
        count += len(zy)
        rim = _in_plane(np.asarray(polygon.exterior.coords), x - 0.5)
        edges.append(np.stack([rim[:-1], rim[1:]], axis=1))
    return replace(
        cut.solid,
        vertices_mm=np.concatenate(vertices),
        faces=np.concatenate(faces).astype(np.int64),
        edges_mm=np.concatenate(edges),
        opacity=1.0,
    )


def _in_plane(zy: FloatArray, x_mm: float) -> FloatArray:
    return np.column_stack([np.full(len(zy), x_mm), zy[:, 1], zy[:, 0]])


def _beyond(solid: Solid) -> Solid | None:
    """What of the solid stands beyond the cut, faint; None where nothing does."""
    mesh = trimesh.Trimesh(solid.vertices_mm, solid.faces, process=False)
    half = _CUTTER.slice_mesh_plane(mesh, plane_normal=[1.0, 0.0, 0.0], plane_origin=[CUT_X_MM, 0.0, 0.0], cap=False)
    if len(half.faces) == 0:
        return None
    middle = solid.edges_mm.mean(axis=1)[:, 0] > SAME_PLACE_MM
    return replace(
        solid,
        vertices_mm=np.array(half.vertices, dtype=np.float64) + np.array([SAME_PLACE_MM, 0.0, 0.0]),
        faces=np.array(half.faces, dtype=np.int64),
        edges_mm=solid.edges_mm[middle],
        opacity=BEYOND_OPACITY,
    )


def _bounds(solids: Sequence[Solid]) -> tuple[float, float, float]:
    """Rear, lowest and foremost place of the box and the lens front [mm]; rods do not count."""
    places = np.concatenate([[[0.0, -10.0, 0.0], [0.0, 10.0, 60.0]], *(s.vertices_mm for s in solids if s.kind != Kind.ROD)])
    return float(places[:, 2].min()), float(places[:, 1].min()), float(places[:, 2].max())


def _fan(pencils_at: PencilsAt, box: Box, guide: Guide, end_z_mm: float, longest_mm: float, up: Up) -> tuple[RayPath, ...]:
    """Rays of the guide's uppermost, middle and lowest point in the plane, brought into it."""
    points = _ends_and_middle(guide, up)
    fan = upright_fan()[:, 1:] * np.array(up)
    rays = shown_rays(pencils_at(points), fan, box, end_z_mm, longest_mm)
    return tuple(replace(ray, points_mm=_brought_in(ray.points_mm, up)) for ray in rays)


def _brought_in(points_mm: FloatArray, up: Up) -> FloatArray:
    return np.column_stack([np.full(len(points_mm), RAY_X_MM), points_mm[:, :2] @ np.array(up), points_mm[:, 2]])


def _ends_and_middle(guide: Guide, up: Up) -> FloatArray:
    """Picture points (3, 2): where the plane's line, as near the axis as the guide comes, enters and leaves it; between."""
    way = np.array([-up[0], up[1]])
    centre, half = np.asarray(guide.centre_mm), np.array([guide.half_width_mm, guide.half_height_mm])
    start = np.clip(0.0, centre - half, centre + half)
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = (
            np.where(way != 0, (centre + np.sign(way) * half - start) / way, np.inf),
            np.where(way != 0, (centre - np.sign(way) * half - start) / way, -np.inf),
        )
    high, low = start + ends[0].min() * way, start + ends[1].max() * way
    return np.array([high, (high + low) / 2, low])


def _line(
    zy: Sequence[tuple[float, float]],
    *,
    width_px: float = 2.2,
    dashed: bool = False,
    colour: tuple[float, float, float] = DIM_COLOUR,
) -> Line:
    return Line(points_mm=_in_plane(np.array(zy), LINE_X_MM), colour=colour, width_px=width_px, dashed=dashed)


def _at(z_mm: float, y_mm: float) -> FloatArray:
    return np.array([LINE_X_MM, y_mm, z_mm])


def _axis(rear_mm: float, front_mm: float) -> Line:
    return _line([(rear_mm - 10, 0.0), (front_mm, 0.0)], dashed=True, colour=AXIS_COLOUR)


def _pupil(pencils_at: PencilsAt, up: Up) -> tuple[float, float, float]:
    """Z of the pupil that counts in the plane, and its bottom and top [mm]."""
    axial = pencils_at(np.zeros((1, 2)))
    ends = axial.crossing_mm(np.array([up, up]) * [[-1.0], [1.0]])[0] @ np.array(up)
    return float(axial.reference_z_mm[0, 0 if abs(up[0]) > abs(up[1]) else 1]), float(ends.min()), float(ends.max())


def _pupil_bar(pencils_at: PencilsAt, up: Up) -> tuple[Line, ...]:
    z, low, high = _pupil(pencils_at, up)
    return (_line([(z, low), (z, high)], width_px=9.0, colour=(0.1, 0.1, 0.1)),)


def _stations(cuts: Sequence[Cut]) -> list[float]:
    """Places along the axis worth a number: the front rim, and where box parts begin and the last one ends [mm]."""
    box = [cut for cut in cuts if cut.solid.kind not in (Kind.BARREL, Kind.FRONT_RING, Kind.ROD, GLASS_KIND)]
    hinged = (Kind.FLAG, Kind.EXTENSION)  # they begin where the hood ends
    places = [0.0, *(cut.bounds[0] for cut in box if cut.solid.kind not in hinged), *(cut.bounds[2] for cut in box)]
    return sorted({round(z, 1): z for z in sorted(places)}.values())  # what a tenth tells apart


def _ruler_y(low_mm: float) -> float:
    return low_mm - 14.0


def _ruler(cuts: Sequence[Cut], low_mm: float) -> list[Line]:
    """A line below the box with a tick at each station."""
    y, places = _ruler_y(low_mm), _stations(cuts)
    return [_line([(places[0], y), (places[-1], y)]), *(_line([(z, y - 3), (z, y + 3)]) for z in places)]


def _places(cuts: Sequence[Cut], pencils_at: PencilsAt, low_mm: float, up: Up) -> list[Label]:
    """The stations' distances ahead of the front rim, and the pupil's behind it."""
    z, low, high = _pupil(pencils_at, up)
    words = f"entrance pupil, {length_words(high - low)} high, {length_words(-z)} behind the front rim"
    pupil = Label(text=words, anchor_mm=_at(z, low), place=Place.BELOW)
    y = _ruler_y(low_mm) - 3
    return [pupil, *(Label(text=length_words(place), anchor_mm=_at(place, y), place=Place.BELOW) for place in _stations(cuts))]


def round_sizes_mm(assembly: Assembly) -> dict[str, float]:
    """Diameters of round ways through, of glass and of the barrel, by name: a cut beside their middle meets a shorter chord."""
    found: dict[str, float] = {}
    for part in (*assembly.fixtures, *assembly.parts):
        if isinstance(part.body, Tube):
            loops = part.body.outer if part.kind is Kind.BARREL else part.body.inner
            if loops and all(isinstance(loop.outline, Circle) for loop in loops):
                wide = [2 * float(half_size_mm(loop.outline)[0]) for loop in loops]
                found[part.name] = max(wide) if part.kind is Kind.BARREL else min(wide)
    round_glass = [slab for slab in assembly.slabs if isinstance(slab.outline, Circle)]
    return found | {slab.name: 2 * float(half_size_mm(slab.outline)[0]) for slab in round_glass}


def _names(cuts: Sequence[Cut], round_mm: Mapping[str, float]) -> list[Label]:
    """Each part's name and the size that matters in this section, at its top, or at its bottom where it lies below the axis."""
    labels: dict[str, Label] = {}
    for cut in cuts:
        if cut.solid.kind == Kind.ROD:
            continue
        below = cut.bounds[3] < 0
        labels.setdefault(
            cut.solid.name,
            Label(
                text=f"{cut.solid.name}, {_measure(cut, round_mm.get(cut.solid.name))}",
                anchor_mm=_tip(cut, below=below),
                place=Place.BELOW if below else Place.ABOVE,
            ),
        )
    return list(labels.values())


def _uncut_names(solids: Sequence[Solid], cuts: Sequence[Cut]) -> list[Label]:
    """Names of parts that the cut misses."""
    cut_names = {cut.solid.name for cut in cuts}
    missed = [solid for solid in solids if solid.name not in cut_names and solid.kind != Kind.ROD]
    highest = [solid.vertices_mm[int(np.argmax(solid.vertices_mm[:, 1]))] for solid in missed]
    sides = ["right" if solid.vertices_mm[:, 0].mean() < 0 else "left" for solid in missed]
    return [
        Label(text=f"{solid.name}, off the cut, {side}", anchor_mm=_at(float(top[2]), float(top[1])))
        for solid, top, side in zip(missed, highest, sides, strict=True)
    ]


def _tip(cut: Cut, *, below: bool) -> FloatArray:
    """The middle of the cut's highest (or lowest) edge."""
    zy = np.concatenate([np.asarray(p.exterior.coords) for p in cut.polygons])
    height = -zy[:, 1] if below else zy[:, 1]
    top = zy[height > height.max() - SHORT_MM]
    return _at(float((top[:, 0].min() + top[:, 0].max()) / 2), float(top[0, 1]))


def _measure(cut: Cut, round_mm: float | None) -> str:
    _, y0, _, y1 = cut.bounds
    way = way_through(cut)
    if cut.solid.kind in (GLASS_KIND, Kind.BARREL):
        return f"{length_words(y1 - y0 if round_mm is None else round_mm)} {'high' if cut.solid.kind == GLASS_KIND else 'across'}"
    if way is not None:
        return f"{length_words(way[1] - way[0] if round_mm is None else round_mm)} open"
    if y0 >= 0:
        return f"{length_words(y0)} above the axis"
    return f"{length_words(-y1)} below the axis" if y1 <= 0 else "across the axis"


def way_through(cut: Cut) -> tuple[float, float] | None:
    """Bottom and top [mm] of the straight way along the axis that the cut leaves; None where it has not both sides."""
    lows, highs = [p.bounds[3] for p in cut.polygons if p.bounds[3] <= 0], [p.bounds[1] for p in cut.polygons if p.bounds[1] >= 0]
    return (max(lows), min(highs)) if lows and highs else None


def _front_opening(cuts: Sequence[Cut]) -> tuple[float, float, float] | None:
    """z, bottom and top of the opening at the front of the foremost part that is open on both sides."""
    open_ = [cut for cut in cuts if way_through(cut) is not None and cut.solid.kind in (Kind.HOOD, Kind.MASK, Kind.TRAY)]
    if not open_:
        return None
    last = max(open_, key=lambda cut: cut.bounds[2])
    zy = np.concatenate([np.asarray(p.exterior.coords) for p in last.polygons])
    edge = zy[zy[:, 0] > zy[:, 0].max() - 1.0, 1]
    below, above = edge[edge < 0], edge[edge > 0]
    if not (len(below) and len(above)):  # a tilted part comes to its front on one side alone
        return last.bounds[2], *(way_through(last) or (0.0, 0.0))
    return last.bounds[2], float(below.max()), float(above.min())


def _heights(cuts: Sequence[Cut], front_mm: float) -> list[Line]:
    """A dimension line across the front opening."""
    found = _front_opening(cuts)
    if found is None:
        return []
    z, low, high = found
    at = z + 0.06 * abs(front_mm)
    return [_line([(at, low), (at, high)]), *(_line([(z, y), (at + 3, y)]) for y in (low, high))]


def _height_labels(cuts: Sequence[Cut], front_mm: float) -> list[Label]:
    found = _front_opening(cuts)
    if found is None:
        return []
    z, low, high = found
    quarter = low + 0.25 * (high - low)  # not at the middle, where the rays run
    return [Label(text=length_words(high - low), anchor_mm=_at(z + 0.06 * abs(front_mm), quarter), place=Place.HERE)]
