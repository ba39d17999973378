"""Flags and extensions swung about their hinges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geometry.body import Block, Part
from geometry.frame import AHEAD


def swung(blade: Part, outward_deg: float) -> Part:
    """The flag or extension opened further by an angle, about the hinge line that it has."""
    return swung_with(blade, blade, outward_deg)


def swung_with(flag: Part, blade: Part, outward_deg: float) -> Part:
    """A blade carried along as a flag is opened further by an angle, about the flag's hinge line."""
    assert isinstance(blade.body, Block)
    assert isinstance(flag.body, Block)
    hinged, corners = flag.body.corners_mm, blade.body.corners_mm
    hinge = hinged[0]  # by width, then length, then thickness, as geometry.parts.flag makes them
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
