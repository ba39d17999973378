"""The chart of `brimline widest`: for each setup which focal lengths clear, and the scene's lenses along them. Returns a figure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

from scenes.questions.widest.report import Fate, SetupLimits, StateLimits, WidestReport
from scenes.questions.widest.scene_lenses import LensFits
from scenes.questions.widest.setups import setup_words
from scenes.questions.widest.text import answer_words, fit_words, met_words, setting_words_of
from scenes.sheets.colours import BITES, INK, RAY_CLEAR, SOFT_INK, TIGHT_GROUND
from scenes.sheets.page import FONT, Box, Page
from scenes.sheets.style import A4_MM, BODY_PT, FOOT_PT, LABEL_PT, TITLE_PT, badge_of

MARGIN_MM = 12.0
NAMES_MM, SETTINGS_MM = 46.0, 30.0  # room left of the bars for the setups' names, and for focus and stop of each bar
ROW_MM = 6.5  # of the table of lenses
TICKS_MM = (4, 5, 6, 8, 10, 12, 14, 16, 18, 20, 24, 28, 35, 40, 50, 65, 75, 100, 135, 180, 250, 350, 500, 800, 1200, 2000)
LEGEND = (
    "Blue: clears with 2 % of the frame to spare, from the focal length written at its end. Hatched, yellow: touches nothing, "
    "but has less room. Pale: the part named stands in the beam."
)


def widest_figure(report: WidestReport, fits: Sequence[LensFits], title: str) -> Figure:
    """A page with bars for every setup and state, and the scene's lenses below."""
    page = Page(*A4_MM)
    width = page.width_mm - 2 * MARGIN_MM
    page.fit(MARGIN_MM, page.height_mm - 12.0, f"Widest: {title}", TITLE_PT, width, weight="bold")
    page.fit(MARGIN_MM, page.height_mm - 16.0, answer_words(report), BODY_PT, width, lines=3, va="top")
    floor = 14.0 + (ROW_MM * (len(fits) + 1) + 6.0 if fits else 0.0)
    space = Box(MARGIN_MM + NAMES_MM + SETTINGS_MM, floor + 10.0, page.width_mm - MARGIN_MM, page.height_mm - 31.0)
    _draw_bars(page.axes(space, label="limits"), report)
    _name_setups(page, space, report)
    if fits:
        _draw_lenses(page, fits, floor - 4.0)
    page.foot(LEGEND, 8.0)
    return page.figure


def _ends_mm(report: WidestReport) -> tuple[float, float]:
    """Focal lengths shown: from a little below the shortest limit to well above the longest."""
    found = [limit.focal_mm for one in report.setups for state in one.states for limit in (state.clear, state.touch)]
    known = [focal for focal in found if math.isfinite(focal)] or [report.family.focal_mm]
    return max(report.from_mm, 0.75 * min(known)), min(report.to_mm, 1.5 * max(known))


def _draw_bars(axes: Axes, report: WidestReport) -> None:
    low, high = _ends_mm(report)
    for row, one in enumerate(report.setups):
        for k, state in enumerate(one.states):
            _draw_state(axes, row, (k + 0.5) / len(one.states), 0.8 / len(one.states), state, (low, high))
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    axes.set_ylim(len(report.setups), 0)
    axes.xaxis.set_major_locator(FixedLocator([tick for tick in TICKS_MM if low <= tick <= high]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.set_yticks([])
    axes.set_xlabel(
        f"focal length [mm], family of the {report.family.lens.name}", fontsize=LABEL_PT, fontfamily=FONT, parse_math=False
    )
    axes.tick_params(labelsize=LABEL_PT, labelfontfamily=FONT)
    axes.grid(axis="x", color="#D8D8D8", linewidth=0.4)
    axes.set_axisbelow(True)
    for row in range(1, len(report.setups)):
        axes.axhline(row, color=SOFT_INK, linewidth=0.4)


def _draw_state(axes: Axes, row: int, share: float, tall: float, state: StateLimits, ends_mm: tuple[float, float]) -> None:
    low, high = ends_mm
    middle = row + 0.1 + 0.8 * share
    clear, touch = (min(max(limit.focal_mm, low), high) for limit in (state.clear, state.touch))
    hatched: dict[str, Any] = {"hatch": "/////", "hatch_linewidth": 0.5, "edgecolor": SOFT_INK, "linewidth": 0.0}
    for left, right, colour in ((low, touch, BITES), (touch, clear, TIGHT_GROUND), (clear, high, RAY_CLEAR)):
        if right > left:
            ground = hatched if colour == TIGHT_GROUND else {}
            axes.barh(middle, right - left, height=0.8 * tall, left=left, facecolor=colour, **ground)
    look: dict[str, Any] = {"va": "center", "fontsize": FOOT_PT, "fontfamily": FONT, "parse_math": False}
    place: dict[str, Any] = {"xycoords": axes.get_yaxis_transform(), "xytext": (-4.0, 0.0), "textcoords": "offset points"}
    axes.annotate(setting_words_of(state), (0.0, middle), ha="right", color=INK, **place, **look)
    if low < clear < high:
        axes.text(clear, middle, f" {clear:.1f}", ha="left", color="white", **look)
    met = state.touch.met or state.clear.met
    if state.touch.fate is not Fate.ALL and met is not None:
        axes.text(low, middle, f" {met_words(met)}", ha="left", color=INK, **look)


def _name_setups(page: Page, space: Box, report: WidestReport) -> None:
    tall = space.height / len(report.setups)
    for row, one in enumerate(report.setups):
        middle = space.top - (row + 0.5) * tall
        words = setup_words(one.setup)
        page.fit(MARGIN_MM, middle + 2.0, words, BODY_PT, NAMES_MM - 3.0, weight="bold", va="center")
        page.text(MARGIN_MM, middle - 2.2, _clears_words(one), LABEL_PT, colour=SOFT_INK, va="center")


def _clears_words(one: SetupLimits) -> str:
    limit = one.clear.clear
    if limit.fate is Fate.NONE:
        return "clears none"
    return f"clears all, to {limit.focal_mm:.1f} mm" if limit.fate is Fate.ALL else f"clears from {limit.focal_mm:.1f} mm on"


def _draw_lenses(page: Page, fits: Sequence[LensFits], top_mm: float) -> None:
    """The scene's lenses, a row each, a column for each setup."""
    setups = [fit.setup for fit in fits[0].fits]
    step = (page.width_mm - 2 * MARGIN_MM - NAMES_MM) / len(setups)
    middles = [MARGIN_MM + NAMES_MM + (k + 0.5) * step for k in range(len(setups))]
    page.text(MARGIN_MM, top_mm, "the scene's own lenses", LABEL_PT, weight="bold", va="center")
    for x, setup in zip(middles, setups, strict=True):
        words = setup_words(setup)
        page.fit(x, top_mm, words, LABEL_PT, step - 2.0, ha="center", va="center", weight="bold")
    for row, one in enumerate(fits, 1):
        y = top_mm - row * ROW_MM
        page.fit(MARGIN_MM, y, one.lens.name, BODY_PT, NAMES_MM - 3.0, va="center")
        for x, fit in zip(middles, one.fits, strict=True):
            badge = badge_of(fit.word.value)
            words = f"{badge.symbol} {fit_words(fit)}"
            plate = {"facecolor": badge.ground, "edgecolor": "none", "boxstyle": "round,pad=0.22"}
            page.text(x, y, words, LABEL_PT, ha="center", va="center", colour=badge.letters, bbox=plate)
