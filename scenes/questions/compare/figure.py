"""A page for a still: measured beside predicted, their contour lines over each other, and the difference. Saves nothing."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import TwoSlopeNorm
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from scenes.questions.compare.maps import DIFFERENCE_STOPS, Floats, levels_within
from scenes.questions.compare.rows import Row
from scenes.questions.compare.text import summary
from scenes.questions.compare.verdict import Comparison, Verdict
from scenes.sheets.colours import HIGHLIGHT, INK, PAPER, RAY_CLEAR, SOFT_INK, UNKNOWN, difference_colours, loss_colours, loss_scale
from scenes.sheets.page import Box, Page, wrapped
from scenes.sheets.style import A4_MM, BODY_PT, FOOT_PT, LABEL_PT, TITLE_PT
from scenes.states.names import state_words

MARGIN_MM, GAP_MM = 12.0, 14.0
UPPER_MM, LOWER_MM, HEIGHT_MM = 104.0, 24.0, 66.0


def still_figure(found: Comparison, row: Row, k: int) -> Figure:
    """One still's page, A4 across."""
    page = Page(*A4_MM)
    width, height = A4_MM
    state = state_words(row.shot.state)
    page.text(MARGIN_MM, height - 12, f"{row.shot.picture.with_box}: {state}, {row.word}", TITLE_PT, weight="bold")
    page.text(MARGIN_MM, height - 20, wrapped(summary(found), BODY_PT, width - 2 * MARGIN_MM), BODY_PT, va="top")
    half = (width - 2 * MARGIN_MM - GAP_MM) / 2
    left, right = MARGIN_MM, MARGIN_MM + half + GAP_MM
    maps, fitted = row.maps, found.verdict is not Verdict.OTHER_LENS
    measured = _loss(page, Box(left, UPPER_MM, left + half, UPPER_MM + HEIGHT_MM), "measured", row, maps.measured)
    for one in found.surprises:
        if one.picture == k:
            _outline(measured, row, (one.left, one.top, one.width, one.height))
    _loss(page, Box(right, UPPER_MM, right + half, UPPER_MM + HEIGHT_MM), "predicted, the scene's values", row, maps.nominal)
    _contours(page, Box(left, LOWER_MM, left + half, LOWER_MM + HEIGHT_MM), row, fitted=fitted)
    _difference(page, Box(right, LOWER_MM, right + half, LOWER_MM + HEIGHT_MM), row)
    foot = "Losses in stops, seen from behind the camera. Olive: left out (clipped, dust, letters, lines, things not in the scene)."
    page.text(MARGIN_MM, 9, foot, FOOT_PT, colour=SOFT_INK)
    return page.figure


def _axes(page: Page, space: Box, title: str, row: Row) -> Axes:
    area = row.shot.area
    scale = min(space.width / area.width_mm, space.height / area.height_mm)
    frame = Box(space.left, space.bottom, space.left + scale * area.width_mm, space.bottom + scale * area.height_mm)
    page.text(frame.left, frame.top + 2, title, BODY_PT, weight="bold")
    axes = page.axes(frame, facecolor=UNKNOWN, xticks=[], yticks=[])
    x, y = area.offset_mm
    axes.set_xlim(x - area.width_mm / 2, x + area.width_mm / 2)
    axes.set_ylim(y - area.height_mm / 2, y + area.height_mm / 2)
    return axes


def _extent(row: Row) -> tuple[float, float, float, float]:
    area = row.shot.area
    x, y = area.offset_mm
    return x - area.width_mm / 2, x + area.width_mm / 2, y - area.height_mm / 2, y + area.height_mm / 2


def _loss(page: Page, space: Box, title: str, row: Row, stops: Floats) -> Axes:
    axes = _axes(page, space, title, row)
    shown = np.ma.masked_invalid(stops)
    axes.imshow(shown, extent=_extent(row), cmap=loss_colours(), norm=loss_scale(), interpolation="nearest", aspect="auto")
    _lines(axes, row, stops, INK, "solid")
    return axes


def _lines(axes: Axes, row: Row, stops: Floats, colour: str, style: str) -> None:
    present = levels_within(stops)
    if present:
        drawn = axes.contour(
            row.maps.x_mm,
            row.maps.y_mm,
            np.ma.masked_invalid(stops),
            levels=present,
            colors=colour,
            linestyles=style,
            linewidths=0.9,
        )
        axes.clabel(drawn, fmt={level: f"{level:.2g}" for level in present}, fontsize=FOOT_PT)


def _contours(page: Page, space: Box, row: Row, *, fitted: bool) -> None:
    words = "contours: measured (black), predicted (orange, dashed)" + (", fitted (blue, dotted)" if fitted else "")
    axes = _axes(page, space, words, row)
    axes.set_facecolor(PAPER)
    _lines(axes, row, row.maps.nominal, HIGHLIGHT, "dashed")
    if fitted:
        _lines(axes, row, row.maps.fitted, RAY_CLEAR, "dotted")
    _lines(axes, row, row.maps.measured, INK, "solid")


def _difference(page: Page, space: Box, row: Row) -> None:
    axes = _axes(page, space, "measured less predicted", row)
    norm = TwoSlopeNorm(0.0, -DIFFERENCE_STOPS, DIFFERENCE_STOPS)
    shown = axes.imshow(
        np.ma.masked_invalid(row.maps.difference),
        extent=_extent(row),
        cmap=difference_colours(),
        norm=norm,
        interpolation="nearest",
        aspect="auto",
    )
    box = axes.get_position()
    bar = page.figure.add_axes((box.x1 + 0.008, box.y0, 0.01, box.height))
    page.figure.colorbar(shown, cax=bar)
    bar.tick_params(labelsize=FOOT_PT)
    bar.set_title("stops", fontsize=LABEL_PT)


def _outline(axes: Axes, row: Row, share: tuple[float, float, float, float]) -> None:
    left, top, width, height = share
    x0, x1, y0, y1 = _extent(row)
    place = (x0 + left * (x1 - x0), y1 - (top + height) * (y1 - y0))
    axes.add_patch(Rectangle(place, width * (x1 - x0), height * (y1 - y0), fill=False, edgecolor=HIGHLIGHT, linewidth=1.6))
