"""Pencils and parts put together by hand, for tests that need no scene and no lens."""

import numpy as np

from geometry.body import Block, Kind, Loop, Part, Slab, Surface, Tube
from geometry.frame import pose
from geometry.outline import Circle, RoundedRectangle
from raytrace.box import Box, Glass, GlassKind
from raytrace.optics.pencil import Pencils

BK7 = 1.5168  # nd of N-BK7, refractiveindex.info (CC0): 1.51680003


def pencils(slope, *, behind_mm=25.0, radius_mm=4.5, object_mm=np.inf, ring=(0.0, np.inf), rim_share=None):
    """Round pupils `behind_mm` behind the front rim, seen along frame slopes (N, 2); object plane `object_mm` from the pupil."""
    slope = np.atleast_2d(np.asarray(slope, dtype=np.float64))
    n = len(slope)
    return Pencils(
        slope=slope,
        reference_z_mm=np.full((n, 2), -behind_mm),
        convergence_per_mm=np.full((n, 2), 1.0 / object_mm),
        centre_mm=np.zeros((n, 2)),
        axes_mm=np.tile(np.eye(2) * radius_mm, (n, 1, 1)),
        rim_share=np.zeros((n, 0)) if rim_share is None else np.tile(rim_share, (n, 1)),
        falloff=np.ones(n),
        valid=np.ones(n, dtype=bool),
        front_ring_mm=np.array(ring, dtype=np.float64),
    )


def upward(*field_deg):
    """Slopes of fields straight above the axis."""
    return np.column_stack([np.zeros(len(field_deg)), np.tan(np.radians(field_deg))])


def holed(at_mm, rear, *, front=None, depth_mm=0.0, name="plate", kind=Kind.MASK, bounded=False, outer=None, **place):
    """A plate or tube with the rear face `at_mm` ahead; `place` is the pose's right, up, tilt, turn."""
    where = pose(ahead_mm=at_mm, **place)
    inner = (Loop(where, rear),) if depth_mm == 0 else (Loop(where, rear), Loop(where, front or rear, depth_mm))
    rim = outer or RoundedRectangle(900, 900)
    outside = (Loop(where, rim),) if depth_mm == 0 else (Loop(where, rim), Loop(where, rim, depth_mm))
    return Part(name=name, kind=kind, body=Tube(inner=inner, outer=outside, bounded=bounded))


def edge_above(height_mm, at_mm, **more):
    """A straight edge: nothing but material above `height_mm` in the plane `at_mm`."""
    return holed(at_mm, RoundedRectangle(4000, 2000), up_mm=height_mm - 1000.0, **more)


def block(low, high, name="block"):
    """An upright block between two corners in the frame."""
    x, y, z = (np.array([a, b], dtype=np.float64) for a, b in zip(low, high, strict=True))
    corners = np.stack(np.meshgrid(x, y, z), axis=-1).reshape(-1, 3)
    return Part(name=name, kind=Kind.FLAG, body=Block(corners))


def plate_of_glass(at_mm, *, size_mm=(400, 400), thickness_mm=4.0, index=BK7, tilt_deg=0.0, turn_deg=0.0, right_mm=0.0, **glass):
    """A filter with its centre `at_mm` ahead."""
    where = pose(ahead_mm=at_mm, tilt_deg=tilt_deg, turn_deg=turn_deg, right_mm=right_mm)
    slab = Slab(name="filter", pose=where, outline=RoundedRectangle(*size_mm), thickness_mm=thickness_mm)
    return Glass(slab=slab, index=index, **glass)


def show_box():
    """A lopsided box with every kind of body and two filters, one of them tilted inside its tray's depth."""
    parts = (
        holed(4, Circle(57), depth_mm=4, name="back", kind=Kind.BACK),
        holed(14, RoundedRectangle(138, 97, 4), depth_mm=8, name="rear tray", kind=Kind.TRAY),
        holed(30, RoundedRectangle(142, 99, 4), depth_mm=8, name="front tray", kind=Kind.TRAY, turn_deg=5, tilt_deg=-6),
        holed(46, RoundedRectangle(150, 86, 6), depth_mm=1, name="mask", kind=Kind.MASK, right_mm=3, up_mm=-2),
        holed(50, RoundedRectangle(170, 120, 8), front=RoundedRectangle(250, 170, 3), depth_mm=70, name="hood", kind=Kind.HOOD),
        holed(122, RoundedRectangle(180, 130), depth_mm=2, name="matte", bounded=True, outer=RoundedRectangle(230, 190), up_mm=8),
        leaning_flag(),
        bracket(),
    )
    glasses = (
        plate_of_glass(18, size_mm=(144, 101.6), kind=GlassKind.DENSITY, density=0.6),
        plate_of_glass(34, size_mm=(144, 101.6), kind=GlassKind.GRADUATED, density=0.9, soft_mm=20, tilt_deg=-6, turn_deg=5),
    )
    return Box(parts=parts, glasses=glasses)


def leaning_flag():
    """A flag at the operator's right, leaning out."""
    corners = [[-x, y, z + dz] for x, z in ((88, 126), (150, 200)) for y in (-70, 90) for dz in (0.0, 1.5)]
    return Part(name="right flag", kind=Kind.FLAG, body=Block(np.array(corners)))


def bracket():
    """A small open mesh low on the operator's left, three triangles round a common edge."""
    vertices = np.array([[60.0, -30, 132], [110, -60, 140], [70, -80, 150], [120, -20, 128], [40, -64, 160]])
    return Part(name="bracket", kind=Kind.SOLID, body=Surface(vertices, np.array([[0, 1, 2], [0, 3, 1], [0, 2, 4]])))
