"""The beam over the parts in one plane of the box, with its size and the room around it. Returns a figure; saves nothing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from shapely.geometry.base import BaseGeometry

from geometry.frame import ahead_in_words
from raytrace.beam.outline import Section
from scenes.questions.beam.report import BeamInPlane, PartInPlane
from scenes.sheets.colours import HIGHLIGHT, INK, PART_COLOURS, RAY_CLEAR, SOFT_INK
from scenes.sheets.page import Box, Page
from scenes.sheets.section_sheet import shape_path
from scenes.sheets.style import A4_MM, BODY_PT, FOOT_PT, LABEL_PT
from scenes.states.names import state_words

MARGIN_MM = 12.0
ROOM_SHARE = 0.2  # of the beam's size shown around it: enough to see the edge of the part that holds it
LIST_MM = 84.0
NOTHING_NEAR_MM = 1000.0


def beam_figure(beam: BeamInPlane, title: str) -> Figure:
    """The plane as the operator sees it: parts by their material, each state's outline thin, the outline of all of them filled."""
    page = Page(*A4_MM)
    _write_head(page, beam, title)
    frame = Box(MARGIN_MM + 8.0, 22.0, page.width_mm - MARGIN_MM - LIST_MM - 6.0, page.height_mm - 28.0)
    axes = _axes(page, frame, beam)
    for part in beam.parts:
        draw_part(axes, part)
    draw_beam(axes, beam)
    _draw_size(page, axes, frame, beam)
    _write_list(page, page.width_mm - MARGIN_MM - LIST_MM, page.height_mm - 32.0, beam)
    page.text(
        MARGIN_MM,
        7.0,
        "Seen from behind the camera; lengths in mm. Clearance is the least distance of the beam to the part in this plane; "
        "below 0 it is how deep the part is in.",
        FOOT_PT,
        colour=SOFT_INK,
    )
    return page.figure


def as_seen(shape: BaseGeometry) -> BaseGeometry:
    """A shape with the operator's right to the right: the plane's x runs to his left."""
    return shapely.transform(shape, lambda points: points * np.array([-1.0, 1.0]))


def _write_head(page: Page, beam: BeamInPlane, title: str) -> None:
    page.head(f"Beam {ahead_in_words(beam.at_mm, 'the back plate', 'g')}: {size_words(beam)}", title)


def size_words(beam: BeamInPlane) -> str:
    """'152.4 x 84.1 mm, corners of 9.2 mm or less', or that there is none."""
    if beam.section.is_empty:
        return "no beam there"
    return f"{beam.size.width_mm:.1f} x {beam.size.height_mm:.1f} mm, corners of {beam.size.corner_mm:.1f} mm or less"


def _axes(page: Page, frame: Box, beam: BeamInPlane) -> Axes:
    """Axes of true shape, wide enough for the beam and some room."""
    left, low, right, high = (-100.0, -60.0, 100.0, 60.0) if beam.section.is_empty else as_seen(beam.section).bounds
    scale = max((right - left) / frame.width, (high - low) / frame.height) * (1 + 2 * ROOM_SHARE)
    x, y = (left + right) / 2, (low + high) / 2
    axes = page.axes(frame, label="plane")
    axes.set_xlim(x - scale * frame.width / 2, x + scale * frame.width / 2)
    axes.set_ylim(y - scale * frame.height / 2, y + scale * frame.height / 2)
    axes.set_xlabel("right of the box's middle [mm]", fontsize=LABEL_PT)
    axes.set_ylabel("above the box's middle [mm]", fontsize=LABEL_PT)
    axes.tick_params(labelsize=LABEL_PT)
    for line in (axes.axhline, axes.axvline):
        line(0.0, color=SOFT_INK, linewidth=0.6, linestyle=(0, (14, 3, 2, 3)))
    return axes


def draw_part(axes: Axes, part: PartInPlane) -> None:
    """A part's material, outlined in the colour of what stops light where it is in the beam."""
    solid = part.material.area > 0
    style = {"facecolor": PART_COLOURS[part.kind] + "66"} if solid else {"fill": False}
    edge = HIGHLIGHT if part.clearance_mm <= 0 else INK
    axes.add_patch(PathPatch(shape_path(as_seen(part.material)), edgecolor=edge, linewidth=1.0, label=part.name, zorder=2, **style))


def draw_beam(axes: Axes, beam: BeamInPlane) -> None:
    """The beam of all states filled, that of each a thin line."""
    if beam.section.is_empty:
        return
    fill = {"facecolor": RAY_CLEAR + "33", "edgecolor": RAY_CLEAR, "linewidth": 1.8}
    axes.add_patch(PathPatch(shape_path(as_seen(beam.section)), label="beam", zorder=4, **fill))
    for section in _distinct([state.section for state in beam.states]):
        axes.add_patch(PathPatch(shape_path(as_seen(section)), fill=False, edgecolor=RAY_CLEAR, linewidth=0.5, zorder=3))


def _distinct(sections: Sequence[Section]) -> list[Section]:
    return list({shapely.to_wkb(section): section for section in sections if not section.is_empty}.values())


def _draw_size(page: Page, axes: Axes, frame: Box, beam: BeamInPlane) -> None:
    """Width and height as dimension lines under and beside the beam."""
    if beam.section.is_empty:
        return
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    left, low, right, high = as_seen(beam.section).bounds

    def place(x: float, y: float) -> tuple[float, float]:
        return frame.at((x - x0) / (x1 - x0), (y - y0) / (y1 - y0))

    (a, under), (b, over) = place(left, low), place(right, high)
    foot, side = frame.bottom + 5.0, frame.left + 8.0
    for ends in (((a, foot), (b, foot)), ((side, under), (side, over))):
        page.line(ends, INK, 0.8, marker="|" if ends[0][1] == foot else "_", markersize=7)
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
    page.text((a + b) / 2, foot, f"{beam.size.width_mm:.1f}", BODY_PT, ha="center", va="center", weight="bold", bbox=ground)
    page.text(
        side,
        (under + over) / 2,
        f"{beam.size.height_mm:.1f}",
        BODY_PT,
        ha="center",
        va="center",
        weight="bold",
        upright=False,
        bbox=ground,
    )


def _write_list(page: Page, left: float, top: float, beam: BeamInPlane) -> None:
    page.text(left, top, "parts in this plane", BODY_PT, weight="bold")
    page.text(left + LIST_MM, top, "clear by", BODY_PT, ha="right", weight="bold")
    rows = sorted(beam.parts, key=lambda part: part.clearance_mm)
    for k, part in enumerate(rows, 1):
        bad = part.clearance_mm <= 0
        colour, y = (HIGHLIGHT if bad else INK), top - 6.0 * k
        page.fit(left, y, part.name, BODY_PT, LIST_MM - 22.0, colour=colour, weight="bold" if bad else "normal")
        page.text(left + LIST_MM, y, clear_words(part.clearance_mm), BODY_PT, ha="right", colour=colour)
    if not rows:
        page.text(left, top - 6.0, "none", BODY_PT, colour=SOFT_INK)
    y = top - 6.0 * (max(len(rows), 1) + 2)
    page.text(left, y, f"{len(beam.states)} {'state' if len(beam.states) == 1 else 'states'}; the widest beam:", BODY_PT)
    widest = max(beam.states, key=lambda state: state.section.area)
    page.fit(left, y - 6.0, state_words(widest.plan), BODY_PT, LIST_MM, colour=SOFT_INK)


def clear_words(clearance_mm: float) -> str:
    """'4.2', '-1.3 (in)', or a dash where part and beam do not meet."""
    if clearance_mm > NOTHING_NEAR_MM:
        return "–"
    return f"{clearance_mm:.1f}" if clearance_mm > 0 else f"{clearance_mm:.1f} (in)".replace("-", "−")
