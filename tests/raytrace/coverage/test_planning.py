"""Cells of a picture: what lies between their corners may bend, and the map's bound has to know it."""

import numpy as np
import pytest

from geometry.outline import RoundedRectangle
from raytrace.box import Box
from raytrace.coverage.picture import coverage_map
from raytrace.coverage.planning import kink_points
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, WalkingPupil, pencils_for
from raytrace.reference import reference_shares
from tests.raytrace.made import holed

LOPSIDED = PixelGrid(width_mm=36.0, height_mm=24.0, columns=1200, rows=800, offset_mm=(1.7, -0.9))
BENDS_DEG = (24.2, 24.35)


def walking(*rows):
    pupil = WalkingPupil(behind_front_mm=38.0, half_size_mm=(4.5, 4.5), rows=((0.0, 38.0, 1.0, 1.0), *rows))
    plain = {"name": "kinked", "focal_mm": 22.0, "f_number": 2.0, "focus_mm": np.inf, "field_focal_mm": 22.0}
    return LensState(**plain, object_z_mm=np.inf, pupil=pupil)


def narrow_bump():
    """Within a third of a degree, which no corner of a large cell need meet, the pupil walks 5 mm back and forth again."""
    return walking(
        (24.05, 38.6, 0.99, 1.0), (BENDS_DEG[0], 43.6, 0.97, 1.01), (BENDS_DEG[1], 38.6, 0.99, 1.0), (40.0, 39.0, 0.96, 1.02)
    )


def plate():
    return holed(52.0, RoundedRectangle(84.0, 71.0), right_mm=1.5, up_mm=-1.0, turn_deg=4.0)


def points_at(fields_deg):
    ways = np.radians([13.0, 31.0, 38.0, 142.0, 155.0, 197.0, 213.0, 325.0, 334.0])
    radii = 22.0 * np.tan(np.radians(fields_deg))
    return (radii[:, None, None] * np.column_stack([np.cos(ways), np.sin(ways)])).reshape(-1, 2)


def test_a_map_is_within_its_bounds_of_the_reference_where_the_pupil_jerks():
    lens, box, grid = narrow_bump(), Box(parts=(plate(),)), LOPSIDED
    picture = coverage_map(lambda points: pencils_for(lens, points), grid, box)
    wanted = points_at(np.linspace(24.08, 24.32, 9))
    column = np.abs(grid.x_mm[None] - wanted[:, :1]).argmin(axis=1)
    row = np.abs(grid.y_mm[None] - wanted[:, 1:]).argmin(axis=1)
    nearest = np.column_stack([grid.x_mm[column], grid.y_mm[row]])
    rays = reference_shares(pencils_for(lens, nearest), box, log2_rays=12, rng=np.random.default_rng(8))
    allowed = sum(bound.size for bound in picture.made.bounds if bound.unit == "share") + 6 * rays.stderr + 1e-3
    assert (rays.clear_share < 0.95).sum() > 20  # most of them lie in the penumbra
    assert np.all(np.abs(picture.clear_share[row, column] - rays.clear_share) < allowed)


def test_a_bend_too_narrow_for_small_cells_widens_the_bound():
    smooth, jerky = (
        coverage_map(lambda points, lens=lens: pencils_for(lens, points), LOPSIDED, Box(parts=(plate(),))).made.bounds[0].size
        for lens in (
            walking((24.3, 38.6, 0.99, 1.0)),
            walking((24.28, 38.6, 1.0, 1.0), (24.3, 45.0, 1.0, 1.0), (24.32, 38.6, 1.0, 1.0)),
        )
    )
    assert smooth < 7e-4
    assert jerky > 0.05


def test_rows_of_the_table_are_found_all_round_the_axis():
    found = kink_points(lambda points: pencils_for(narrow_bump(), points), LOPSIDED)
    # Rectilinear: a field at angle t lies f tan t from the axis (definition of the projection).
    radius = np.hypot(*found.T)
    for bend in BENDS_DEG:
        on_row = np.abs(radius - 22.0 * np.tan(np.radians(bend))) < 1e-3
        assert on_row.sum() > 8
        assert np.ptp(found[on_row, 0]) > 19.0


def test_a_smooth_lens_has_no_rows():
    fixed = FixedPupil(behind_front_mm=(38.0, 38.0), half_size_mm=(4.5, 4.5))
    lens = LensState(
        name="even", focal_mm=22.0, f_number=2.0, focus_mm=np.inf, field_focal_mm=22.0, object_z_mm=np.inf, pupil=fixed
    )
    assert kink_points(lambda points: pencils_for(lens, points), LOPSIDED).shape == (0, 2)


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (7, 1)])
def test_the_smallest_pictures_of_a_tabulated_lens_are_planned(shape):
    grid = PixelGrid(width_mm=36.0, height_mm=24.0, columns=shape[1], rows=shape[0])
    picture = coverage_map(lambda points: pencils_for(narrow_bump(), points), grid, Box(parts=(plate(),)))
    assert picture.clear_share.shape == shape
