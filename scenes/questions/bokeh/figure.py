"""A page of out-of-focus highlights across the frame: without the box, and with it."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from raytrace.bokeh import LATTICE
from scenes.questions.bokeh.report import (
    ACROSS,
    FAR_WORDS,
    SEEN_SHARE,
    UPRIGHT,
    StateBokeh,
    distance_words,
    part_words,
    place_words,
)
from scenes.sheets.colours import BOKEH_LIGHT, BOKEH_NIGHT, BOKEH_TAKEN, INK, PAPER, SOFT_INK
from scenes.sheets.page import Box, Page
from scenes.sheets.style import A4_MM, BODY_PT, FOOT_PT, LABEL_PT, MM_PER_INCH, TITLE_PT
from scenes.states.names import state_words

MARGIN_MM, GAP_MM = 10.0, 8.0
OVERLAP = 2.0  # of neighbouring lattice cells, so that no gaps show between them
PANEL_BOTTOM_MM, PANEL_TOP_MM = 42.0, 168.0
LINE_MM = 4.0  # a line of words and the gap below it
WHOLE_SHARE = 0.99  # of the largest highlight's points: the lattice meets an edge that leans a little otherwise


def bokeh_figure(state: StateBokeh) -> Figure:
    """One state's page, A4 across."""
    page = Page(*A4_MM)
    width, height = A4_MM
    title = f"{state_words(state.plan)}: highlights {distance_words(state.highlight_mm)}"
    page.text(MARGIN_MM, height - 14, title, TITLE_PT, weight="bold")
    page.text(MARGIN_MM, height - 23, _sentence(state), BODY_PT)
    half = (width - 2 * MARGIN_MM - GAP_MM) / 2
    for left, title, with_box in ((MARGIN_MM, "without the box", False), (MARGIN_MM + half + GAP_MM, "with the box", True)):
        space = Box(left, PANEL_BOTTOM_MM, left + half, PANEL_TOP_MM)
        page.text(left, PANEL_TOP_MM + 4, title, BODY_PT, weight="bold")
        _panel(page, space, state, with_box)
    page.text(MARGIN_MM, 26, f"{_legend(state)}{lens_cuts(state)}", LABEL_PT, colour=INK)
    foot = f"{FAR_WORDS} Seen from behind the camera; {ACROSS} x {UPRIGHT} places of {_frame_words(state)}."
    page.text(MARGIN_MM, 16, foot, FOOT_PT, colour=SOFT_INK)
    return page.figure


def _sentence(state: StateBokeh) -> str:
    k = state.worst
    lost = float(state.blurs.lost_share[k])
    if lost < SEEN_SHARE:
        return f"The box takes {f'less than {100 * SEEN_SHARE:.0f} %' if lost > 0.0 else 'nothing'} of any highlight."
    return f"The {part_words(state, k)} takes {100 * lost:.0f} % of highlights at the {place_words(k)} of {_frame_words(state)}."


def _frame_words(state: StateBokeh) -> str:
    return f'the guide "{state.guide}"' if len(state.plan.guides) > 1 else "the frame"


def _legend(state: StateBokeh) -> str:
    return f"In the middle of the picture the box takes {state.box_stops:.2f} stop and the filters {state.glass_stops:.2f}."


def lens_cuts(state: StateBokeh) -> str:
    """Whose work it is that highlights are cut without the box too; '' where none is."""
    lit = state.blurs.lit.sum(axis=1)
    return " What is cut without the box too, the lens's own front cuts." if lit.min() < WHOLE_SHARE * lit.max() else ""


def _panel(page: Page, space: Box, state: StateBokeh, with_box: bool) -> None:
    axes = page.axes(space, facecolor=BOKEH_NIGHT, xticks=[], yticks=[])
    axes.set_xlim(0, space.width)
    axes.set_ylim(0, space.height)
    axes.set_aspect("equal")
    wide, tall = space.width / ACROSS, space.height / UPRIGHT
    radius = 0.42 * min(wide, tall)
    scale, under = radius / _largest_mm(state), min(radius + 1.0, tall / 2 - LINE_MM)
    for k in range(ACROSS * UPRIGHT):
        x, y = (k % ACROSS + 0.5) * wide, space.height - (k // ACROSS + 0.5) * tall
        places = np.column_stack([state.blurs.right_mm[k], state.blurs.up_mm[k]]) * scale + [x, y]
        shown = state.blurs.open[k] if with_box else state.blurs.lit[k]
        size = _dot_pt(state, k, scale)
        for which, colour in ((state.blurs.lit[k] & ~shown, BOKEH_TAKEN), (shown, BOKEH_LIGHT)):
            axes.scatter(places[which, 0], places[which, 1], s=size, c=colour, marker="s", linewidths=0, rasterized=True)
        lost = float(state.blurs.lost_share[k])
        if with_box and lost >= SEEN_SHARE:
            axes.text(x, y - under, f"-{100 * lost:.0f} %", color=PAPER, fontsize=LABEL_PT, ha="center", va="top")


def _largest_mm(state: StateBokeh) -> float:
    return float(max(np.abs(state.blurs.right_mm).max(), np.abs(state.blurs.up_mm).max(), 1e-6))


def _dot_pt(state: StateBokeh, k: int, scale: float) -> float:
    """Marker area [pt squared] of one lattice point, a little more than its cell so that no gaps show."""
    step = max(np.ptp(state.blurs.right_mm[k]), np.ptp(state.blurs.up_mm[k])) / (LATTICE - 1) * scale
    return float((OVERLAP * step * 72 / MM_PER_INCH) ** 2)
