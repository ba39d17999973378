"""The spline of smooth layers, held against scipy's interpolating splines (FITPACK)."""

import numpy as np
import pytest
from scipy.interpolate import RectBivariateSpline

from raytrace.coverage.spline import on_finer_grid


@pytest.mark.parametrize("counts", [(2, 3), (4, 5), (9, 31)])
def test_values_between_nodes_are_those_of_the_spline_that_scipy_puts_through_them(counts):
    rows, columns = (np.append(np.arange(count - 1) * 37, (count - 1) * 37 - 5) for count in counts)
    values = np.random.default_rng(3).normal(size=counts)
    fine_rows, fine_columns = (np.append(np.arange(0, ticks[-1], 16), ticks[-1]) for ticks in (rows, columns))
    known = RectBivariateSpline(rows, columns, values, kx=min(3, counts[0] - 1), ky=min(3, counts[1] - 1))
    found = on_finer_grid(rows, columns, values, fine_rows, fine_columns)
    assert found == pytest.approx(known(fine_rows, fine_columns), abs=1e-10)
