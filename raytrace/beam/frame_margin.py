"""How much wider a guide could be before a part comes into its light: the margin of the frame."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raytrace.optics.camera import Guide
from raytrace.shares import Shares

WIDEST_PERCENT = 50.0  # beyond this nobody asks


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """How much larger the frame could be about its own centre [%]; negative where it must shrink, at least that where `capped`.

    part is the index of the part that touches first, where the side it comes from; None and empty where nothing does.
    ends_at_field: the lens has no light beyond.
    """

    percent: float
    capped: bool = False
    part: int | None = None
    where: str = ""
    ends_at_field: bool = False


def pessimistic_share(shares: Shares) -> NDArray[np.float64]:
    """Clear share less two standard errors and less every bound that the engine states as a share (N,) [0..1].

    Where not one ray is stopped and the way is sampled, nothing is subtracted: its standard error is 0 there.
    """
    bound = sum(bound.size for bound in shares.made.bounds if bound.unit == "share")
    lost = shares.clear_share < 1.0
    return np.maximum(shares.clear_share - 2 * shares.stderr - np.where(lost, bound, 0.0), 0.0)


def scaled(guide: Guide, scale: float) -> Guide:
    """The guide grown about its own centre."""
    return replace(guide, half_width_mm=guide.half_width_mm * scale, half_height_mm=guide.half_height_mm * scale)
