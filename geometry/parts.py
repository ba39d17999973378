"""The parts of a light-control box, flags aside, from plain numbers in mm and degrees and the pose of the box.

Box coordinates: origin at the centre of the back plate's rear face, z ahead, before the box is tilted and moved.
A part is turned and tilted about its own centre, stands `at_mm` ahead (its rear face, before any tilt), then moves with the box.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geometry.body import Kind, Loop, Part, Slab, Surface, Tube
from geometry.errors import GeometryError, positive
from geometry.frame import AHEAD, Pose, pose, right_up_to_frame, rotation_about_x
from geometry.mesh_import import surface_from_arrays
from geometry.outline import Circle, Outline, RoundedRectangle, half_size_mm

DRAWN_RIM_MM = 15.0  # width of the frame drawn round an opening whose outside is not given: a usual rail; light never sees it
SEAL_GRIP_MM = 5.0  # how far a soft seal reaches back over the barrel; common practice, it must not slip off
BELLOWS_WALL_MM = 1.0  # cloth and glue; common practice
DONUT_TANGENTS = 6  # sides drawn round a donut's inner half: their corners stand out by 3.5 % of its half depth or swell, no more


class SealKind(StrEnum):
    """How the gap between the barrel and the back plate's bore is closed."""

    RING = "ring"
    DONUT = "donut"
    BELLOWS = "bellows"
    NONE = "none"


def box_pose(
    *,
    ahead_mm: float = 0.0,
    offset_right_mm: float = 0.0,
    offset_up_mm: float = 0.0,
    tilt_deg: float = 0.0,
    back_thickness_mm: float = 0.0,
) -> Pose:
    """Pose of the box: tilted about its back plate's centre, then offset and moved ahead. Its origin is the rear face's centre."""
    rotation = rotation_about_x(tilt_deg)
    pivot = AHEAD * back_thickness_mm / 2
    x, y = right_up_to_frame([offset_right_mm, offset_up_mm])
    return Pose(rotation, pivot - rotation @ pivot + np.array([x, y, ahead_mm]))


def part_pose(box: Pose, *, at_mm: float, depth_mm: float, turn_deg: float = 0.0, tilt_deg: float = 0.0) -> Pose:
    """Pose of a part's centre: own turn and tilt, rear face `at_mm` ahead of the back plate's rear face, then with the box."""
    return pose(ahead_mm=at_mm + depth_mm / 2, turn_deg=turn_deg, tilt_deg=tilt_deg).then(box)


def opening(*, size_mm: tuple[float, float] | None = None, diameter_mm: float | None = None, corner_mm: float = 0.0) -> Outline:
    """A rectangular (width, height) or a round opening: one of the two sizes is given."""
    if (size_mm is None) == (diameter_mm is None):
        raise GeometryError("an opening needs either width and height or a diameter: give one of the two")
    if diameter_mm is not None:
        return Circle(diameter_mm / 2)
    assert size_mm is not None
    return RoundedRectangle(size_mm[0], size_mm[1], corner_mm)


def back_plate(
    box: Pose,
    *,
    width_mm: float,
    height_mm: float,
    thickness_mm: float,
    bore_mm: float,
    corner_mm: float = 0.0,
    name: str = "back plate",
    group: str = "",
) -> Part:
    """The plate that carries the box, with a round bore for the lens; its rear face lies at 0 in box coordinates."""
    place = part_pose(box, at_mm=0.0, depth_mm=positive(name, "thickness", thickness_mm))
    outer = RoundedRectangle(width_mm, height_mm, corner_mm)
    return _plate(name, Kind.BACK, group, place, thickness_mm, inner=Circle(bore_mm / 2), outer=outer, bounded=True)


def seal(
    box: Pose,
    *,
    kind: SealKind | str,
    inner_mm: float,
    outer_mm: float,
    back_thickness_mm: float,
    barrel_front_mm: float = 0.0,
    name: str = "seal",
    group: str = "",
) -> tuple[Part, ...]:
    """What closes the gap from the barrel (`inner_mm` across) to the bore (`outer_mm` across): one part, or none.

    `barrel_front_mm` is where the barrel's front lies in box coordinates: minus the box's `ahead_mm`. A ring sits in the bore;
    donut and bellows reach from behind the barrel's front, or from the plate's rear if that lies further back, to its front.
    """
    kind = SealKind(kind)
    if kind is SealKind.NONE:
        return ()
    if not 0 < inner_mm < outer_mm:
        raise GeometryError(
            f"{name}: a seal must be wider outside than inside, found inner {inner_mm:g} mm and outer {outer_mm:g} mm; "
            "make the bore wider than the barrel or leave the seal out"
        )
    rear_mm = 0.0 if kind is SealKind.RING else min(0.0, barrel_front_mm - SEAL_GRIP_MM)
    depth_mm = positive(name, "depth", back_thickness_mm - rear_mm)
    place = part_pose(box, at_mm=rear_mm, depth_mm=depth_mm)
    inner_loops, outer_loops = _seal_loops(kind, place, (inner_mm / 2, outer_mm / 2), depth_mm, seat_mm=-rear_mm - depth_mm / 2)
    return (Part(name=name, kind=Kind.SEAL, body=Tube(inner=inner_loops, outer=outer_loops, bounded=True), group=group),)


def donut_loops(
    place: Pose,
    inner_radius_mm: float,
    outer_radius_mm: float,
    depth_mm: float,
    seat_mm: float | None = None,
    tangents: int = DONUT_TANGENTS,
) -> tuple[tuple[Loop, ...], tuple[Loop, ...]]:
    """Inner and outer loops of a donut: its round or oval section spans radii and depth, drawn by tangents, so never too small.

    Ahead of `seat_mm`, in the part's own coordinates, its outside lies on the bore; without one it is as round as the inside.
    An even number of `tangents` has one at the narrowest place.
    """
    middle, swell = (outer_radius_mm + inner_radius_mm) / 2, (outer_radius_mm - inner_radius_mm) / 2
    step = np.pi / tangents
    angle_rad = step * (np.arange(tangents) + 0.5) - np.pi / 2
    z, bulge = depth_mm / 2 * np.sin(angle_rad) / np.cos(step / 2), swell * np.cos(angle_rad) / np.cos(step / 2)
    z[[0, -1]] = -depth_mm / 2, depth_mm / 2  # tangents there: rounding must not shift the ends
    inner = tuple(Loop(place, Circle(float(middle - b)), float(h)) for b, h in zip(bulge, z, strict=True))
    outer = tuple(Loop(place, Circle(float(middle + b)), float(h)) for b, h in zip(bulge, z, strict=True))
    return inner, outer if seat_mm is None else _seated(place, outer, outer_radius_mm, seat_mm)


def _seated(place: Pose, outer: tuple[Loop, ...], bore_radius_mm: float, seat_mm: float) -> tuple[Loop, ...]:
    """The outside of a donut squeezed into a bore: round behind the bore's rear edge, flat on it from there to the front."""
    begins = min(seat_mm, max(loop.z_mm for loop in outer[: len(outer) // 2]))
    behind = tuple(loop for loop in outer if loop.z_mm < begins)
    return (*behind, Loop(place, Circle(bore_radius_mm), begins), Loop(place, Circle(bore_radius_mm), outer[-1].z_mm))


def _ring_loops(
    place: Pose, inner_radius_mm: float, outer_radius_mm: float, depth_mm: float
) -> tuple[tuple[Loop, ...], tuple[Loop, ...]]:
    return (
        _pair(place, Circle(inner_radius_mm), Circle(inner_radius_mm), depth_mm),
        _pair(place, Circle(outer_radius_mm), Circle(outer_radius_mm), depth_mm),
    )


def _bellows_loops(
    place: Pose, inner_radius_mm: float, outer_radius_mm: float, depth_mm: float
) -> tuple[tuple[Loop, ...], tuple[Loop, ...]]:
    wall_mm = min(BELLOWS_WALL_MM, (outer_radius_mm - inner_radius_mm) / 2)
    return (
        _pair(place, Circle(inner_radius_mm), Circle(outer_radius_mm - wall_mm), depth_mm),
        _pair(place, Circle(inner_radius_mm + wall_mm), Circle(outer_radius_mm), depth_mm),
    )


def _seal_loops(
    kind: SealKind, place: Pose, radii_mm: tuple[float, float], depth_mm: float, *, seat_mm: float
) -> tuple[tuple[Loop, ...], tuple[Loop, ...]]:
    match kind:
        case SealKind.DONUT:
            return donut_loops(place, *radii_mm, depth_mm, seat_mm)
        case SealKind.BELLOWS:
            return _bellows_loops(place, *radii_mm, depth_mm)
        case _:
            return _ring_loops(place, *radii_mm, depth_mm)


def tray(
    box: Pose,
    *,
    at_mm: float,
    depth_mm: float,
    opening: Outline,
    turn_deg: float = 0.0,
    tilt_deg: float = 0.0,
    outer_mm: tuple[float, float] | None = None,
    holds: Outline | None = None,
    name: str = "tray",
    group: str = "",
) -> Part:
    """A filter stage: a straight tunnel of its depth. Without `outer_mm` no way leads round it.

    `holds`, its filter, only widens the outside that is drawn where `outer_mm` is not given.
    """
    place = part_pose(box, at_mm=at_mm, depth_mm=positive(name, "depth", depth_mm), turn_deg=turn_deg, tilt_deg=tilt_deg)
    outer = _outside(name, opening, outer_mm, holds)
    return _plate(name, Kind.TRAY, group, place, depth_mm, inner=opening, outer=outer, bounded=outer_mm is not None)


def filter_slab(
    box: Pose,
    *,
    at_mm: float,
    depth_mm: float,
    outline: Outline,
    thickness_mm: float,
    turn_deg: float = 0.0,
    tilt_deg: float = 0.0,
    name: str = "filter",
) -> Slab:
    """The glass in the middle of a tray; `at_mm`, `depth_mm`, turn and tilt are the tray's, since the glass moves with it."""
    place = part_pose(box, at_mm=at_mm, depth_mm=depth_mm, turn_deg=turn_deg, tilt_deg=tilt_deg)
    return Slab(name=name, pose=place, outline=outline, thickness_mm=positive(name, "thickness", thickness_mm))


def mask(
    box: Pose,
    *,
    at_mm: float,
    thickness_mm: float,
    opening: Outline,
    turn_deg: float = 0.0,
    tilt_deg: float = 0.0,
    outer_mm: tuple[float, float] | None = None,
    name: str = "mask",
    group: str = "",
) -> Part:
    """A cut-out plate. Without `outer_mm` no way leads round it."""
    place = part_pose(box, at_mm=at_mm, depth_mm=positive(name, "thickness", thickness_mm), turn_deg=turn_deg, tilt_deg=tilt_deg)
    outer = _outside(name, opening, outer_mm, None)
    return _plate(name, Kind.MASK, group, place, thickness_mm, inner=opening, outer=outer, bounded=outer_mm is not None)


def hood(
    box: Pose,
    *,
    at_mm: float,
    depth_mm: float,
    rear_mm: tuple[float, float],
    front_mm: tuple[float, float],
    wall_mm: float = 2.0,
    corner_mm: float = 0.0,
    name: str = "hood",
    group: str = "",
) -> Part:
    """Four tapered walls, open at both ends: `rear_mm`, `front_mm` (width, height) inside, `wall_mm` square to each wall."""
    place = part_pose(box, at_mm=at_mm, depth_mm=positive(name, "depth", depth_mm))
    positive(name, "wall thickness", wall_mm)
    rear, front = np.asarray(rear_mm, dtype=np.float64), np.asarray(front_mm, dtype=np.float64)
    rim = 2 * wall_mm * np.hypot(1.0, (front - rear) / 2 / depth_mm)  # a slanted wall cut across is wider than it is thick
    outer_corner_mm = corner_mm + wall_mm if corner_mm > 0 else 0.0
    body = Tube(
        inner=_pair(place, _rectangle(rear, corner_mm), _rectangle(front, corner_mm), depth_mm),
        outer=_pair(place, _rectangle(rear + rim, outer_corner_mm), _rectangle(front + rim, outer_corner_mm), depth_mm),
        bounded=True,
    )
    return Part(name=name, kind=Kind.HOOD, body=body, group=group)


def solid(
    box: Pose,
    surface: Surface,
    *,
    at_mm: float = 0.0,
    back_thickness_mm: float = 0.0,
    turn_deg: float = 0.0,
    tilt_deg: float = 0.0,
    name: str = "solid",
    group: str = "",
) -> Part:
    """An imported mesh in the frame's axes, turned and tilted about its origin, `at_mm` ahead of the back plate's centre."""
    turned = pose(turn_deg=turn_deg, tilt_deg=tilt_deg).points_to_frame(surface.vertices_mm)
    shifted = turned + AHEAD * (back_thickness_mm / 2 + at_mm)
    return Part(name=name, kind=Kind.SOLID, body=Surface(box.points_to_frame(shifted), surface.faces), group=group)


def imported_solid(
    box: Pose, vertices: ArrayLike, faces: ArrayLike, *, unit: str | None, file_name: str, name: str, **place: Any
) -> Part:
    """A mesh file's vertices and faces as a solid, placed as by `solid`; ValueError, by the file's name, where they are none."""
    return solid(box, surface_from_arrays(vertices, faces, unit=unit, name=file_name), name=name, **place)


def _plate(
    name: str, kind: Kind, group: str, place: Pose, depth_mm: float, *, inner: Outline, outer: RoundedRectangle, bounded: bool
) -> Part:
    if np.any(half_size_mm(inner) >= half_size_mm(outer)):
        w, h = 2 * half_size_mm(inner)
        raise GeometryError(
            f"{name}: the outside must be larger than the opening, found {outer.width_mm:g} x {outer.height_mm:g} mm "
            f"round an opening of {w:g} x {h:g} mm; make the outside larger or the opening smaller"
        )
    body = Tube(inner=_pair(place, inner, inner, depth_mm), outer=_pair(place, outer, outer, depth_mm), bounded=bounded)
    return Part(name=name, kind=kind, body=body, group=group)


def _outside(name: str, inner: Outline, outer_mm: tuple[float, float] | None, holds: Outline | None) -> RoundedRectangle:
    if outer_mm is not None:
        return RoundedRectangle(positive(name, "outside width", outer_mm[0]), positive(name, "outside height", outer_mm[1]))
    half = half_size_mm(inner) if holds is None else np.maximum(half_size_mm(inner), half_size_mm(holds))
    return _rectangle(2 * half + 2 * DRAWN_RIM_MM, 0.0)


def _pair(place: Pose, rear: Outline, front: Outline, depth_mm: float) -> tuple[Loop, Loop]:
    return Loop(place, rear, -depth_mm / 2), Loop(place, front, depth_mm / 2)


def _rectangle(size_mm: NDArray[np.float64], corner_mm: float) -> RoundedRectangle:
    return RoundedRectangle(float(size_mm[0]), float(size_mm[1]), corner_mm)
