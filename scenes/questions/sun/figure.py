"""The sun's day for one lens on a sheet: its way across what the camera sees, and a strip of hours. Returns a figure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon
from numpy.typing import ArrayLike

from geometry.arrays import FloatArray
from scenes.questions.sun.report import SunReport
from scenes.questions.sun.text import flag_angles, next_step
from scenes.sheets.colours import GHOST_COLOUR, HIGHLIGHT, INK, PAPER, RAY_CLEAR, SKY_FRAME, SOFT_INK
from scenes.sheets.page import FONT, Box, Page
from scenes.sheets.pieces import plate_style, to_page
from scenes.sheets.style import A5_MM, BODY_PT, FOOT_PT, LABEL_PT
from scenes.states.names import state_words

SKY_BOX, STRIP_BOX = Box(8.0, 16.0, 112.0, 120.0), Box(122.0, 44.0, 202.0, 104.0)
IN_PICTURE, ON_GLASS, OFF = RAY_CLEAR, HIGHLIGHT, GHOST_COLOUR
ROWS = ("sun up", "in the picture", "on the glass", "on the glass, flags far in")
SKY_DEG = 110.0  # from the zenith to the edge of the chart: the horizon lies at 90, the rest holds the compass
RIM = np.linspace(-180.0, 180.0, 181)
COMPASS = (("N", 0.0), ("E", 90.0), ("S", 180.0), ("W", 270.0))
MOST_HOURS = 14  # that have a number each under the strip
GRID: dict[str, Any] = {"color": "#D8D8D8", "linewidth": 0.5}
DASHES: dict[str, Any] = {"linestyle": (0, (1.4, 0.7)), "linewidth": 3.2}  # or printed grey it would look like the next
WHOLE: dict[str, Any] = {"linewidth": 2.6}
THIN: dict[str, Any] = {"linewidth": 1.2}
KEY = (
    (IN_PICTURE, DASHES, "the sun is in the picture"),
    (ON_GLASS, WHOLE, "it shines on the glass"),
    (OFF, THIN, "neither"),
)


def sun_figure(report: SunReport) -> Figure:
    """Axes labelled 'sky': the dome from above, degrees from the zenith, the way the camera looks up the sheet; 'hours': spans."""
    page = Page(*A5_MM)
    _write_head(page, report)
    _draw_sky(page, report)
    _draw_hours(page, report)
    _write_key(page)
    foot = (
        "The sky from above: the middle is overhead, the rim the horizon; equal lengths from the middle are equal angles. "
        "Shaded: the picture. Flags far in: as far as each goes and leaves the frame its room, or to the next flag. "
        "Never look at the sun through a lens."
    )
    page.fit(8.0, 10.5, foot, FOOT_PT, page.width_mm - 16.0, lines=2, colour=SOFT_INK, va="top")
    return page.figure


def on_dome(bearing_deg: ArrayLike, height_deg: ArrayLike) -> FloatArray:
    """Places (N, 2) on the chart: straight ahead up, the operator's right to the right, degrees from the zenith as lengths."""
    bearing, away = np.radians(np.asarray(bearing_deg, dtype=np.float64)), 90.0 - np.asarray(height_deg, dtype=np.float64)
    return np.stack([away * np.sin(bearing), away * np.cos(bearing)], axis=-1)


def level_angles(azimuth_deg: ArrayLike, elevation_deg: ArrayLike, tilt_deg: float) -> tuple[FloatArray, FloatArray]:
    """Bearing to the operator's right of where the camera heads, and height over the horizon, of angles in its frame [deg].

    The other way round than `raytrace.sun.camera_angles`.
    """
    azimuth, elevation, tilt = (np.radians(np.asarray(angle, dtype=np.float64)) for angle in (azimuth_deg, elevation_deg, tilt_deg))
    ahead, right, up = np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth), np.sin(elevation)
    level, height = ahead * np.cos(tilt) - up * np.sin(tilt), ahead * np.sin(tilt) + up * np.cos(tilt)
    return np.degrees(np.arctan2(right, level)), np.degrees(np.arcsin(np.clip(height, -1.0, 1.0)))


def _sun_places(report: SunReport) -> FloatArray:
    """The sun on the chart, minute by minute (M, 2)."""
    return on_dome(report.path.sky.compass_deg - report.site.camera_heading_deg, report.path.sky.height_deg)


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
    axes.set_xlim(-SKY_DEG, SKY_DEG)
    axes.set_ylim(-SKY_DEG, SKY_DEG)
    axes.set_axis_off()
    _draw_dome(axes)
    azimuth, elevation = report.frame_deg.T
    frame = on_dome(*level_angles(azimuth, elevation, report.site.camera_tilt_deg))
    picture = axes.add_patch(Polygon(frame, closed=True, facecolor=SKY_FRAME, edgecolor=INK, linewidth=1.1, zorder=1))
    picture.set_clip_path(Circle((0.0, 0.0), 90.0, transform=axes.transData))  # below the horizon it shows no sky
    path, places = report.path, _sun_places(report)
    for holds, colour, look in (
        (path.up, OFF, THIN),
        (path.up & path.in_frame, IN_PICTURE, DASHES),
        (path.up & report.on_glass & ~path.in_frame, ON_GLASS, WHOLE),
    ):
        axes.plot(*np.where(holds[:, None], places, np.nan).T, color=colour, zorder=3, **look)
    _write_compass(page, axes, report.site.camera_heading_deg)
    _draw_clock(page, axes, report)
    _write_heights(page, axes)


def _draw_dome(axes: Axes) -> None:
    """Horizon, circles of 30 and 60 degrees, and lines ahead, to the sides and behind."""
    for height, look in ((0.0, {"color": INK, "linewidth": 1.1}), (30.0, GRID), (60.0, GRID)):
        axes.plot(*on_dome(RIM, np.full_like(RIM, height)).T, zorder=2, **look)
    for bearing in (0.0, 90.0, 180.0, 270.0):
        axes.plot(*on_dome([bearing, bearing], [90.0, 0.0]).T, zorder=0, **GRID)


def _on_sheet(axes: Axes, bearing_deg: ArrayLike, height_deg: ArrayLike) -> FloatArray:
    return to_page(axes, SKY_BOX, np.atleast_2d(on_dome(bearing_deg, height_deg)))


def _write_compass(page: Page, axes: Axes, heading_deg: float) -> None:
    """Points of the compass outside the horizon, and which way the camera looks."""
    ((x, y),) = _on_sheet(axes, 0.0, -16.0)
    page.text(
        x, y, f"camera looks this way, {heading_deg % 360:.0f}° from north", LABEL_PT, ha="center", va="center", weight="bold"
    )
    for words, compass in COMPASS:
        places = [_on_sheet(axes, compass - heading_deg + aside, -7.0)[0] for aside in (0.0, 5.0, -5.0)]
        page.label_free(((float(x), float(y)) for x, y in places), words, BODY_PT, weight="bold", pad_mm=0.0)


def _draw_clock(page: Page, axes: Axes, report: SunReport) -> None:
    """Full hours along the way, each beside its dot where there is room."""
    path, places = report.path, _sun_places(report)
    hours = [k for k, moment in enumerate(path.moments) if moment.minute == 0 and path.up[k]]
    axes.plot(*places[hours].T, "o", markersize=3.2, color=INK, zorder=5, linestyle="none", label="hours")
    dots = to_page(axes, SKY_BOX, places[hours])
    for x, y in dots:
        page.take(Box(x - 0.6, y - 0.6, x + 0.6, y + 0.6))
    for k, (x, y) in zip(hours, dots, strict=True):
        around = ((x + 3.6 * np.sin(turn), y + 3.6 * np.cos(turn)) for turn in np.radians([0, 180, 90, 270, 45, 315, 135, 225]))
        page.label_free(around, f"{path.moments[k]:%H}", FOOT_PT, pad_mm=-0.4, bbox=plate_style(), zorder=4)


def _write_heights(page: Page, axes: Axes) -> None:
    """How high the circles stand, at the first bearing that is free."""
    for height, words in ((0.0, "horizon"), (30.0, "30° up"), (60.0, "60° up")):
        places = [_on_sheet(axes, bearing, height)[0] for bearing in (180.0, 150.0, 210.0, 120.0, 240.0, 90.0, 270.0)]
        page.label_free(((float(x), float(y)) for x, y in places), words, FOOT_PT, pad_mm=0.0, colour=SOFT_INK, bbox=plate_style())


def _write_key(page: Page) -> None:
    for row, (colour, look, words) in enumerate(KEY):
        y = 30.0 - 5.0 * row
        page.line(((STRIP_BOX.left, y), (STRIP_BOX.left + 8.0, y)), colour, look["linewidth"], linestyle=look.get("linestyle", "-"))
        page.text(STRIP_BOX.left + 10.0, y, words, LABEL_PT, va="center")


def _draw_hours(page: Page, report: SunReport) -> None:
    axes = page.axes(STRIP_BOX, label="hours")
    path = report.path
    rows = (path.up, path.in_frame, report.on_glass, report.on_glass_at_best)
    colours = ("#D9D9D9", IN_PICTURE, ON_GLASS, ON_GLASS)
    for place, (holds, colour) in enumerate(zip(rows, colours, strict=True)):
        bars = [(_hour(first), _hour(last) - _hour(first) + 1 / 60) for first, last in report.spans(holds)]
        faint = place == len(rows) - 1
        look: dict[str, Any] = {"facecolors": PAPER, "hatch": "////"} if faint else {"facecolors": colour}
        axes.broken_barh(bars, (place - 0.3, 0.5), edgecolors=colour, **look)
        if not bars and (report.flags or not faint):
            axes.text(0.02, place - 0.05, "never", transform=axes.get_yaxis_transform(), va="center", fontsize=FOOT_PT, family=FONT)
    axes.set_ylim(len(rows) - 0.6, -0.9)
    axes.set_yticks([])
    low, high = _hours_shown(report.spans(path.up))
    axes.set_xlim(low, high)
    axes.set_xticks(range(int(low), int(high) + 1, 1 if high - low <= MOST_HOURS else 2))
    for place, words in enumerate(ROWS if report.flags else (*ROWS[:3], "the box has no flags")):
        axes.text(low + 0.1, place - 0.36, words, fontsize=LABEL_PT, family=FONT, va="bottom")
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
