"""What each measure does to the room round a beam, as a tornado chart over the builds tried. Returns a figure, writes no file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from raytrace.tolerance import Effect
from scenes.questions.tolerances.inputs import Input
from scenes.questions.tolerances.report import TOLD_MM, LensSurety, Surety
from scenes.questions.tolerances.text import nearest_words, share_words, summary, worst_words
from scenes.scene_file.messages import plain
from scenes.sheets.colours import HIGHLIGHT, INK, RAY_CLEAR
from scenes.sheets.page import FONT, Box, Page
from scenes.sheets.style import A4_MM, BODY_PT, FOOT_PT, LABEL_PT

MARGIN_MM = 12.0
WORDS_MM = 62.0  # room for what the bars are called
MOST_ROW_MM = 16.0
BUILDS_MM = 34.0
KEY_STEP_MM, KEY_MM = 6.0, 40.0  # of the lines that say how to read the page, and of all of them
MOST_BARS = 11
BINS = 40
HOW_TO_READ = "How to read this page"
NOTHING_MOVES = "no tolerance moves the nearest part"
FOOT = "Room: the least distance in space between the beam and any part."


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """What one page shows: bars from the largest down, the answers of the builds tried, as written and at the worst [mm]."""

    head: str
    words: str
    effects: tuple[Effect, ...]
    inputs: tuple[Input, ...]
    answers_mm: NDArray[np.float64] | None
    nominal_mm: float
    worst_mm: float


def set_figure(found: Surety, title: str) -> Figure:
    """The whole set: the least room of any lens."""
    worst = min(found.counted, key=lambda lens: lens.worst.clearance_mm)
    return chart_figure(
        Chart(
            head=f"All lenses: out of frame in {_share(found)}" if len(found.lenses) > 1 else f"Out of frame in {_share(found)}",
            words=f"{summary(found)} {_left_out(found)}Worst build, of the {worst.lens_name}: {worst_words(worst)}",
            effects=found.effects,
            inputs=found.inputs,
            answers_mm=found.spread.values if found.spread is not None else None,
            nominal_mm=min(lens.nominal.clearance_mm for lens in found.counted),
            worst_mm=worst.worst.clearance_mm,
        ),
        title,
    )


def _left_out(found: Surety) -> str:
    return "" if len(found.counted) == len(found.lenses) else "Shown are the lenses with which some build stays out of frame. "


def lens_figure(found: Surety, lens: LensSurety, title: str) -> Figure:
    """One lens."""
    return chart_figure(
        Chart(
            head=f"The {lens.lens_name}: out of frame in {_share(lens)}",
            words=f"Nominal: {nearest_words(lens.nominal)}. Worst build: {worst_words(lens)}",
            effects=lens.effects,
            inputs=found.inputs,
            answers_mm=lens.spread.values if lens.spread is not None else None,
            nominal_mm=lens.nominal.clearance_mm,
            worst_mm=lens.worst.clearance_mm,
        ),
        title,
    )


def _share(found: Surety | LensSurety) -> str:
    share = share_words(found)
    return {"all": "every build", "none": "no build"}.get(share, f"{share} of builds")


def chart_figure(chart: Chart, title: str) -> Figure:
    """The page: headline, bars, builds."""
    page = Page(*A4_MM)
    width = page.width_mm - 2 * MARGIN_MM
    page.head(chart.head, title)
    page.fit(MARGIN_MM, page.height_mm - 22.5, chart.words, LABEL_PT + 1, width, lines=4, va="top")
    told = [effect for effect in chart.effects if effect.swing >= TOLD_MM][:MOST_BARS]
    limits = _limits_mm(chart, told)
    top = page.height_mm - 47.0
    left, right = MARGIN_MM + WORDS_MM, page.width_mm - MARGIN_MM - 6.0
    row_mm = min(MOST_ROW_MM, (top - BUILDS_MM - KEY_MM - 40.0) / max(len(told), 1))
    low = top - row_mm * max(len(told), 1)
    bars = page.axes(Box(left, low, right, top), label="bars")
    _draw_bars(page, bars, chart, told, Box(left, low, right, top), limits)
    if chart.answers_mm is not None:
        below = page.axes(Box(left, low - 14.0 - BUILDS_MM, right, low - 14.0), label="builds")
        _draw_builds(below, chart.answers_mm, limits)
        page.text(MARGIN_MM, low - 14.0 - BUILDS_MM / 2, f"{len(chart.answers_mm)} builds tried", BODY_PT, va="center")
    with_builds = chart.answers_mm is not None
    _write_key(page, low - 26.0 - (BUILDS_MM + 12.0 if with_builds else 0.0), with_bars=bool(told), with_builds=with_builds)
    page.foot(FOOT)
    return page.figure


def _write_key(page: Page, top_mm: float, *, with_bars: bool, with_builds: bool) -> None:
    """What bars, lines and colours stand for, each beside a piece of it."""
    page.text(MARGIN_MM, top_mm, HOW_TO_READ, BODY_PT, weight="bold")
    bars = [
        (
            "bar",
            HIGHLIGHT,
            "A bar: the room if one dimension alone is off, as far as its tolerance lets it; its value stands at the end.",
        ),
        (
            "bar",
            RAY_CLEAR,
            "Left of the line, orange: less room. Right of it, blue: more. The longest bar is the dimension to measure first.",
        ),
    ]
    rows = [
        *(bars if with_bars else ()),
        ("line", INK, "The upright line: the room with every dimension as the scene has it."),
        ("mark", HIGHLIGHT, "The triangle: the worst build, with all dimensions off together in the worst way found."),
        ("ground", HIGHLIGHT, "Shaded, below 0: a part stands in the beam and darkens the frame."),
    ]
    if with_builds:
        rows.append(
            (
                "bar",
                RAY_CLEAR,
                "Lower chart: all dimensions off at random within their tolerances; how many of these builds have how much room.",
            )
        )
    for row, (kind, colour, words) in enumerate(rows, 1):
        y = top_mm - KEY_STEP_MM * row
        _draw_key(page, kind, colour, y)
        page.fit(MARGIN_MM + 12.0, y, words, LABEL_PT + 0.5, page.width_mm - 2 * MARGIN_MM - 12.0, va="center")


def _draw_key(page: Page, kind: str, colour: str, y_mm: float) -> None:
    left, right = MARGIN_MM + 1.0, MARGIN_MM + 9.0
    if kind == "mark":
        page.line([((left + right) / 2, y_mm)], colour, marker="v", markersize=8)
    elif kind == "line":
        page.line([((left + right) / 2, y_mm - 2.0), ((left + right) / 2, y_mm + 2.0)], colour, 1.0)
    else:
        page.line([(left, y_mm), (right, y_mm)], colour, 8.0, solid_capstyle="butt", alpha=0.10 if kind == "ground" else 1.0)


def _limits_mm(chart: Chart, told: Sequence[Effect]) -> tuple[float, float]:
    """What the scale shows: everything drawn, and 0, with room for the values at the bars' ends."""
    ends = [chart.nominal_mm, chart.worst_mm, *(end for effect in told for end in (effect.at_low, effect.at_high))]
    ends += [] if chart.answers_mm is None else [float(chart.answers_mm.min()), float(chart.answers_mm.max())]
    spread = max(ends) - min(ends)
    near = [0.0] if not told or (min(ends) < 3 * spread and max(ends) > -3 * spread) else []
    low, high = min([*ends, *near]), max([*ends, *near])
    room = 0.12 * max(high - low, 0.1)
    return low - room, high + room


def _draw_bars(page: Page, axes: Axes, chart: Chart, told: Sequence[Effect], box: Box, limits: tuple[float, float]) -> None:
    _scale(axes, limits, "room between the beam and the nearest part [mm]")
    axes.set_ylim(max(len(told), 1) - 0.5, -0.5)
    items = {item.path: item for item in chart.inputs}
    if not told:
        page.fit(MARGIN_MM, box.bottom + box.height / 2, NOTHING_MOVES, LABEL_PT, WORDS_MM - 4.0, lines=2, va="center")
    for row, effect in enumerate(told):
        item = items[effect.name]
        y = box.top - (row + 0.5) * box.height / len(told)
        page.fit(MARGIN_MM, y, item.words, LABEL_PT, WORDS_MM - 4.0, lines=2, va="center")
        _draw_bar(axes, row, effect, item, chart.nominal_mm)
    axes.axvline(chart.nominal_mm, color=INK, linewidth=1.0, zorder=4)
    axes.plot(
        [chart.worst_mm], [1.0], "v", color=HIGHLIGHT, markersize=8, transform=axes.get_xaxis_transform(), clip_on=False, zorder=5
    )


def _draw_bar(axes: Axes, row: int, effect: Effect, item: Input, nominal_mm: float) -> None:
    """Both ends of one input, each from the nominal answer; values stand outside, or one above the other where both go one way."""
    low, high = item.tolerance.ends
    ends = [(effect.at_low, low), (effect.at_high, high)]
    same_way = (ends[0][0] - nominal_mm) * (ends[1][0] - nominal_mm) > 0
    for k, (answer, value) in enumerate(ends):
        colour = HIGHLIGHT if answer < nominal_mm else RAY_CLEAR
        height, middle = (0.34, row - 0.19 + 0.38 * k) if same_way else (0.66, row)
        axes.barh(middle, answer - nominal_mm, left=nominal_mm, height=height, color=colour, zorder=3)
        if abs(answer - nominal_mm) >= TOLD_MM:
            align, shift = ("right", -3) if answer < nominal_mm else ("left", 3)
            axes.annotate(
                f"{plain(round(value, 2))} {item.unit}",
                (answer, middle),
                (shift, 0),
                textcoords="offset points",
                ha=align,
                va="center",
                fontsize=FOOT_PT,
                fontfamily=FONT,
            )


def _draw_builds(axes: Axes, answers_mm: NDArray[np.float64], limits: tuple[float, float]) -> None:
    """How many builds have how much room; 0 is an edge of the steps, so that no step is on both sides of it."""
    step = (limits[1] - limits[0]) / BINS
    edges = step * np.arange(np.floor(limits[0] / step), np.ceil(limits[1] / step) + 1)
    counts, _ = np.histogram(answers_mm, edges)
    colours = [HIGHLIGHT if edge < -step / 2 else RAY_CLEAR for edge in edges[:-1]]
    axes.bar(edges[:-1], counts, width=0.92 * step, align="edge", color=colours, zorder=3)
    _scale(axes, limits, "room of each build [mm]")
    axes.set_ylabel("builds", fontsize=LABEL_PT, fontfamily=FONT)
    axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
    axes.tick_params(axis="y", left=True, labelleft=True)


def _scale(axes: Axes, limits: tuple[float, float], words: str) -> None:
    axes.set_xlim(*limits)
    axes.set_xlabel(words, fontsize=LABEL_PT, fontfamily=FONT)
    axes.tick_params(labelsize=LABEL_PT, length=2, pad=1.5, labelfontfamily=FONT)
    axes.tick_params(axis="y", left=False, labelleft=False)
    axes.grid(axis="x", color="#D8D8D8", linewidth=0.4)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    if limits[0] < 0:
        axes.axvspan(limits[0], min(0.0, limits[1]), color=HIGHLIGHT, alpha=0.10, linewidth=0, zorder=0)
