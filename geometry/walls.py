"""A box as stray light meets it: the skin that is taken as closed, opaque from every side, and the openings that it leaves.

What counts as closed is stated in docs/stray-light.md. In short: back plate, trays, masks and hood with no stated outside are
joined by a body that is light-tight but for its slots; a part with a stated outside leaves its joints open; a gap that nothing
stated closes is open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from geometry.body import Assembly, Block, Kind, Loop, Part, Surface, Tube
from geometry.enclosure import OVERLAP_MM, Body, circle_points, filled_plate, flat_surface, joined, ruled
from geometry.fixtures import CENTRE, RING_DEPTH_MM
from geometry.frame import Side
from geometry.meshes import body_triangles
from geometry.openings import EDGE_MM, Fit, LensFront, Opening, OpeningKind, barrel_circle_z_mm, gaps_of, least_radius_mm
from geometry.outline import RoundedRectangle, half_size_mm
from geometry.stations import TOUCH_MM, Station, body_of, first_of, half_at_mm, stations_of

CUT_CLOSE_MM = 0.2  # how far a soft seal's lip reaches into what it is pressed against, so that nothing slips between
BODY_NAME = "box body"
LENS_NAME = "lens front"


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosure:
    """The box for stray light: opaque surfaces from every side, and the openings between them.

    The last opening is the open air: a ray that left through no surface named before. A closed box never uses it.
    ways: the parts' own openings, rear to front. Whatever comes in by the mouth comes through all of those ahead of where it falls.
    """

    walls: tuple[Part, ...]
    openings: tuple[Opening, ...]
    ways: tuple[Loop, ...] = ()


def enclosure_of(assembly: Assembly, fit: Fit) -> Enclosure:
    """Everything that stops stray light, seen from outside and inside, and the openings it leaves."""
    stations = stations_of(assembly, fit.box)
    body = body_of(stations, fit.box)
    gaps = gaps_of(assembly, stations, body, fit)
    rest = Opening(name="open air", kind=OpeningKind.REST, part="", area_mm2=0.0, surface=joined([]))
    walls = [*lens_walls(fit.front), *_part_walls(assembly, stations, body), *_body_walls(stations, body, gaps)]
    walls += _soft_lip(assembly, stations, fit)
    return Enclosure(
        walls=tuple(w for w in walls if _has_faces(w)),
        openings=(*(g for g in gaps if len(g.surface.faces)), rest),
        ways=_ways(stations),
    )


def _ways(stations: Sequence[Station]) -> tuple[Loop, ...]:
    """The openings that light from the mouth has to come through; a plate ahead of the hood's front edge may be passed by."""
    hood = first_of(stations, Kind.HOOD)
    front = hood.ends.front_mm + TOUCH_MM if hood else np.inf
    return tuple(loop for s in stations if s.tight and s.ends.front_mm <= front for loop in s.tube.inner)


def _has_faces(wall: Part) -> bool:
    return isinstance(wall.body, Surface) and len(wall.body.faces) > 0


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


def _part_walls(assembly: Assembly, stations: Sequence[Station], body: Body | None) -> list[Part]:
    by_name = {s.part.name: s for s in stations}
    hood = first_of(stations, Kind.HOOD)
    walls = []
    for part in assembly.parts:
        station = by_name.get(part.name)
        if station is not None and body is not None and station.fills:
            surface = filled_plate(station.tube, body.box, half_at_mm(station, hood, body))
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


def _body_walls(stations: Sequence[Station], body: Body | None, gaps: Sequence[Opening]) -> list[Part]:
    if body is None:
        return []
    pieces = [body.wall(side, _cut(gaps, body, side)) for side in Side] if body.ends.front_mm > body.ends.rear_mm else []
    back, hood = first_of(stations, Kind.BACK), first_of(stations, Kind.HOOD)
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


def _soft_lip(assembly: Assembly, stations: Sequence[Station], fit: Fit) -> list[Part]:
    """A soft seal pressed against barrel and bore, wherever offset and tilt have moved them against each other."""
    back = first_of(stations, Kind.BACK)
    seal = next((part for part in assembly.parts if part.kind is Kind.SEAL), None)
    if back is None or seal is None or not fit.soft_seal or not isinstance(seal.body, Tube):
        return []
    if least_radius_mm(seal.body) > fit.front.outside_mm / 2 + TOUCH_MM:
        return []
    widest = max(float(half_size_mm(loop.outline)[0]) for loop in seal.body.outer)
    loop = back.tube.inner[0]
    barrel = circle_points(CENTRE, fit.front.outside_mm / 2 - CUT_CLOSE_MM, barrel_circle_z_mm(fit) - CUT_CLOSE_MM)
    bore = circle_points(loop.pose, widest + CUT_CLOSE_MM, loop.z_mm + CUT_CLOSE_MM)
    return [Part(name=seal.name, kind=Kind.SEAL, body=ruled(barrel, bore), group=seal.group)]
