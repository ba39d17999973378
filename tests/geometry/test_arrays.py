"""Products of vectors against numpy."""

import numpy as np
import pytest

from geometry.arrays import cross_product


@pytest.mark.parametrize(("one", "other"), [((3,), (3,)), ((5, 3), (3,)), ((3,), (4, 3)), ((2, 6, 3), (6, 3))])
def test_the_cross_product_is_numpys_to_the_last_bit(one, other):
    rng = np.random.default_rng(3)
    a, b = rng.normal(size=one), rng.normal(size=other)
    assert np.array_equal(cross_product(a, b), np.cross(a, b))
