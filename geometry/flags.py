"""Flags: blades hinged at the edge of a box, and the extensions at their far ends; as lengths that swing, and as parts.

Box coordinates as in `geometry.parts`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from geometry.arrays import FloatArray, cross_product
from geometry.body import Block, Kind, Part
from geometry.errors import positive
from geometry.frame import AHEAD, OUTWARD, Pose, Side

CORNERS = np.array([[w, ahead, out] for w in (-0.5, 0.5) for ahead in (0.0, 1.0) for out in (0.0, 1.0)])  # of a blade
LEAST_DEG, OPEN_DEG, MOST_DEG = -30.0, 90.0, 180.0  # what the opening angle of a flag may be, and straight out


@dataclass(frozen=True, slots=True, kw_only=True)
class Hinge:
    """The line a flag swings about: the box's pose, the side, its distance from the box's centre line and its place ahead [mm]."""

    box: Pose
    side: Side
    out_mm: float
    at_mm: float

    def plane(self, ahead_mm: float) -> Pose:
        """The plane square to the box's axis, so far ahead of the hinge."""
        return Pose(self.box.rotation, self.box.points_to_frame(np.array([0.0, 0.0, self.at_mm + ahead_mm])))

    def out_and_along(self, xy_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """How far points (N, 2) of such a plane lie out from the hinge (N,) and along it from its middle (N,) [mm]."""
        outward = OUTWARD[self.side][:2]
        return xy_mm @ outward - self.out_mm, xy_mm @ self._along()

    def to_box(self, points_mm: FloatArray) -> FloatArray:
        """Frame points (..., 3) as (along the hinge, ahead of it, out from it) [mm]."""
        return self._turned(self.box.points_to_part(points_mm)) - np.array([0.0, self.at_mm, self.out_mm])

    def vectors_to_box(self, vectors: FloatArray) -> FloatArray:
        """Frame vectors (..., 3) by the same axes."""
        return self._turned(self.box.vectors_to_part(vectors))

    def _turned(self, values: FloatArray) -> FloatArray:
        outward = OUTWARD[self.side]
        return np.stack([values[..., :2] @ self._along(), values[..., 2], values @ outward], axis=-1)

    def _along(self) -> FloatArray:
        outward = OUTWARD[self.side][:2]
        return np.array([outward[1], -outward[0]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """A flag, and the extension that swings from its far end: lengths, width along the hinge, thickness [mm], angle to the flag."""

    length_mm: float
    width_mm: float
    thickness_mm: float
    extension_mm: float = 0.0
    extension_deg: float = 0.0

    @property
    def reach_mm(self) -> float:
        """The farthest that any of it gets from the hinge line."""
        return float(np.hypot(self.length_mm + self.extension_mm, self.thickness_mm)) + self.thickness_mm

    @property
    def bare(self) -> Bars:
        """The same without its extension."""
        return replace(self, extension_mm=0.0, extension_deg=0.0)

    def shapes(self, angle_deg: FloatArray) -> FloatArray:
        """Corners (B, A, 4, 2) ahead and out [mm] of flag and extension at angles (A,)."""
        angle = np.radians(angle_deg)
        flag = _bar(np.zeros((len(angle), 2)), angle, self.length_mm, self.thickness_mm)
        if self.extension_mm <= 0.0:
            return flag[None]
        return np.stack([flag, _bar(flag[:, 1], angle + np.radians(self.extension_deg), self.extension_mm, self.thickness_mm)])


def boards(hinge: Hinge, bars: Bars, angle_deg: float, name: str = "flag", group: str = "") -> tuple[Part, ...]:
    """The flag at an angle as parts that stop light, its extension after it."""
    common: dict[str, Any] = {"side": hinge.side, "hinge_mm": hinge.out_mm, "at_mm": hinge.at_mm, "width_mm": bars.width_mm}
    common |= {"thickness_mm": bars.thickness_mm}
    board = flag(hinge.box, angle_deg=angle_deg, length_mm=bars.length_mm, name=name, group=group, **common)
    if bars.extension_mm <= 0.0:
        return (board,)
    outer = extension(
        hinge.box,
        flag_angle_deg=angle_deg,
        flag_length_mm=bars.length_mm,
        angle_deg=bars.extension_deg,
        length_mm=bars.extension_mm,
        name=f"{name} extension",
        group=f"{group}.extension",
        **common,
    )
    return board, outer


def _bar(start: FloatArray, angle_rad: FloatArray, length_mm: float, thickness_mm: float) -> FloatArray:
    along = np.column_stack([np.cos(angle_rad), np.sin(angle_rad)])
    away = np.column_stack([-along[:, 1], along[:, 0]])
    near, far = start, start + length_mm * along
    return np.stack([near, far, far + thickness_mm * away, near + thickness_mm * away], axis=1)


def hood_edge(side: Side | str, *, front_mm: tuple[float, float], at_mm: float, depth_mm: float) -> tuple[float, float]:
    """(hinge_mm, at_mm) of a flag hinged at the inner front edge of a hood on this side."""
    across = front_mm[1] if Side(side) in (Side.TOP, Side.BOTTOM) else front_mm[0]
    return across / 2, at_mm + depth_mm


def flag(
    box: Pose,
    *,
    side: Side | str,
    angle_deg: float,
    hinge_mm: float,
    at_mm: float,
    length_mm: float,
    width_mm: float,
    thickness_mm: float = 1.5,
    name: str = "flag",
    group: str = "",
    kind: Kind = Kind.FLAG,
) -> Part:
    """A flat blade hinged `hinge_mm` from the axis, `at_mm` ahead: 0 deg lies along the axis, 90 stands straight out.

    Its face toward the axis passes through the hinge line; the thickness grows away from the axis, so that face is exact.
    """
    sizes = [positive(name, what, v) for what, v in (("width", width_mm), ("length", length_mm), ("thickness", thickness_mm))]
    outward, (s, c) = OUTWARD[Side(side)], (np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg)))
    axes = np.array([cross_product(outward, AHEAD), c * AHEAD + s * outward, c * outward - s * AHEAD])
    corners = hinge_mm * outward + at_mm * AHEAD + (CORNERS * sizes) @ axes
    return Part(name=name, kind=kind, body=Block(box.points_to_frame(corners)), group=group)


def extension(
    box: Pose,
    *,
    side: Side | str,
    flag_angle_deg: float,
    flag_length_mm: float,
    hinge_mm: float,
    at_mm: float,
    angle_deg: float,
    length_mm: float,
    width_mm: float,
    thickness_mm: float = 1.5,
    name: str = "extension",
    group: str = "",
) -> Part:
    """The blade hinged at a flag's far end; 0 deg goes on in the flag's plane, positive swings outward.

    `hinge_mm` and `at_mm` are the flag's own.
    """
    far_mm, far_at_mm = far_end(hinge_mm=hinge_mm, at_mm=at_mm, angle_deg=flag_angle_deg, length_mm=flag_length_mm)
    return flag(
        box,
        side=side,
        angle_deg=flag_angle_deg + angle_deg,
        hinge_mm=far_mm,
        at_mm=far_at_mm,
        length_mm=length_mm,
        width_mm=width_mm,
        thickness_mm=thickness_mm,
        name=name,
        group=group,
        kind=Kind.EXTENSION,
    )


def hinge_line(blade: Part) -> FloatArray:
    """The two ends (2, 3) of the hinge line of a flag or extension made here, in the frame [mm]."""
    assert isinstance(blade.body, Block)
    return blade.body.corners_mm[[0, 4]]  # the corners come by width, then length, then thickness


def far_end(*, hinge_mm: float, at_mm: float, angle_deg: float, length_mm: float) -> tuple[float, float]:
    """(distance from the axis, place ahead) of a flag's far edge, on its face toward the axis [mm]."""
    angle_rad = np.radians(angle_deg)
    return float(hinge_mm + length_mm * np.sin(angle_rad)), float(at_mm + length_mm * np.cos(angle_rad))


def swung(blade: Part, outward_deg: float) -> Part:
    """The flag or extension opened further by an angle, about the hinge line that it has."""
    return swung_with(blade, blade, outward_deg)


def swung_with(carrier: Part, blade: Part, outward_deg: float) -> Part:
    """A blade carried along as a flag is opened further by an angle, about that flag's hinge line."""
    assert isinstance(blade.body, Block)
    assert isinstance(carrier.body, Block)
    hinged, corners = carrier.body.corners_mm, blade.body.corners_mm
    hinge = hinged[0]  # by width, then length, then thickness, as `flag` makes them
    along, away = hinged[2] - hinge, hinged[1] - hinge
    along, away = along / np.linalg.norm(along), away / np.linalg.norm(away)
    s, c = np.sin(np.radians(outward_deg)), np.cos(np.radians(outward_deg))
    lengthwise, out = (corners - hinge) @ along, (corners - hinge) @ away
    turned = np.outer(lengthwise, c * along + s * away) + np.outer(out, c * away - s * along)
    on_hinge = corners - np.outer(lengthwise, along) - np.outer(out, away)
    return replace(blade, body=Block(on_hinge + turned))


def leaning_deg(blade: Part) -> float:
    """Angle between the blade, from its hinge, and the lens axis: 0 along the axis, 90 straight out [deg]."""
    assert isinstance(blade.body, Block)
    along = blade.body.corners_mm[2] - blade.body.corners_mm[0]
    return float(np.degrees(np.arccos(np.clip(along @ AHEAD / np.linalg.norm(along), -1.0, 1.0))))
