"""Rays of one pencil that meet glass at different angles: shares of pencils that come to a point, behind leaning plates."""

import numpy as np
import pytest

from geometry.outline import RoundedRectangle
from raytrace.box import Box
from raytrace.coverage.engine import coverage_shares
from raytrace.coverage.picture import coverage_map
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, pencils_for
from raytrace.reference import reference_shares
from tests.raytrace.made import edge_above, holed, pencils, plate_of_glass


def plate(width_mm, height_mm):
    return holed(70, RoundedRectangle(width_mm, height_mm), right_mm=4, up_mm=-3, turn_deg=7)


def total(made):
    return sum(bound.size for bound in made.bounds if bound.unit == "share")


# f/1.4 of a 50 mm lens near by: 36 mm of pupil, 300 mm ahead of it the plane of focus.
@pytest.mark.parametrize(("tilt_deg", "second"), [(0.0, False), (15.0, False), (15.0, True)])
def test_points_behind_leaning_glass_agree_with_the_reference_at_a_wide_stop(tilt_deg, second):
    pencil = pencils(np.random.default_rng(0).uniform(-0.45, 0.45, (24, 2)), behind_mm=40, radius_mm=18, object_mm=300)
    glasses = [plate_of_glass(20, tilt_deg=tilt_deg, turn_deg=33)]
    if second:
        glasses.append(plate_of_glass(40, tilt_deg=-tilt_deg, turn_deg=103))
    box = Box(parts=(plate(60, 46),), glasses=tuple(glasses))
    area = coverage_shares(pencil, box, with_alone=False)
    rays = reference_shares(pencil, box, log2_rays=14, rng=np.random.default_rng(1))
    error = area.clear_share - rays.clear_share
    assert np.abs(error).max() < 0.002
    assert abs(error.mean()) < 0.0002
    assert np.all(np.abs(error) < total(area.made) + 6 * rays.stderr)
    assert 0.0 < area.made.bounds[1].size < 0.01


def test_a_plate_near_the_axis_moves_the_focus_away_by_a_third_of_its_thickness():
    # T (1 - 1 / n) for rays near the axis, Hecht, Optics (from memory): 4 mm of n = 1.5 move it by 4/3 mm. An edge at height h at
    # 160 mm from the pupil's middle cuts a beam of radius 1.0 (1 - 160 / (200 + 4/3)) there.
    pencil = pencils([0, 0], behind_mm=40, radius_mm=1.0, object_mm=200)
    h = 0.5 * (1 - 160 / (200 + 4 / 3))
    # The rays come from one point: what is behind the plate is as if the pupil stood 4/3 mm farther back and were as large there.
    radius = 1.0 * (200 - 160 + 4 / 3) / 200
    share = coverage_shares(pencil, Box(parts=(edge_above(h, 120),), glasses=(plate_of_glass(60, index=1.5),))).clear_share[0]
    x = h / radius
    assert share == pytest.approx(1 - (np.arccos(x) - x * np.sqrt(1 - x * x)) / np.pi, abs=1e-5)


def test_a_map_behind_leaning_glass_states_its_error():
    pupil = FixedPupil(behind_front_mm=(38.0, 38.0), half_size_mm=(12.0, 12.0))
    plain = {"name": "near", "focal_mm": 33.0, "f_number": 1.4, "focus_mm": 420.0, "field_focal_mm": 36.0}
    lens = LensState(**plain, object_z_mm=260.0, pupil=pupil)
    box = Box(parts=(plate(92, 66),), glasses=(plate_of_glass(20, tilt_deg=12, turn_deg=25),))
    grid = PixelGrid(width_mm=36.0, height_mm=24.0, columns=90, rows=60)
    picture = coverage_map(lambda points: pencils_for(lens, points), grid, box)
    some = np.arange(7, 90 * 60, 61)
    rays = reference_shares(pencils_for(lens, grid.points_mm[some]), box, log2_rays=12, rng=np.random.default_rng(3))
    error = picture.clear_share.ravel()[some] - rays.clear_share
    assert np.all(np.abs(error) < total(picture.made) + 6 * rays.stderr)
    assert ((rays.clear_share > 0.02) & (rays.clear_share < 0.98)).sum() > 15
    assert "glass" in picture.made.bounds[-1].what
    assert 0.0 < picture.made.bounds[-1].size < 0.005


def test_parallel_rays_are_shifted_alike():
    pencil = pencils([[0.3, -0.2], [0.0, 0.4]], behind_mm=40, radius_mm=18)
    got = coverage_shares(pencil, Box(parts=(plate(60, 46),), glasses=(plate_of_glass(20, tilt_deg=15),)))
    assert got.made.bounds[1].size == 0.0
