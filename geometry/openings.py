"""Gaps of a box on a lens, each a thin tagged surface: ring gap, open rear, slots, joints and the mouth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import pairwise

import numpy as np
import shapely

from geometry.arrays import FloatArray, cross_product
from geometry.body import Assembly, Kind, Surface, Tube
from geometry.enclosure import OVERLAP_MM, Body, circle_points, flat_surface, half_extent_mm, joined, rectangle_points, ruled
from geometry.fixtures import CENTRE
from geometry.frame import AHEAD, OUTWARD, Pose, Side
from geometry.outline import Circle, area_mm2, half_size_mm, to_shape
from geometry.stations import TOUCH_MM, Station, first_of

EDGE_MM = 0.05  # how far an opening's surface reaches into the material round it: more than chords and rounding stray


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


def triangle_areas_mm2(surface: Surface) -> FloatArray:
    """Areas (F,) of a surface's triangles [mm^2]."""
    a, b, c = np.moveaxis(surface.vertices_mm[surface.faces], 1, 0)
    return np.asarray(np.linalg.norm(cross_product(b - a, c - a), axis=1) / 2)


def gaps_of(assembly: Assembly, stations: Sequence[Station], body: Body | None, fit: Fit) -> list[Opening]:
    """Every gap of a box on a lens: at the rear, in the walls of its body, and its mouth."""
    return [*_rear_gaps(assembly, stations, body, fit), *_body_gaps(stations, body, fit), *_mouth(stations, body)]


def barrel_circle_z_mm(fit: Fit) -> float:
    """Where the ring gap is narrowest on the barrel: its front rim, or where the back plate's rear face crosses it."""
    return float(np.clip(fit.box.origin_mm[2], -fit.front.length_mm, 0.0))


def _rear_gaps(assembly: Assembly, stations: Sequence[Station], body: Body | None, fit: Fit) -> list[Opening]:
    if body is None:
        return []
    back = first_of(stations, Kind.BACK)
    seal = next((part for part in assembly.parts if part.kind is Kind.SEAL), None)
    barrel = circle_points(CENTRE, fit.front.outside_mm / 2, barrel_circle_z_mm(fit))
    if back is None:
        return [_between("open rear", OpeningKind.REAR, "", barrel, _rear_edge(stations, body))]
    bore = _bore(back)
    if seal is None or not isinstance(seal.body, Tube):
        return _ring("ring gap", back.part.name, barrel, bore)
    inner, outer = _seal_circles(seal.body)
    closed = fit.soft_seal and least_radius_mm(seal.body) <= fit.front.outside_mm / 2 + TOUCH_MM
    inside = [] if closed else _ring(f"gap inside {seal.name}", seal.name, barrel, inner)
    return [*inside, *_annulus(f"gap round {seal.name}", seal.name, outer, bore)]


def _bore(back: Station) -> FloatArray:
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


def least_radius_mm(tube: Tube) -> float:
    """Radius of a round tube where it is narrowest inside [mm]."""
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


def _rear_edge(stations: Sequence[Station], body: Body) -> FloatArray:
    first = stations[0]
    if first.part.kind is Kind.HOOD:
        loop = first.tube.outer[0]
        return rectangle_points(loop.pose, half_size_mm(loop.outline), loop.z_mm)
    return rectangle_points(body.box, body.half_mm, body.ends.rear_mm)


def _body_gaps(stations: Sequence[Station], body: Body | None, fit: Fit) -> list[Opening]:
    if body is None:
        return []
    by_name = {s.part.name: s for s in stations}
    slots = [_slot(by_name[slot.tray], slot, body) for slot in fit.slots if slot.tray in by_name and by_name[slot.tray].fills]
    return [*_joints(stations, body), *(opening for pair in slots for opening in pair)]


def _joints(stations: Sequence[Station], body: Body) -> list[Opening]:
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


def _slot(station: Station, slot: Slot, body: Body) -> tuple[Opening, ...]:
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


def _tray_half_length_mm(station: Station, side: Side, body: Body) -> float:
    width, height = half_extent_mm(station.tube.outer, body.box)
    return float(width if side in (Side.TOP, Side.BOTTOM) else height)


def _face_height_mm(pose: Pose, z_mm: float, side: Side, along_mm: float, body: Body) -> float:
    """Where a plate's face meets a wall, ahead of the box's origin, at a place along the wall [mm]."""
    outward = OUTWARD[side]
    start = body.box.points_to_frame(outward * body.reach_mm(side) + np.cross(AHEAD, outward) * along_mm)
    local, step = pose.points_to_part(start), pose.vectors_to_part(body.box.vectors_to_frame(AHEAD))
    return float((z_mm - local[2]) / step[2])


def _mouth(stations: Sequence[Station], body: Body | None) -> list[Opening]:
    if body is None:
        return []
    hood = first_of(stations, Kind.HOOD)
    if hood is not None:
        loop, part = hood.tube.outer[-1], hood.part.name
        surface, area = flat_surface(to_shape(loop.outline), loop.pose, loop.z_mm), area_mm2(hood.tube.inner[-1].outline)
    else:
        half, part = body.half_mm + OVERLAP_MM, stations[-1].part.name
        surface = flat_surface(shapely.box(-half[0], -half[1], half[0], half[1]), body.box, body.ends.front_mm)
        area = area_mm2(stations[-1].tube.inner[-1].outline)
    return [Opening(name="mouth", kind=OpeningKind.MOUTH, part=part, area_mm2=area, surface=surface)]
