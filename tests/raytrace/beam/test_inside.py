"""Pupils that shrink as they walk: straight rays from all over the frame, by plain similar triangles, lie in the section.

A field point at (x, y) looks along (x, y) / f. The table gives, by field angle, the depth at which its middle ray crosses the axis
and the half sizes of its pupil square to that ray (Smith, Modern Optical Engineering, ch. 6: vignetting and the walk of the
entrance pupil); cut square to the axis the tangential one is longer by 1 / cos.
"""

from functools import partial

import numpy as np
import pytest
import shapely

from geometry.frame import pose
from raytrace.beam.beam import beam_section
from raytrace.box import Box
from raytrace.optics.camera import Guide
from raytrace.optics.lens import LensState, WalkingPupil, pencils_for

NO_BOX = Box(parts=(), glasses=())
SHRINKING = ((0, 60, 1, 1), (4, 60, 0.8, 0.95), (8, 60, 0.55, 0.9), (16, 60, 0.2, 0.7), (24, 60, 0.1, 0.5))
RATIONED = ((0, 45, 1, 1), (9, 44, 1, 1), (18, 40, 0.3, 0.6), (40, 38, 0.1, 0.2))
LATE = ((0, 40, 1, 1), (12, 40, 1.05, 1.0), (13, 40, 0.5, 0.6), (36, 36, 0.4, 0.6))


def rays_mm(rows, focal_mm, radius_mm, guide, z_mm, rng, count):
    """Where rays of random field points, through random places of the pupil's rim, cross z (N, 2): x to the left, y up."""
    share = rng.uniform(-1, 1, (count, 2))
    picture = np.array(guide.centre_mm) + share * [guide.half_width_mm, guide.half_height_mm]
    slope = picture * [-1, 1] / focal_mm
    tangent = np.hypot(slope[:, 0], slope[:, 1])
    table = np.array(rows, dtype=float)
    depth, tangential, sagittal = (np.interp(np.degrees(np.arctan(tangent)), table[:, 0], table[:, k]) for k in (1, 2, 3))
    out = slope / tangent[:, None]
    side = np.column_stack([-out[:, 1], out[:, 0]])
    turn = rng.uniform(0, 2 * np.pi, count)
    a, b = radius_mm * tangential * np.sqrt(1 + tangent**2) * np.cos(turn), radius_mm * sagittal * np.sin(turn)
    return slope * (z_mm + depth)[:, None] + a[:, None] * out + b[:, None] * side


@pytest.mark.slow
@pytest.mark.parametrize(("rows", "focal_mm", "radius_mm"), [(SHRINKING, 85, 30.3), (RATIONED, 35, 11.0), (LATE, 50, 17.0)])
@pytest.mark.parametrize("centre_mm", [(0.0, 0.0), (5.0, -3.0)])
def test_a_section_holds_rays_from_inside_the_frame_where_the_pupil_shrinks(rows, focal_mm, radius_mm, centre_mm):
    pupil = WalkingPupil(behind_front_mm=rows[0][1], half_size_mm=(radius_mm, radius_mm), rows=rows)
    lens = LensState(
        name="a", focal_mm=focal_mm, f_number=1.4, focus_mm=np.inf, field_focal_mm=focal_mm, object_z_mm=np.inf, pupil=pupil
    )
    guide = Guide(name="whole", half_width_mm=18.0, half_height_mm=12.0, centre_mm=centre_mm)
    for z_mm in (3.0, 60.0):
        section = beam_section(partial(pencils_for, lens), guide, NO_BOX, pose(ahead_mm=z_mm))
        rays = rays_mm(rows, focal_mm, radius_mm, guide, z_mm, np.random.default_rng(3), 200_000)
        past = rays[~shapely.contains_xy(section, rays[:, 0], rays[:, 1])]
        assert not len(past), float(shapely.distance(shapely.points(past), section).max())
        hull = shapely.MultiPoint(rays).convex_hull
        assert section.area < 1.02 * hull.area  # and no more than little besides
