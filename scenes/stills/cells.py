"""One still, or a pair with and without the box, as measured light on cells: what a predicted map is laid against."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from scenes.stills.blocks import Blocks
from scenes.stills.decode import refusal

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEFT_SHARE = 0.5  # of a cell's blocks that must be of use
SWAPPED_LOW, SWAPPED_HIGH = 0.9, 1.2  # of the middle's light: no box adds light, and uneven light takes some elsewhere
CLIPPED_MOST = 0.25  # of a still
ORIENTATIONS = ("as shot", "turned 180", "mirrored", "upside down")
WAY_WORDS = {
    "turned 180": "turned by 180 degrees",
    "mirrored": "mirrored left to right",
    "upside down": "mirrored top to bottom",
}
LEAST_DUST, DUST_TIMES = 8, 4  # blocks of dust that lie alike, and how many times more than as shot, to tell the way up by


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Light on cells (H, W), row 0 the top: with the box over without, or with the box alone, 1 for the brightest.

    `noise` is its standard error; `good` which cells count; `clipped` and `marked` (dust, letters, lines) why others do not,
    `sharp` where the picture has an edge that no shadow has.
    """

    light: Floats
    noise: Floats
    good: Bools
    clipped: Bools
    marked: Bools
    sharp: Bools
    has_reference: bool
    name: str
    notes: tuple[str, ...] = ()

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.light.shape[0], self.light.shape[1]


def measured_pair(with_box: Blocks, without_box: Blocks | None, cells: tuple[int, int]) -> Measured:
    """The share of light on (rows, columns) cells that a still keeps of its reference, or its own light where there is none."""
    _insist_on_unclipped(with_box)
    if without_box is None:
        white = float(np.percentile(with_box.light, 99))
        return _on_cells(with_box, with_box.light / white, with_box.noise / white, None, cells)
    _insist_on_unclipped(without_box)
    if with_box.size != without_box.size:
        raise refusal(
            with_box.name,
            f"is {_words(with_box)} pixels, its reference {without_box.name} {_words(without_box)}; hand in both alike",
        )
    _insist_on_one_way_up(with_box, without_box)
    measured = _on_cells(with_box, with_box.light, with_box.noise, without_box, cells)
    _insist_on_order(measured, without_box)
    return measured


def _insist_on_order(measured: Measured, without_box: Blocks) -> None:
    """Refuse a pair in which the box makes the rim brighter and nothing darker: the two files are swapped."""
    rows, columns = measured.shape
    middle = measured.light[rows // 3 : rows - rows // 3, columns // 3 : columns - columns // 3]
    low, high = np.percentile(measured.light[measured.good], [2, 99]) / np.median(middle) if measured.good.any() else (1.0, 1.0)
    if low > SWAPPED_LOW and high > SWAPPED_HIGH:
        found = f"lets {high:.2f} times the light of {without_box.name} through at the rim, and nowhere less"
        raise refusal(measured.name, f"{found}; with_box and without_box are probably swapped")


def _insist_on_one_way_up(with_box: Blocks, without_box: Blocks) -> None:
    """Refuse a pair of which one was turned or mirrored: dust on the sensor lies in one place in both."""
    if with_box.spots.shape != without_box.spots.shape:
        return
    dust = binary_dilation(without_box.spots)
    alike = {way: int((put_upright(with_box.spots, way) & dust).sum()) for way in ORIENTATIONS}
    best = max(ORIENTATIONS, key=lambda way: alike[way])
    if alike[best] >= LEAST_DUST and alike[best] > DUST_TIMES * (alike[ORIENTATIONS[0]] + 1):
        way_out = "export both alike, the right way up"
        raise refusal(with_box.name, f"is {WAY_WORDS[best]} against {without_box.name}, by the dust in both; {way_out}")


def _words(blocks: Blocks) -> str:
    return f"{blocks.size[0]} x {blocks.size[1]}"


def _insist_on_unclipped(blocks: Blocks) -> None:
    share = float(blocks.clipped.mean())
    if share > CLIPPED_MOST:
        raise refusal(
            blocks.name,
            f"is clipped over {share:.0%} of the frame, where no loss can be measured; expose it darker and shoot again",
        )


def _on_cells(with_box: Blocks, light: Floats, noise: Floats, reference: Blocks | None, cells: tuple[int, int]) -> Measured:
    clipped = with_box.clipped if reference is None else with_box.clipped | reference.clipped
    spots = with_box.spots if reference is None else with_box.spots | reference.spots
    bad = clipped | binary_dilation(spots, iterations=1)
    use = ~bad
    count = _cell_sums(use.astype(np.float64), cells)
    all_blocks = use.size / (cells[0] * cells[1])
    some = np.maximum(count, 1.0)
    mean, variance = _cell_sums(light * use, cells) / some, _cell_sums(noise**2 * use, cells) / some**2
    if reference is not None:
        base = np.maximum(_cell_sums(reference.light * use, cells) / some, 1e-12)
        base_variance = _cell_sums(reference.noise**2 * use, cells) / some**2
        ratio = mean / base
        mean, variance = ratio, variance / base**2 + ratio**2 * base_variance / base**2
    return Measured(
        light=mean,
        noise=np.sqrt(variance),
        good=count >= LEFT_SHARE * all_blocks,
        clipped=_cell_sums(clipped.astype(np.float64), cells) > 0.5 * all_blocks,
        marked=_cell_sums(spots.astype(np.float64), cells) > 0,
        sharp=_cell_sums(with_box.sharp.astype(np.float64), cells) > 0,
        has_reference=reference is not None,
        name=with_box.name,
        notes=with_box.notes + (() if reference is None else reference.notes),
    )


def _cell_sums(values: Floats, cells: tuple[int, int]) -> Floats:
    rows, columns = values.shape[0] // cells[0], values.shape[1] // cells[1]
    return np.asarray(values.reshape(cells[0], rows, cells[1], columns).sum(axis=(1, 3)))


def oriented(measured: Measured, orientation: str) -> Measured:
    """The still put upright, where it was shot or saved in this orientation."""
    return replace(
        measured,
        light=put_upright(measured.light, orientation),
        noise=put_upright(measured.noise, orientation),
        good=put_upright(measured.good, orientation),
        clipped=put_upright(measured.clipped, orientation),
        marked=put_upright(measured.marked, orientation),
        sharp=put_upright(measured.sharp, orientation),
    )


def put_upright(values: NDArray[Any], orientation: str) -> NDArray[Any]:
    """A picture (H, W) in one of the orientations, put upright."""
    match orientation:
        case "turned 180":
            return values[::-1, ::-1]
        case "mirrored":
            return values[:, ::-1]
        case "upside down":
            return values[::-1]
    return values


def coarser(measured: Measured, by: int) -> Measured:
    """The same on cells `by` times as large, over whole ones."""
    rows, columns = measured.shape[0] // by, measured.shape[1] // by
    good = _thin(measured.good.astype(np.float64), rows, columns, by)
    some = np.maximum(good, 1.0)
    light = _thin(measured.light * measured.good, rows, columns, by) / some
    noise = np.sqrt(_thin(measured.noise**2 * measured.good, rows, columns, by)) / some
    enough = good >= LEFT_SHARE * by * by
    nothing = np.zeros((rows, columns), dtype=bool)
    return replace(measured, light=light, noise=noise, good=enough, clipped=nothing, marked=nothing, sharp=nothing)


def _thin(values: Floats, rows: int, columns: int, by: int) -> Floats:
    return np.asarray(values[: rows * by, : columns * by].reshape(rows, by, columns, by).sum(axis=(1, 3)))
