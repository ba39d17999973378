"""A still as means of small blocks of pixels in linear light, with their noise and what of them is of no use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import blake2b
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from scenes.stills.decode import Still, refusal
from scenes.stills.file_notes import UNTOLD, SaidSetting, curve_notes
from scenes.stills.transfer import signal_of_code, to_light

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CELLS_ACROSS = 96
BLOCKS_A_CELL = 5  # along a side of a cell, where the still has the pixels
TOP_CODES = {8: 3, 16: 64}  # this near to the top code a pixel counts as clipped: video levels and JPEG stop a little short of it
CLIPPED_SHARE = 0.1  # of a block's pixels
NOISE_BINS = 12
MEDIAN_BLOCKS = 9  # across the window that a block is compared with: wider than dust, letters and frame lines
SPOT_SIGMAS, SPOT_SHARE, SPOT_FLOOR = 8.0, 0.03, 0.01  # further off its neighbours than noise, than a share of them, than of white
MAD_TO_SIGMA = 1.4826022  # scale = 1.4826 x median absolute deviation, for normal noise
SHARP_SHARE = 0.15  # of the light, from one block to the next: far more than a shadow out of focus changes
HIGHEST_FLOAT = 1e6
HIGHEST_SIGNAL = 1.5  # some curves go on a little beyond white
NARROW_FLOOR, NARROW_TOP = (15.0, 18.0), 236.0  # of 255: black and white of narrow range. Source: BT.2100, table 9
LEAST_GROWTH = 0.35  # of the variance of noise, as a power of light: photons alone give 1
GROWTH_FROM, GROWTH_SPAN = 0.12, 1.5  # of the brightest level: where it is looked at, and how far levels have to reach
NOISE_WORDS = (
    "the variance of its noise grows with light to the power of {growth:.1f}, where photons give 1: it is denoised, or its curve "
    "is not {curve}. Ask who exported it: a wrong curve looks like a box that stands elsewhere."
)
BIT_DEPTHS = (10, 12, 14)  # that a 16-bit file may hold at its lower end


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Means of blocks (H, W): light, its standard error, which are clipped, hold dust, letters or lines, have a sharp edge.

    shot_at: what the still says of its setting; fingerprint: of all its codes, alike for copies alone.
    """

    light: Floats
    noise: Floats
    clipped: Bools
    spots: Bools
    sharp: Bools
    name: str
    size: tuple[int, int]
    notes: tuple[str, ...] = ()
    shot_at: SaidSetting = UNTOLD
    fingerprint: bytes = b""


def blocks_of(
    still: Still, shape: tuple[int, int], *, curve: str, table: Sequence[tuple[float, float]] = (), code_range: str = "full"
) -> Blocks:
    """A still on (rows, columns) blocks."""
    if still.raw and (curve, code_range) != ("linear", "full"):
        raise refusal(still.name, 'is a camera raw file, whose codes are linear and full range; write curve = "linear" for it')
    bits, notes = _bits(still)
    notes += (*still.notes, *curve_notes(still.said, still.name, curve, table, code_range))
    if still.bits == 0 and curve != "linear":
        _insist_on_signal(still, curve)
        notes += (f"{still.name} holds floats; they were taken as a signal on the curve {curve}",)
    if still.bits:
        notes += _range_notes(still, bits, code_range)
    light, clipped = _averaged(still, shape, bits, _LightOf(still, bits, curve, table, code_range))
    _insist_on_light(light, still.name)
    around = _around(light)
    noise, growth = _noise(light, around)
    if growth is not None and growth < LEAST_GROWTH and not still.lossy:
        notes += (f"{still.name}: {NOISE_WORDS.format(growth=growth, curve=curve)}",)
    return Blocks(
        light=light,
        noise=noise,
        clipped=clipped > CLIPPED_SHARE,
        spots=_spots(light, around, noise),
        sharp=_sharp(light, around, noise),
        name=still.name,
        size=still.size,
        notes=notes,
        shot_at=still.shot_at,
        fingerprint=blake2b(np.ascontiguousarray(still.codes).data, usedforsecurity=False).digest(),
    )


def block_shape(size: tuple[int, int], cells: tuple[int, int]) -> tuple[int, int]:
    """(rows, columns) of blocks for a still of width x height pixels on (rows, columns) cells."""
    per_cell = max(1, min(BLOCKS_A_CELL, size[0] // cells[1], size[1] // cells[0]))
    return cells[0] * per_cell, cells[1] * per_cell


def _bits(still: Still) -> tuple[int, tuple[str, ...]]:
    """How many bits the codes have: a 16-bit file may hold 10, 12 or 14 at its lower end, which is said."""
    if still.bits != 16 or still.raw:
        return still.bits, ()
    top = int(still.codes.max())
    for bits in BIT_DEPTHS:
        if top < 2**bits:
            note = f"{still.name} has no code over {2**bits - 1}: its codes were taken as {bits} bits, not 16"
            return bits, (note,)
    return 16, ()


def _edges(count: int, parts: int) -> NDArray[np.int64]:
    return np.round(np.linspace(0, count, parts + 1)).astype(np.int64)


def _averaged(still: Still, shape: tuple[int, int], bits: int, light_of: _LightOf) -> tuple[Floats, Floats]:
    """Mean light and the largest share of clipped pixels of any channel, block by block (H, W).

    A row of blocks at a time: that much stays in the processor's cache.
    """
    rows, columns = _edges(still.codes.shape[0], shape[0]), _edges(still.codes.shape[1], shape[1])
    light, clipped = np.zeros(shape), np.zeros(shape)
    limit = _clipped_from(bits)
    for k, (first, last) in enumerate(pairwise(rows)):
        codes = still.codes[first:last]
        count = (last - first) * np.diff(columns)
        light[k] = _summed(light_of(codes), columns).mean(axis=1) / count
        if codes.max() >= limit:
            clipped[k] = _summed(codes >= limit, columns).max(axis=1) / count
    return light, clipped


def _summed(values: NDArray[Any], columns: NDArray[np.int64]) -> Floats:
    """Sums of pixels (H, W, C) over blocks from column to column (B, C)."""
    down = values.sum(axis=0, dtype=np.float32)
    return np.add.reduceat(down, columns[:-1], axis=0, dtype=np.float64)


class _LightOf:
    """Light of codes; whole numbers through a table of all codes."""

    def __init__(self, still: Still, bits: int, curve: str, table: Sequence[tuple[float, float]], code_range: str) -> None:
        self._curve, self._rows = curve, table
        self._known: NDArray[np.float32] | None = None
        if bits:
            every = np.arange(2 ** (8 if still.codes.dtype == np.uint8 else 16))
            signal = signal_of_code(np.minimum(every, 2**bits - 1), bits, code_range)
            if curve in {"pq", "pq-camera"}:
                signal = np.clip(signal, 0.0, 1.0)
            self._known = to_light(signal, curve, table).astype(np.float32)

    def __call__(self, codes: NDArray[Any]) -> NDArray[np.float32]:
        if self._known is not None:
            return np.take(self._known, codes, mode="clip")
        return to_light(np.minimum(codes, HIGHEST_FLOAT), self._curve, self._rows).astype(np.float32)


def _clipped_from(bits: int) -> float:
    """The least code that counts as clipped."""
    if bits == 0:
        return np.inf
    margin = TOP_CODES[8] if bits == 8 else max(1, TOP_CODES[16] >> (16 - bits))
    return 2**bits - margin


def _around(light: Floats) -> Floats:
    """What is usual near each block: the median down, then across, of a window wider than dust, letters and frame lines."""
    down = median_filter(light, size=(MEDIAN_BLOCKS, 1), mode="nearest")
    return np.asarray(median_filter(down, size=(1, MEDIAN_BLOCKS), mode="nearest"))


def _insist_on_light(light: Floats, name: str) -> None:
    """Refuse a still that is black or the same all over: it tells nothing, and must not pass for a clear one."""
    if not np.isfinite(light).all():
        raise refusal(name, "holds pixels that are no numbers; write it again from the raw file")
    high = float(np.percentile(light, 99))
    if high <= 0.0:
        raise refusal(name, "is black all over; hand in the still of the lit wall, and check `curve` and `code_range`")
    if float(light.max() - light.min()) < 1e-4 * high:
        raise refusal(name, "is the same all over; a real still has noise and fall-off, this is a test card or a blank")


def _noise(light: Floats, around: Floats) -> tuple[Floats, float | None]:
    """Standard error of every block, by the second differences of neighbours in bins of like light; and how it grows with light.

    For independent blocks of equal variance s^2 the difference a - 2 b + c has variance 6 s^2; medians leave letters and dust out.
    """
    second = light[:, :-2] - 2 * light[:, 1:-1] + light[:, 2:]
    middle = around[:, 1:-1]  # not the blocks themselves: like blocks would be chosen by their noise
    levels = np.unique(np.percentile(middle, np.linspace(0, 100, NOISE_BINS + 1)))
    if len(levels) < 3:
        return np.full(light.shape, _spread(second)), None
    which = np.clip(np.searchsorted(levels, middle, side="right") - 1, 0, len(levels) - 2)
    found = [
        (float(np.median(middle[which == k])), _spread(second[which == k])) for k in range(len(levels) - 1) if (which == k).any()
    ]
    known, spread = (np.array(column) for column in zip(*found, strict=True))
    return np.interp(around, known, spread), _growth(known, spread)


def _growth(level: Floats, spread: Floats) -> float | None:
    """Power of the light that variance grows with: 1 for photons, 2 for texture; None for few levels, or without noise."""
    bright = (level > GROWTH_FROM * level[-1]) & (spread > 0)
    if bright.sum() < 4 or level[bright][-1] < GROWTH_SPAN * level[bright][0]:
        return None
    return float(np.polyfit(np.log(level[bright]), 2 * np.log(spread[bright]), 1)[0])


def _insist_on_signal(still: Still, curve: str) -> None:
    """Refuse floats that are light and no signal: nits, say."""
    high = float(np.percentile(still.codes[::8, ::8], 99))
    if high > HIGHEST_SIGNAL:
        found = f"holds floats up to {high:.3g}, which is no signal of 0 to 1 on the curve {curve}"
        raise refusal(still.name, f'{found}; write curve = "linear" if they are light, such as nits, or export it anew')


def _range_notes(still: Still, bits: int, code_range: str) -> tuple[str, ...]:
    """What codes say against the range that was stated."""
    low, high = (np.percentile(still.codes[::4, ::4], [0.1, 99.9]) / 2.0 ** (bits - 8)).tolist()
    if code_range == "full" and NARROW_FLOOR[0] <= low <= NARROW_FLOOR[1] and high <= NARROW_TOP:
        found = f"has no code under {low:.0f} and none over {high:.0f} of 255, as narrow range has"
        return (f'{still.name} {found}: if it is from a video link, write code_range = "narrow".',)
    if code_range == "narrow" and (low < NARROW_FLOOR[0] - 4 or high > NARROW_TOP + 4):
        found = f"has codes from {low:.0f} to {high:.0f} of 255, which narrow range (16 to 235) has not"
        return (f'{still.name} {found}: write code_range = "full" unless its blacks were crushed.',)
    return ()


def _spread(second: Floats) -> float:
    return MAD_TO_SIGMA * float(np.median(np.abs(second - np.median(second)))) / float(np.sqrt(6.0))


def _spots(light: Floats, around: Floats, noise: Floats) -> Bools:
    """Blocks that stand out from their neighbours: dust, letters, frame lines. The shadow of a box is too soft to do so."""
    off = np.abs(light - around)
    white = float(np.percentile(light, 99))
    return off > SPOT_SIGMAS * noise + SPOT_SHARE * around + SPOT_FLOOR * white


def _sharp(light: Floats, around: Floats, noise: Floats) -> Bools:
    """Blocks at a step that only something drawn into the picture makes, unless the stop is very small."""
    limit = SPOT_SIGMAS * noise + SHARP_SHARE * around
    found = np.zeros(light.shape, dtype=bool)
    found[:, 1:] |= np.abs(np.diff(light, axis=1)) > limit[:, 1:]
    found[1:] |= np.abs(np.diff(light, axis=0)) > limit[1:]
    return found
