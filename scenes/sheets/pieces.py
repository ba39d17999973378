"""Pieces that several flat pictures are drawn with."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.image import AxesImage
from matplotlib.patches import Rectangle
from matplotlib.patheffects import AbstractPathEffect, Normal, Stroke
from numpy.typing import NDArray

from raytrace.optics.camera import Guide
from raytrace.shares import VignetteMap
from scenes.sheets.colours import DARK_STOPS, GUIDE, PAPER, SOFT_INK, UNKNOWN, loss_colours, loss_scale
from scenes.sheets.map_reading import ISOLINES_STOPS, extent_mm, has_picture, known_loss
from scenes.sheets.page import Box, Page, text_size_mm
from scenes.sheets.style import badge_of

_DASHES = {0.1: (0, (1.2, 1.6)), 1 / 3: (0, (5, 2)), 1.0: "solid"}
_LIMIT_DASH = (0, (6, 1.5, 1.2, 1.5))
_SHOWN_BEYOND = DARK_STOPS * 1.01  # any place of the scale's dark end will do


def fitted_frame(extent: tuple[float, float, float, float], space: Box) -> Box:
    """The largest box of the picture's own aspect that fits a space, a little above its middle [mm]."""
    width, height = extent[1] - extent[0], extent[3] - extent[2]
    scale = min(space.width / width, space.height / height)
    left = space.left + (space.width - width * scale) / 2
    bottom = space.bottom + (space.height - height * scale) * 0.6
    return Box(left, bottom, left + width * scale, bottom + height * scale)


def isoline_levels(visible_loss_stops: float) -> tuple[float, ...]:
    """The levels drawn: a tenth, a third, one stop, and the limit of visible loss where it is none of them [stops]."""
    extra = () if any(abs(visible_loss_stops - level) < 0.01 for level in ISOLINES_STOPS) else (visible_loss_stops,)
    return tuple(sorted(level for level in (*ISOLINES_STOPS, *extra) if 0 < level < DARK_STOPS))


def shown_loss(map_: VignetteMap) -> np.ma.MaskedArray[tuple[int, int], np.dtype[np.float64]]:
    """Loss as drawn (H, W) [stops]: clipped just beyond the scale's end, masked where the lens has no picture."""
    loss = known_loss(map_)
    return np.ma.masked_where(loss < 0, np.minimum(loss, _SHOWN_BEYOND))


def dash(level: float) -> str | tuple[int, tuple[float, ...]]:
    """Line style of an isoline: the same on the map and on its scale."""
    return _DASHES.get(level, _LIMIT_DASH)  # type: ignore[return-value]


def halo(width_pt: float = 2.0) -> list[AbstractPathEffect]:
    """A pale rim that keeps a line apart from dark ground."""
    return [Stroke(linewidth=width_pt, foreground=PAPER, alpha=0.8), Normal()]


def plate_style(alpha: float = 0.78) -> dict[str, object]:
    """The ground of a label that stands on the picture."""
    return {"facecolor": PAPER, "edgecolor": "none", "alpha": alpha, "boxstyle": "round,pad=0.12"}


def write_badge(page: Page, left_mm: float, middle_mm: float, verdict_word: str, size_pt: float) -> float:
    """Verdict word and symbol on their ground; says where the next text may begin [mm]."""
    badge = badge_of(verdict_word)
    words = f"{badge.symbol} {verdict_word}"
    width, height = text_size_mm(words, size_pt, "bold")
    page.figure.add_artist(
        Rectangle(
            (left_mm / page.width_mm, (middle_mm - height / 2 - 0.3) / page.height_mm),
            (width + 3.0) / page.width_mm,
            (height + 0.6) / page.height_mm,
            facecolor=badge.ground,
            edgecolor="none",
            transform=page.figure.transFigure,
        )
    )
    page.text(left_mm + 1.5, middle_mm, words, size_pt, va="center", weight="bold", colour=badge.letters)
    return left_mm + width + 5.0


def to_page(axes: Axes, frame: Box, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Places on the sheet (N, 2) of picture points (N, 2) [mm]."""
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    shares = (points_mm - np.array([x0, y0])) / np.array([x1 - x0, y1 - y0])
    return np.asarray(np.array([frame.left, frame.bottom]) + shares * np.array([frame.width, frame.height]))


def draw_loss(axes: Axes, map_: VignetteMap) -> AxesImage:
    """The loss as an upright image in picture mm: row 0 at the top, column 0 at the left. It fills the axes for good."""
    extent = extent_mm(map_)
    axes.set_autoscale_on(False)  # a guide that reaches a little beyond must not push the picture aside
    axes.set_xlim(*extent[:2])
    axes.set_ylim(*extent[2:])
    if not has_picture(map_).all():
        left, right, bottom, top = extent
        hatched: dict[str, Any] = {"facecolor": UNKNOWN, "edgecolor": SOFT_INK, "hatch": "///", "linewidth": 0.0}
        axes.add_patch(Rectangle((left, bottom), right - left, top - bottom, zorder=-1, label="no picture", **hatched))
    # coloured before it is stretched to the page: a third of the time of the other order, for the same colours
    coloured = loss_colours()(loss_scale()(shown_loss(map_)), bytes=True)
    return axes.imshow(coloured, origin="upper", extent=extent, aspect="auto", interpolation="nearest")


def draw_guides(axes: Axes, guides: Sequence[Guide], width_pt: float = 1.4) -> None:
    """Outline guides in a colour that shows on light and on dark."""
    for guide in guides:
        axes.plot(*guide.corners_mm()[[0, 1, 2, 3, 0]].T, color=GUIDE, linewidth=width_pt, label=guide.name)
