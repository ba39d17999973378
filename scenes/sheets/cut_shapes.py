"""A box cut by a plane through the lens axis, as flat shapes and the figures a machinist asks for. Draws nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import shapely
import trimesh
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points, polygonize, unary_union

from geometry.body import Assembly, Block, Kind, Loop, Part, Slab, Surface, Tube
from geometry.flags import hinge_line
from geometry.meshes import part_mesh, slab_mesh
from geometry.outline import Circle, Outline, half_size_mm
from scenes.scene_file.messages import length_words

SAGITTA_MM = 0.02  # chords of drawn curves: a tenth of the thinnest line on paper
TOUCH_MM = 0.01  # that a part may stand in the beam and still count as touching it
OFF_AXIS_MM = 1e-3  # the cut lies this far beside the axis, so that no mesh corner lies on it
JOIN_DECIMALS = 5  # ends of a cut triangle that agree to 0.01 um are one point


class View(StrEnum):
    """Which plane cuts the box: side, the upright plane through the lens axis; top, the level one."""

    SIDE = "side"
    TOP = "top"


_ACROSS = {View.SIDE: 1, View.TOP: 0}  # frame coordinate that runs up the sheet; z always runs to the right
WORDS_OF_VIEW = {
    View.SIDE: "Upright cut through the lens axis, seen from the operator's right: scene to the right, top of the box up.",
    View.TOP: "Level cut through the lens axis, seen from above: scene to the right, operator's left up.",
}
SIDES_OF_VIEW = {View.SIDE: ("top", "bottom"), View.TOP: ("left", "right")}


@dataclass(frozen=True, slots=True)
class DrawnGap:
    """Distance of the beam to material, below 0 where that is in the beam [mm], and where it is so much.

    ends_mm (2, 2) on the sheet: on the beam's edge, then on the material.
    """

    mm: float
    ends_mm: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPart:
    """A part as cut: `shape` in sheet coordinates (z ahead, then up the sheet) [mm]; lines where a mesh is not closed.

    at_mm and depth_mm are measured along the box from the datum; `opening` says its inside at the rear and, where it differs,
    at the front. gaps are those to the material above and below the beam; None where there is none or no beam.
    """

    name: str
    kind: Kind | None
    shape: BaseGeometry
    at_mm: float
    depth_mm: float
    opening: str = ""
    gaps: tuple[DrawnGap | None, DrawnGap | None] = (None, None)

    @property
    def clearance_mm(self) -> tuple[float | None, float | None]:
        """Distance of the beam to the material above and below it [mm]."""
        above, below = self.gaps
        return None if above is None else above.mm, None if below is None else below.mm

    @property
    def tightest(self) -> DrawnGap | None:
        """The smaller of both gaps."""
        return min((gap for gap in self.gaps if gap is not None), key=lambda gap: gap.mm, default=None)


@dataclass(frozen=True, slots=True)
class WayThrough:
    """An opening on the sheet: its lower and upper end (2, 2) [mm], and its size in words."""

    ends_mm: NDArray[np.float64]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A whole box as cut; parts that the plane does not meet are only named."""

    view: View
    parts: tuple[CutPart, ...]
    missed: tuple[str, ...] = ()
    datum: str = ""
    ways: tuple[WayThrough, ...] = ()
    origin_mm: NDArray[np.float64] = field(default_factory=lambda: np.zeros(3))
    ahead: NDArray[np.float64] = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))

    def along_mm(self, z_mm: float) -> float:
        """How far a place of the lens axis lies ahead of the datum, measured along the box [mm]."""
        return float((np.array([0.0, 0.0, z_mm]) - self.origin_mm) @ self.ahead)


def flat_points(points_mm: NDArray[np.float64], view: View) -> NDArray[np.float64]:
    """Sheet coordinates (K, 2) of frame points (K, 3): z to the right; up is y from the side, the operator's left from above."""
    return np.column_stack([points_mm[:, 2], points_mm[:, _ACROSS[view]]])


def cut_box(assembly: Assembly, view: View, clear_rays_mm: Sequence[NDArray[np.float64]] = ()) -> Cut:
    """The assembly cut by the view's plane, with clearances to the clear rays ((K, 3) points each, lying in the plane)."""
    origin, ahead, datum = _datum(assembly)
    beam = [flat_points(ray, view) for ray in clear_rays_mm]
    solids: list[Part | Slab] = [*assembly.fixtures, *assembly.parts, *assembly.slabs]
    cuts = [_cut(thing, view, origin, ahead, beam) for thing in solids]
    ways = [way for thing in assembly.parts if isinstance(thing.body, Tube) for way in _ways_through(thing, view)]
    return Cut(
        view=view,
        parts=tuple(cut for cut in cuts if not cut.shape.is_empty),
        missed=tuple(cut.name for cut in cuts if cut.shape.is_empty),
        datum=datum,
        ways=tuple(ways),
        origin_mm=origin,
        ahead=ahead,
    )


def _datum(assembly: Assembly) -> tuple[NDArray[np.float64], NDArray[np.float64], str]:
    """Where distances along the box are counted from, which way they run, and its name."""
    for part in assembly.parts:
        if part.kind is Kind.BACK and isinstance(part.body, Tube):
            rear = min((*part.body.inner, *part.body.outer), key=lambda loop: loop.z_mm)
            return rear.pose.points_to_frame([0.0, 0.0, rear.z_mm]), rear.pose.rotation[:, 2], "rear face of the back plate"
    return np.zeros(3), np.array([0.0, 0.0, 1.0]), "lens front rim"


def _cut(thing: Part | Slab, view: View, origin: NDArray[np.float64], ahead: NDArray[np.float64], beam: Beam) -> CutPart:
    shape = mesh_section(slab_mesh(thing, SAGITTA_MM) if isinstance(thing, Slab) else part_mesh(thing, SAGITTA_MM), view)
    at, depth = _along(thing, origin, ahead)
    return CutPart(
        name=thing.name,
        kind=None if isinstance(thing, Slab) else thing.kind,
        shape=shape,
        at_mm=at,
        depth_mm=depth,
        opening="" if isinstance(thing, Slab) else opening_words(thing),
        gaps=(None, None) if isinstance(thing, Slab) or _behind(thing) else gaps_of(shape, beam),
    )


Beam = Sequence[NDArray[np.float64]]


def _behind(part: Part) -> bool:
    return part.kind in (Kind.BARREL, Kind.FRONT_RING)  # the lens itself: its rims shape the bare beam


def mesh_section(mesh: trimesh.Trimesh, view: View) -> BaseGeometry:
    """Material of a mesh in the view's plane, as polygons in sheet coordinates; open meshes give lines, a miss gives nothing."""
    normal = np.eye(3)[1 - _ACROSS[view]]
    segments = np.asarray(trimesh.intersections.mesh_plane(mesh, normal, normal * OFF_AXIS_MM))  # type: ignore[no-untyped-call]
    if len(segments) == 0:
        return shapely.GeometryCollection()
    flat = np.round(segments[..., [2, _ACROSS[view]]], JOIN_DECIMALS)
    flat = flat[np.any(flat[:, 0] != flat[:, 1], axis=1)]
    lines = unary_union(shapely.linestrings(flat))
    filled = [face for face in polygonize(lines) if _crossings(face.representative_point(), flat) % 2 == 1]
    return unary_union(filled) if mesh.is_watertight and filled else lines


def _crossings(point: shapely.Point, segments: NDArray[np.float64]) -> int:
    """How many segments (S, 2, 2) a line straight up from the point crosses: odd inside material."""
    (x0, y0), (x1, y1) = segments[:, 0].T, segments[:, 1].T
    spans = (x0 > point.x) != (x1 > point.x)
    with np.errstate(divide="ignore", invalid="ignore"):  # upright segments span nothing and are masked
        height = y0 + (point.x - x0) / (x1 - x0) * (y1 - y0)
    return int(np.count_nonzero(spans & (height > point.y)))


def _along(thing: Part | Slab, origin: NDArray[np.float64], ahead: NDArray[np.float64]) -> tuple[float, float]:
    """Rear face and depth along the box [mm]; a tilted or turned part counts as it stands before its own tilt."""
    if isinstance(thing, Slab):
        centre = float((thing.pose.origin_mm - origin) @ ahead)
        return centre - thing.thickness_mm / 2, thing.thickness_mm
    if isinstance(thing.body, Tube):
        loops = (*thing.body.inner, *thing.body.outer)
        places = [float((loop.pose.origin_mm - origin) @ ahead) + loop.z_mm for loop in loops]
    elif isinstance(thing.body, Surface):
        places = list((thing.body.vertices_mm - origin) @ ahead)
    else:
        places = list((thing.body.corners_mm - origin) @ ahead)
        if thing.kind in (Kind.FLAG, Kind.EXTENSION):  # a blade is placed by its hinge; its thickness may reach behind
            hinge = float(((hinge_line(thing) - origin) @ ahead).mean())
            return hinge, float(max(places, key=lambda place: abs(place - hinge)) - hinge)
    return float(min(places)), float(max(places) - min(places))


def opening_words(part: Part) -> str:
    """The way through a part as ordered from a workshop: '⌀ 130', '138 x 97', '170 x 120 to 250 x 170'; nothing for blocks."""
    if isinstance(part.body, Block | Surface):
        return ""
    words = [_outline_words(loop.outline) for loop in telling_loops(part.body)]
    return " to ".join(dict.fromkeys(words))


def telling_loops(body: Tube) -> tuple[Loop, ...]:
    """The inner loops that size a way through: the waist where it has one, such as a round seal's, else rear and front."""
    sizes = [float(np.prod(half_size_mm(loop.outline))) for loop in body.inner]
    waist = int(np.argmin(sizes))
    if sizes[waist] < min(sizes[0], sizes[-1]):
        return (body.inner[waist],)
    return (body.inner[0], body.inner[-1])


def _outline_words(outline: Outline) -> str:
    width, height = 2 * half_size_mm(outline)
    return f"⌀ {length_words(width)}" if isinstance(outline, Circle) else f"{length_words(width)} x {length_words(height)}"


def gaps_of(shape: BaseGeometry, beam: Beam) -> tuple[DrawnGap | None, DrawnGap | None]:
    """The gaps from the beam to the material above it and below it; None where there is none.

    What lies between the outermost rays is in the beam: then it is below 0 by how deep its deepest point is in.
    """
    if not beam or shape.is_empty:
        return None, None
    rays = shapely.MultiLineString([shapely.LineString(ray) for ray in beam])
    between = _between(beam)
    above: list[DrawnGap] = []
    below: list[DrawnGap] = []
    for piece in getattr(shape, "geoms", [shape]):
        place = piece.representative_point() if piece.geom_type == "Polygon" else piece.interpolate(0.5, normalized=True)
        middle = np.mean([_height_at(ray, place.x) for ray in beam])
        (above if place.y > middle else below).append(_gap(piece, rays, between))
    return min(above, key=_gap_mm, default=None), min(below, key=_gap_mm, default=None)


def _between(beam: Beam) -> BaseGeometry:
    """All that lies between the highest and the lowest of the rays, as far ahead as these reach."""
    z = np.unique(np.concatenate([ray[:, 0] for ray in beam]))
    heights = np.array([[_height_at(ray, at) for at in z] for ray in beam])
    edge = np.concatenate([np.column_stack([z, heights.max(axis=0)]), np.column_stack([z, heights.min(axis=0)])[::-1]])
    return shapely.make_valid(shapely.Polygon(edge)) if len(z) > 1 else shapely.Polygon()


def _gap_mm(gap: DrawnGap) -> float:
    return gap.mm


def _gap(piece: BaseGeometry, rays: BaseGeometry, between: BaseGeometry) -> DrawnGap:
    """From a piece of material to the rays; where it stands between them, from its deepest point."""
    within = [shapely.Point(place) for place in shapely.get_coordinates(shapely.intersection(piece, between))]
    deepest = max(within, key=rays.distance, default=None)
    if deepest is not None and rays.distance(deepest) > TOUCH_MM:
        return DrawnGap(-float(rays.distance(deepest)), _ends_mm(rays, deepest))
    return DrawnGap(float(rays.distance(piece)), _ends_mm(rays, piece))


def _ends_mm(rays: BaseGeometry, material: BaseGeometry) -> NDArray[np.float64]:
    return np.array([point.coords[0] for point in nearest_points(rays, material)])


def _height_at(ray: NDArray[np.float64], z_mm: float) -> float:
    """Height of a ray (K, 2) at z, its ends drawn out level [mm]."""
    ahead = ray[np.argsort(ray[:, 0])]
    return float(np.interp(z_mm, ahead[:, 0], ahead[:, 1]))


def _ways_through(part: Part, view: View) -> list[WayThrough]:
    """Where each loop that sizes a tube's way through meets the cut; a round one keeps its diameter, cut off centre or not."""
    assert isinstance(part.body, Tube)
    found = []
    for loop in telling_loops(part.body):
        points = _crossing_points(np.concatenate(loop.points_mm(SAGITTA_MM)), view)
        if len(points) >= 2:
            ends = points[[np.argmin(points[:, 1]), np.argmax(points[:, 1])]]
            across = length_words(float(np.hypot(*(ends[1] - ends[0]))))
            found.append(WayThrough(ends, _outline_words(loop.outline) if isinstance(loop.outline, Circle) else across))
    return found[:1] if len({way.words for way in found}) == 1 else found


def _crossing_points(loop_mm: NDArray[np.float64], view: View) -> NDArray[np.float64]:
    """Where a closed loop (K, 3) meets the view's plane, on the sheet (C, 2) [mm]."""
    following = np.roll(loop_mm, -1, axis=0)
    here, there = loop_mm[:, 1 - _ACROSS[view]], following[:, 1 - _ACROSS[view]]
    meets = (here > 0) != (there > 0)
    share = (here[meets] / (here[meets] - there[meets]))[:, None]
    return flat_points(loop_mm[meets] + share * (following[meets] - loop_mm[meets]), view)
