"""Bars beside a picture: black ones of a file of another shape, and codes all alike where it was lost or is at the top code."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenes.stills.blocks import Blocks
from scenes.stills.decode import refusal

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

BAR_SHARE, BESIDE_BAR = 0.01, 0.1  # of white: how dark a bar is, and how light the picture right beside it
BAR_LEAST = 0.01  # of the height or width
EVEN_SHARE, EVEN_ROWS = 1e-5, 0.8  # a drawn bar has no noise: how far its blocks lie apart, of white, in so many of its rows


def insist_on_no_bars(with_box: Blocks, without_box: Blocks | None) -> None:
    """Refuse a pair in bars.

    A box may black out a rim as sharply, but not in the reference; nor, where there is none, without noise and alike on both sides.
    """
    for still in (with_box, *(() if without_box is None else (without_box,))):
        if flat := _flat(still):
            way_out = "copy it from the card again, or expose it darker and shoot again"
            raise refusal(still.name, f"has the same code all over, {_words(flat)}, where nothing can be measured; {way_out}")
    if without_box is not None:
        bars = _bars(without_box.light, drawn=False)
        name = without_box.name
    else:
        bars = _bars(with_box.light, drawn=True)
        name = with_box.name
    if bars:
        raise refusal(
            name, f"has black bars, {_words(bars)}; cut them off both stills, and let `covers` name the guide that is left"
        )


def _words(bars: dict[str, float]) -> str:
    return " and ".join(f"{share:.0%} at the {side}" for side, share in bars.items())


def _flat(still: Blocks) -> dict[str, float]:
    """By side, the share of rows or columns that are light and without any noise, up to the edge: white, or grey."""
    white = float(np.percentile(still.light, 99))
    sides, clipped = _from_sides(still.light), _from_sides(still.clipped)
    return {side: share for side in sides if (share := _flat_share(sides[side], clipped[side], white)) >= BAR_LEAST}


def _flat_share(rows: Floats, clipped: Bools, white: float) -> float:
    """Such a share at the first of the rows: at the top code, or far off the row beside, for strong JPEG leaves no noise either."""
    flat = (np.ptp(rows, axis=1) <= EVEN_SHARE * white) & (rows.min(axis=1) > BAR_SHARE * white)
    count = 0 if flat.all() else int(np.argmin(flat))  # all of them: a drawn picture, which has no edge of a bar
    if not count:
        return 0.0
    beside = rows[min(count + 1, len(rows) - 1)]  # the one before may hold some of both
    is_lost = clipped[:count].all() or np.abs(beside - rows[0, 0]).max() > BESIDE_BAR * white
    return count / len(rows) if is_lost else 0.0


def _from_sides(light: NDArray[Any]) -> dict[str, NDArray[Any]]:
    """Rows or columns from each side on."""
    return {"top": light, "bottom": light[::-1], "left": light.T, "right": light.T[::-1]}


def _bars(light: Floats, *, drawn: bool) -> dict[str, float]:
    """Bars by their side, as shares of height or width; with `drawn` only such as nothing but a program makes."""
    white = float(np.percentile(light, 99))
    bars = {side: share for side, rows in _from_sides(light).items() if (share := _bar(rows, white, drawn=drawn)) > 0}
    if drawn:
        pairs = (("top", "bottom"), ("left", "right"))
        return {side: bars[side] for pair in pairs if all(one in bars for one in pair) for side in pair}
    return bars


def _bar(rows: Floats, white: float, *, drawn: bool) -> float:
    """Share of the rows that a black bar takes at the first of them; 0 where there is none."""
    dark = rows.max(axis=1) < BAR_SHARE * white
    count = len(rows) if dark.all() else int(np.argmin(dark))
    if not BAR_LEAST * len(rows) <= count < len(rows) / 2:
        return 0.0
    even = np.ptp(rows[:count], axis=1) <= EVEN_SHARE * white
    beside = rows[min(count + 1, len(rows) - 1)]  # the one before may hold some of both
    is_bar = np.median(beside) > BESIDE_BAR * white and (not drawn or even.mean() >= EVEN_ROWS)
    return count / len(rows) if is_bar else 0.0
