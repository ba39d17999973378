"""Maps near the plane in focus: large cells that no part comes near are filled at once, and nothing else changes."""

from functools import partial

import numpy as np
import pytest

from raytrace.coverage import large_cells, picture
from raytrace.coverage.picture import coverage_map
from raytrace.optics.camera import PixelGrid
from raytrace.optics.lens import FixedPupil, LensState, pencils_for
from tests.raytrace.made import show_box

GRID = PixelGrid(width_mm=36.0, height_mm=24.0, columns=768, rows=512)


def lens(object_z_mm):
    pupil = FixedPupil(behind_front_mm=(40.0, 40.0), half_size_mm=(6.0, 6.0))
    return LensState(
        name="24", focal_mm=24.0, f_number=2.0, focus_mm=400.0, field_focal_mm=24.0, object_z_mm=object_z_mm, pupil=pupil
    )


@pytest.mark.parametrize("object_z_mm", [220.0, 250.0])
def test_a_map_is_the_same_whether_large_cells_are_looked_at_first_or_not(monkeypatch, object_z_mm):
    usable = []

    def noted(*args):
        left = large_cells.near_parts(*args)
        usable.append(float(left.cells.usable.mean()))
        return left

    at, box = partial(pencils_for, lens(object_z_mm)), show_box()
    monkeypatch.setattr(picture, "near_parts", noted)
    sooner = coverage_map(at, GRID, box)
    monkeypatch.setattr(large_cells, "MANY_CELLS", np.inf)
    later = coverage_map(at, GRID, box)
    assert usable[0] < 0.8
    assert usable[1] == 1.0
    assert 0.01 < np.mean(later.clear_share < 1.0) < 0.9
    assert np.array_equal(sooner.clear_share, later.clear_share)
    assert np.array_equal(sooner.blocked_by, later.blocked_by)
