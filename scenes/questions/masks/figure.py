"""The masks of a set side by side: cut-out, the beams that it holds, the mask of today, the lens fronts. Returns a figure."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch

from scenes.questions.masks.cut_files import as_drawn
from scenes.questions.masks.report import MM2_PER_CM2, CutMask, MaskReport, size_mm
from scenes.sheets.colours import HIGHLIGHT, INK, PLATE, RAY_CLEAR, SOFT_INK
from scenes.sheets.page import FONT, Box, Page
from scenes.sheets.section_sheet import shape_path
from scenes.sheets.style import A4_MM, BODY_PT, FOOT_PT, LABEL_PT

MARGIN_MM = 12.0
PLATE_SHARE = 0.16  # of a cut-out's size shown around it
LEGEND = (
    "Seen from behind the camera, lengths in mm, one scale. Thick line: the cut-out. Filled: each lens's beam, without margin. "
    "Dotted circle: a lens front. Cross: the box's centre line. Excess is the area a lens gets beyond its own cut-out."
)


def masks_figure(report: MaskReport, title: str) -> Figure:
    """A panel for each mask, labelled with its name."""
    page = Page(*A4_MM)
    excess = report.chosen.excess_mm2 / MM2_PER_CM2
    word = "mask" if len(report.masks) == 1 else "masks"
    served = "lens" if len(report.lenses) == 1 else "lenses"
    head = f"{len(report.masks)} {word} for {len(report.lenses)} {served}{f', excess {excess:.0f} cm²' if excess >= 0.5 else ''}"
    page.head(head, title)
    half_mm = _half_size_mm(report.masks)
    for mask, space in zip(report.masks, _spaces(page, len(report.masks), half_mm), strict=True):
        _draw(page, space, mask, half_mm)
    page.foot(LEGEND)
    return page.figure


def _spaces(page: Page, count: int, half_mm: tuple[float, float]) -> list[Box]:
    """Room for each panel, row by row from the top left, in as many columns as show the masks largest."""
    columns = min(range(1, count + 1), key=lambda tried: _scale(_panels(page, count, tried)[0], half_mm))
    return _panels(page, count, columns)


def _panels(page: Page, count: int, columns: int) -> list[Box]:
    rows = math.ceil(count / columns)
    left, right, low, high = MARGIN_MM, page.width_mm - MARGIN_MM, 15.0, page.height_mm - 23.0
    w, h = (right - left) / columns, (high - low) / rows
    places = [(k % columns, k // columns) for k in range(count)]
    return [Box(left + c * w + 4, high - (r + 1) * h + 8, left + (c + 1) * w - 4, high - r * h - 17) for c, r in places]


def _half_size_mm(masks: Sequence[CutMask]) -> tuple[float, float]:
    """Half the width and height that every panel shows: the largest cut-out and its lens fronts."""
    shapes = [as_drawn(mask.cutout).bounds for mask in masks]
    front = max(member.lens.front_diameter_mm for mask in masks for member in mask.members) / 2
    across = max(max(-left, right) for left, _, right, _ in shapes)
    upright = max(max(-low, high) for _, low, _, high in shapes)
    return max(across, front) * (1 + PLATE_SHARE), max(upright, front) * (1 + PLATE_SHARE)


def _draw(page: Page, space: Box, mask: CutMask, half_mm: tuple[float, float]) -> None:
    page.text(space.left, space.top + 11.0, f"{mask.name}: {_size(mask.cutout)}", BODY_PT + 1, weight="bold")
    page.fit(space.left, space.top + 9.0, ", ".join(_member_words(mask)), LABEL_PT, space.width, lines=2, va="top", colour=SOFT_INK)
    axes = _axes(page, space, half_mm, mask.name)
    axes.set_facecolor(PLATE)
    axes.add_patch(PathPatch(shape_path(as_drawn(mask.cutout)), facecolor="white", edgecolor=INK, linewidth=1.8, zorder=2))
    for member in mask.members:
        style = {"facecolor": RAY_CLEAR + "22", "edgecolor": RAY_CLEAR, "linewidth": 0.8}
        axes.add_patch(PathPatch(shape_path(as_drawn(member.need)), zorder=3, label=member.lens.name, **style))
    for middle, diameter in sorted({(member.axis_mm, member.lens.front_diameter_mm) for member in mask.members}):
        axes.add_patch(Circle(middle, diameter / 2, fill=False, edgecolor=HIGHLIGHT, linestyle=":", linewidth=1.1, zorder=4))
    axes.plot([0.0], [0.0], "+", color=INK, markersize=9, zorder=5)


def _size(shape: object) -> str:
    width, height = size_mm(shape)  # type: ignore[arg-type]
    return f"{width:.1f} x {height:.1f} mm"


def _member_words(mask: CutMask) -> list[str]:
    if len(mask.members) == 1:
        return [f"for {mask.lens_names[0]}"]
    more = [f"{member.lens.name} (+{mask.excess_mm2(member) / MM2_PER_CM2:.0f} cm²)" for member in mask.members]
    return [f"for {more[0]}", *more[1:]]


def _scale(space: Box, half_mm: tuple[float, float]) -> float:
    """Millimetres of the mask to one of the page."""
    return max(2 * half_mm[0] / max(space.width - 9.0, 1.0), 2 * half_mm[1] / max(space.height - 5.0, 1.0))


def _axes(page: Page, space: Box, half_mm: tuple[float, float], label: str) -> Axes:
    """Axes of true shape about the box's centre line."""
    scale = _scale(space, half_mm)
    w, h = 2 * half_mm[0] / scale, 2 * half_mm[1] / scale
    axes = page.axes(Box(space.left + 9.0, space.top - h, space.left + 9.0 + w, space.top), label=label)
    axes.set_xlim(-half_mm[0], half_mm[0])
    axes.set_ylim(-half_mm[1], half_mm[1])
    axes.tick_params(labelsize=FOOT_PT, length=2, pad=1.5, labelfontfamily=FONT)
    axes.grid(color="#D8D8D8", linewidth=0.4)
    axes.set_axisbelow(True)
    return axes
