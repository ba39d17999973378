"""A picture that is looked at while a flag moves is the map made afresh."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from geometry import flags
from geometry import parts as make
from raytrace.box import Box
from raytrace.coverage.picture import coverage_map
from raytrace.coverage.preview import Preview
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, pencils_for
from tests.raytrace.made import plate_of_glass

GRID = PixelGrid(width_mm=52.48, height_mm=23.01, columns=256, rows=112)
LENS = LensState(
    name="24",
    focal_mm=24.0,
    f_number=2.0,
    focus_mm=np.inf,
    field_focal_mm=24.0,
    object_z_mm=np.inf,
    pupil=FixedPupil(behind_front_mm=(45.0, 45.0), half_size_mm=(6.0, 6.0)),
)
LAYERS = ("clear_share", "glass", "lens", "blocked_by")


def pencils_at():
    return partial(pencils_for, LENS)


def box(flag_deg=48.0):
    place = make.box_pose()
    wide = make.opening(size_mm=(190, 120))
    return Box(
        parts=(
            make.tray(place, at_mm=20, depth_mm=6, opening=make.opening(size_mm=(160, 160)), outer_mm=(220, 200), name="tray"),
            make.mask(place, at_mm=50, thickness_mm=2, opening=wide, outer_mm=(220, 180)),
            make.hood(place, at_mm=52, depth_mm=58, rear_mm=(200, 140), front_mm=(300, 180)),
            flags.flag(place, side="left", angle_deg=flag_deg, hinge_mm=150, at_mm=110, length_mm=120, width_mm=180),
        )
    )


def afresh(parts):
    return coverage_map(pencils_at(), GRID, parts)


def test_the_first_frame_is_the_map_itself():
    seen, made = Preview(pencils_at(), GRID).frame(box()), afresh(box())
    assert all(np.array_equal(getattr(seen, name), getattr(made, name)) for name in LAYERS)
    assert seen.made == made.made


@pytest.mark.parametrize("flag_deg", [-5.0, 20.0, 35.0, 75.0])
def test_frames_of_a_moved_flag_are_within_the_bounds_of_maps_made_afresh(flag_deg):
    preview = Preview(pencils_at(), GRID)
    preview.frame(box())
    seen, made = preview.frame(box(flag_deg)), afresh(box(flag_deg))
    bound = sum(b.size for made_by in (seen.made, made.made) for b in made_by.bounds if b.unit == "share" and "chord" not in b.what)
    assert np.abs(seen.clear_share - made.clear_share).max() <= bound + 1e-6
    assert (made.clear_share < 1).any()


def test_glass_that_moved_is_looked_at_anew():
    preview, parts = Preview(pencils_at(), GRID), box().parts
    plate = plate_of_glass(18.0, thickness_mm=4.0, size_mm=(200, 180))
    bare, glazed = preview.frame(Box(parts=parts)), preview.frame(Box(parts=parts, glasses=(plate,)))
    made = afresh(Box(parts=parts, glasses=(plate,)))
    assert np.array_equal(glazed.glass, made.glass)
    assert np.array_equal(glazed.clear_share, made.clear_share)
    assert float(bare.glass.min()) == 1.0


def test_parts_that_reach_farther_than_planned_are_planned_for():
    preview = Preview(pencils_at(), GRID)
    preview.frame(Box(parts=box().parts[:2]))
    seen, made = preview.frame(box()), afresh(box())
    assert np.abs(seen.clear_share - made.clear_share).max() < 1e-3
    assert replace(seen.made, bounds=()) == replace(made.made, bounds=())
