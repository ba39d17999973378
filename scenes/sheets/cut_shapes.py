"""A box cut by a plane through the lens axis, as flat shapes and the figures a machinist asks for. Draws nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
import trimesh
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry
from shapely.ops import polygonize, unary_union

from geometry.body import Assembly, Block, Kind, Loop, Part, Slab, Surface, Tube
from geometry.flags import hinge_line
from geometry.frame import where_in_words
from geometry.meshes import part_mesh, slab_mesh
from geometry.outline import Circle, Outline, half_size_mm
from scenes.scene_file.messages import length_words, plain

SAGITTA_MM = 0.02  # chords of drawn curves: a tenth of the thinnest line on paper
OFF_AXIS_MM = 1e-3  # the cut lies this far beside the axis, so that no mesh corner lies on it
LEVEL_SHARE = 0.3  # of the way across: a plane that rises less is seen from above, with the operator's left up
TRUE_DEG = 0.05  # nearer to level or upright than this, lengths across are off by less than a millionth
JOIN_DECIMALS = 5  # ends of a cut triangle that agree to 0.01 um are one point


@dataclass(frozen=True, slots=True)
class CutPlane:
    """A plane through the lens axis: z runs to the right of the sheet, `up` (x, y), a unit vector of the frame, up it.

    Every plane is looked at with the scene to the right: from the operator's right, a level one from above.
    """

    name: str
    up: tuple[float, float]

    @property
    def normal(self) -> NDArray[np.float64]:
        """Unit vector (3,) away from who looks at the sheet."""
        return np.array([self.up[1], -self.up[0], 0.0])

    @property
    def ends(self) -> tuple[str, str]:
        """What is up the sheet and what down, in the operator's words."""
        right, up = -self.up[0], self.up[1]
        largest = max(abs(right), abs(up))
        return tuple(where_in_words(sign * right / largest, sign * up / largest, LEVEL_SHARE) for sign in (1, -1))  # type: ignore[return-value]

    @property
    def words(self) -> str:
        """Which plane this is and how it is looked at."""
        upper, lower = self.ends
        seen = "above" if self.is_nearly_level else "the operator's right"
        along = "" if self.turn_deg <= TRUE_DEG else " Lengths across are measured along this cut."
        return f"{self._kind} through the lens axis: {upper} up, {lower} down, the scene to the right; seen from {seen}.{along}"

    @property
    def _kind(self) -> str:
        nearest = "level" if abs(self.up[1]) < abs(self.up[0]) else "upright"
        if self.turn_deg <= TRUE_DEG:
            return f"{nearest.capitalize()} cut"
        return f"Cut turned {plain(round(self.turn_deg, 0 if self.turn_deg >= 1.0 else 1))} deg from {nearest}"

    @property
    def turn_deg(self) -> float:
        """How far the plane is turned about the lens axis from the nearer of level and upright [deg]."""
        return math.degrees(math.atan2(*sorted(map(abs, self.up))))

    @property
    def is_nearly_level(self) -> bool:
        """Whether the operator's left and right are up and down the sheet, or nearly so."""
        return abs(self.up[1]) < LEVEL_SHARE * abs(self.up[0])


SIDE, TOP = CutPlane("side", (0.0, 1.0)), CutPlane("top", (1.0, 0.0))


def plane_through(point_mm: Sequence[float] | NDArray[np.float64], name: str) -> CutPlane:
    """The plane through the lens axis and a point of the frame, top up; the operator's left up where it is level."""
    x, y = np.array(point_mm[:2]) / math.hypot(point_mm[0], point_mm[1])
    turned = x < 0 if abs(y) < LEVEL_SHARE * abs(x) else y < 0
    return CutPlane(name, (-float(x), -float(y)) if turned else (float(x), float(y)))


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPart:
    """A part as cut: `shape` in sheet coordinates (z ahead, then up the sheet) [mm]; lines where a mesh is not closed.

    at_mm and depth_mm run along the box, at_mm from the lens front; `opening` says its inside at the rear and, where it differs, at
    the front.
    """

    name: str
    kind: Kind | None
    shape: BaseGeometry
    at_mm: float
    depth_mm: float
    opening: str = ""


@dataclass(frozen=True, slots=True)
class WayThrough:
    """An opening on the sheet: its lower and upper end (2, 2) [mm], and its size in words."""

    ends_mm: NDArray[np.float64]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A whole box as cut; parts that the plane does not meet are only named.

    back_mm is how far ahead of the lens front the back plate's rear face stands, where scene files count from; None without one.
    """

    plane: CutPlane
    parts: tuple[CutPart, ...]
    missed: tuple[str, ...] = ()
    ways: tuple[WayThrough, ...] = ()
    back_mm: float | None = None


def flat_points(points_mm: NDArray[np.float64], plane: CutPlane) -> NDArray[np.float64]:
    """Sheet coordinates (K, 2) of frame points (K, 3), brought into the plane."""
    return np.column_stack([points_mm[:, 2], points_mm[:, :2] @ np.array(plane.up)])


def cut_box(assembly: Assembly, plane: CutPlane) -> Cut:
    """The assembly cut by a plane through the lens axis."""
    origin, ahead, back = _datum(assembly)
    solids: list[Part | Slab] = [*assembly.fixtures, *assembly.parts, *assembly.slabs]
    cuts = [_cut(thing, plane, origin, ahead) for thing in solids]
    ways = [way for thing in assembly.parts if isinstance(thing.body, Tube) for way in _ways_through(thing, plane)]
    return Cut(
        plane=plane,
        parts=tuple(cut for cut in cuts if not cut.shape.is_empty),
        missed=tuple(cut.name for cut in cuts if cut.shape.is_empty),
        ways=tuple(ways),
        back_mm=back,
    )


def _datum(assembly: Assembly) -> tuple[NDArray[np.float64], NDArray[np.float64], float | None]:
    """From where and which way distances run along the box, and how far ahead of the lens front its back plate stands.

    They start where the box's own line meets the plane of the lens front: 0 is the lens front, however the box is tilted.
    """
    for part in assembly.parts:
        if part.kind is Kind.BACK and isinstance(part.body, Tube):
            rear = min((*part.body.inner, *part.body.outer), key=lambda loop: loop.z_mm)
            place, ahead = rear.pose.points_to_frame([0.0, 0.0, rear.z_mm]), rear.pose.rotation[:, 2]
            return place - float(place[2]) * ahead, ahead, float(place[2])
    return np.zeros(3), np.array([0.0, 0.0, 1.0]), None


def _cut(thing: Part | Slab, plane: CutPlane, origin: NDArray[np.float64], ahead: NDArray[np.float64]) -> CutPart:
    shape = mesh_section(slab_mesh(thing, SAGITTA_MM) if isinstance(thing, Slab) else part_mesh(thing, SAGITTA_MM), plane)
    at, depth = _along(thing, origin, ahead)
    return CutPart(
        name=thing.name,
        kind=None if isinstance(thing, Slab) else thing.kind,
        shape=shape,
        at_mm=at,
        depth_mm=depth,
        opening="" if isinstance(thing, Slab) else opening_words(thing),
    )


def mesh_section(mesh: trimesh.Trimesh, plane: CutPlane) -> BaseGeometry:
    """Material of a mesh in the plane, as polygons in sheet coordinates; open meshes give lines, a miss gives nothing."""
    normal = plane.normal
    segments = np.asarray(trimesh.intersections.mesh_plane(mesh, normal, normal * OFF_AXIS_MM))  # type: ignore[no-untyped-call]
    if len(segments) == 0:
        return shapely.GeometryCollection()
    flat = np.round(flat_points(segments.reshape(-1, 3), plane).reshape(-1, 2, 2), JOIN_DECIMALS)
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


def _ways_through(part: Part, plane: CutPlane) -> list[WayThrough]:
    """Where each loop that sizes a tube's way through meets the cut; a round one keeps its diameter, cut off centre or not."""
    assert isinstance(part.body, Tube)
    found = []
    for loop in telling_loops(part.body):
        points = _crossing_points(np.concatenate(loop.points_mm(SAGITTA_MM)), plane)
        if len(points) >= 2:
            ends = points[[np.argmin(points[:, 1]), np.argmax(points[:, 1])]]
            across = length_words(float(np.hypot(*(ends[1] - ends[0]))))
            found.append(WayThrough(ends, _outline_words(loop.outline) if isinstance(loop.outline, Circle) else across))
    return found[:1] if len({way.words for way in found}) == 1 else found


def _crossing_points(loop_mm: NDArray[np.float64], plane: CutPlane) -> NDArray[np.float64]:
    """Where a closed loop (K, 3) meets the plane, on the sheet (C, 2) [mm]."""
    following = np.roll(loop_mm, -1, axis=0)
    here, there = loop_mm @ plane.normal, following @ plane.normal
    meets = (here > 0) != (there > 0)
    share = (here[meets] / (here[meets] - there[meets]))[:, None]
    return flat_points(loop_mm[meets] + share * (following[meets] - loop_mm[meets]), plane)
