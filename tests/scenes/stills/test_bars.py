"""Rows or columns of one and the same code up to the picture's edge are lost, or at the top code: nothing can be measured there."""

import numpy as np
import pytest

from scenes.scene_file.errors import SceneError
from scenes.stills.bars import insist_on_no_bars
from scenes.stills.blocks import blocks_of
from scenes.stills.decode import Still

ROWS, COLUMNS = 200, 300


def still(fill=None, *, place=np.s_[160:], side="bottom", fall_off=16000):
    """Noisy codes that fall off to the sides; a place of them filled with one code."""
    rng = np.random.default_rng(2)
    away = np.abs(np.linspace(-1, 1, COLUMNS))
    codes = np.round(40000 - fall_off * away + rng.normal(0, 150, (ROWS, COLUMNS))).astype(np.uint16)
    if fill is not None:
        codes[place] = fill
    turned = {"bottom": codes, "top": codes[::-1], "right": codes.T, "left": codes[::-1].T}[side]
    return blocks_of(Still(codes=np.ascontiguousarray(turned)[..., None], bits=16, name="a"), turned.shape, curve="linear")


@pytest.mark.parametrize("side", ["bottom", "top", "right", "left"])
@pytest.mark.parametrize("fill", [0xFFFF, 0x8080])
def test_a_fifth_of_one_code_is_refused_with_its_side(fill, side):
    for pair in (
        (still(fill, side=side), None),
        (still(fill, side=side), still(side=side)),
        (still(side=side), still(fill, side=side)),
    ):
        with pytest.raises(SceneError, match=f"has the same code all over, 20% at the {side},"):
            insist_on_no_bars(*pair)


def test_a_whole_still_and_one_that_strong_jpeg_has_left_without_noise_are_not():
    insist_on_no_bars(still(), still())
    row_of_blocks = still(39000, place=np.s_[192:], fall_off=2000)  # within 10 % of white of all that lies beside it
    insist_on_no_bars(row_of_blocks, None)


def test_white_that_ends_short_of_a_whole_row_is_no_bar():
    insist_on_no_bars(still(0xFFFF, place=np.s_[160:, 20:]), None)
