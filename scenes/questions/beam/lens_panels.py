"""The beam in one plane of the box, a panel for each lens, all at one scale. Returns a figure; saves nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from geometry.frame import ahead_in_words
from scenes.questions.beam.figure import NOTHING_NEAR_MM, as_seen, draw_beam, draw_part
from scenes.questions.beam.report import BeamInPlane
from scenes.sheets.colours import HIGHLIGHT, INK, SOFT_INK
from scenes.sheets.page import FONT, Box, Page
from scenes.sheets.style import A4_MM, BODY_PT, FOOT_PT, LABEL_PT

MOST_PANELS = 9  # of a sheet: of more the names and sizes could not be read
LEFT_MM, RIGHT_MM, LOW_MM, HIGH_MM = 14.0, 6.0, 11.0, 12.0  # of a panel, for its ticks, what is nearest, its name and size
ROOM_SHARE = 0.12
EMPTY_MM = (-100.0, -60.0, 100.0, 60.0)  # shown where there is no beam
FOOT = (
    "Seen from behind the camera, mm from the box's middle; all lenses at one scale. Blue: the beam of all focuses and stops of "
    "the lens, thin lines each of them. Nearest: least distance of the beam to a part in this plane."
)


def sheets_of(lenses: Mapping[str, BeamInPlane]) -> Iterator[dict[str, BeamInPlane]]:
    """Lenses in their order, as many as a sheet holds."""
    names = list(lenses)
    for first in range(0, len(names), MOST_PANELS):
        yield {name: lenses[name] for name in names[first : first + MOST_PANELS]}


def lenses_figure(whole: BeamInPlane, lenses: Mapping[str, BeamInPlane], title: str) -> Figure:
    """A panel for each lens, labelled with its name; `whole` is the beam of all lenses, which sets the scale."""
    page = Page(*A4_MM)
    size, plane = whole.size, ahead_in_words(whole.at_mm, "the back plate", "g")
    words = "no beam there" if whole.section.is_empty else f"{size.width_mm:.1f} x {size.height_mm:.1f} mm for all lenses"
    page.head(f"Beam {plane}: {words}", title)
    bounds = EMPTY_MM if whole.section.is_empty else as_seen(whole.section).bounds
    for (name, beam), space in zip(lenses.items(), _grid(page, len(lenses), bounds), strict=True):
        _draw_panel(page, space, name, beam, bounds)
    page.foot(FOOT)
    return page.figure


def _grid(page: Page, count: int, bounds: tuple[float, ...]) -> list[Box]:
    """Room for the panels, row by row from the top left, in as many columns as show them largest."""
    left, right, low, high = page.margin_mm, page.width_mm - page.margin_mm, 14.0, page.height_mm - 23.0
    aspect = (bounds[2] - bounds[0]) / (bounds[3] - bounds[1])

    def shown(columns: int) -> float:
        rows = math.ceil(count / columns)
        return min((right - left) / columns - LEFT_MM - RIGHT_MM, ((high - low) / rows - LOW_MM - HIGH_MM) * aspect)

    columns = max(range(1, count + 1), key=shown)
    wide, tall = (right - left) / columns, (high - low) / math.ceil(count / columns)
    corners = [(left + k % columns * wide, high - k // columns * tall) for k in range(count)]
    return [Box(x + LEFT_MM, y - tall + LOW_MM, x + wide - RIGHT_MM, y - HIGH_MM) for x, y in corners]


def _draw_panel(page: Page, space: Box, name: str, beam: BeamInPlane, bounds: tuple[float, ...]) -> None:
    axes = _axes(page, space, name, bounds)
    for part in beam.parts:
        draw_part(axes, part)
    draw_beam(axes, beam)
    page.fit(space.left, space.top + 6.0, name, BODY_PT + 1, space.width, weight="bold", most=1)
    page.fit(space.left, space.top + 1.8, _size_words(beam), LABEL_PT, space.width)
    words, is_in = nearest_words(beam)
    page.fit(space.left, space.bottom - 8.5, words, LABEL_PT, space.width, colour=HIGHLIGHT if is_in else INK)


def _axes(page: Page, space: Box, name: str, bounds: tuple[float, ...]) -> Axes:
    """Axes of true shape that show the beam of every lens with some room around it."""
    left, low, right, high = bounds
    scale = max((right - left) / space.width, (high - low) / space.height) * (1 + 2 * ROOM_SHARE)
    x, y = (left + right) / 2, (low + high) / 2
    axes = page.axes(space, label=name)
    axes.set_xlim(x - scale * space.width / 2, x + scale * space.width / 2)
    axes.set_ylim(y - scale * space.height / 2, y + scale * space.height / 2)
    axes.locator_params(nbins=5)
    axes.tick_params(labelsize=FOOT_PT, length=2, pad=1.5, labelfontfamily=FONT)
    for line in (axes.axhline, axes.axvline):
        line(0.0, color=SOFT_INK, linewidth=0.5, linestyle=(0, (14, 3, 2, 3)))
    return axes


def _size_words(beam: BeamInPlane) -> str:
    if beam.section.is_empty:
        return "no beam there"
    return f"{beam.size.width_mm:.1f} wide, {beam.size.height_mm:.1f} high, corners {beam.size.corner_mm:.1f}"


def nearest_words(beam: BeamInPlane) -> tuple[str, bool]:
    """The part of the plane nearest to the beam, and whether it is in it."""
    near = min(beam.parts, key=lambda part: part.clearance_mm, default=None)
    if near is None or near.clearance_mm > NOTHING_NEAR_MM:
        return "no part near", False
    if near.clearance_mm <= 0:
        return f"{near.name}: {-near.clearance_mm:.1f} mm in the beam", True
    return f"nearest: {near.name}, {near.clearance_mm:.1f} mm clear", False
