"""The scene that speed is measured on, 65 mm 5-perf, 24 mm f/2, two trays, a mask, a hood and a top flag; and larger ones."""

from __future__ import annotations

from functools import partial

import numpy as np
import trimesh

from geometry import flags
from geometry import parts as make
from geometry.body import Kind, Part, Surface
from geometry.outline import RoundedRectangle
from raytrace.box import Box
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, pencils_for

FULL = PixelGrid(width_mm=52.48, height_mm=23.01, columns=8192, rows=3592)
PREVIEW = FULL.resized(1024)
RADIUS_MM, DEPTH_MM, FOCAL_MM = 6.0, 45.0, 24.0


def lens(focal_mm=FOCAL_MM):
    pupil = FixedPupil(behind_front_mm=(DEPTH_MM, DEPTH_MM), half_size_mm=(RADIUS_MM, RADIUS_MM))
    return LensState(
        name="24", focal_mm=focal_mm, f_number=2.0, focus_mm=np.inf, field_focal_mm=focal_mm, object_z_mm=np.inf, pupil=pupil
    )


def pencils_at(focal_mm=FOCAL_MM):
    return partial(pencils_for, lens(focal_mm))


def box(flag_deg=48.0):
    place = make.box_pose()
    square, wide = make.opening(size_mm=(160, 160)), make.opening(size_mm=(190, 120))
    return Box(
        parts=(
            make.tray(place, at_mm=20, depth_mm=6, opening=square, outer_mm=(220, 200), name="tray 1"),
            make.tray(place, at_mm=30, depth_mm=6, opening=square, outer_mm=(220, 200), name="tray 2"),
            make.mask(place, at_mm=50, thickness_mm=2, opening=wide, outer_mm=(220, 180)),
            make.hood(place, at_mm=52, depth_mm=58, rear_mm=(200, 140), front_mm=(300, 180)),
            flags.flag(place, side="top", angle_deg=flag_deg, hinge_mm=90, at_mm=110, length_mm=120, width_mm=300),
        )
    )


def box_of(parts):
    """A row of so many thin round-cornered masks, each a little wider than the beam there: the last ones cut the corners."""
    place = make.box_pose()
    row = []
    for k in range(parts):
        at = 10.0 + 100.0 * k / parts
        size = (2.0 * (DEPTH_MM + at) * 1.0 + 8.0, 2.0 * (DEPTH_MM + at) * 0.5 + 8.0)
        row.append(make.mask(place, at_mm=at, thickness_mm=0.3, opening=RoundedRectangle(*size, corner_mm=6.0), name=f"mask {k}"))
    return Box(parts=tuple(row))


def box_with_ball(triangles):
    """The box with a ball of about so many triangles on a bracket at the left of the picture."""
    rings = max(int(np.sqrt(triangles / 4)), 4)
    ball = trimesh.creation.uv_sphere(radius=12.0, count=[rings, 2 * rings])
    vertices = np.asarray(ball.vertices) + np.array([62.0, 20.0, 80.0])
    solid = Part(name="ball", kind=Kind.SOLID, body=Surface(vertices, np.asarray(ball.faces, dtype=np.int64)))
    return Box(parts=(*box().parts, solid)), len(ball.faces)
