"""What any of the three ways answers for a list of field points, and the map it makes on a pixel grid."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """An approximation that an engine made: what, how far it can be off, in which unit."""

    what: str
    size: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """How a result was made: enough to make it again. `device_note` says what a device that was asked for did not do, and why."""

    engine: str
    rays_per_point: int = 0  # 0: exact areas
    seed: int = 0
    bounds: tuple[Bound, ...] = ()
    device: str = "cpu"
    device_note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shares:
    """Light of N field points.

    clear_share (N,) share of the bare lens's pupil that gets past every opaque part [0..1]
    glass       (N,) mean transmittance of the glass for what gets through (areas: for what the lens lets by) [0..1]
    lens        (N,) bare lens relative to its axis: rims, front ring and natural fall-off [0..]
    blocked_by  (N,) int16 part that stops most of the lost light first, going out; -1 where nothing is lost
    alone       (N, P) clear share if only that part were there [0..1]
    stderr      (N,) standard error of clear_share; 0 for exact ways
    """

    clear_share: NDArray[np.float64]
    glass: NDArray[np.float64]
    lens: NDArray[np.float64]
    blocked_by: NDArray[np.int16]
    alone: NDArray[np.float64]
    stderr: NDArray[np.float64]
    part_names: tuple[str, ...]
    made: Made


@dataclass(frozen=True, slots=True, kw_only=True)
class VignetteMap:
    """Shares on a pixel grid: row 0 is the top, column 0 the left, as on the monitor.

    x_mm (W,) and y_mm (H,) are picture coordinates of the pixel centres on the image plane, right and up.
    The other arrays are (H, W) float32 but blocked_by, int16. `alone` is (P, H, W) float32, or (0, H, W) where not asked for.
    """

    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    clear_share: NDArray[np.float32]
    glass: NDArray[np.float32]
    lens: NDArray[np.float32]
    blocked_by: NDArray[np.int16]
    stderr: NDArray[np.float32]
    alone: NDArray[np.float32]
    part_names: tuple[str, ...]
    made: Made = field(default_factory=lambda: Made(engine="unknown"))

    @property
    def transmission(self) -> NDArray[np.float32]:
        """Light that the box lets through, relative to the bare lens (H, W)."""
        return self.clear_share * self.glass

    @property
    def loss_stops(self) -> NDArray[np.float32]:
        """Light that opaque parts take, in stops (H, W); inf where all is lost."""
        return loss_stops(self.clear_share).astype(np.float32)


def loss_stops(share: NDArray[np.float64] | NDArray[np.float32]) -> NDArray[np.float64]:
    """Loss in stops of a share of light: -log2(share), inf at 0, never below 0."""
    with np.errstate(divide="ignore"):  # a share of 0 is dark: inf stops by definition
        return np.maximum(-np.log2(np.asarray(share, dtype=np.float64)), 0.0)
