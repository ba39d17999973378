"""The sun's day for one lens on a sheet: its way across what the camera sees, and a strip of hours. Returns a figure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from scenes.questions.sun.report import BoolArray, SunReport
from scenes.questions.sun.text import flag_angles, next_step
from scenes.sheets.colours import GHOST_COLOUR, HIGHLIGHT, INK, PAPER, RAY_CLEAR, SKY_FRAME, SOFT_INK
from scenes.sheets.page import FONT, Box, Page
from scenes.sheets.style import A5_MM, BODY_PT, FOOT_PT, LABEL_PT
from scenes.states.names import state_words

SKY_BOX, STRIP_BOX = Box(21.0, 61.0, 203.0, 118.0), Box(42.0, 23.0, 203.0, 47.0)
IN_PICTURE, ON_GLASS, OFF = RAY_CLEAR, HIGHLIGHT, GHOST_COLOUR
ROWS = ("sun up", "in the picture", "on the glass", "with flags far in")


def sun_figure(report: SunReport) -> Figure:
    """Axes labelled 'sky': azimuth to the operator's right against elevation, in the camera's frame; 'hours': spans of the day."""
    page = Page(*A5_MM)
    _write_head(page, report)
    _draw_sky(page, report)
    _draw_hours(page, report)
    foot = (
        "0 is straight ahead, positive to the operator's right; 180 is behind. Outline: the picture. Orange: on the glass; blue: "
        "in the picture; grey: neither. Flags far in: as far as each goes and leaves the frame its room, or to the next flag. "
        "Never look at the sun through a lens."
    )
    page.fit(8.0, 10.5, foot, FOOT_PT, page.width_mm - 16.0, lines=3, colour=SOFT_INK, va="top")
    return page.figure


def _write_head(page: Page, report: SunReport) -> None:
    width, day = page.width_mm - 16.0, report.path.moments[0]
    title = f"{report.light}, {day:%d %B %Y}: {state_words(report.plan)}"
    page.head(title)
    page.fit(8.0, page.height_mm - 13.0, f"Next: {next_step(report)}", BODY_PT, width, lines=2, va="top")
    if report.flags:
        angles = f"flags far in: {', '.join(flag_angles(flag) for flag in report.flags)}"
        page.fit(8.0, page.height_mm - 25.5, angles, LABEL_PT, width, colour=SOFT_INK)


def _draw_sky(page: Page, report: SunReport) -> None:
    axes = page.axes(SKY_BOX, label="sky")
    path = report.path
    axes.add_patch(Polygon(report.frame_deg, closed=True, facecolor=SKY_FRAME, edgecolor=INK, linewidth=1.1, zorder=1))
    for holds, colour, width in (
        (path.up, OFF, 1.2),
        (path.up & path.in_frame, IN_PICTURE, 2.6),
        (path.up & report.on_glass & ~path.in_frame, ON_GLASS, 2.6),
    ):
        _draw_way(axes, report, holds, colour, width)
    _draw_clock(axes, report)
    axes.set_xlim(-180.0, 180.0)
    top = max(float(path.elevation_deg[path.up].max(initial=20.0)), float(report.frame_deg[:, 1].max())) + 8.0
    low = min(float(path.elevation_deg[path.up].min(initial=0.0)), float(report.frame_deg[:, 1].min()), -5.0) - 4.0
    axes.set_ylim(low, min(top, 95.0))
    axes.set_xticks(range(-180, 181, 45))
    axes.set_xlabel("to the operator's right of the lens axis [deg]", fontsize=LABEL_PT, family=FONT)
    axes.set_ylabel("above the lens axis [deg]", fontsize=LABEL_PT, family=FONT)
    axes.tick_params(labelsize=FOOT_PT, length=2, pad=1.5, labelfontfamily=FONT)
    axes.grid(color="#E3E3E3", linewidth=0.5)
    axes.set_axisbelow(True)


def _draw_way(axes: Axes, report: SunReport, holds: BoolArray, colour: str, width_pt: float) -> None:
    """The way across the sky where something holds, broken where it goes behind the operator's back."""
    azimuth, elevation = np.where(holds, report.path.azimuth_deg, np.nan), np.where(holds, report.path.elevation_deg, np.nan)
    jumps = np.flatnonzero(np.abs(np.diff(azimuth)) > 180.0)
    along, high = (np.insert(values, jumps + 1, np.nan) for values in (azimuth, elevation))
    axes.plot(along, high, color=colour, linewidth=width_pt, zorder=3)


def _draw_clock(axes: Axes, report: SunReport) -> None:
    """Full hours along the way."""
    path = report.path
    for k, moment in enumerate(path.moments):
        if moment.minute == 0 and path.up[k]:
            axes.plot(path.azimuth_deg[k], path.elevation_deg[k], "o", markersize=3.2, color=INK, zorder=5)
            look: dict[str, Any] = {"ha": "center", "fontsize": FOOT_PT, "family": FONT}
            words: dict[str, Any] = {"textcoords": "offset points", "xytext": (0, 4.5), **look}
            axes.annotate(f"{moment:%H}", (path.azimuth_deg[k], path.elevation_deg[k]), zorder=6, **words)


def _draw_hours(page: Page, report: SunReport) -> None:
    axes = page.axes(STRIP_BOX, label="hours")
    path = report.path
    rows = (path.up, path.in_frame, report.on_glass, report.on_glass_at_best)
    colours = ("#D9D9D9", IN_PICTURE, ON_GLASS, ON_GLASS)
    for place, (holds, colour) in enumerate(zip(rows, colours, strict=True)):
        bars = [(_hour(first), _hour(last) - _hour(first) + 1 / 60) for first, last in report.spans(holds)]
        faint = place == len(rows) - 1
        look: dict[str, Any] = {"facecolors": PAPER, "hatch": "////"} if faint else {"facecolors": colour}
        axes.broken_barh(bars, (place - 0.36, 0.72), edgecolors=colour, **look)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), ROWS if report.flags else (*ROWS[:3], "(no flags)"))
    low, high = _hours_shown(report.spans(path.up))
    axes.set_xlim(low, high)
    axes.set_xticks(range(int(low), int(high) + 1))
    axes.set_xlabel(f"hour of the day, clock {path.moments[0]:UTC%z}", fontsize=LABEL_PT, family=FONT)
    axes.tick_params(labelsize=FOOT_PT, length=2, pad=1.5, labelfontfamily=FONT)
    axes.grid(axis="x", color="#E3E3E3", linewidth=0.5)
    axes.set_axisbelow(True)


def _hour(moment: dt.datetime) -> float:
    return moment.hour + moment.minute / 60


def _hours_shown(up: Sequence[tuple[dt.datetime, dt.datetime]]) -> tuple[float, float]:
    if not up:
        return 0.0, 24.0
    return float(np.floor(_hour(up[0][0]))), float(min(np.floor(_hour(up[-1][1])) + 1, 24))
