"""Ghosts of one state on a sheet: where they lie in the picture, and how high they move with tilt. Returns a figure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyArrowPatch, Rectangle
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from raytrace.ghosts.seen import SeenGhost, SeenLight
from raytrace.optics.camera import Guide, PixelGrid
from scenes.questions.ghosts.report import GhostReport
from scenes.questions.ghosts.text import best_answer, next_step, stops_words, tilt_words
from scenes.questions.ghosts.tilts import TiltCurve
from scenes.sheets.colours import HIGHLIGHT, INK, PAPER, RAY_CLEAR, SECOND_CURVE, SOFT_INK, SUN
from scenes.sheets.page import FONT, Box, Page, text_size_mm, wrapped
from scenes.sheets.pieces import plate_style, to_page
from scenes.sheets.style import A5_MM, BODY_PT, FOOT_PT, LABEL_PT
from scenes.states.names import state_words

CURVE_STYLES = ((RAY_CLEAR, "solid"), (SECOND_CURVE, (0, (5, 2))))
MOST_CURVES = 2  # the whole box and the trays: each tray by itself runs along with them
TALL = 2.1  # the sheet shows this many half-heights above and below the frame's middle
WIDE = 1.12  # and this many half-widths
SPACE = Box(21.0, 27.0, 203.0, 113.0)
BETWEEN_MM = 11.0
LEAST_CHART_MM = 46.0
SHOWN_PLACES = ("centre", "top left", "top right", "right")  # of a grid of nine: more would hide each other
NO_RING = "No ring: its ghosts lie on it or miss the pupil"
LEAST_SPOT_SHARE = 0.012  # of the sheet's height in picture mm: smaller spots are drawn this large


def ghost_figure(report: GhostReport) -> Figure:
    """Left the picture with lights and ghosts, right the height of the first light's ghost against tilt, on one scale of height.

    Axes labelled 'picture' and 'tilt'.
    """
    page = Page(*A5_MM)
    left, right = _boxes(report.plan.grid)
    _write_head(page, report)
    picture = _draw_picture(page, left, report)
    chart = _draw_chart(page, right, report)
    for axes in (picture, chart):
        axes.set_ylim(*_heights(report.plan.grid))
        axes.tick_params(labelsize=FOOT_PT, length=2, pad=1.5, labelfontfamily=FONT)
    _name_things(page, picture, left, report)
    _name_curves(page, chart, right, report.curves)
    if without_ghost(report):
        page.fit(left.left, left.top + 1.6, NO_RING, LABEL_PT, left.width)
    _write_foot(page, report)
    return page.figure


def _heights(grid: PixelGrid) -> tuple[float, float]:
    return grid.offset_mm[1] - TALL * grid.height_mm / 2, grid.offset_mm[1] + TALL * grid.height_mm / 2


def _widths(grid: PixelGrid) -> tuple[float, float]:
    return grid.offset_mm[0] - WIDE * grid.width_mm / 2, grid.offset_mm[0] + WIDE * grid.width_mm / 2


def _boxes(grid: PixelGrid) -> tuple[Box, Box]:
    """Where the picture and the chart lie on the sheet: one height, the picture in its own aspect."""
    aspect = WIDE * grid.width_mm / (TALL * grid.height_mm)
    width = min(SPACE.height * aspect, SPACE.width - BETWEEN_MM - LEAST_CHART_MM)
    height = width / aspect
    bottom = SPACE.bottom + (SPACE.height - height) / 2
    left = Box(SPACE.left, bottom, SPACE.left + width, bottom + height)
    return left, Box(left.right + BETWEEN_MM, bottom, SPACE.right, bottom + height)


def _write_head(page: Page, report: GhostReport) -> None:
    width = page.width_mm - 16.0
    page.head(f"Ghosts: {state_words(report.plan)}", f"filters: {', '.join(report.filters)}")
    page.fit(8.0, page.height_mm - 18.0, f"Next: {next_step(report)}", BODY_PT, width, lines=2, va="top")


def _draw_picture(page: Page, box: Box, report: GhostReport) -> Axes:
    axes = page.axes(box, label="picture")
    axes.set_xlim(*_widths(report.plan.grid))
    axes.set_facecolor("#F2F2F2")
    axes.add_patch(_frame_patch(report.plan.grid))
    for guide in report.plan.guides:
        axes.plot(*guide.corners_mm()[[0, 1, 2, 3, 0]].T, color=SOFT_INK, linewidth=0.8, linestyle=(0, (4, 2)))
    least = LEAST_SPOT_SHARE * TALL * report.plan.grid.height_mm
    for ghost in shown_ghosts(report):
        _draw_ghost(axes, ghost, least)
    for light in shown_lights(report):
        axes.plot(*light.picture_mm, marker="*", markersize=10, markerfacecolor=SUN, markeredgecolor=INK, zorder=6)
    axes.set_xlabel("right of the lens axis [mm]", fontsize=LABEL_PT, family=FONT)
    axes.set_ylabel("above the lens axis [mm]", fontsize=LABEL_PT, family=FONT)
    axes.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    return axes


def _frame_patch(grid: PixelGrid) -> Rectangle:
    x, y = grid.offset_mm[0] - grid.width_mm / 2, grid.offset_mm[1] - grid.height_mm / 2
    return Rectangle((x, y), grid.width_mm, grid.height_mm, facecolor=PAPER, edgecolor=INK, linewidth=1.2, zorder=0)


def shown_lights(report: GhostReport) -> Iterator[SeenLight]:
    """The lights that are drawn: those in the picture; of a grid a few."""
    return (light for light in report.lights.seen if light.in_picture and (not report.lights.is_grid or light.name in SHOWN_PLACES))


def shown_ghosts(report: GhostReport) -> Iterator[SeenGhost]:
    """The ghosts that are drawn: those of the lights drawn, but for what hides in the light itself."""
    names = {light.name for light in shown_lights(report)}
    return (
        ghost
        for ghost in report.lights.ghosts
        if ghost.ghost.light in names and all(map(math.isfinite, ghost.ghost.picture_mm)) and not ghost.hides
    )


def _draw_ghost(axes: Axes, ghost: SeenGhost, least_mm: float) -> None:
    colour = HIGHLIGHT if ghost.in_frame else SOFT_INK
    radius = max(ghost.radius_mm if math.isfinite(ghost.radius_mm) else 0.0, least_mm)
    axes.add_patch(Circle(ghost.ghost.picture_mm, radius, facecolor=colour, alpha=0.25, edgecolor="none", zorder=3))
    thick = 1.8 if ghost.in_frame else 0.8
    axes.add_patch(Circle(ghost.ghost.picture_mm, radius, facecolor="none", edgecolor=colour, linewidth=thick, zorder=4))
    if not ghost.on_light:
        arrow = FancyArrowPatch(
            ghost.ghost.light_mm,
            ghost.ghost.picture_mm,
            arrowstyle="-|>",
            mutation_scale=7,
            color=colour,
            alpha=0.55,
            linewidth=0.7,
            connectionstyle="arc3,rad=0.12",
            shrinkA=5,
            shrinkB=4,
            zorder=2,
        )
        axes.add_patch(arrow)


def _name_things(page: Page, axes: Axes, box: Box, report: GhostReport) -> None:
    """Names of lights, and of ghosts by filter and strength, where there is room."""
    lights, ghosts = list(shown_lights(report)), list(shown_ghosts(report))
    spots = [light.picture_mm for light in lights] + [ghost.ghost.picture_mm for ghost in ghosts]
    places = to_page(axes, box, np.array(spots).reshape(-1, 2))
    for x, y in places:
        page.take(Box(x - 1.2, y - 1.2, x + 1.2, y + 1.2))
    for light, place in zip(lights, places[: len(lights)], strict=True):
        _name(page, box, place, wrapped(light.name, LABEL_PT, 34.0), LABEL_PT, INK)
    for ghost, place in zip(ghosts, places[len(lights) :], strict=True):
        words = wrapped(" / ".join(ghost.names), LABEL_PT, 30.0) + f", {stops_words(ghost.share)} stops"
        _name(page, box, place, words, FOOT_PT, HIGHLIGHT if ghost.in_frame else SOFT_INK)


def _name(page: Page, box: Box, place: NDArray[np.float64], words: str, size_pt: float, colour: str) -> None:
    width, height = text_size_mm(words, size_pt)
    aside, over = width / 2 + 2.4, height / 2 + 2.2
    if place[0] > box.at(0.5, 0.0)[0] + 1.0:
        aside = -aside  # toward the picture's middle, off its edge
    steps = [(aside, 0.0), (-aside, 0.0), (0.0, -over), (0.0, over), (aside, -over), (-aside, -over), (aside, over), (-aside, over)]
    spots = ((float(place[0]) + dx, float(place[1]) + dy) for dx, dy in steps)
    page.label_free(spots, words, size_pt, within=box, pad_mm=0.1, colour=colour, bbox=plate_style(), zorder=7)


def _draw_chart(page: Page, box: Box, report: GhostReport) -> Axes:
    axes = page.axes(box, label="tilt")
    axes.set_facecolor("#F2F2F2")
    low, high = _band(report.plan.guides)
    axes.axhspan(low, high, facecolor=PAPER, edgecolor="none", zorder=0)
    for edge in (low, high):
        axes.axhline(edge, color=INK, linewidth=0.9, zorder=1)
    if report.curves:
        axes.axvline(report.curves[0].present_deg, color=SOFT_INK, linewidth=0.8, linestyle=(0, (1, 2)))
    for curve, (colour, dash) in zip(report.curves[:MOST_CURVES], CURVE_STYLES, strict=False):
        axes.plot(curve.tilts_deg, curve.places_mm[:, 1], color=colour, linestyle=dash, linewidth=1.4, label=curve.what)
    best = best_answer(report)
    if best is not None and not best.is_present:
        axes.axvline(best.tilt_deg or 0.0, color=HIGHLIGHT, linewidth=1.0, zorder=1)
    limit = max((float(np.abs(curve.tilts_deg).max()) for curve in report.curves), default=15.0)
    axes.set_xlim(-limit, limit)
    axes.set_xlabel("tilt [deg], positive: top toward the scene", fontsize=LABEL_PT, family=FONT)
    axes.yaxis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    return axes


def _band(guides: Sequence[Guide]) -> tuple[float, float]:
    """Lowest and highest place of any guide [mm]."""
    return (
        min(guide.centre_mm[1] - guide.half_height_mm for guide in guides),
        max(guide.centre_mm[1] + guide.half_height_mm for guide in guides),
    )


def _name_curves(page: Page, axes: Axes, box: Box, curves: Sequence[TiltCurve]) -> None:
    """A key above the chart: one line per curve."""
    light = curves[0].light if curves else ""
    words = f"ghost of {'a light in the middle' if light == 'centre' else light}, nearest filter" if light else ""
    page.fit(box.left, box.top + 1.6, words, LABEL_PT, box.width)
    handles, labels = axes.get_legend_handles_labels()
    if handles:
        axes.legend(
            handles,
            labels,
            loc="upper right",
            fontsize=FOOT_PT,
            frameon=True,
            framealpha=0.9,
            handlelength=2.6,
            prop={"family": FONT, "size": FOOT_PT},
        )


def without_ghost(report: GhostReport) -> bool:
    """Whether a light is drawn whose ghosts are not."""
    return bool({light.name for light in shown_lights(report)} - {ghost.ghost.light for ghost in shown_ghosts(report)})


def _write_foot(page: Page, report: GhostReport) -> None:
    best = best_answer(report)
    set_to = "" if best is None or best.is_present else f"Solid upright line: {best.what} at {tilt_words(best)}. "
    some = "Four of nine places are drawn. " if report.lights.is_grid else ""
    foot = (
        f"{some}Star: light. Ring: its ghost by filter, with its strength in stops below the light; inside the guides (dashed) "
        "orange and thick, outside grey and thin; small ones are drawn larger. "
        f"Dotted: as it is. {set_to}Never look at the sun through a lens."
    )
    page.fit(8.0, 12.5, foot, FOOT_PT, page.width_mm - 16.0, lines=3, colour=SOFT_INK, va="top")
