"""Where stray light gets into a box: its gaps as thin tagged surfaces, and the skin that is taken as closed.

What counts as closed is stated in docs/stray-light.md. In short: back plate, trays, masks and hood with no stated outside are
joined by a body that is light-tight but for its slots; a part with a stated outside leaves its joints open; a gap that nothing
stated closes is open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from itertools import pairwise

import numpy as np
import shapely

from geometry.arrays import FloatArray, cross_product
from geometry.body import Assembly, Block, Kind, Loop, Part, Surface, Tube
from geometry.enclosure import (
    OVERLAP_MM,
    Body,
    Ends,
    box_ends,
    circle_points,
    filled_plate,
    flat_surface,
    half_extent_mm,
    joined,
    rectangle_points,
    ruled,
)
from geometry.fixtures import CENTRE, RING_DEPTH_MM
from geometry.frame import AHEAD, OUTWARD, Pose, Side
from geometry.meshes import body_triangles
from geometry.outline import Circle, RoundedRectangle, area_mm2, half_size_mm, to_shape

EDGE_MM = 0.05  # how far an opening's surface reaches into the material round it: more than chords and rounding stray
TOUCH_MM = 1e-6  # parts closer than this touch: far below what any gauge finds
CUT_CLOSE_MM = 0.2  # how far a soft seal's lip reaches into what it is pressed against, so that nothing slips between
BODY_NAME = "box body"
LENS_NAME = "lens front"


class OpeningKind(StrEnum):
    """What an opening is to the crew."""

    MOUTH = "mouth"
    RING = "ring gap"
    SLOT = "slot"
    JOINT = "joint"
    REAR = "open rear"
    REST = "open air"


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A gap of the box as a thin surface: whatever leaves the box through it crosses it. `part` names what it lies at.

    The surface reaches EDGE_MM into the material round the gap, so that no ray slips by its edge; area_mm2 is the gap's own.
    """

    name: str
    kind: OpeningKind
    part: str
    area_mm2: float
    surface: Surface = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class LensFront:
    """The lens as the box meets it: outside and clear glass at the front rim (z = 0), and how long the barrel is [mm]."""

    outside_mm: float
    glass_mm: float
    length_mm: float = 80.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """An open gap beside a tray on one side."""

    tray: str
    side: Side
    width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How a box sits on a lens, as far as gaps are concerned. A soft seal follows the barrel; a rigid one does not."""

    box: Pose
    front: LensFront
    soft_seal: bool = False
    slots: tuple[Slot, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosure:
    """The box for stray light: opaque surfaces from every side, and the openings between them.

    The last opening is the open air: a ray that left through no surface named before. A closed box never uses it.
    ways: the parts' own openings, rear to front. Whatever comes in by the mouth comes through all of those ahead of where it falls.
    """

    walls: tuple[Part, ...]
    openings: tuple[Opening, ...]
    ways: tuple[Loop, ...] = ()


def triangle_areas_mm2(surface: Surface) -> FloatArray:
    """Areas (F,) of a surface's triangles [mm^2]."""
    a, b, c = np.moveaxis(surface.vertices_mm[surface.faces], 1, 0)
    return np.asarray(np.linalg.norm(cross_product(b - a, c - a), axis=1) / 2)


def openings_of(assembly: Assembly, fit: Fit) -> tuple[Opening, ...]:
    """The gaps of a box on a lens, each a thin surface with its name."""
    return enclosure_of(assembly, fit).openings


def enclosure_of(assembly: Assembly, fit: Fit) -> Enclosure:
    """Everything that stops stray light, seen from outside and inside, and the openings it leaves."""
    stations = _stations(assembly, fit.box)
    body = _body(stations, fit.box)
    gaps = [*_rear_gaps(assembly, stations, body, fit), *_body_gaps(stations, body, fit), *_mouth(stations, body)]
    rest = Opening(name="open air", kind=OpeningKind.REST, part="", area_mm2=0.0, surface=joined([]))
    walls = [*lens_walls(fit.front), *_part_walls(assembly, stations, body), *_body_walls(stations, body, gaps)]
    walls += _soft_lip(assembly, stations, fit)
    return Enclosure(
        walls=tuple(w for w in walls if _has_faces(w)),
        openings=(*(g for g in gaps if len(g.surface.faces)), rest),
        ways=_ways(stations),
    )


def _ways(stations: Sequence[_Station]) -> tuple[Loop, ...]:
    """The openings that light from the mouth has to come through; a plate ahead of the hood's front edge may be passed by."""
    hood = _one(stations, Kind.HOOD)
    front = hood.ends.front_mm + TOUCH_MM if hood else np.inf
    return tuple(loop for s in stations if s.tight and s.ends.front_mm <= front for loop in s.tube.inner)


def _has_faces(wall: Part) -> bool:
    return isinstance(wall.body, Surface) and len(wall.body.faces) > 0


# The box's stations: what stands in a row along its axis


@dataclass(frozen=True, slots=True)
class _Station:
    part: Part
    tube: Tube
    ends: Ends

    @property
    def tight(self) -> bool:
        """Whether it is taken as joined to its neighbours."""
        return self.part.kind in (Kind.BACK, Kind.HOOD) or not self.tube.bounded

    @property
    def fills(self) -> bool:
        """Whether it is a plate that reaches out to the body's walls."""
        return self.part.kind in (Kind.TRAY, Kind.MASK) and not self.tube.bounded


def _stations(assembly: Assembly, box: Pose) -> tuple[_Station, ...]:
    kinds = (Kind.BACK, Kind.TRAY, Kind.MASK, Kind.HOOD)
    found = [
        _Station(part, part.body, box_ends(part.body, box))
        for part in assembly.parts
        if part.kind in kinds and isinstance(part.body, Tube)
    ]
    return tuple(sorted(found, key=lambda s: (s.ends.rear_mm + s.ends.front_mm, s.ends.rear_mm)))


def _one(stations: Sequence[_Station], kind: Kind) -> _Station | None:
    return next((s for s in stations if s.part.kind is kind), None)


def _body(stations: Sequence[_Station], box: Pose) -> Body | None:
    """The sleeve from the first station to the hood's rear edge, else to the last station's front; None with no station."""
    if not stations:
        return None
    half = _body_half_mm(stations, box)
    back, hood = _one(stations, Kind.BACK), _one(stations, Kind.HOOD)
    rear = (back.ends.rear_mm + back.ends.front_mm) / 2 if back else _reach(stations[0], box, half).rear_mm
    front = hood.ends.rear_mm if hood else max(_reach(s, box, half).front_mm for s in stations)
    return Body(box=box, half_mm=half, ends=Ends(rear, max(front, rear)))


def _body_half_mm(stations: Sequence[_Station], box: Pose) -> FloatArray:
    """Half size of the body: as large as the largest plate in it and the hood's rear edge; else as back plate and others are."""
    hood = _one(stations, Kind.HOOD)
    sizes = [half_extent_mm(s.tube.outer, box) for s in stations if s.fills and not _beyond(s, hood)]
    sizes += [half_extent_mm(hood.tube.outer[:1], box)] if hood else []
    sizes = sizes or [half_extent_mm(s.tube.outer, box) for s in stations]
    return np.asarray(np.max(sizes, axis=0))


def _beyond(station: _Station, hood: _Station | None) -> bool:
    """Whether a plate stands inside or ahead of the hood."""
    return hood is not None and station is not hood and station.ends.rear_mm >= hood.ends.rear_mm


def _reach(station: _Station, box: Pose, half_mm: FloatArray) -> Ends:
    """Where a station begins and ends at the body's walls: a tilted plate reaches farther there than at its opening."""
    if not station.fills:
        return station.ends
    z = box.points_to_part(filled_plate(station.tube, box, half_mm).vertices_mm)[:, 2]
    return Ends(float(z.min()), float(z.max()))


def _half_at_mm(station: _Station, hood: _Station | None, body: Body) -> FloatArray:
    """How far out a plate has to reach: to the body's walls, or to the hood's where it stands inside it."""
    if hood is None or not _beyond(station, hood):
        return body.half_mm
    rear, front = (half_extent_mm(hood.tube.outer[k : k + 1 or None], body.box) for k in (0, -1))
    depth = hood.ends.front_mm - hood.ends.rear_mm
    share = np.clip((station.ends.front_mm - hood.ends.rear_mm) / depth, 0.0, 1.0)
    return np.asarray(rear + share * (front - rear))


# Opaque surfaces


def lens_walls(front: LensFront) -> tuple[Part, ...]:
    """Barrel, front ring and front glass: light that meets the glass from ahead is caught by the lens."""
    outside, glass = front.outside_mm / 2, front.glass_mm / 2
    rim, far = circle_points(CENTRE, outside), circle_points(CENTRE, outside, -front.length_mm)
    inner = circle_points(CENTRE, glass)
    lid = flat_surface(shapely.Polygon(far[:, :2]), CENTRE, -front.length_mm)
    well = circle_points(CENTRE, glass, -RING_DEPTH_MM)
    cup = flat_surface(shapely.Polygon(well[:, :2]), CENTRE, -RING_DEPTH_MM)
    return (
        Part(name="barrel", kind=Kind.BARREL, body=joined([ruled(far, rim), lid])),
        Part(name="front ring", kind=Kind.FRONT_RING, body=joined([ruled(inner, rim), ruled(inner, well)])),
        Part(name=LENS_NAME, kind=Kind.BARREL, body=cup),
    )


def _part_walls(assembly: Assembly, stations: Sequence[_Station], body: Body | None) -> list[Part]:
    by_name = {s.part.name: s for s in stations}
    hood = _one(stations, Kind.HOOD)
    walls = []
    for part in assembly.parts:
        station = by_name.get(part.name)
        if station is not None and body is not None and station.fills:
            surface = filled_plate(station.tube, body.box, _half_at_mm(station, hood, body))
        else:
            surface = solid_surface(part)
        walls.append(Part(name=part.name, kind=part.kind, body=surface, group=part.group))
    return walls


def solid_surface(part: Part) -> Surface:
    """A part's own skin as triangles."""
    body = part.body
    return _block_skin(body.corners_mm.tobytes()) if isinstance(body, Block) else Surface(*body_triangles(body))


@lru_cache(maxsize=256)
def _block_skin(corners: bytes) -> Surface:
    """The skin of a block by its numbers: of the flags of a box that is tried many ways all but one stand as they did."""
    return Surface(*body_triangles(Block(np.frombuffer(corners).reshape(-1, 3))))


def _body_walls(stations: Sequence[_Station], body: Body | None, gaps: Sequence[Opening]) -> list[Part]:
    if body is None:
        return []
    pieces = [body.wall(side, _cut(gaps, body, side)) for side in Side] if body.ends.front_mm > body.ends.rear_mm else []
    back, hood = _one(stations, Kind.BACK), _one(stations, Kind.HOOD)
    if back is not None:
        w, h = 2 * half_size_mm(back.tube.outer[0].outline) - 2 * OVERLAP_MM
        pieces.append(body.frame(back.tube.outer[0].pose, RoundedRectangle(float(w), float(h)), 0.0))
    if hood is not None and len(stations) > 1:
        pieces.append(body.frame(hood.tube.inner[0].pose, hood.tube.inner[0].outline, hood.tube.inner[0].z_mm))
    return [Part(name=BODY_NAME, kind=Kind.SOLID, body=joined(pieces))]


def _cut(gaps: Sequence[Opening], body: Body, side: Side) -> shapely.Geometry:
    """What the gaps take out of one wall, in the wall's own plane."""
    pose = body.wall_pose(side)
    shapes = []
    for gap in gaps:
        if gap.kind in (OpeningKind.SLOT, OpeningKind.JOINT):
            local = pose.points_to_part(gap.surface.vertices_mm)[gap.surface.faces]
            shapes += [shapely.Polygon(t[:, :2]) for t in local if np.abs(t[:, 2]).max() < TOUCH_MM]
    return shapely.union_all(shapes).buffer(-EDGE_MM, join_style="mitre")


# Openings


def _barrel_circle_z_mm(fit: Fit) -> float:
    """Where the ring gap is narrowest on the barrel: its front rim, or where the back plate's rear face crosses it."""
    return float(np.clip(fit.box.origin_mm[2], -fit.front.length_mm, 0.0))


def _rear_gaps(assembly: Assembly, stations: Sequence[_Station], body: Body | None, fit: Fit) -> list[Opening]:
    if body is None:
        return []
    back = _one(stations, Kind.BACK)
    seal = next((part for part in assembly.parts if part.kind is Kind.SEAL), None)
    barrel = circle_points(CENTRE, fit.front.outside_mm / 2, _barrel_circle_z_mm(fit))
    if back is None:
        return [_between("open rear", OpeningKind.REAR, "", barrel, _rear_edge(stations, body))]
    bore = _bore(back)
    if seal is None or not isinstance(seal.body, Tube):
        return _ring("ring gap", back.part.name, barrel, bore)
    inner, outer = _seal_circles(seal.body)
    closed = fit.soft_seal and _least_radius_mm(seal.body) <= fit.front.outside_mm / 2 + TOUCH_MM
    inside = [] if closed else _ring(f"gap inside {seal.name}", seal.name, barrel, inner)
    return [*inside, *_annulus(f"gap round {seal.name}", seal.name, outer, bore)]


def _bore(back: _Station) -> FloatArray:
    loop = back.tube.inner[0]
    assert isinstance(loop.outline, Circle)
    return circle_points(loop.pose, loop.outline.radius_mm, loop.z_mm)


def _seal_circles(tube: Tube) -> tuple[FloatArray, FloatArray]:
    """The seal's inner edge as the ring gap sees it, and its widest outer circle, in the back plate's rear plane."""
    inner, outer = tube.inner[0], max(tube.outer, key=lambda loop: float(half_size_mm(loop.outline)[0]))
    narrow = min(tube.inner, key=lambda loop: float(half_size_mm(loop.outline)[0]))
    r_in, r_out = (float(half_size_mm(loop.outline)[0]) for loop in (narrow, outer))
    z = inner.z_mm if len(tube.inner) == 2 else narrow.z_mm
    return circle_points(inner.pose, r_in, z), circle_points(outer.pose, r_out, z)


def _least_radius_mm(tube: Tube) -> float:
    return min(float(half_size_mm(loop.outline)[0]) for loop in tube.inner)


def _ring(name: str, part: str, barrel: FloatArray, hole: FloatArray) -> list[Opening]:
    """The gap between the barrel and a round hole about it; none where the hole grips the barrel all round."""
    reach = float(np.hypot(hole[:, 0], hole[:, 1]).max() - np.hypot(barrel[:, 0], barrel[:, 1]).max())
    grips = reach <= TOUCH_MM and float(hole[:, 2].max()) <= TOUCH_MM
    return [] if grips else [_between(name, OpeningKind.RING, part, barrel, hole)]


def _between(name: str, kind: OpeningKind, part: str, inner: FloatArray, outer: FloatArray) -> Opening:
    """The opening between two loops, its surface carried on in both directions into what bounds it."""
    way = outer - inner
    step = EDGE_MM * way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), TOUCH_MM)
    back = step + EDGE_MM * AHEAD  # behind the barrel's rim, not along it
    area = float(triangle_areas_mm2(ruled(inner, outer)).sum())
    return Opening(name=name, kind=kind, part=part, area_mm2=area, surface=ruled(inner - back, outer + step))


def _annulus(name: str, part: str, inner: FloatArray, outer: FloatArray) -> list[Opening]:
    centre = outer.mean(axis=0)
    room = np.linalg.norm(outer - centre, axis=1).min() - np.linalg.norm(inner - inner.mean(axis=0), axis=1).max()
    return [_between(name, OpeningKind.RING, part, inner, outer)] if room > TOUCH_MM else []


def _rear_edge(stations: Sequence[_Station], body: Body) -> FloatArray:
    first = stations[0]
    if first.part.kind is Kind.HOOD:
        loop = first.tube.outer[0]
        return rectangle_points(loop.pose, half_size_mm(loop.outline), loop.z_mm)
    return rectangle_points(body.box, body.half_mm, body.ends.rear_mm)


def _soft_lip(assembly: Assembly, stations: Sequence[_Station], fit: Fit) -> list[Part]:
    """A soft seal pressed against barrel and bore, wherever offset and tilt have moved them against each other."""
    back = _one(stations, Kind.BACK)
    seal = next((part for part in assembly.parts if part.kind is Kind.SEAL), None)
    if back is None or seal is None or not fit.soft_seal or not isinstance(seal.body, Tube):
        return []
    if _least_radius_mm(seal.body) > fit.front.outside_mm / 2 + TOUCH_MM:
        return []
    widest = max(float(half_size_mm(loop.outline)[0]) for loop in seal.body.outer)
    loop = back.tube.inner[0]
    barrel = circle_points(CENTRE, fit.front.outside_mm / 2 - CUT_CLOSE_MM, _barrel_circle_z_mm(fit) - CUT_CLOSE_MM)
    bore = circle_points(loop.pose, widest + CUT_CLOSE_MM, loop.z_mm + CUT_CLOSE_MM)
    return [Part(name=seal.name, kind=Kind.SEAL, body=ruled(barrel, bore), group=seal.group)]


def _body_gaps(stations: Sequence[_Station], body: Body | None, fit: Fit) -> list[Opening]:
    if body is None:
        return []
    by_name = {s.part.name: s for s in stations}
    slots = [_slot(by_name[slot.tray], slot, body) for slot in fit.slots if slot.tray in by_name and by_name[slot.tray].fills]
    return [*_joints(stations, body), *(opening for pair in slots for opening in pair)]


def _joints(stations: Sequence[_Station], body: Body) -> list[Opening]:
    """Open strips all round wherever a neighbour has a stated outside: nothing says that it meets the body."""
    found = []
    for first, second in pairwise(stations):
        if first.tight and second.tight:
            continue
        rear = first.ends.front_mm if first.tight else first.ends.rear_mm
        low, high = max(rear, body.ends.rear_mm), min(second.ends.rear_mm, body.ends.front_mm)
        if high > low + TOUCH_MM:
            name = f"joint between {first.part.name} and {second.part.name}"
            strips = {side: _strip(body, side, low, high) for side in Side}
            found.append(_in_walls(name, OpeningKind.JOINT, second.part.name, strips, body))
    return found


def _strip(body: Body, side: Side, low_mm: float, high_mm: float) -> shapely.Polygon:
    half = body.half_length_mm(side)
    return shapely.box(-half, low_mm, half, high_mm)


def _in_walls(name: str, kind: OpeningKind, part: str, shapes: dict[Side, shapely.Polygon], body: Body) -> Opening:
    """An opening cut into walls of the body, by shapes in their planes."""
    wide = [flat_surface(shape.buffer(EDGE_MM, join_style="mitre"), body.wall_pose(side)) for side, shape in shapes.items()]
    area = float(sum(shape.area for shape in shapes.values()))
    return Opening(name=name, kind=kind, part=part, area_mm2=area, surface=joined(wide))


def _slot(station: _Station, slot: Slot, body: Body) -> tuple[Opening, ...]:
    """The gap beside a tray in one wall of the body: its whole width on the lens side, and again on the scene side.

    A tray with play may lie against either end of its slot; each place is counted with the whole gap.
    """
    half = min(_tray_half_length_mm(station, slot.side, body), body.half_length_mm(slot.side))
    found = []
    rear, front = station.tube.inner[0], station.tube.inner[-1]
    for loop, step, where in ((rear, -slot.width_mm, "lens side"), (front, slot.width_mm, "scene side")):
        at = [_face_height_mm(loop.pose, loop.z_mm, slot.side, s, body) for s in (-half, half)]
        strip = shapely.Polygon([(-half, at[0]), (half, at[1]), (half, at[1] + step), (-half, at[0] + step)])
        name = f"{station.part.name} slot, {slot.side}, {where}"
        found.append(_in_walls(name, OpeningKind.SLOT, station.part.name, {slot.side: strip}, body))
    return tuple(found)


def _tray_half_length_mm(station: _Station, side: Side, body: Body) -> float:
    width, height = half_extent_mm(station.tube.outer, body.box)
    return float(width if side in (Side.TOP, Side.BOTTOM) else height)


def _face_height_mm(pose: Pose, z_mm: float, side: Side, along_mm: float, body: Body) -> float:
    """Where a plate's face meets a wall, ahead of the box's origin, at a place along the wall [mm]."""
    outward = OUTWARD[side]
    start = body.box.points_to_frame(outward * body.reach_mm(side) + np.cross(AHEAD, outward) * along_mm)
    local, step = pose.points_to_part(start), pose.vectors_to_part(body.box.vectors_to_frame(AHEAD))
    return float((z_mm - local[2]) / step[2])


def _mouth(stations: Sequence[_Station], body: Body | None) -> list[Opening]:
    if body is None:
        return []
    hood = _one(stations, Kind.HOOD)
    if hood is not None:
        loop, part = hood.tube.outer[-1], hood.part.name
        surface, area = flat_surface(to_shape(loop.outline), loop.pose, loop.z_mm), area_mm2(hood.tube.inner[-1].outline)
    else:
        half, part = body.half_mm + OVERLAP_MM, stations[-1].part.name
        surface = flat_surface(shapely.box(-half[0], -half[1], half[0], half[1]), body.box, body.ends.front_mm)
        area = area_mm2(stations[-1].tube.inner[-1].outline)
    return [Opening(name="mouth", kind=OpeningKind.MOUTH, part=part, area_mm2=area, surface=surface)]
