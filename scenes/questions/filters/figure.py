"""Beams in the stages over the glass sizes, and graduated edges in the picture, as sheets. Return figures; save nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from shapely.geometry.base import BaseGeometry

from geometry.frame import frame_to_right_up
from geometry.outline import half_size_mm, to_shape
from raytrace.optics.filter_light import graded_share
from scenes.questions.filters.effects import GradedAnswer
from scenes.questions.filters.sizes import StageAnswer, size_outline
from scenes.rig.box import filter_outline
from scenes.sheets.colours import HIGHLIGHT, INK, PAPER, RAY_CLEAR, SOFT_INK, loss_colours, loss_scale
from scenes.sheets.page import FONT, Box, Page, text_size_mm
from scenes.sheets.pieces import halo, plate_style, to_page
from scenes.sheets.section_sheet import shape_path
from scenes.sheets.style import A4_MM, BODY_PT, FOOT_PT, LABEL_PT

MARGIN_MM = 12.0
# Of a small picture: places along the gradation and across it, where hardly anything changes; of a side where the edge is slanted;
# rays of each place, enough for the soft edge to have no steps.
ALONG, ACROSS, SLANTED, GRADED_RAYS = 120, 5, 40, 256
UPRIGHT = 1e-6  # of a direction: what rounding leaves of nothing
STAGE_FOOT = (
    "Seen from behind the camera, mm from the tray's centre. Filled, blue: the beam of each lens at the glass. Thick, orange: "
    "the glass fitted. Thin, grey: catalogue sizes. Dashed circle: what the most demanding lens needs of a turning filter."
)
GRADED_FOOT = (
    "The picture as on the monitor, mm on the image plane, the gradation alone: white passes all, darker loses light as on the "
    "maps. Solid line: half of its stops; dashed: a tenth and nine tenths."
)
LIST_STEP_MM = 4.5
FITTED = "fitted"
ALONG_AN_EDGE = (0.5, 0.35, 0.65, 0.2, 0.8)  # where a beam's name may stand
TOO_MANY = 7  # lenses that a list under a panel has no room for


def stages_figure(stages: Sequence[StageAnswer], title: str) -> Figure:
    """A panel for each stage, labelled with its name."""
    page = _page("Glass that the beams need in each stage", title, STAGE_FOOT)
    half = _half_mm(stages)
    for answer, space in zip(stages, _grid(page, len(stages), half[0] / half[1]), strict=True):
        axes = _axes(page, space, half, answer.name)
        page.fit(space.left, space.top + 3.0, answer.name, BODY_PT + 1, space.width, weight="bold")
        _draw_stage(axes, answer)
        _name_fitted(page, axes, answer)
        _name_beams(page, axes, answer)
        _name_sizes(page, axes, answer)
        _write_needs(page, space, answer)
    return page.figure


def _write_needs(page: Page, space: Box, answer: StageAnswer) -> None:
    """What each lens needs, under the panel, where the sheet has room for it."""
    top = space.top - min(space.width, space.height) - 10.0
    if top - LIST_STEP_MM * len(answer.needs) < space.bottom - 2.0 or len(answer.needs) > TOO_MANY:
        return
    for k, need in enumerate(answer.needs):
        words = f"{need.lens.name}: {need.upright_mm[0]:.0f} x {need.upright_mm[1]:.0f} upright, {need.turned_mm:.0f} at any turn"
        page.fit(space.left, top - LIST_STEP_MM * k, words, LABEL_PT, space.width)


def _half_mm(stages: Sequence[StageAnswer]) -> tuple[float, float]:
    """Half the width and height that every panel shows: beams, glass and what turned glass must hold."""
    largest = max(need.turned_mm for answer in stages for need in answer.needs) / 2
    glass = [half_size_mm(size_outline(room.size)).max() for room in stages[0].needs[0].sizes]
    reach = max(largest, *glass) * 1.12
    return reach, reach


def _draw_stage(axes: Axes, answer: StageAnswer) -> None:
    for room in answer.needs[0].sizes:
        axes.add_patch(
            PathPatch(shape_path(to_shape(size_outline(room.size), 0.1)), fill=False, edgecolor="#A8A8A8", linewidth=0.6)
        )
    if (glass := _fitted(answer)) is not None:
        axes.add_patch(PathPatch(shape_path(glass), fill=False, edgecolor=HIGHLIGHT, linewidth=1.6, zorder=4))
    for need in answer.needs:
        drawn = shapely.transform(need.section, frame_to_right_up)
        axes.add_patch(PathPatch(shape_path(drawn), facecolor=RAY_CLEAR + "18", edgecolor=RAY_CLEAR, linewidth=0.9, zorder=3))
    for need in (max(answer.needs, key=lambda need: need.turned_mm),):
        circle = shapely.Point(0, 0).buffer(need.turned_mm / 2, quad_segs=64)
        axes.add_patch(PathPatch(shape_path(circle), fill=False, edgecolor=RAY_CLEAR, linestyle="--", linewidth=0.7, zorder=3))
    axes.plot([0.0], [0.0], "+", color=INK, markersize=8, zorder=5)


def _fitted(answer: StageAnswer) -> BaseGeometry | None:
    """The glass that the scene fits, as it is turned, in picture mm; None where it fits none."""
    if answer.stage.filter is None:
        return None
    glass = to_shape(filter_outline(answer.stage.filter), 0.1)
    return shapely.affinity.rotate(glass, -answer.stage.turn_deg, origin=(0, 0))  # clockwise as the operator sees it


def _name_fitted(page: Page, axes: Axes, answer: StageAnswer) -> None:
    """The word beside the glass that is fitted: below it, or above."""
    if (glass := _fitted(answer)) is None:
        return
    left, low, right, high = glass.bounds
    ends = to_page(axes, _frame_of(page, axes), np.array([[left, low], [right, low], [left, high], [right, high]]))
    wide, _ = text_size_mm(FITTED, FOOT_PT)
    beside = ((wide / 2, -2.2), (-wide / 2, -2.2), (wide / 2, 2.2), (-wide / 2, 2.2))
    places = [(x + aside, y + off) for (x, y), (aside, off) in zip(ends, beside, strict=True)]
    page.label_free(places, FITTED, FOOT_PT, pad_mm=-0.3, colour=HIGHLIGHT, weight="bold")


def _frame_of(page: Page, axes: Axes) -> Box:
    w, h, box = page.width_mm, page.height_mm, axes.get_position()
    return Box(box.x0 * w, box.y0 * h, box.x1 * w, box.y1 * h)


def _name_beams(page: Page, axes: Axes, answer: StageAnswer) -> None:
    """The lens of each beam on its outline, the largest first, and that of the circle above it."""
    frame, most = _frame_of(page, axes), max(answer.needs, key=lambda need: need.turned_mm)
    ((x, y),) = to_page(axes, frame, np.array([[0.0, most.turned_mm / 2]]))
    page.label_free(((x, y + 2.0), (x, y - 2.0)), f"{most.lens.name}, turning", FOOT_PT, pad_mm=-0.3, colour=RAY_CLEAR)
    for need in sorted(answer.needs, key=lambda need: -need.section.area):
        left, low, right, high = shapely.transform(need.section, frame_to_right_up).bounds
        (x0, y0), (x1, y1) = to_page(axes, frame, np.array([[left, low], [right, high]]))
        level = [(x0 + share * (x1 - x0), y) for y in (y0, y1) for share in ALONG_AN_EDGE]
        upright = [(x, y0 + share * (y1 - y0)) for x in (x0, x1) for share in ALONG_AN_EDGE]
        look: dict[str, Any] = {"colour": RAY_CLEAR, "weight": "bold", "bbox": plate_style(0.9), "zorder": 6}
        page.label_free([*level, *upright], need.lens.name, FOOT_PT, pad_mm=-0.2, **look)


def _name_sizes(page: Page, axes: Axes, answer: StageAnswer) -> None:
    """The names of the catalogue's sizes just inside their outlines, at the first corner that is free."""
    frame = _frame_of(page, axes)
    for room in answer.needs[0].sizes:
        x, y = half_size_mm(size_outline(room.size))
        wide, high = text_size_mm(room.size.name, FOOT_PT)
        ends = [(0, -1), (0, 1)] if room.size.diameter_mm else [(1, 1), (-1, 1), (1, -1), (-1, -1), (0, 1), (0, -1)]
        corners = to_page(axes, frame, np.array([[r * x, u * y] for r, u in ends]))
        insets = np.array([[-r * (wide / 2 + 0.5), -u * (high / 2 + 0.3)] for r, u in ends])
        page.label_free(map(tuple, corners + insets), room.size.name, FOOT_PT, pad_mm=-0.3, colour=SOFT_INK, bbox=plate_style(0.9))


def graded_figure(graded: Sequence[GradedAnswer], title: str) -> Figure:
    """A small picture for each lens (rows) and stop (columns), labelled 'LENS f/STOP'."""
    first = graded[0]
    what = f"if a hard {first.density:g} stood in the {first.stage_name}" if first.tried else "as fitted"
    page = _page(f"The graduated filter's edge in the picture, {what}", title, GRADED_FOOT)
    shapes = {answer.half_mm for answer in graded}
    aspect = max(width / height for width, height in shapes)
    for answer, space in zip(graded, _grid(page, len(graded), aspect), strict=True):
        words = f"{answer.lens.name} f/{answer.f_number:.3g}"
        page.fit(space.left, space.top + 1.5, words, LABEL_PT, space.width, weight="bold")
        axes = _axes(page, space, answer.half_mm, words, answer.middle_mm)
        _draw_graded(axes, answer)
    return page.figure


def _grid_of(turn_deg: float) -> tuple[int, int]:
    """Columns and rows of a small picture: fine along the gradation."""
    if abs(math.sin(math.radians(turn_deg))) < UPRIGHT:
        return ACROSS, ALONG
    return (ALONG, ACROSS) if abs(math.cos(math.radians(turn_deg))) < UPRIGHT else (SLANTED, SLANTED)


def _draw_graded(axes: Axes, answer: GradedAnswer) -> None:
    (w, h), (x0, y0) = answer.half_mm, answer.middle_mm
    columns, rows = _grid_of(answer.turn_deg)
    x = x0 + w * (2 * (np.arange(columns) + 0.5) / columns - 1)
    y = y0 - h * (2 * (np.arange(rows) + 0.5) / rows - 1)  # row 0 is the top
    across, upright = np.meshgrid(x, y)
    points = np.column_stack([across.ravel(), upright.ravel()])
    share = graded_share(answer.variant, points, answer.glasses, answer.place, GRADED_RAYS)
    stops = -np.log2(share).reshape(rows, columns)
    extent = (x0 - w, x0 + w, y0 - h, y0 + h)
    look: dict[str, Any] = {"aspect": "auto", "interpolation": "bilinear", "cmap": loss_colours(), "norm": loss_scale()}
    axes.imshow(stops, origin="upper", extent=extent, zorder=1, **look)
    edge = answer.edge
    for place, dash in ((edge.begins_mm, (0, (4, 3))), (edge.middle_mm, "solid"), (edge.ends_mm, (0, (4, 3)))):
        if place is not None:
            s, c = math.sin(math.radians(answer.turn_deg)), math.cos(math.radians(answer.turn_deg))
            ends = np.array([[place * s - 4 * w * c, place * c + 4 * w * s], [place * s + 4 * w * c, place * c - 4 * w * s]])
            look = {"color": INK, "linewidth": 1.0, "linestyle": dash, "zorder": 2, "path_effects": halo(2.8)}
            axes.plot(x0 + ends[:, 0], y0 + ends[:, 1], **look)
    axes.set_facecolor(PAPER)


def _page(head: str, title: str, foot: str) -> Page:
    page = Page(*A4_MM)
    page.head(head, title)
    page.foot(foot)
    return page


def _grid(page: Page, count: int, aspect: float) -> list[Box]:
    """Room for panels of one aspect, row by row from the top left, in as many columns as show them largest."""
    left, right, low, high = MARGIN_MM, page.width_mm - MARGIN_MM, 16.0, page.height_mm - 22.0

    def size(columns: int) -> float:
        rows = math.ceil(count / columns)
        return min((right - left) / columns - 12.0, ((high - low) / rows - 13.0) * aspect)

    columns = max(range(1, count + 1), key=size)
    rows = math.ceil(count / columns)
    w, h = (right - left) / columns, (high - low) / rows
    places = [(k % columns, k // columns) for k in range(count)]
    return [Box(left + c * w + 9.0, high - (r + 1) * h + 6.0, left + (c + 1) * w - 3.0, high - r * h - 7.0) for c, r in places]


def _axes(page: Page, space: Box, half_mm: tuple[float, float], label: str, middle_mm: Sequence[float] = (0.0, 0.0)) -> Axes:
    """Axes of true shape at the top left of a space."""
    scale = max(2 * half_mm[0] / space.width, 2 * half_mm[1] / space.height)
    w, h = 2 * half_mm[0] / scale, 2 * half_mm[1] / scale
    axes = page.axes(Box(space.left, space.top - h, space.left + w, space.top), label=label)
    axes.set_xlim(middle_mm[0] - half_mm[0], middle_mm[0] + half_mm[0])
    axes.set_ylim(middle_mm[1] - half_mm[1], middle_mm[1] + half_mm[1])
    axes.tick_params(labelsize=FOOT_PT, length=2, pad=1.5, labelfontfamily=FONT)
    return axes
