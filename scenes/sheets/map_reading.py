"""What a picture of a vignette map has to say, as plain values: worst places, regions, readings at corners and sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geometry.frame import where_in_words
from raytrace.optics.camera import Guide
from raytrace.shares import VignetteMap

TOUCH_STOPS = 0.01  # where a part begins to take light: under a tenth of what anyone sees, over the noise of a few hundred rays
ISOLINES_STOPS = (0.1, 1 / 3, 1.0)  # losses that lines are drawn at
PIXELS_ACROSS = 1400  # more than a sheet can print


@dataclass(frozen=True, slots=True)
class Bite:
    """Where a part takes most light: its name, the loss there, the place in picture coordinates (right, up) and in words."""

    part: str
    loss_stops: float
    x_mm: float
    y_mm: float
    where: str


def known_loss(map_: VignetteMap) -> NDArray[np.float64]:
    """Loss in stops (H, W), -1 where the lens has no picture."""
    loss = map_.loss_stops.astype(np.float64)
    return np.where(has_picture(map_) & ~np.isnan(loss), loss, -1.0)


def has_picture(map_: VignetteMap) -> NDArray[np.bool_]:
    """Where the bare lens gives any light (H, W): elsewhere a share says nothing, and must not read as clear."""
    return np.asarray(map_.lens > 0.0)


def pitch_mm(centres_mm: NDArray[np.float64], fallback_mm: float = 1.0) -> float:
    """Distance of neighbouring pixel centres [mm]."""
    return float(abs(centres_mm[-1] - centres_mm[0]) / (len(centres_mm) - 1)) if len(centres_mm) > 1 else fallback_mm


def extent_mm(map_: VignetteMap) -> tuple[float, float, float, float]:
    """Left, right, bottom, top edges of the picture, half a pixel beyond the outer pixel centres [mm]."""
    dx, dy = pitch_mm(map_.x_mm), pitch_mm(map_.y_mm)
    return (
        float(map_.x_mm[0] - dx / 2),
        float(map_.x_mm[-1] + dx / 2),
        float(map_.y_mm[-1] - dy / 2),
        float(map_.y_mm[0] + dy / 2),
    )


def reduced(map_: VignetteMap, across: int = PIXELS_ACROSS) -> VignetteMap:
    """The map on at most `across` pixels a side, each showing the worst pixel it stands for: no loss is averaged away."""
    step = -(-max(map_.clear_share.shape) // across)
    if step <= 1:
        return map_
    rows, columns = _worst_pixels(np.where(has_picture(map_), map_.clear_share, np.nan), step)
    picked = {name: getattr(map_, name)[rows, columns] for name in ("clear_share", "glass", "lens", "blocked_by", "stderr")}
    x, y = _block_centres(map_.x_mm, step), _block_centres(map_.y_mm, step)
    return replace(map_, x_mm=x, y_mm=y, alone=map_.alone[:0, : len(y), : len(x)], **picked)


def _block_centres(centres_mm: NDArray[np.float64], step: int) -> NDArray[np.float64]:
    """Even centres of blocks of pixels; a last, incomplete block counts as a whole one."""
    pitch = (centres_mm[-1] - centres_mm[0]) / (len(centres_mm) - 1)
    return np.asarray(centres_mm[0] + pitch * (np.arange(0, len(centres_mm), step) + (step - 1) / 2))


def _worst_pixels(share: NDArray[np.float32], step: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows and columns of the darkest pixel of each block of step x step pixels; one with a picture wins over one without."""
    height, width = (-(-n // step) for n in share.shape)
    known = np.where(np.isnan(share), np.float32(2.0), share)  # a share is at most 1
    padding = [(0, height * step - share.shape[0]), (0, width * step - share.shape[1])]
    blocks = np.pad(known, padding, constant_values=3.0).reshape(height, step, width, step).swapaxes(1, 2)
    at = np.argmin(blocks.reshape(height, width, step * step), axis=2)
    return np.arange(height)[:, None] * step + at // step, np.arange(width)[None, :] * step + at % step


def inside_guides(map_: VignetteMap, guides: Sequence[Guide]) -> NDArray[np.bool_]:
    """Which pixels any guide holds (H, W); all of them where there is no guide."""
    inside = np.zeros(map_.clear_share.shape, dtype=bool)
    half_x, half_y = pitch_mm(map_.x_mm) / 2, pitch_mm(map_.y_mm) / 2
    for guide in guides:
        across = np.abs(map_.x_mm - guide.centre_mm[0]) < guide.half_width_mm + half_x
        upright = np.abs(map_.y_mm - guide.centre_mm[1]) < guide.half_height_mm + half_y
        inside |= upright[:, None] & across[None, :]
    return inside if guides else ~inside


def region_of(map_: VignetteMap, part: int) -> NDArray[np.bool_]:
    """Where a part is the one that takes most, and takes more than TOUCH_STOPS (H, W)."""
    return (map_.blocked_by == part) & (known_loss(map_) >= TOUCH_STOPS)


def bite_of(map_: VignetteMap, part: int, guides: Sequence[Guide]) -> Bite | None:
    """Where a part bites worst: inside the guides if it bites there at all, else anywhere; None where it takes nothing."""
    region = region_of(map_, part)
    inside = region & inside_guides(map_, guides)
    return worst_bite(map_, inside if inside.any() else region, map_.part_names[part])


def worst_bite(
    map_: VignetteMap, among: NDArray[np.bool_], part: str | None = None, *, loss: NDArray[np.float64] | None = None
) -> Bite | None:
    """The worst of the pixels given, named after the part that stops light there; None where none loses anything.

    `loss` is the map's `known_loss` where that is at hand.
    """
    loss = np.where(among, known_loss(map_) if loss is None else loss, -1.0)
    if not loss.size or loss.max() < TOUCH_STOPS:
        return None
    row, column = middle_of_largest(loss == loss.max())
    return Bite(
        part=part if part is not None else part_name(map_, int(map_.blocked_by[row, column])),
        loss_stops=float(loss[row, column]),
        x_mm=float(map_.x_mm[column]),
        y_mm=float(map_.y_mm[row]),
        where=place_words(map_, row, column),
    )


def part_name(map_: VignetteMap, part: int) -> str:
    """The name of a part by its index, 'an unnamed part' for none."""
    return map_.part_names[part] if 0 <= part < len(map_.part_names) else "an unnamed part"


def place_words(map_: VignetteMap, row: int, column: int) -> str:
    """Where a pixel lies, as the operator sees it."""
    left, right, bottom, top = extent_mm(map_)
    return where_in_words(
        float((2 * map_.x_mm[column] - left - right) / (right - left)), float((2 * map_.y_mm[row] - bottom - top) / (top - bottom))
    )


def middle_of_largest(chosen: NDArray[np.bool_]) -> tuple[int, int]:
    """The chosen pixel nearest the middle of the largest patch of them."""
    from scipy import ndimage  # here, for it takes long to load and a clear state has no such patch

    patches, count = ndimage.label(chosen)
    largest = int(np.argmax(np.bincount(patches.ravel(), minlength=count + 1)[1:])) + 1
    rows, columns = np.nonzero(patches == largest)
    nearest = int(np.argmin((rows - rows.mean()) ** 2 + (columns - columns.mean()) ** 2))
    return int(rows[nearest]), int(columns[nearest])


def other_bites(map_: VignetteMap, guides: Sequence[Guide], but: str | None, least_stops: float) -> list[Bite]:
    """Worst places of the other parts that take at least so much inside the guides, worst first."""
    loss = known_loss(map_)
    taken = np.where((loss >= TOUCH_STOPS) & inside_guides(map_, guides), map_.blocked_by, -1)
    parts = [int(part) for part in np.unique(taken) if part >= 0 and map_.part_names[part] != but]
    found = [worst_bite(map_, taken == part, map_.part_names[part], loss=loss) for part in parts]
    return sorted((b for b in found if b is not None and b.loss_stops >= least_stops), key=lambda b: -b.loss_stops)


def readings(map_: VignetteMap) -> dict[str, float]:
    """Loss at the picture's corners and the middles of its sides, by the operator's words [stops]; NaN: no picture there."""
    loss = np.where(has_picture(map_), map_.loss_stops, np.nan)
    rows = {"top": 0, "": loss.shape[0] // 2, "bottom": -1}
    columns = {"left": 0, "": loss.shape[1] // 2, "right": -1}
    places = {f"{v} {h}".strip(): float(loss[r, c]) for v, r in rows.items() for h, c in columns.items()}
    return {words: value for words, value in places.items() if words}
