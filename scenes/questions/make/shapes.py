"""Shapes of made parts, plates and hoods: each as a solid about its own middle, and as the flats that it is cut from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from geometry.flats import Flat, upright
from geometry.polyhedra import Polyhedron, hood_shell, plate
from geometry.rings import Ring, polygon_ring
from geometry.unfold import Bending, Ends, Unfolded, corners_at, loose_panels, one_piece, outside_corners_mm

FILE_SAGITTA_MM, DRAWN_SAGITTA_MM = 0.005, 0.02  # of chords in files and in views: both of the very same area as the arc

FLAG_SEEN = "on the face toward the lens axis, hinge edge below"  # a blade lies so about its own middle


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateShape:
    """A flat plate, seen by the operator: outline and holes, thickness; how many of the holes, its last ones, are for screws."""

    outer: Ring
    holes: tuple[Ring, ...] = ()
    thickness_mm: float
    screws: int = 0

    def solid(self, sagitta_mm: float) -> Polyhedron:
        """As a solid about its own middle."""
        return plate(self.outer, self.holes, self.thickness_mm, sagitta_mm=sagitta_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class HoodShape:
    """Four tapered walls about an axis, the middle of the depth at the origin; how they are joined."""

    ends: Ends
    thickness_mm: float
    joint: str
    bending: Bending
    tab_mm: float

    def solid(self, sagitta_mm: float) -> Polyhedron:  # noqa: ARG002 - nothing is round: bends are drawn sharp
        """As a solid about its own middle."""
        depth = self.ends.depth_mm
        (l0, r0, b0, t0), (l1, r1, b1, t1) = self.ends.rear_mm, self.ends.front_mm
        inner = corners_at(0.0, (l0, r0, b0, t0)), corners_at(depth, (l1, r1, b1, t1))
        outer = outside_corners_mm(self.ends, self.thickness_mm)
        shell = hood_shell(inner, outer)
        return replace(shell, vertices_mm=shell.vertices_mm - np.array([0.0, 0.0, depth / 2]))


Shape = PlateShape | HoodShape


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One flat to cut: what it is called, from which side it is drawn."""

    name: str
    flat: Flat
    seen: str


def cuts_of(name: str, shape: Shape, *, is_flag: bool = False) -> Iterator[Cut]:
    """The flats that a shape is cut from, each with its name."""
    if isinstance(shape, PlateShape):
        seen = f"seen {FLAG_SEEN}" if is_flag else "seen from behind the camera"
        yield Cut(name=name, flat=Flat(outer=shape.outer, holes=shape.holes), seen=seen)
        return
    if shape.joint == "panels":
        for flat in loose_panels(shape.ends, shape.thickness_mm):
            yield Cut(name=f"{name}, {flat.panels[0].side} wall", flat=_flat(flat), seen="seen from the inside, front edge up")
    else:
        flat = one_piece(shape.ends, shape.bending, shape.tab_mm)
        yield Cut(name=name, flat=upright(_flat(flat)), seen="seen from the inside: fold every line up, toward you")


def _flat(unfolded: Unfolded) -> Flat:
    return Flat(outer=polygon_ring(unfolded.outline_mm), bends=unfolded.bends)
