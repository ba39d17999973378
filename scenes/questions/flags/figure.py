"""A flag on a sheet: its angle as a dial, seen along the hinge, with the beam, and where it touches. Returns a figure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Wedge
from shapely.geometry.base import BaseGeometry

from geometry.arrays import FloatArray
from geometry.flags import LEAST_DEG, MOST_DEG, Bars
from geometry.frame import ahead_in_words
from scenes.changes.flag_bench import FlagBench
from scenes.changes.flag_summaries import FlagState, FlagSummary
from scenes.questions.flags.lights import Window
from scenes.questions.flags.lights_text import cut_words
from scenes.questions.flags.text import angle_words, set_words, size_words, touch_words
from scenes.sheets.colours import FLAG_ALLOWED, FLAG_BEAM, FLAG_NEEDED, FLAG_SHUT, HIGHLIGHT, INK, SOFT_INK
from scenes.sheets.page import FONT, Box, Page
from scenes.sheets.pieces import halo, plate_style
from scenes.sheets.style import A5_MM, BODY_PT, FOOT_PT, LABEL_PT
from scenes.states.names import state_words

DIAL_BOX, WORDS_LEFT = Box(20.0, 24.0, 130.0, 118.0), 137.0
ALLOWED, SHUT, NEEDED, BEAM = FLAG_ALLOWED, FLAG_SHUT, FLAG_NEEDED, FLAG_BEAM
DIAL_SHARE = 0.10  # width of the dial's ring against its radius
TICK_DEG, NUMBER_DEG = 10, 30
WORDS_APART = 0.26  # of the reach: farther apart no two words in the dial overlap
ROOM_SHARE = 1.32  # of the flag's reach: how much is shown around the hinge


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagPicture:
    """What a flag's sheet shows: the flag over all states, the state that decides, the beam there, and windows against lights.

    beam is a shape in (ahead of, out from) the hinge [mm].
    """

    flag: FlagSummary
    state: FlagState
    beam: BaseGeometry
    windows: tuple[tuple[str, Window], ...]
    visible_stops: float


def flag_picture(flag: FlagSummary, windows: Sequence[tuple[str, Window]], visible_stops: float) -> FlagPicture:
    """The picture's contents; the beam is cut once more in the state that decides."""
    kept = flag.kept()
    state = (kept if kept.states else flag).limit("clear_deg")[1]
    beam = FlagBench(state.plan, [state.flag]).outline(state.flag.hinge, state.flag.bars)
    return FlagPicture(flag=flag, state=state, beam=beam, windows=tuple(windows), visible_stops=visible_stops)


def flag_figure(picture: FlagPicture, title: str) -> Figure:
    """Axes labelled 'dial': ahead of the hinge against out from it [mm], with the flag as set, at its limit and cutting lights."""
    page = Page(*A5_MM)
    flag, width = picture.flag, A5_MM[0] - 16.0
    head = f"{flag.name}: {title}" if title else flag.name
    page.head(head)
    page.fit(8.0, page.height_mm - 13.0, _capital(set_words(flag)), BODY_PT, width, lines=3, va="top")
    _draw_dial(page.axes(DIAL_BOX, label="dial"), picture)
    _write_angles(page, picture)
    foot = (
        "Seen along the hinge: the scene is to the right, away from the lens axis is up. Blue ring: angles that the frame allows; "
        "hatched, red: too far in; outer arc, yellow: far enough in to keep a light off. "
        f"{_capital(size_words(flag))}. Beam: {state_words(picture.state.plan)}, the state that asks for the widest angle. "
        "Confirm at the test shoot."
    )
    page.fit(8.0, 12.0, foot, FOOT_PT, width, lines=3, colour=SOFT_INK, va="top")
    return page.figure


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _draw_dial(axes: Axes, picture: FlagPicture) -> None:
    flag, bars = picture.flag, picture.flag.bars
    reach = bars.reach_mm
    axes.set_aspect("equal", adjustable="box")
    _limits(axes, picture, reach)
    for part in shapely.get_parts(picture.beam):
        if isinstance(part, shapely.Polygon) and not part.is_empty:
            axes.add_patch(Polygon(np.asarray(part.exterior.coords), closed=True, facecolor=BEAM, edgecolor="none", zorder=1))
    _draw_ring(axes, flag.clear_deg, flag.most_deg, reach)
    for _, window in picture.windows:
        if math.isfinite(window.cut_deg):
            _draw_bars(axes, bars, window.cut_deg, NEEDED, "--")
            ring: dict[str, Any] = {"width": 0.025 * reach, "facecolor": NEEDED, "edgecolor": "none", "zorder": 4}
            axes.add_patch(Wedge((0.0, 0.0), ROOM_SHARE * reach, LEAST_DEG, min(window.cut_deg, MOST_DEG), **ring))
    if math.isfinite(flag.clear_deg):
        _draw_bars(axes, bars, flag.clear_deg, ALLOWED, "-")
    _draw_bars(axes, bars, flag.set_deg, INK, "-", filled=True)
    touch = picture.state.limits.touch
    _label(axes, 0.45 * reach, -0.22 * reach, "beam", ALLOWED)
    if touch.at_mm is not None:
        words = f"touches ({touch_words(picture.state)})"
        _label(axes, *_beside(axes, touch.at_mm, reach), words, HIGHLIGHT, bbox=plate_style(0.9))
        axes.plot(*touch.at_mm, "o", color=HIGHLIGHT, markersize=6.0, markerfacecolor="none", markeredgewidth=1.6, zorder=7)
    axes.plot(0.0, 0.0, "o", color=INK, markersize=3.5, zorder=8)
    axes.set_xlabel("ahead of the hinge [mm]", fontsize=LABEL_PT, family=FONT)
    axes.set_ylabel(f"out from the hinge, to the {flag.side} [mm]", fontsize=LABEL_PT, family=FONT)
    axes.tick_params(labelsize=FOOT_PT, length=2, pad=1.5, labelfontfamily=FONT)


def _beside(axes: Axes, at_mm: Sequence[float], reach: float) -> tuple[float, float]:
    """A place for words below or above a point, off the words that are there."""
    words = np.array([text.get_position() for text in axes.texts]).reshape(-1, 2)
    steps = [(0.0, -0.09), (0.0, 0.1), (-0.2, -0.14), (0.2, 0.14), (-0.2, 0.14), (0.2, -0.14)]
    places = [(at_mm[0] + x * reach, at_mm[1] + y * reach) for x, y in steps]
    return max(places, key=lambda place: min([WORDS_APART * reach, *np.hypot(*(words - place).T)]))


def _limits(axes: Axes, picture: FlagPicture, reach: float) -> None:
    """What is shown: the ring as far as angles of interest go, and some of the beam beside it."""
    angles = [picture.flag.set_deg, 0.0, 90.0, *(a for a in (picture.flag.clear_deg,) if math.isfinite(a))]
    angles += [window.cut_deg for _, window in picture.windows if math.isfinite(window.cut_deg)]
    radius = ROOM_SHARE * reach
    left = min(-0.25, *(math.cos(math.radians(angle)) for angle in angles)) * radius
    low = min(-0.35, *(math.sin(math.radians(angle)) - 0.1 for angle in angles)) * radius
    axes.set_xlim(left - 0.05 * radius, 1.06 * radius)
    axes.set_ylim(low - 0.05 * radius, 1.06 * radius)


def _draw_ring(axes: Axes, clear_deg: float, most_deg: float, reach: float) -> None:
    """The dial: angles that the frame allows and those it does not, with ticks."""
    radius = ROOM_SHARE * reach * 0.97
    most = max(most_deg, LEAST_DEG)
    edge = min(max(clear_deg, LEAST_DEG), most)
    look: dict[str, Any] = {"width": DIAL_SHARE * radius, "linewidth": 0.0, "zorder": 2}
    axes.add_patch(Wedge((0.0, 0.0), radius, edge, most, facecolor=ALLOWED, edgecolor="none", alpha=0.25, **look))
    for first, last in ((LEAST_DEG, edge), (most, MOST_DEG)):
        if last > first:  # hatched, for printed grey the two tones are alike
            axes.add_patch(Wedge((0.0, 0.0), radius, first, last, facecolor=SHUT, edgecolor=INK, hatch="////", alpha=0.3, **look))
    for angle in range(int(LEAST_DEG), int(MOST_DEG) + 1, TICK_DEG):
        turn, inner = math.radians(angle), radius * (1 - DIAL_SHARE * (1.0 if angle % NUMBER_DEG == 0 else 0.5))
        ends = np.array([[inner, radius]]) * np.array([[math.cos(turn)], [math.sin(turn)]])
        axes.plot(*ends, color=SOFT_INK, linewidth=0.7, zorder=3)
        if angle % NUMBER_DEG == 0:
            inward = radius * (1 - 1.7 * DIAL_SHARE)
            _label(axes, inward * math.cos(turn), inward * math.sin(turn), f"{angle}°", SOFT_INK)


def _label(axes: Axes, x_mm: float, y_mm: float, words: str, colour: str, **plate: Any) -> None:
    """A word in the drawing, left out where it would stand at or beyond its edge."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    room = 0.04 * (high - low)
    if left + room < x_mm < right - room and low + room < y_mm < high - room:
        look: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": FOOT_PT, "family": FONT, "color": colour}
        axes.text(x_mm, y_mm, words, path_effects=halo(), zorder=9, parse_math=False, **look, **plate)


def _draw_bars(axes: Axes, bars: Bars, angle_deg: float, colour: str, dash: str, *, filled: bool = False) -> None:
    """Flag and extension at an angle, and the hand of the dial there."""
    shapes: FloatArray = bars.shapes(np.array([angle_deg]))[:, 0]
    for shape in shapes:
        ground = colour if filled else "none"
        look: dict[str, Any] = {"linewidth": 1.4, "linestyle": dash, "edgecolor": colour, "facecolor": ground, "zorder": 5}
        axes.add_patch(Polygon(shape, closed=True, **look))
    turn, radius = math.radians(angle_deg), ROOM_SHARE * bars.reach_mm
    hand = np.array([[1 - DIAL_SHARE, 1.03]]) * radius * np.array([[math.cos(turn)], [math.sin(turn)]])
    axes.plot(*hand, color=colour, linewidth=2.2, linestyle=dash, zorder=6)


def _write_angles(page: Page, picture: FlagPicture) -> None:
    """The angles in words beside the dial, each in its colour."""
    kept = picture.flag.kept()
    values = {key: kept.limit(key)[0] if kept.states else math.inf for key in ("clear_deg", "touch_deg", "visible_deg")}
    at = picture.state.limits.touch.at_mm
    touch_words = "touches the beam's edge" + (f", {ahead_in_words(at[0], form='.0f')}" if at else "")
    rows = [
        (f"{picture.flag.set_deg:.1f} deg", "as it is set", INK),
        (_deg(values["clear_deg"]), "smallest that keeps the frame clear", ALLOWED),
        (_deg(values["touch_deg"]), touch_words, HIGHLIGHT),
        (_deg(values["visible_deg"]), f"costs at most {picture.visible_stops:g} stop", SOFT_INK),
    ]
    if picture.flag.bars.extension_mm > 0.0 and kept.states:
        rows.insert(2, (_deg(kept.limit("clear_deg", bare=True)[0]), "the same without its extension", ALLOWED))
    rows += [(_cut(window), f"largest that keeps off {light}", NEEDED) for light, window in picture.windows]
    top, width = DIAL_BOX.top - 2.0, page.width_mm - WORDS_LEFT - 8.0
    for place, (angle, words, colour) in enumerate(rows[:7]):
        y = top - 12.5 * place
        page.text(WORDS_LEFT, y, angle, BODY_PT + 2.0, weight="bold", colour=colour)
        page.fit(WORDS_LEFT, y - 1.8, words, LABEL_PT, width, lines=2, va="top")


def _deg(angle_deg: float) -> str:
    return f"{angle_words(angle_deg)} deg" if math.isfinite(angle_deg) else f"{angle_words(angle_deg)}"


def _cut(window: Window) -> str:
    return f"{cut_words(window.cut_deg)} deg" if math.isfinite(window.cut_deg) else cut_words(window.cut_deg)
